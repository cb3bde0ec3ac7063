package array

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func levels(parts ...[2]float64) (points, []segment) {
	var p points
	var segs []segment
	for _, part := range parts {
		from := len(p.x)
		for range int(part[0]) {
			p.day, p.x, p.w = append(p.day, len(p.x)), append(p.x, part[1]), append(p.w, 1)
		}
		segs = append(segs, segment{from, len(p.x), part[1]})
	}
	return p, segs
}

// TestDropsPairStepsDownAndUp: what came last goes first.
func TestDropsPairStepsDownAndUp(t *testing.T) {
	type got struct{ From, To, SizePct int }
	cases := []struct {
		name  string
		parts [][2]float64
		want  []got
	}{
		{"healthy", [][2]float64{{50, 1}, {50, 0.97}, {50, 1.01}}, nil},
		{"one that lasts", [][2]float64{{50, 1}, {50, 0.8}}, []got{{50, 100, 20}}},
		{"one mended", [][2]float64{{50, 1}, {50, 0.8}, {50, 1}}, []got{{50, 100, 20}}},
		{"two on top of each other", [][2]float64{{50, 1}, {50, 0.85}, {50, 0.55}, {50, 0.85}, {50, 1}}, []got{{50, 200, 15}, {100, 150, 30}}},
		{"from the start", [][2]float64{{50, 0.8}, {50, 1}}, []got{{0, 50, 20}}},
		{"small ones add up", [][2]float64{{50, 1}, {50, 0.95}, {50, 0.91}, {50, 0.86}}, []got{{100, 200, 9}}},
	}
	for _, c := range cases {
		p, segs := levels(c.parts...)
		var g []got
		for _, d := range drops(p, segs, 0.08) {
			g = append(g, got{d.from, d.to, int(math.Round(100 * d.size))})
		}
		if diff := cmp.Diff(c.want, g); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

// TestRampIsToldFromStep on made series with two per cent of noise.
func TestRampIsToldFromStep(t *testing.T) {
	rnd := rand.New(rand.NewPCG(9, 9))
	for _, slide := range []bool{true, false} {
		p := points{}
		for d := range 300 {
			v := 1.0
			switch {
			case slide && d > 100:
				v -= 0.25 * float64(d-100) / 200
			case !slide && d >= 200:
				v -= 0.2
			}
			p.day, p.x = append(p.day, d), append(p.x, v+0.02*rnd.NormFloat64())
		}
		begin := 200
		if slide {
			begin = 160 // where the loss passes 8 %
		}
		got, on := isRamp(p, max(0, begin-slideBefore), begin, 300)
		if got != slide {
			t.Errorf("slide %v was taken for slide %v", slide, got)
		}
		if slide && math.Abs(float64(on-100)) > 15 {
			t.Errorf("the slide began on day 100, found %d", on)
		}
	}
}

// TestStepRangeHoldsTheStep: 90 of 100 ranges must hold the true place.
func TestStepRangeHoldsTheStep(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 4))
	held, tries := 0, 400
	for range tries {
		x := make([]float64, 120)
		for i := range x {
			x[i] = 1 + 0.05*rnd.NormFloat64()
			if i >= 60 {
				x[i] -= 0.08
			}
		}
		best, least := 60, math.Inf(1)
		for at := 5; at < 115; at++ {
			v := 0.0
			a, b := mean(x[:at]), mean(x[at:])
			for i, xi := range x {
				if i < at {
					v += (xi - a) * (xi - a)
				} else {
					v += (xi - b) * (xi - b)
				}
			}
			if v < least {
				best, least = at, v
			}
		}
		if lo, hi := stepRange(x, 0, best, len(x), 0.05); lo <= 60 && 60 <= hi {
			held++
		}
	}
	if held < tries*88/100 {
		t.Errorf("%d of %d ranges hold the step, 90 in 100 were promised", held, tries)
	}
}

func mean(x []float64) float64 { return sum(x) / float64(len(x)) }

func TestShadeOnset(t *testing.T) {
	x := make([]float64, 60)
	for i := range x {
		x[i] = 0.99
		if i >= 25 {
			x[i] = 0.4
		}
	}
	if at := shadeOnset(x); at != 25 {
		t.Errorf("onset at %d, want 25", at)
	}
	for i := range x {
		x[i] = 0.5
	}
	if at := shadeOnset(x); at != 0 {
		t.Errorf("dark from the start, dated %d", at)
	}
}
