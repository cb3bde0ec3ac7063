package sky

import (
	"fmt"
	"math"
	"testing"
)

// TestLevelTellsHazeFromFault: what all share stays in K, what one alone shows
// is taken out of it, and the caller's estimate is not touched.
func TestLevelTellsHazeFromFault(t *testing.T) {
	const n = 48
	f := NewField(Options{})
	var sick Estimate
	for s := range 5 {
		e := said(fmt.Sprintf("s%d", s), n, func(int) float64 { return 0.85 }) // smoke over all
		e.Off = []int8{-15, -15}
		if s == 2 { // and on top of it three tenths of the array down
			e = said("sick", n, func(int) float64 { return 0.85 * 0.7 })
			e.Off = []int8{-15 - 36, offUnknown} // ln 0.7 = -0.357
			sick = e
		}
		f.Add(e)
	}
	f.Close()
	got := f.At(town, 480000, n, nil)
	if math.Abs(got.K[3]-0.85) > 0.01 {
		t.Errorf("K %.3f under smoke, want 0.85", got.K[3])
	}
	if got.Spread[3] > 0.01 {
		t.Errorf("the sick array given its level back should agree: spread %.3f", got.Spread[3])
	}
	if k, _ := unpack(sick.KW[3]); math.Abs(k-0.595) > 0.001 {
		t.Errorf("the caller's estimate was changed: %.3f", k)
	}
	// the same cell, judged through its sites: level() itself
	c := &cell{start: 480000, sites: []Estimate{said("a", n, func(int) float64 { return 0.9 }), said("b", n, func(int) float64 { return 0.9 }), sick}}
	c.sites[0].Off, c.sites[1].Off = []int8{-15, -15}, []int8{-15, -15}
	c.settle()
	c.level(c.each(nil))
	k, _ := unpack(c.sites[2].KW[3])
	if math.Abs(k-0.85) > 0.01 {
		t.Errorf("the sick array's K %.3f, with its level back 0.85", k)
	}
	if k, _ := unpack(c.sites[2].KW[30]); math.Abs(k-0.595) > 0.001 {
		t.Errorf("a day whose level is not known was moved to %.3f", k)
	}
	if k, _ := unpack(c.sites[0].KW[3]); math.Abs(k-0.9) > 0.001 {
		t.Errorf("a sound site was moved to %.3f", k)
	}
}

// TestLevelOfUnlikeSpans: sites that start years apart, the later first.
func TestLevelOfUnlikeSpans(t *testing.T) {
	f := NewField(Options{})
	for s := range 6 {
		e := said(fmt.Sprintf("s%d", s), 100, func(int) float64 { return 0.7 })
		e.Start += 37 * 24 * 10 * 3
		if s%2 == 0 {
			e.Start = 480000
		}
		e.Off = []int8{-30, 0, offUnknown, 20, 0}
		f.Add(e)
	}
	f.Close()
	if got := f.At(town, 480000, 100, nil); math.Abs(got.K[60]-0.7) > 0.01 {
		t.Errorf("K %.3f, want 0.7", got.K[60])
	}
}

// A sick array that stands alone in its square is given its level back by what the
// squares around know of the haze: alone it could only be held to eight per cent.
func TestLevelOfALoneSquare(t *testing.T) {
	const n = 48
	f := NewField(Options{})
	for s := range 10 {
		e := said(fmt.Sprintf("sound-%d", s), n, func(int) float64 { return 0.9 })
		e.Off = []int8{0, 0}
		f.Add(e)
	}
	sick := said("sick", n, func(int) float64 { return 0.63 })
	sick.Place.LatitudeDeg += 0.3
	sick.Off = []int8{-36, -36} // ln 0.7
	f.Add(sick)
	f.Close()
	if got := f.At(sick.Place, 480000, n, nil); math.Abs(got.K[3]-0.9) > 0.01 {
		t.Errorf("K %.3f over the lone square, the sky is 0.9", got.K[3])
	}
}
