package change

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"rowen/analyze/demand/fit"
)

// aSearch looks over n days of 10 kWh with columns of ones; the gain of a day is
// its squared coefficient.
func aSearch(n int, method string) *search {
	d, c := plainDays(n), &fit.Columns{Method: method}
	ones := make([]float64, n)
	for k := range ones {
		ones[k] = 1
	}
	for what := range fit.NumAnswers {
		c.Answers = append(c.Answers, fit.Column{What: what, X: ones, Year: 365.25})
	}
	s := &search{p: fit.Problem{Days: d, Columns: c}, penalty: 10, use: 10, left: make([]float64, n)}
	for t := range 3 {
		s.beta, s.lr[t] = append(s.beta, make([]float64, n)), 1
	}
	for range c.Answers {
		s.ranges = append(s.ranges, stepRange{0, n, 0, n})
	}
	for k := range n {
		s.left[k] = 1
	}
	return s
}

// A gain is β²·left in long-run variances: 9·4/2 = 18 in the day's consumption,
// 4·4/1 = 16 in a target that moves the same way; one that moves the other way
// bears no witness.
func TestGainsOfAStep(t *testing.T) {
	s := aSearch(3, fit.MethodCalendar)
	s.left[0], s.left[1], s.lr[0] = 4, 0, 2
	s.beta[0][0], s.beta[1][0], s.beta[2][0] = 3, 2, -5
	s.beta[0][1] = 3
	own, witness := s.gains(0)
	near(t, "own", own, 18, 1e-12)
	near(t, "witness", witness, 16, 1e-12)
	s.lr[1] = 8
	_, witness = s.gains(0)
	near(t, "noisy witness", witness, 2, 1e-12)
	s.beta[2][0] = 1
	_, witness = s.gains(0)
	near(t, "the better of two", witness, 4, 1e-12)
	if own, witness := s.gains(1); own != 0 || witness != 0 {
		t.Errorf("nothing new in the column gains %g and %g", own, witness)
	}
}

// With a penalty of 10: alone more than 10; beside a witness of more than 20,
// more than 6; a heat pump of 2,000 kWh at the readings' edge 7 of both.
func TestWhatAStepMustGain(t *testing.T) {
	level, cold := fit.ToNothing, fit.ToCold
	for _, c := range []struct {
		what         string
		answer       fit.Answer
		day          int
		own, witness float64
		method       string
		blind, pays  bool
	}{
		{"enough alone", level, 50, 10.1, 0, fit.MethodCalendar, false, true},
		{"the penalty itself", level, 50, 10, 0, fit.MethodCalendar, false, false},
		{"blind, alone", level, 50, 11, 0, fit.MethodCalendar, true, false},
		{"blind, with a witness", level, 50, 6.1, 20.1, fit.MethodCalendar, true, true},
		{"a weak witness", level, 50, 6.1, 20, fit.MethodCalendar, false, false},
		{"weak with a witness", level, 50, 6, 20.1, fit.MethodCalendar, false, false},
		{"first day that is well seen", level, 20, 10.1, 0, fit.MethodCalendar, false, true},
		{"the day before", level, 19, 10.1, 30, fit.MethodCalendar, false, false},
		{"last day", level, 79, 10.1, 0, fit.MethodCalendar, false, true},
		{"the day after", level, 80, 10.1, 30, fit.MethodCalendar, false, false},
		{"a heat pump at the end", cold, 80, 7.1, 7.1, fit.MethodSeason, false, true},
		{"seen by few", cold, 80, 7.1, 7, fit.MethodSeason, false, false},
		{"hardly seen", cold, 80, 7, 9, fit.MethodSeason, false, false},
		{"at the beginning, by the fleet's season", cold, 19, 9, 9, fit.MethodSeason, false, false},
		{"at the beginning, by the thermometer", cold, 19, 9, 9, fit.MethodDegreeDays, false, true},
		{"with 0.03 of a season before", cold, 12, 9, 9, fit.MethodDegreeDays, false, false},
		{"with a little more", cold, 13, 9, 9, fit.MethodDegreeDays, false, true},
		{"with 0.05 of a season after", cold, 83, 9, 9, fit.MethodDegreeDays, false, false},
		{"a level of that size at the end", level, 80, 9, 9, fit.MethodDegreeDays, false, false},
	} {
		s := aSearch(100, c.method)
		s.blind = c.blind
		a := &s.p.Columns.Answers[c.answer]
		a.Year = 400 // twelve days are 0.03 of it
		if c.day >= 80 {
			a.Year = 340 // 17 days are 0.05 of it
		}
		s.beta[0][c.day] = 2001 / a.Year
		if got := s.pays(a, stepRange{0, 100, 20, 80}, c.day, c.own, c.witness); got != c.pays {
			t.Errorf("%s: pays %v", c.what, got)
		}
		if s.beta[0][c.day] = 1999 / a.Year; a.What == cold && s.pays(a, stepRange{0, 100, 20, 80}, c.day, c.own, c.witness) {
			t.Errorf("%s: pays with less than 2,000 kWh a year", c.what)
		}
	}
}

// The least sizes: 400 kWh a year; a level 2 kWh a day and a tenth of the
// consumption, unless a sharper target sees it; a heating slope of 0.3 by the
// thermometer. The most is one and a half times the consumption.
func TestLeastSizeOfAStep(t *testing.T) {
	for _, c := range []struct {
		what   string
		answer fit.Answer
		beta   float64
		year   float64 // of the column
		use    float64
		day    int
		seen   bool
		enough bool
	}{
		{"2 kWh a day", fit.ToNothing, 2, 365.25, 10, 50, false, true},
		{"less", fit.ToNothing, 1.99, 365.25, 10, 50, true, false},
		{"2 less", fit.ToNothing, -2, 365.25, 10, 50, false, true},
		{"a tenth of 20", fit.ToNothing, 2, 365.25, 20, 50, false, true},
		{"less than a tenth of 21", fit.ToNothing, 2, 365.25, 21, 50, false, false},
		{"which a witness saw", fit.ToNothing, 2, 365.25, 21, 50, true, true},
		{"400 kWh a year", fit.ToSummer, 4, 100, 10, 50, false, true},
		{"399 kWh a year", fit.ToSummer, 3.99, 100, 10, 50, false, false},
		{"2 kWh a summer's day", fit.ToSummer, 2, 200, 10, 50, false, true},
		{"fewer", fit.ToSummer, 1.99, 250, 10, 50, false, false},
		{"one and a half times 10 kWh", fit.ToNothing, 15, 365.25, 10, 50, false, true},
		{"more", fit.ToNothing, 15.1, 365.25, 10, 50, false, false},
		{"as many less", fit.ToNothing, -15.1, 365.25, 10, 50, false, false},
		{"one summer, a tenth of the year's use", fit.ToHeat, 366, 1, 10, 50, false, true},
		{"one summer, less than a tenth", fit.ToHeat, 13, 40, 20, 50, false, false},
		{"one and a half summers", fit.ToHeat, 13, 40, 20, 40, false, true}, // 60 of 40 days from day 40 on
		{"a slope of 0.3", fit.ToCold, 0.3, 2000, 10, 50, false, true},
		{"less", fit.ToCold, 0.29, 2000, 10, 50, false, false},
		{"0.3 down", fit.ToCold, -0.3, 2000, 10, 50, false, true},
	} {
		s := aSearch(100, fit.MethodDegreeDays)
		s.use = c.use
		s.p.Columns.Answers[c.answer].Year = c.year
		if c.what == "one summer, a tenth of the year's use" {
			s.p.Columns.Answers[c.answer].Year, s.use = 100, 10.02 // 366 kWh are a tenth of 10.02 · 365.25
			c.beta = 4.1
		}
		step := aStep(c.answer, c.day, c.beta, 9)
		if got := s.bigEnough(step, c.seen); got != c.enough {
			t.Errorf("%s: enough %v", c.what, got)
		}
	}
	s := aSearch(100, fit.MethodSeason)
	s.p.Columns.Answers[fit.ToCold].Year = 2000
	if !s.bigEnough(aStep(fit.ToCold, 50, 0.25, 9), false) {
		t.Error("a shape of the season has no slope in K·days to hold it to")
	}
}

// A day may as well be the step's where its gain is within 2.71 of the best, over
// days not read, and inside the range. What follows the weather sleeps over 0.04
// of a year's worth (0.15 without a thermometer).
//
// Before day 50: 1 + 1.5 + 1 of 4, or 12 days more of 15; from it on: 2.5 + 1.5 of
// 4, or eleven more of 15.
func TestRangeOfADate(t *testing.T) {
	for _, c := range []struct {
		what      string
		method    string
		answer    fit.Answer
		gain      map[int]float64 // beside 30 on day 50 and 0 elsewhere
		hole      int
		lo, hi    int
		low, high int
	}{
		{"neighbors that fit as well", fit.MethodCalendar, fit.ToNothing, map[int]float64{49: 28, 48: 27, 51: 27.4, 52: 27.4, 53: 27}, 0, 0, 100, 49, 52},
		{"at the range's ends", fit.MethodCalendar, fit.ToNothing, map[int]float64{48: 29, 49: 29, 51: 29, 52: 29}, 0, 49, 52, 49, 51},
		{"over a day not read", fit.MethodCalendar, fit.ToNothing, map[int]float64{49: 0, 48: 29, 51: 1}, 49, 0, 100, 48, 50},
		{"asleep for 3 days before and 2 after", fit.MethodDegreeDays, fit.ToCold, nil, 0, 0, 100, 47, 52},
		{"asleep for 14 and 13 days", fit.MethodSeason, fit.ToHeat, nil, 0, 0, 100, 36, 63},
	} {
		s := aSearch(100, c.method)
		for k, gain := range c.gain {
			s.beta[0][k] = math.Sqrt(gain)
		}
		s.beta[0][50], s.beta[1][50] = math.Sqrt(20), math.Sqrt(10) // a witness in it
		if c.hole > 0 {
			s.p.Days.Counted[c.hole] = false
		}
		s.ranges[c.answer] = stepRange{c.lo, c.hi, 0, 100}
		x := slices.Clone(s.p.Columns.Answers[c.answer].X) // a day is 0.01 of a year's worth
		x[48], x[50], x[51] = 1.5, 2.5, 1.5
		a := &s.p.Columns.Answers[c.answer]
		a.X, a.Year = x, 100
		low, high := s.rangeOf(aStep(c.answer, 50, 1, 30), 30)
		if low != c.low || high != c.high {
			t.Errorf("%s: day %d to %d, want %d to %d", c.what, low, high, c.low, c.high)
		}
	}
	s := aSearch(60, fit.MethodSeason) // asleep to the readings' ends
	s.p.Columns.Answers[fit.ToHeat].Year = 1e4
	if low, high := s.rangeOf(aStep(fit.ToHeat, 50, 1, 30), 30); low != 0 || high != 59 {
		t.Errorf("asleep all along: day %d to %d", low, high)
	}
}

// No level is looked for within 24 days of one that is known; a search that is
// narrowed to a step looks at its answer within 31 days only.
func TestWhereASearchLooks(t *testing.T) {
	s := aSearch(300, fit.MethodCalendar)
	s.taken = []int{100}
	level, cold := &s.p.Columns.Answers[fit.ToNothing], &s.p.Columns.Answers[fit.ToCold]
	for day, taken := range map[int]bool{75: false, 76: true, 100: true, 124: true, 125: false} {
		if s.isTaken(level, day) != taken || s.isTaken(cold, day) {
			t.Errorf("day %d: taken %v for a level, %v for heating", day, s.isTaken(level, day), s.isTaken(cold, day))
		}
	}
	s.ranges[fit.ToNothing].lo, s.ranges[fit.ToNothing].hi = 28, 273
	s.only(aStep(fit.ToNothing, 100, 1, 9))
	if r := s.ranges[fit.ToNothing]; r.lo != 69 || r.hi != 132 {
		t.Errorf("around day 100: %+v", r)
	}
	if r := s.ranges[fit.ToCold]; r.lo < r.hi {
		t.Errorf("another answer is still looked at: %+v", r)
	}
	s.ranges[fit.ToNothing].lo, s.ranges[fit.ToNothing].hi = 90, 110
	s.only(aStep(fit.ToNothing, 100, 1, 9))
	if r := s.ranges[fit.ToNothing]; r.lo != 90 || r.hi != 110 {
		t.Errorf("wider than before: %+v", r)
	}
}

// The best day is the one with the most gain of both together, among those that
// may be it. A level of 2 kWh of 25 a day is too little unless its witness gains
// more than twice the penalty of 10.
func TestBestDayOfAColumn(t *testing.T) {
	for _, c := range []struct {
		what  string
		gains map[int][2]float64 // own and the witness's, by day
		alter func(s *search)
		day   int // -1: none
	}{
		{"the most of both", map[int][2]float64{40: {20, 0}, 60: {15, 25}}, nil, 60},
		{"a day not read", map[int][2]float64{40: {20, 0}, 60: {15, 25}}, func(s *search) { s.p.Days.Counted[60] = false }, 40},
		{"near a known step", map[int][2]float64{40: {20, 0}, 60: {15, 25}}, func(s *search) { s.taken = []int{80} }, 40},
		{"outside the range", map[int][2]float64{40: {20, 0}, 60: {15, 25}}, func(s *search) { s.ranges[0].hi = 60 }, 40},
		{"what does not pay", map[int][2]float64{40: {20, 0}, 60: {5, 50}}, nil, 40},
		{"small, and seen", map[int][2]float64{60: {12, 20.1}}, func(s *search) { s.use = 25 }, 60},
		{"small, and hardly seen", map[int][2]float64{60: {12, 20}}, func(s *search) { s.use = 25 }, -1},
		{"nothing", nil, nil, -1},
	} {
		s := aSearch(100, fit.MethodCalendar)
		for day, g := range c.gains {
			s.beta[0][day], s.left[day] = 2, g[0]/4
			s.beta[1][day] = math.Sqrt(g[1] / s.left[day])
		}
		if c.alter != nil {
			c.alter(s)
		}
		got, sum, ok := s.bestOf(0)
		if ok != (c.day >= 0) || ok && (got.Day != c.day || math.Abs(got.Gain-c.gains[c.day][0]) > 1e-9 || math.Abs(sum-c.gains[c.day][0]-c.gains[c.day][1]) > 1e-9) {
			t.Errorf("%s: %v %+v, of %g together", c.what, ok, got, sum)
		}
	}
	// A heat pump before enough of a season was seen: only where some day before
	// it can not be its own.
	for year, ok := range map[float64]bool{420: true, 520: false} { // asleep for 16 days; for 20
		s := aSearch(100, fit.MethodDegreeDays)
		s.use, s.ranges[fit.ToCold].seenFrom = 1e3, 30
		s.p.Columns.Answers[fit.ToCold].Year = year
		s.beta[0][18], s.beta[1][18] = 5, 5
		if _, _, got := s.bestOf(int(fit.ToCold)); got != ok {
			t.Errorf("a heat pump on day 18 that may sleep for %g days: %v", 0.04*year, got)
		}
	}
}

// Only a level that is known keeps others away from its days.
func TestWhatASearchKnows(t *testing.T) {
	d := household(8, 800, func(int, *rand.Rand) float64 { return 0 })
	w := new(fit.Workspace)
	c := fit.NewColumns(w, d, fit.Weather{})
	p := fit.Problem{Days: d, Columns: &c, Root: fit.Equal(800), Start: fit.FirstStart(d)}
	known, cold := aStep(fit.ToNothing, 100, 1, 9), aStep(fit.ToCold, 300, 1, 9)
	known.Known, cold.Known = true, true
	s := newSearch(w, p, Steps{known, cold, aStep(fit.ToNothing, 500, 1, 9)})
	if !slices.Equal(s.taken, []int{100}) {
		t.Errorf("levels are kept away from %v", s.taken)
	}
	for k := range c.Answers {
		lo, hi := daysAround(d, &c.Answers[k])
		from, to := wellSeen(d, &c.Answers[k], false)
		if got := s.ranges[k]; got != (stepRange{lo, hi, from, to}) {
			t.Errorf("answer %d: %+v", c.Answers[k].What, got)
		}
	}
	near(t, "penalty", s.penalty, 3*math.Log(800), 1e-9)
	near(t, "consumption a day", s.use, 20, 0.2)
}
