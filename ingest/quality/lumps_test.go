package quality

import (
	"math"
	"slices"
	"testing"

	"rowen/ingest"
)

// 1 kWh every hour. After a gap of three hours an hour holds its energy from
// over three times the usual up to 2.5 times the four hours; after nine hours
// from 0.4 of the ten on.
func TestLumpsByHand(t *testing.T) {
	const n, at = 40 * 24, 20*24 + 5
	for _, c := range []struct {
		what   string
		gap    int
		wh     float64
		before bool // the hour before the gap
		alter  func(v []float64)
		lump   bool
	}{
		{"three times the usual", 3, 3000, false, nil, false},
		{"more", 3, 3001, false, nil, true},
		{"more, before the gap", 3, 3001, true, nil, true},
		{"2.5 times the four hours", 3, 10000, false, nil, true},
		{"more than that", 3, 10001, false, nil, false},
		{"0.4 of ten hours", 9, 4000, false, nil, true},
		{"less", 9, 3999, false, nil, false},
		{"a gap of two hours", 2, 3001, false, nil, true},
		{"a gap of one hour", 1, 3001, false, nil, false},
		{"no more than two weeks before", 3, 3500, false, func(v []float64) { v[at-14*24] = 3500 }, false},
		{"no more than two weeks after", 3, 3500, false, func(v []float64) { v[at+14*24] = 3500 }, false},
		{"no more than 15 days before", 3, 3500, false, func(v []float64) { v[at-15*24] = 3500 }, true},
		{"five other days known", 3, 3500, false, func(v []float64) { keepDays(v, at, 5) }, true},
		{"four other days known", 3, 3500, false, func(v []float64) { keepDays(v, at, 4) }, false},
	} {
		v := runs(n, 1000)
		if c.alter != nil {
			c.alter(v)
		}
		for h := at - c.gap; h < at; h++ {
			if v[h] = nan; c.before {
				v[h], v[h+c.gap+1] = 1000, nan
			}
		}
		v[at] = c.wh
		found := oneRule(t, "lump_beside_gap", one(use, v), Site{}, nil)
		if c.lump {
			said(t, c.what, found, goes, 1, "beside it once, the first on 2026-01-21")
		} else {
			said(t, c.what, found, goes, 0, "")
		}
	}
	v := runs(n, 1000) // one hour between two gaps is one lump
	v[at-2], v[at-1], v[at], v[at+1], v[at+2] = nan, nan, 3500, nan, nan
	said(t, "between two gaps", oneRule(t, "lump_beside_gap", one(use, v), Site{}, nil), goes, 1, "once")
	said(t, "a short record", oneRule(t, "lump_beside_gap", one(use, v[:335]), Site{}, nil), goes, 0, "")
}

// keepDays leaves the hours from three before one out on all other days but for
// many before it.
func keepDays(v []float64, at, many int) {
	for h := range v {
		if d := (h - at + 1000*24 + 3) / 24; (h-at+1000*24+3)%24 < 4 && d != 1000 && (d < 1000-many || d > 1000) {
			v[h] = nan
		}
	}
}

func TestStuckLeast(t *testing.T) {
	for _, c := range []struct{ k, per, want int }{
		{int(ingest.Production), 1, 4}, {int(ingest.Export), 1, 4}, {int(ingest.Consumption), 1, 12}, {int(ingest.Import), 1, 12},
		{int(ingest.Production), 4, 6}, {int(ingest.Export), 12, 12}, {int(ingest.Consumption), 4, 48}, {int(ingest.Import), 2, 24},
	} {
		if got := stuckLeast(ingest.Channel(c.k), c.per); got != c.want {
			t.Errorf("channel %d with %d readings an hour: %d, want %d", c.k, c.per, got, c.want)
		}
	}
}

// An array's output leaves the chord of three hours by 0.2·P·(2π/24·3/2)³/6: of 3
// kW that is 6.06 Wh, six steps of rounding to 1 Wh; of 2.95 kW it is 5.96.
func TestBendsByHand(t *testing.T) {
	c := &checker{s: &ingest.Series{}}
	for _, k := range []struct {
		top    float64
		slots  int
		per    int
		q      float64
		enough bool
	}{{3000, 4, 1, 1, true}, {2950, 4, 1, 1, false}, {3000, 3, 1, 1, false}, {3000, 13, 4, 1, true}, {3000, 12, 4, 1, false}, {3000, 4, 1, 1.02, false}} {
		v := make([]float64, 40)
		v[5] = k.top
		if got := bends(c, v, line{5, 5 + k.slots, -1}, k.per, k.q); got != k.enough {
			t.Errorf("%+v: %v", k, got)
		}
	}
	// Readings that jump by 15 are on a line of ±0.75 by chance with odds of 1 in 10
	// each: 14 of them and the two that make the line have odds under e⁻³⁰.
	for n, want := range map[int]bool{15: false, 16: true} {
		if got := unlikely(line{0, n, 1}, 0.75, 15); got != want {
			t.Errorf("a line of %d is unlikely: %v", n, got)
		}
	}
	if unlikely(line{0, 1000, 1}, 0.75, 1.5) {
		t.Error("readings that hardly jump lie on lines")
	}
	// Of every third reading: |2 - 2·5 + 3| = 5, |1 - 2·0 + 8| = 9, |0 - 2·4 + 1| = 7; 0 0 0 says nothing.
	if got := bend([]float64{2, 5, 3, 1, 0, 8, 0, 4, 1, 0, 0, 0}); got != 7 {
		t.Errorf("bend %g", got)
	}
	if got := bend([]float64{1}); got != 0 {
		t.Errorf("bend of nothing %g", got)
	}
	if got := hoursOf([]line{{3, 9, 0}, {8, 12, 0}, {20, 21, 0}}, 4); !slices.Equal(got, []int{0, 1, 2, 5}) {
		t.Errorf("hours %v", got)
	}
}

// What readings are rounded to is the least difference between neighbors; of less
// than 200 such steps up to the most they are too coarse to be judged.
func TestRounding(t *testing.T) {
	if got := quantum([]float64{5, 9, 9, 6.5, nan, 7, 9}); got != 2 {
		t.Errorf("quantum %g", got)
	}
	if got := quantum([]float64{5, 5}); got == got {
		t.Errorf("quantum of equal readings %g", got)
	}
	if got := quantum([]float64{1e9, 1e9 + 1, 1e9 + 3000}); got != 2999 { // a millionth is no step
		t.Errorf("quantum of large readings %g", got)
	}
	if got := largest([]float64{3, -7, nan, 5}); got != 7 {
		t.Errorf("largest %g", got)
	}
	for top, want := range map[float64]float64{200: 1, 199: nan} {
		c := &checker{}
		v := []float64{0, 1, 3, top}
		c.level[use].max = top
		if got := c.roundedTo(use, v, 1); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("up to %g: rounded to %g", top, got)
		}
	}
}

// A flat stretch of six hours at 2 kW by day, under a sun from 6 to 18 o'clock: no
// limit where the day goes on over 1.03 times that within six hours, where it runs
// into the night, or for more than twelve hours.
func TestFlatStretches(t *testing.T) {
	const day = 24 * 5
	for _, c := range []struct {
		what    string
		lo, hi  int // o'clock
		at      int
		wh      float64
		ac      float64
		per     int
		isBelow bool
	}{
		{"nothing higher", 9, 15, 8, 2060, 0, 1, false},
		{"higher six hours before", 9, 15, 3, 2061, 0, 1, true},
		{"seven hours before", 9, 15, 2, 2061, 0, 1, false},
		{"higher five hours after its end", 9, 15, 20, 2061, 0, 1, true},
		{"six hours after its end", 9, 15, 21, 2061, 0, 1, false},
		{"into the night", 13, 19, 0, 0, 0, 1, true},
		{"to sunset", 12, 18, 0, 0, 0, 1, false},
		{"from before sunrise", 5, 11, 0, 0, 0, 1, true},
		{"twelve hours", 6, 18, 0, 0, 0, 1, false},
		{"at the inverters' limit", 13, 19, 8, 9000, 2105, 1, false}, // 0.95 · 2105 is less than 2000
		{"clearly below it", 13, 19, 8, 9000, 2106, 1, true},
	} {
		v := runs(10*24, 0)
		for h := c.lo; h < c.hi; h++ {
			v[day+h] = 2000
		}
		if c.wh > 0 {
			v[day+c.at] = c.wh
		}
		k := &checker{s: one(pv, v), site: Site{RatedACWatts: c.ac}, sun: plainSun(len(v), 12)}
		if got := below(k, v, line{day + c.lo, day + c.hi, 0}, c.per); got != c.isBelow {
			t.Errorf("%s: no limit: %v", c.what, got)
		}
	}
	k := &checker{s: one(pv, runs(240, 2000))}
	for hours, want := range map[int]bool{12: false, 13: true} { // where no sun is known
		if got := below(k, k.s.Wh[pv], line{50, 50 + hours, 0}, 1); got != want {
			t.Errorf("%d hours: no limit: %v", hours, got)
		}
	}
	k.sun = plainSun(240, 12) // quarter hours: from 17:15 to 18:45 no whole hour of night is in it, to 19:00 one is
	quarters := runs(960, 500)
	for to, want := range map[int]bool{4*18 + 3: false, 4 * 19: true} {
		if got := throughNight(k, line{4*17 + 1, to, 0}, 4); got != want || below(k, quarters, line{4*17 + 1, to, 0}, 4) != want {
			t.Errorf("to quarter %d: through the night: %v", to, got)
		}
	}
}
