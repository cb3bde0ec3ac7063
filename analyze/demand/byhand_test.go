package demand

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
	"rowen/ingest"
)

var nan = math.NaN()

// flatStory is n days of kWh each from 2025-01-01 on, fitted: the base is kWh on
// every day, and nothing drifts.
func flatStory(n int, kWh float64) *change.Story {
	d := &fit.Days{First: 20089, KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n), Absent: make([]bool, n), Gross: true}
	for k := range n {
		d.KWh[k], d.Share[k], d.Counted[k] = kWh, 1, true
	}
	d.Targets = [][]float64{d.KWh}
	d.Recount()
	s := &change.Story{Days: d, Columns: fit.NewColumns(new(fit.Workspace), d, fit.Weather{}), Root: fit.Equal(n)}
	s.Fit, _ = fit.Solve(new(fit.Workspace), fit.Problem{Days: d, Columns: &s.Columns, Root: s.Root, Start: fit.FirstStart(d)}, nil)
	for k := range n {
		s.Fit.Base[k], s.Fit.Resid[k] = kWh, 0
	}
	s.Fit.BaseNormal = slices.Clone(s.Fit.Base)
	s.Fit.Drift = 0
	return s
}

// Four hours of 1 kWh each, of four: 4 kWh. Three of four make 3/0.75 = 4; two are too few.
func TestMonthsAreScaledToTheirLength(t *testing.T) {
	for _, c := range []struct {
		wh         []float64
		lo, hi     int
		length     float64
		kwh, share float64
	}{
		{[]float64{9, 1000, 1000, 1000, 1000, 9}, 1, 5, 4, 4, 1},
		{[]float64{1000, 1000, 1000, nan}, 0, 4, 4, 4, 0.75},
		{[]float64{1000, nan, nan, 1000}, 0, 4, 4, nan, 0.5},
		{[]float64{1000, 1000, 1000}, -1, 9, 4, 4, 0.75}, // the readings begin or end within the month
		{[]float64{1000, 1000}, 2, 5, 4, nan, 0},
		{nil, 0, 5, 4, nan, 0},
	} {
		kwh, share := scaledSum(c.wh, c.lo, c.hi, c.length)
		if kwh != c.kwh && !(math.IsNaN(kwh) && math.IsNaN(c.kwh)) || share != c.share {
			t.Errorf("%v from %d to %d: %g kWh, %g, want %g, %g", c.wh, c.lo, c.hi, kwh, share, c.kwh, c.share)
		}
	}
}

// Hours of 1 to 24: a day of 300 Wh. With the last six missing it is 171/18 · 24 = 228;
// with half it still is scaled, with less it is not known. A last day of six hours
// counts as one of 24.
func TestDaysOfHours(t *testing.T) {
	wh := make([]float64, 4*24+6)
	for i := range wh {
		wh[i] = float64(i%24 + 1)
		if d, h := i/24, i%24; d == 1 && h >= 18 || d == 2 && h >= 12 || d == 3 && h >= 11 {
			wh[i] = nan
		}
	}
	c := ingest.NewCalendar(time.UTC, 0, len(wh))
	sum, share := daySums(c, wh)
	for d, want := range [][2]float64{{300, 1}, {228, 0.75}, {156, 0.5}, {nan, 11. / 24}, {nan, 0.25}} {
		if sum[d] != want[0] && !(math.IsNaN(sum[d]) && math.IsNaN(want[0])) || math.Abs(share[d]-want[1]) > 1e-12 {
			t.Errorf("day %d: %g, %g, want %v", d, sum[d], share[d], want)
		}
	}
	for d, want := range []float64{12.5, 9.5, 6.5, nan, 3.5} { // the mean over the hours there are; of day 3 there are 11
		if got := dayMeans(c, wh)[d]; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("mean of day %d: %g, want %g", d, got, want)
		}
	}
	cold, hot := degrees([]float64{12, 23, nan}, 4)
	for k, want := range [][2]float64{{3, 0}, {0, 3}, {nan, nan}, {nan, nan}} {
		if cold[k] != want[0] && !math.IsNaN(want[0]) || hot[k] != want[1] && !math.IsNaN(want[1]) || math.IsNaN(cold[k]) != math.IsNaN(want[0]) {
			t.Errorf("day %d: %g, %g", k, cold[k], hot[k])
		}
	}
	for _, c := range []struct{ a, m, want int64 }{{7, 4, 1}, {8, 4, 2}, {-1, 4, -1}, {-4, 4, -1}, {-5, 4, -2}} {
		if got := floorDiv(c.a, c.m); got != c.want {
			t.Errorf("%d by %d: %d", c.a, c.m, got)
		}
	}
}

// Production is 40 % of the consumption in the first year and two points less in each
// further one, whatever the season.
func TestCoverageFallsByTwoPointsAYear(t *testing.T) {
	months := func(n int) (out []Month) {
		for k := range n {
			season := 1 + 0.5*math.Cos(2*math.Pi*float64(k)/12)
			out = append(out, Month{First: time.Date(2023, time.Month(1+k), 1, 0, 0, 0, 0, time.UTC), ConsumptionKWh: 800 / season})
			out[k].ProductionKWh = out[k].ConsumptionKWh * (0.3 + 0.1*season - 0.02*float64(k)/12)
		}
		return out
	}
	c := coverageTrend(months(30))
	near(t, "points a year", c.TrendPtsYr, -2, 0.35) // the months of the first year stand at 0
	if c := coverageTrend(months(18)); math.IsNaN(c.TrendPtsYr) {
		t.Error("18 months are enough")
	}
	m := months(19)
	m[3].ConsumptionKWh, m[7].ProductionKWh = 0, nan
	if c := coverageTrend(m); c.TrendPtsYr == c.TrendPtsYr {
		t.Errorf("17 months: %g", c.TrendPtsYr)
	}
}

// A drift of 4 % with a standard error of 2 %, as large as the prior's, counts half:
// 90 % of a normal lie within 1.645 of them.
func TestDriftShrinksByItsDoubt(t *testing.T) {
	g, se := shrunkDrift(&Growth{GrowthPctYr: 4, GrowthLow: 4 - 3.29, GrowthHigh: 4 + 3.29})
	near(t, "drift", g, 0.02, 1e-12)
	near(t, "doubt", se, 0.02/math.Sqrt2, 1e-12)
	if g, se := shrunkDrift(&Growth{GrowthPctYr: nan, GrowthLow: nan, GrowthHigh: nan}); g != 0 || se != change.DriftPrior {
		t.Errorf("not known: %g, %g", g, se)
	}
	if g, se := shrunkDrift(&Growth{GrowthPctYr: 4, GrowthLow: 4, GrowthHigh: 4}); g != 0.04 || se != 0 {
		t.Errorf("without doubt: %g, %g", g, se)
	}
	// Draws with an sd of 0.04, the spread of households: half of the drift, draws of
	// 0.04/√2, and 0.006 for steps too small to see; 0.02 for the fleet's own drift.
	for method, want := range map[string]float64{MethodCalendar: math.Hypot(0.04/math.Sqrt2, 0.006), MethodSeason: math.Sqrt(0.0008 + 0.0004 + 0.000036)} {
		rng, draws := rand.New(rand.NewPCG(1, 1)), make([]float64, 20000)
		for k := range draws {
			draws[k] = 0.04 * rng.NormFloat64()
		}
		near(t, "drift", shrinkDrift(&Input{Season: &fit.Signal{DriftSE: 0.02}}, method, 0.03, draws), 0.015, 0.0003)
		near(t, "sd of the draws", stat.SD(draws), want, 0.02*want)
	}
}

// What is scaled by a day's noise is scaled back: a home twice as restless all over
// has the same draws; fewer than two blocks have none.
func TestDrawsByDaysNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	w, e, ones, twos := make([]float64, 300), make([]float64, 300), make([]float64, 300), make([]float64, 300)
	for k := range w {
		w[k], e[k], ones[k], twos[k] = rng.Float64(), rng.NormFloat64(), 1, 2
	}
	a, b := bootstrapDrift(w, e, ones, 3, 50, 7), bootstrapDrift(w, e, twos, 3, 50, 7)
	for k := range a {
		near(t, "draw", b[k], a[k], 1e-9)
	}
	if stat.SD(bootstrapDrift(w[:56], e[:56], ones[:56], 3, 50, 7)) == 0 || stat.SD(bootstrapDrift(w[:55], e[:55], ones[:55], 3, 50, 7)) != 0 {
		t.Error("two blocks of 28 days are needed, and enough")
	}
}

// 10 kWh a day, then 11: a tenth more. A residual of ±1 kWh on every day has a variance
// of 1 for sums; 90 % of it over a year are 1.645·√2·√365/365 of 10 kWh.
func TestTheLastTwelveMonths(t *testing.T) {
	story := func(now, was int) *change.Story { // days read in each year
		s := flatStory(730, 10)
		for k := range 730 {
			if s.Fit.Resid[k] = 1; k%2 == 1 {
				s.Fit.Resid[k] = -1
			}
			if k >= 365 {
				s.Days.KWh[k] = 11
			}
			if day := k % 365; k < 365 && day >= was || k >= 365 && day >= now {
				s.Days.Counted[k] = false // 10 by the model
			}
		}
		s.Days.Recount()
		return s
	}
	r := recentOf(story(365, 365))
	near(t, "change", r.Change12mPct, 10, 1e-9)
	s := story(365, 365)
	half := 100 * 1.645 * math.Sqrt2 * math.Sqrt(365*fit.LongRunVariance(s.Days, s.Fit.Resid)) / 365 / 10
	near(t, "half of the interval", r.Change12mHigh-10, half, 1e-9)
	near(t, "both sides alike", r.Change12mLow, 20-r.Change12mHigh, 1e-9)
	near(t, "with 65 days by the model", recentOf(story(300, 365)).Change12mPct, 10*300./365, 1e-9)
	for _, c := range []struct {
		now, was int
		known    bool
	}{{300, 270, true}, {299, 365, false}, {365, 269, false}} {
		if got := recentOf(story(c.now, c.was)).Change12mPct; (got == got) != c.known {
			t.Errorf("%d and %d days: %g", c.now, c.was, got)
		}
	}
	for n, known := range map[int]bool{700: true, 699: false} {
		if got := recentOf(flatStory(n, 10)).Change12mPct; (got == got) != known {
			t.Errorf("%d days: %g", n, got)
		}
	}
}

// Of March 2025 28 of 31 days count (0.903), of February 25 of 28 (0.893). An event's
// energy comes off.
func TestMonthsWithoutEvents(t *testing.T) {
	s := flatStory(90, 10)
	s.Fit.EventDay = make([]float64, 90)
	for k := range 90 {
		if k >= 31 && k < 34 || k >= 59 && k < 62 {
			s.Days.Counted[k] = false
		}
		if k >= 80 {
			s.Fit.EventDay[k] = 4
		}
	}
	m := monthsWithoutEvents(s)
	if len(m) != 3 || m[0].valid != 31 || m[1].valid != 25 || m[1].days != 28 || m[2].valid != 28 || m[2].energy != 280-40 {
		t.Errorf("%+v", m)
	}
	if !m[0].usable() || m[1].usable() || !m[2].usable() {
		t.Errorf("%v %v %v", m[0].usable(), m[1].usable(), m[2].usable())
	}
	for valid, want := range map[int]bool{27: true, 26: false} { // of 30
		if (monthUse{energy: 1, valid: valid, days: 30}).usable() != want {
			t.Errorf("%d of 30 days usable: %v", valid, !want)
		}
	}
	if (monthUse{valid: 30, days: 30}).usable() {
		t.Error("a month without energy is usable")
	}
}

// outlookAt is a window of n days from a day of a story on, lived as its readings were.
func outlookAt(s *change.Story, wh []float64, day, n int) *outlook {
	start := ingest.Hour(20089 * 24)
	in := &Input{Location: time.UTC, Series: &ingest.Series{Start: start, StepMinutes: 60}, Window: ingest.Window{Start: start + ingest.Hour(24*day), N: 24 * n}, Scratch: new(Scratch)}
	h := &household{in: in, basis: basis{wh: wh, gross: true}, calendar: ingest.NewCalendar(time.UTC, start, len(wh)), days: s.Days}
	return outlookOf(h, s)
}

// 24 kWh a day lived, 25 in normal weather, growing by a tenth: 24 + 1 + 2.5. A car of 6
// kWh a day from day 305 on, at 22 and 23 o'clock, is carried back over five days.
func TestTheYearToComeByHand(t *testing.T) {
	s := flatStory(400, 24)
	for k := range s.Fit.BaseNormal {
		s.Fit.BaseNormal[k] = 25
	}
	wh := make([]float64, 400*24)
	for i := range wh {
		wh[i] = 1000
	}
	o := outlookAt(s, wh, 300, 10)
	out := make([]float64, 240)
	if n := o.lived(out); n != 240 || sumOf(out) != 240000 {
		t.Fatalf("%d hours measured, %g Wh", n, sumOf(out))
	}
	car := Event{Live: true, KWhYr: 2000, KWhYrLow: 1671, KWhYrHigh: 2329,
		profile: profile{day: 305, parts: change.Steps{{Step: fit.Step{Beta: 6}}}, share: [24]float64{22: 0.5, 23: 0.5}}}
	gone := car
	gone.Live = false
	sum := o.toCome(out, 0.1, []Event{car, gone})
	near(t, "lived", sum.lived, 240, 1e-9)
	near(t, "luck", sum.luck, 10, 1e-9)
	near(t, "base", sum.base, 250, 1e-9)
	near(t, "carried", sum.carried, 30, 1e-9)
	near(t, "its doubt", sum.carriedSD, 30./2000*200, 1e-9) // 329 kWh on either side are 1.645 of 200
	near(t, "an hour", out[5*24+3], 27500./24, 1e-6)
	near(t, "an hour of charging", out[22], 27500./24+3000, 1e-6)
	near(t, "the first day after it came", out[5*24+22], 27500./24, 1e-6)
	for k := range s.Fit.BaseNormal { // a harsh year's luck stops at 0.6 of a day, a mild one's at -0.4
		s.Fit.BaseNormal[k] = 24 + 100
	}
	o.lived(out)
	near(t, "much luck", o.toCome(out, 0, nil).luck, 10*0.6*24, 1e-9)
	for k := range s.Fit.BaseNormal {
		s.Fit.BaseNormal[k] = 0
	}
	o.lived(out)
	near(t, "little luck", o.toCome(out, 0, nil).luck, -10*0.4*24, 1e-9)
	// What leaves takes no hour below nothing: 1 kWh at 22 and at 23 o'clock are there.
	hours := slices.Repeat([]float64{1000}, 24)
	left := car.profile
	left.parts = change.Steps{{Step: fit.Step{Beta: -6}}}
	near(t, "taken", o.carry(hours, o.window.HourOfDay()[:24], left, 300), -2, 1e-12)
	if hours[21] != 1000 || hours[22] != 0 {
		t.Errorf("hours %g and %g", hours[21], hours[22])
	}
	near(t, "noise of a year", yearNoise(s), math.Sqrt(365*s.LongRunVariance()), 1e-12)
}

// A missing hour is the median of that hour of the week over four weeks on either side;
// hours of an absence are missing; a day without any is what the day or the model says.
func TestHoursThatAreFilledIn(t *testing.T) {
	s := flatStory(400, 24)
	wh := make([]float64, 400*24)
	for i := range wh {
		wh[i] = 1000
	}
	at := 300*24 + 7
	wh[at] = nan
	for week := 1; week <= 4; week++ {
		wh[at-168*week], wh[at+168*week] = 100*float64(week), 100*float64(week+4)
	}
	wh[at+168*5] = 9e9 // five weeks off
	o := outlookAt(s, wh, 300, 2)
	out := make([]float64, 48)
	if n := o.lived(out); n != 47 {
		t.Errorf("%d hours measured", n)
	}
	near(t, "filled", out[7], 450, 1e-9) // of 100 to 800
	s.Days.Absent[301] = true
	if n := o.lived(out); n != 23 {
		t.Errorf("%d hours measured beside an absence", n)
	}
	near(t, "a day of absence", sumOf(out[24:]), 24000, 1e-6)
	if v := o.hourAt(-1); v == v {
		t.Errorf("before the readings: %g", v)
	}
	if v := o.hourAt(len(wh)); v == v {
		t.Errorf("after the readings: %g", v)
	}
	for d, want := range map[int]int{0: 0, 399: 399, -1: 363, -364: 0, -365: 363, 400: 36, 763: 399, 764: 36, -729: -1, 1128: -1} {
		if got := o.twin(d); got != want {
			t.Errorf("day %d is stood for by %d, want %d", d, got, want)
		}
	}
	s.Days.Counted[10] = false
	s.Fit.Base[10], s.Days.KWh[11] = 30, 31
	near(t, "by the model", o.dayOrModel(10), 30, 0)
	near(t, "as read", o.dayOrModel(11), 31, 0)
	near(t, "by the model, a year before", o.dayOrModel(10-364), 30, 0)
	near(t, "of no year", o.dayOrModel(5000), s.Days.MeanKWh(), 0)
	hours := []float64{-1, 3, 3, 0}
	clipNegative(hours)
	if !slices.Equal(hours, []float64{0, 2.5, 2.5, 0}) {
		t.Errorf("clipped %v", hours)
	}
	scaleTo(hours, 0.01)
	if !slices.Equal(hours, []float64{0, 5, 5, 0}) {
		t.Errorf("scaled %v", hours)
	}
	near(t, "a usual day's shares", sumOf(plainDay[:]), 1, 1e-12)
}

// Days of absence at the end, over days that were not read.
func TestHouseThatStandsEmpty(t *testing.T) {
	s := flatStory(20, 10)
	for k := 15; k < 20; k++ {
		s.Days.Absent[k], s.Days.Counted[k] = true, false
	}
	s.Days.Absent[17], s.Days.KWh[17] = false, nan
	if got := emptyAtEnd(s.Days); got != 4 {
		t.Errorf("%d days", got)
	}
	s.Columns.Measured = make([]bool, 20)
	for k := range 20 {
		s.Columns.Measured[k] = k%2 == 0
	}
	if days, of := measured(s); days != 8 || of != 15 {
		t.Errorf("%d of %d days have a temperature", days, of)
	}
}
