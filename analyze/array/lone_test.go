package array

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/analyze/sky"
)

// Under the sky of a lone array clear days have K = 1, empty ones 0.4, and others none.
func TestSkyOfALoneArray(t *testing.T) {
	v := box(60).on(5, 6, times(0)).on(6, 7, func(hour int, wh float64) float64 {
		if hour >= 12 { // half the day under a cloud
			return 0.2 * wh
		}
		return wh
	})
	if w, _ := lookAlone(v); &w.k[0] != &v.k[0] {
		t.Error("a sky that others tell is changed")
	}
	v.alone = true
	w, say := lookAlone(v)
	if codes(say) != "" || w.k[12] != 1 || w.k[24*5+12] != aloneDarkK || !math.IsNaN(w.k[24*6+12]) || w.k[24*59+23] != 1 {
		t.Errorf("K %v %v %v", w.k[12], w.k[24*5+12], w.k[24*6+12])
	}
}

// Of sums of days, those of 0.9 of the best of the weeks around are clear.
func TestSkyOfALoneArrayByDay(t *testing.T) {
	v := box(80).on(40, 41, times(0.91)).on(41, 42, times(0.89)).on(42, 43, times(3)).on(43, 44, times(0)).on(44, 45, gone)
	w := lookAloneByDay(v)
	for d, want := range map[int][2]float64{10: {1, 1}, 40: {1, 0.91}, 41: {math.NaN(), 0.89}, 42: {1, aloneMostK}, 43: {aloneDarkK, 0}, 44: {math.NaN(), math.NaN()}} {
		for j, got := range []float64{w.k[24*d+12], w.Sky.K[24*d+12]} {
			if math.Abs(got-want[j]) > 1e-9 || math.IsNaN(got) != math.IsNaN(want[j]) {
				t.Errorf("day %d: %v, want %v", d, got, want[j])
			}
		}
	}
	if v.alone || !w.alone || v.Sky.Source != sky.FromFleet || w.Sky.Source != sky.FromSelf {
		t.Error("what was given is changed")
	}
}

// A loss of a lone array is believed where it is sharp and lies below other years.
func TestSurely(t *testing.T) {
	v := box(1200)
	v.alone = true
	undated := v
	own := *v.record
	site := *v.Site
	site.CommissionedOn = time.Time{}
	own.Site = &site
	undated.record = &own
	slide := func(n int, last float64) points {
		p := pts([2]float64{float64(n), 1})
		for i := n - 50; i < n; i++ {
			p.x[i] = last
		}
		return p
	}
	for _, c := range []struct {
		what string
		v    view
		p    points
		d    drop
		lost float64
		want bool
	}{
		{"sharp, and lasts sixty days", v, pts([2]float64{200, 1}, [2]float64{61, 0.8}), drop{from: 200, to: 261}, 0.2, true},
		{"lasts 59 days", v, pts([2]float64{200, 1}, [2]float64{60, 0.8}), drop{from: 200, to: 260}, 0.2, false},
		{"mended within 59", v, pts([2]float64{200, 1}, [2]float64{30, 0.8}, [2]float64{100, 1}), drop{from: 200, to: 230}, 0.2, true},
		{"seven points", v, pts([2]float64{200, 1}, [2]float64{7, 0.8}, [2]float64{100, 1}), drop{from: 200, to: 207}, 0.2, false},
		{"eight points", v, pts([2]float64{200, 1}, [2]float64{8, 0.8}, [2]float64{100, 1}), drop{from: 200, to: 208}, 0.2, true},
		{"0.6 of it at once", v, pts([2]float64{197, 1}, [2]float64{3, 0.9}, [2]float64{8, 0.78}, [2]float64{70, 0.8}), drop{from: 200, to: 278}, 0.2, true},
		{"half of it at once", v, pts([2]float64{195, 1}, [2]float64{5, 0.9}, [2]float64{80, 0.8}), drop{from: 200, to: 280}, 0.2, false},
		{"comes back by and by", v, pts([2]float64{200, 1}, [2]float64{60, 0.8}, [2]float64{10, 0.9}, [2]float64{50, 1}), drop{from: 200, to: 260}, 0.2, false},
		{"as in the year before", v, pts([2]float64{100, 1}, [2]float64{100, 0.8}, [2]float64{265, 1}, [2]float64{100, 0.8}), drop{from: 465, to: 565}, 0.2, false},
		{"unlike the year before", v, pts([2]float64{465, 1}, [2]float64{100, 0.8}), drop{from: 465, to: 565}, 0.2, true},
		{"from the first day on, ninety days", v, pts([2]float64{91, 0.8}, [2]float64{100, 1}), drop{from: 0, to: 91}, 0.2, true},
		{"89 days", v, pts([2]float64{90, 0.8}, [2]float64{100, 1}), drop{from: 0, to: 90}, 0.2, false},
		{"in much noise", v, func() points {
			p := pts([2]float64{200, 1}, [2]float64{61, 0.8})
			p.noise = 0.4 // 0.2 over 0.4·√(3/61) are 2.25 sigma: 0.46
			return p
		}(), drop{from: 200, to: 261}, 0.2, false},
		{"a slide against the first year", v, slide(500, 0.9), drop{from: 300, to: 500, slid: true}, 0.2, true},
		{"a slide of less", v, slide(500, 0.93), drop{from: 300, to: 500, slid: true}, 0.2, false},
		{"a slide without a year before", v, slide(300, 0.8), drop{from: 200, to: 300, slid: true}, 0.2, false},
	} {
		if got := surely(&c.v, c.p, c.d, c.lost); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	// a drop whose edges nobody saw: 150 days below the same dates of other years, or from the first day on where the register gives no date
	for _, c := range []struct {
		what string
		v    view
		d    [2]int // days
		want bool
	}{
		{"150 days", v, [2]int{600, 751}, true}, {"149 days", v, [2]int{600, 750}, false},
	} {
		var p points
		p.noise = 0.01
		for day := range 1100 {
			x := 1.0
			if day >= c.d[0] && day < c.d[1] {
				x = 0.8
			}
			if day >= c.d[0]-41 && day < c.d[0] || day >= c.d[1] && day < c.d[1]+41 {
				continue // nothing near the edges
			}
			p.day, p.x, p.w = append(p.day, day), append(p.x, x), append(p.w, 1)
		}
		from := slices.Index(p.day, c.d[0])
		if got := surely(&c.v, p, drop{from: from, to: from + c.d[1] - c.d[0]}, 0.2); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	var p points
	p.noise = 0.01
	for day := range 200 {
		if day < 100 || day >= 150 {
			p.day, p.x, p.w = append(p.day, day), append(p.x, 1), append(p.w, 1)
		}
	}
	for i := range 100 {
		p.x[i] = 0.8
	}
	if d := (drop{from: 0, to: 100}); surely(&v, p, d, 0.2) || !surely(&undated, p, d, 0.2) {
		t.Error("from the first day on, and no edge was seen: only where the register gives no date")
	}
	v.alone = false
	if !surely(&v, p, drop{from: 0, to: 3}, 0.2) || !surelyGrew(&v, p, 3, 0.2) {
		t.Error("where others tell the sky nothing is asked")
	}
}

// Growth of a lone array is sharp, with ninety days before it.
func TestSurelyGrew(t *testing.T) {
	v := box(10)
	v.alone = true
	for _, c := range []struct {
		before float64
		edge   float64
		want   bool
	}{{90, 0.3, true}, {89, 0.3, false}, {90, 0.181, true}, {90, 0.179, false}} {
		p := pts([2]float64{c.before, 1}, [2]float64{5, 1 + c.edge}, [2]float64{60, 1.3})
		if got := surelyGrew(&v, p, int(c.before), 0.3); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// An edge is the difference of the medians of up to five points within forty days to
// either side.
func TestEdge(t *testing.T) {
	p := pts([2]float64{20, 1}, [2]float64{20, 0.8})
	closeTo(t, "edge", p.edge(20), -0.2, 1e-12)
	closeTo(t, "one point off", p.edge(21), -0.2, 1e-12) // 1 1 1 1 0.8 against 0.8
	closeTo(t, "three points off", p.edge(23), 0, 1e-12) // 1 1 0.8 0.8 0.8
	for _, at := range []int{-1, 0, 2, 38, 40, 41} {
		if got := p.edge(at); !math.IsNaN(got) {
			t.Errorf("at %d: %v", at, got)
		}
	}
	if got := p.edge(3); got != 0 || p.edge(37) != 0 {
		t.Errorf("three points: %v", got)
	}
	for gap, want := range map[int]bool{38: true, 39: false} { // days 17 to 19 before 20 + gap: the last three within forty
		q := pts([2]float64{20, 1}, [2]float64{20, 0.8})
		for i := 20; i < 40; i++ {
			q.day[i] += gap - 1
		}
		if got := q.edge(20); math.IsNaN(got) == want {
			t.Errorf("%d days apart: %v", gap, got)
		}
	}
	for last, want := range map[int]bool{60: true, 61: false} { // 20, 21 and one that lies forty days on
		q := pts([2]float64{20, 1}, [2]float64{3, 0.8})
		q.day[22] = last
		if got := q.edge(20); math.IsNaN(got) == want {
			t.Errorf("a point on day %d: %v", last, got)
		}
	}
}

// The same dates of other years, in tens of days.
func TestOtherYears(t *testing.T) {
	p := pts([2]float64{365, 1}, [2]float64{100, 0.8}, [2]float64{100, 1})
	closeTo(t, "against the year before", p.otherYears(drop{from: 365, to: 465}), -0.2, 1e-12)
	for i := range 100 {
		p.x[i] = 0.9
	}
	closeTo(t, "which was low too", p.otherYears(drop{from: 365, to: 465}), -0.1, 1e-12)
	short := pts([2]float64{100, 1}, [2]float64{50, 0.8}, [2]float64{100, 1})
	if got := short.otherYears(drop{from: 100, to: 150}); !math.IsNaN(got) {
		t.Errorf("no other year: %v", got)
	}
	for n, want := range map[int]bool{2: false, 3: true} { // points of the year before on those dates
		var q points
		for i := range n {
			q.day, q.x = append(q.day, i), append(q.x, 1)
		}
		for i := range 10 {
			q.day, q.x = append(q.day, 365+i), append(q.x, 0.8)
		}
		if got := q.otherYears(drop{from: n, to: n + 10}); math.IsNaN(got) == want {
			t.Errorf("%d points: %v", n, got)
		}
	}
}

// The last 45 days against the same of the first year that has them.
func TestEarlierYears(t *testing.T) {
	p := pts([2]float64{365, 1}, [2]float64{365, 0.9}, [2]float64{100, 0.7})
	closeTo(t, "against the first year", p.earlierYears(830), -0.3, 1e-12)
	closeTo(t, "a year on", p.earlierYears(700), -0.1, 1e-12)
	if got := p.earlierYears(300); got != 0 {
		t.Errorf("no year before: %v", got)
	}
	// what lies 320 days back is another season, 321 days back it is not, as is 410
	for ago, want := range map[int]float64{319: 0, 320: 0, 321: -0.2, 365: -0.2, 410: -0.2, 411: 0, 684: 0, 685: -0.2, 775: -0.2, 776: 0} {
		var q points
		for range 3 {
			q.day, q.x = append(q.day, 1000-ago), append(q.x, 1)
		}
		for _, d := range []int{955, 980, 1000} {
			q.day, q.x = append(q.day, d), append(q.x, 0.8)
		}
		if got := q.earlierYears(6); math.Abs(got-want) > 1e-12 {
			t.Errorf("%d days ago: %v", ago, got)
		}
		q.day[3] = 954 // two are left of these weeks
		if got := q.earlierYears(6); got != 0 {
			t.Errorf("two points now: %v", got)
		}
		if got := q.earlierYears(5); got != 0 {
			t.Errorf("two points now: %v", got)
		}
	}
	// of the first year eight points tell
	var q points
	for i := range 8 {
		q.day, q.x = append(q.day, i), append(q.x, 1)
	}
	for i := range 20 {
		q.day, q.x = append(q.day, 10+i), append(q.x, 0.5)
	}
	for i := range 10 {
		q.day, q.x = append(q.day, 365+i), append(q.x, 0.8)
	}
	closeTo(t, "the first eight", q.earlierYears(38), -0.2, 1e-12)
}

// Output that was lower from the first day on and rose for good, of an array without a
// date: modules came.
func TestGrewIn(t *testing.T) {
	v := box(300)
	site := *v.Site
	site.CommissionedOn = time.Time{}
	v.Site = &site
	p := pts([2]float64{100, 0.8}, [2]float64{61, 1})
	for _, c := range []struct {
		what string
		p    points
		d    drop
		lost float64
		want bool
	}{
		{"sixty days on", p, drop{from: 0, to: 100}, 0.2, true}, {"a tenth", p, drop{from: 0, to: 100}, 0.1, true}, {"less", p, drop{from: 0, to: 100}, 0.099, false},
		{"later", p, drop{from: 1, to: 100}, 0.2, false}, {"to the end", p, drop{from: 0, to: 161}, 0.2, false},
		{"59 days on", pts([2]float64{100, 0.8}, [2]float64{60, 1}), drop{from: 0, to: 100}, 0.2, false},
	} {
		say, got := grewIn(&v, c.p, c.d, c.lost)
		if got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
		if c.what == "sixty days on" && !strings.Contains(say.Says, "rose by 25 % about "+boxDate(100).Format("2006-01-02")) {
			t.Errorf("%s: %s", c.what, say.Says)
		}
	}
	q := pts([2]float64{100, 0.8}, [2]float64{61, 1})
	for i := 100; i < 161; i++ {
		q.day[i] += 20 // twenty days between told nothing: the middle of day 100 and 120
	}
	if say, _ := grewIn(&v, q, drop{from: 0, to: 100}, 0.97); !strings.Contains(say.Says, boxDate(110).Format("2006-01-02")) || !strings.Contains(say.Says, "1940 %") { // 0.97/(1 - 0.95)
		t.Errorf("%+v", say)
	}
	site.CommissionedOn = boxDate(0)
	if _, got := grewIn(&v, p, drop{from: 0, to: 100}, 0.2); got {
		t.Error("the register has a date")
	}
}

// What is wrong with a clock, in words.
func TestWordsOfAClock(t *testing.T) {
	v := box(60)
	for _, c := range []struct {
		clock sky.Clock
		want  []string
		not   string
	}{
		{sky.Clock{Late: 1}, []string{"1 h late throughout", "stamp: end instead of start", "the facing is not told"}, "summer"},
		{sky.Clock{Late: -1}, []string{"1 h early throughout", "stamp: start instead of end"}, "summer"},
		{sky.Clock{Late: 0.5}, []string{"0.5 h late throughout", "half hours"}, "instead"},
		{sky.Clock{Late: -0.5}, []string{"0.5 h early throughout", "half hours"}, "instead"},
		{sky.Clock{Summer: 1}, []string{"in summer they are 1 h late", "the facing is not told"}, "throughout"},
		{sky.Clock{Summer: -1}, []string{"in summer they are 1 h early", "the facing is not told"}, "throughout"},
		{sky.Clock{Stretches: []sky.Stretch{{From: 3, To: 9, Late: 2}}}, []string{"from 2025-01-04 to 2025-01-10 the stamps are 2 h late", "left out of the facing"}, "not told"},
	} {
		v.clock = c.clock
		got := clockSays(&v)
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%+v: %q lacks %q", c.clock, got, want)
			}
		}
		if strings.Contains(got, c.not) {
			t.Errorf("%+v: %q has %q", c.clock, got, c.not)
		}
	}
	// sums of days have no clock; what was found before is taken, unless the array began meanwhile
	off := sky.Clock{Late: 1, Days: slices.Repeat([]float64{1}, 60)}
	v.clock, v.Clock = sky.Clock{}, &off
	if w, say := checkClock(v); codes(say) != "clock_off" || w.wh[11] != v.wh[12] {
		t.Errorf("%+v", say)
	}
	v.Series.StepMinutes = 61
	if _, say := checkClock(v); say.caveats != nil {
		t.Errorf("sums of days: %+v", say)
	}
	v.Series.StepMinutes = 60
	v.begins = v.Series.Start + 24
	if _, say := checkClock(v); say.caveats != nil {
		t.Errorf("an array that began: %+v", say)
	}
}
