package change

import (
	"math"
	"testing"

	"rowen/analyze/demand/fit"
)

// stepped is a home that used 20 kWh a day and from a day on 2 · 2 kWh more: winter of
// them in the cold half of the year, summer in the warm half.
func stepped(n, day int, what fit.Answer, winter, summer float64) *Story {
	d, x := plainDays(n), make([]float64, n)
	s := &Story{Days: d, Fit: fit.Fit{EventDay: make([]float64, n)}, Steps: Steps{{Step: fit.Step{Day: day, Beta: 2}, What: what}}}
	for k := range n {
		x[k] = 2
		if k < day {
			continue
		}
		s.Fit.EventDay[k] = 4
		if d.Winter(k) > 0 {
			d.KWh[k] += 4 * winter
		} else {
			d.KWh[k] += 4 * summer
		}
	}
	s.Columns = fit.Columns{Method: fit.MethodCalendar, Answers: []fit.Column{{What: what, X: x, Year: 365.25}}}
	return s
}

// What must be seen of a step in like days of two years: half of it in all, a
// quarter in each half of the year that its answer knows.
func TestStepsNeedLikeDays(t *testing.T) {
	for _, c := range []struct {
		what           string
		answer         fit.Answer
		winter, summer float64
		method         string
		kept           bool
	}{
		{"all of it", fit.ToNothing, 1, 1, fit.MethodCalendar, true},
		{"half of it", fit.ToNothing, 0.5, 0.5, fit.MethodCalendar, true},
		{"less than half", fit.ToNothing, 0.49, 0.49, fit.MethodCalendar, false},
		{"a quarter in winter, all in summer", fit.ToNothing, 0.25, 1, fit.MethodCalendar, true},
		{"less in winter", fit.ToNothing, 0.2, 1, fit.MethodCalendar, false},
		{"less in summer", fit.ToNothing, 1, 0.2, fit.MethodCalendar, false},
		{"heating in winter", fit.ToCold, 1, 0, fit.MethodCalendar, true},
		{"heating in summer", fit.ToCold, 0, 1, fit.MethodCalendar, false},
		{"cooling in summer", fit.ToHeat, 0, 1, fit.MethodCalendar, true},
		{"cooling in winter", fit.ToHeat, 1, 0, fit.MethodCalendar, false},
		{"a summer's level", fit.ToSummer, 0, 1, fit.MethodCalendar, true},
		{"less than half, the fleet tells the season", fit.ToNothing, 0.3, 0.3, fit.MethodSeason, true},
		{"like days contradict the fleet", fit.ToNothing, 0.2, 1, fit.MethodSeason, false},
	} {
		s := stepped(800, 400, c.answer, c.winter, c.summer)
		s.Columns.Method = c.method
		// Heating and cooling are seen on the days of their own half; here on all.
		if kept, dropped := s.confirmed(); (len(kept) == 1) != c.kept || dropped == c.kept {
			t.Errorf("%s: kept %v, dropped %v", c.what, kept, dropped)
		}
		s.Steps[0].Known = true
		if kept, dropped := s.confirmed(); len(kept) != 1 || dropped {
			t.Errorf("%s: a known step was dropped", c.what)
		}
		s.Steps[0].Known, s.Columns.Measured = false, s.Days.Counted
		if kept, _ := s.confirmed(); len(kept) != 1 {
			t.Errorf("%s: the thermometer vouches for it, and it was dropped", c.what)
		}
	}
}

// 28 pairs of days in the cold half are enough, 27 are not: then only the fleet's
// season speaks for the step.
func TestLikeDaysMustBeEnough(t *testing.T) {
	for _, what := range []fit.Answer{fit.ToCold, fit.ToHeat} {
		for pairs, kept := range map[int]int{28: 1, 27: 0} {
			s := stepped(800, 400, what, 1, 1)
			seen := 0
			for k := 400; k < 800; k++ {
				if own := s.Days.Winter(k) > 0 == (what == fit.ToCold); own && k < 764 {
					seen++
					s.Days.Counted[k] = seen <= pairs
				}
			}
			if got, _ := s.confirmed(); len(got) != kept {
				t.Errorf("answer %d, %d pairs: kept %d", what, pairs, len(got))
			}
			s.Columns.Method = fit.MethodSeason
			if got, _ := s.confirmed(); len(got) != 1 {
				t.Errorf("answer %d, %d pairs, the fleet tells the season: dropped", what, pairs)
			}
		}
	}
}

// Pairs are 364 days apart with the step between them, on days that count and on
// which the column is at least 0.3 of its most; what other steps add is taken out.
func TestLikeYears(t *testing.T) {
	for _, c := range []struct {
		n, day, pairs int // in both halves
	}{{800, 400, 364}, {500, 400, 100}, {800, 200, 200}, {300, 200, 0}} {
		s := stepped(c.n, c.day, fit.ToNothing, 0.75, 0.75)
		for k := c.n - 50; k < c.n; k++ { // a second step of 6 kWh
			s.Days.KWh[k] += 6
			s.Fit.EventDay[k] += 6
		}
		cold, warm := s.likeYears(0, 1), s.likeYears(0, -1)
		if len(cold)+len(warm) != c.pairs {
			t.Errorf("%d days, step on day %d: %d and %d pairs, want %d", c.n, c.day, len(cold), len(warm), c.pairs)
		}
		for _, v := range append(cold, warm...) {
			near(t, "share", v, 0.75, 1e-12)
		}
	}
	s := stepped(800, 400, fit.ToNothing, 1, 1)
	x := s.Columns.Answers[0].X
	x[500], x[501], x[502] = 1.2, 1.19, 4 // of a most of 4: only what is 1.2 and more
	s.Days.Counted[510], s.Days.Counted[520-364] = false, false
	all := append(s.likeYears(0, 1), s.likeYears(0, -1)...)
	if len(all) != 364-1-2 {
		t.Errorf("%d pairs", len(all))
	}
	s.Days.KWh[502] += 4 // twice the column: eight kWh
	s.Fit.EventDay[502] = 8
	near(t, "share on a day of twice the column", s.likeYears(0, s.Days.Winter(502))[0], 1, 1e-12)
	if v := typical(nil); v == v {
		t.Errorf("typical of none: %g", v)
	}
	near(t, "typical", typical([]float64{5, 1, 2}), 2, 0)
}

// A thermometer vouches where it covers nine tenths of the days that count in the
// year before and in the year after.
func TestAThermometerVouches(t *testing.T) {
	for _, c := range []struct {
		what       string
		day        int
		from, many int // days without a temperature
		want       bool
	}{
		{"36 of the year before", 500, 200, 36, true},
		{"37 of the year before", 500, 200, 37, false}, // 328 of 365 are under 0.9
		{"36 of the year after", 500, 600, 36, true},
		{"37 of the year after", 500, 600, 37, false},
		{"more than a year before", 500, 0, 135, true},
		{"more than a year after", 500, 865, 135, true},
		{"ten of 100 days before", 100, 20, 10, true},
		{"eleven of 100 days before", 100, 20, 11, false},
		{"ten of 100 days after", 900, 950, 10, true},
		{"eleven of 100 days after", 900, 950, 11, false},
	} {
		s := Story{Days: plainDays(1000), Columns: fit.Columns{Measured: fit.Resize([]bool(nil), 1000)}}
		for k := range 1000 {
			s.Columns.Measured[k] = k < c.from || k >= c.from+c.many
		}
		if got := s.vouched(c.day); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
		for k := range 1000 {
			s.Days.Counted[k] = s.Columns.Measured[k]
		}
		if !s.vouched(c.day) {
			t.Errorf("%s: days that do not count were asked for", c.what)
		}
	}
	if (&Story{Days: plainDays(10)}).vouched(5) {
		t.Error("no thermometer, and yet")
	}
	near(t, "the middle of January", plainDays(400).Winter(16), 1, 1e-3)
	if math.Signbit(plainDays(400).Winter(80)) || !math.Signbit(plainDays(400).Winter(120)) {
		t.Error("the cold half ends in the middle of April")
	}
}
