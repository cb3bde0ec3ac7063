package change

import (
	"math"
	"testing"

	"rowen/analyze/demand/fit"
)

// plainDays are n days of 20 kWh with all their hours: 0.5 kWh in the quiet
// ones, 2 in the highest.
func plainDays(n int) *fit.Days {
	d := &fit.Days{First: 20454, KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n), Absent: make([]bool, n), Gross: true}
	d.Targets = [][]float64{d.KWh}
	for range NumTargets - 1 {
		d.Targets = append(d.Targets, make([]float64, n))
	}
	for k := range n {
		d.KWh[k], d.Share[k], d.Counted[k] = 20, 1, true
		d.Targets[NightFloor][k], d.Targets[PeakHour][k] = 12, 2
	}
	d.Recount()
	return d
}

// levelOnly is the problem and the fit of days that are all alike.
func levelOnly(d *fit.Days) (fit.Problem, fit.Fit) {
	w, flat := new(fit.Workspace), plainDays(d.N())
	c := fit.NewColumns(w, flat, fit.Weather{})
	p := fit.Problem{Days: flat, Columns: &c, Root: fit.Equal(d.N()), Start: fit.FirstStart(flat)}
	f, _ := fit.Solve(w, p, nil)
	p.Days = d
	return p, f
}

// Of 20 kWh expected a day under 12.4 is low, where its peak stands less than
// 0.7 · 1.5 kWh above the night's floor.
func TestLongAbsences(t *testing.T) {
	low := func(d *fit.Days, from, to int) {
		for k := from; k < to; k++ {
			d.KWh[k], d.Targets[NightFloor][k], d.Targets[PeakHour][k] = 12.3, 12, 1.5
		}
	}
	for _, c := range []struct {
		what  string
		alter func(d *fit.Days)
		days  int
	}{
		{"four days", func(d *fit.Days) { low(d, 50, 54) }, 4},
		{"three days", func(d *fit.Days) { low(d, 50, 53) }, 0},
		{"four days around one not read", func(d *fit.Days) { low(d, 50, 55); d.Counted[52] = false }, 4},
		{"three days and one not read", func(d *fit.Days) { low(d, 50, 54); d.Counted[52] = false }, 0},
		{"two absences", func(d *fit.Days) { low(d, 50, 54); low(d, 60, 66) }, 10},
		{"with a meal cooked", func(d *fit.Days) {
			low(d, 50, 56)
			for k := 50; k < 56; k++ {
				d.Targets[PeakHour][k] = 1.6
			}
		}, 0},
		{"not so low", func(d *fit.Days) {
			low(d, 50, 56)
			for k := 50; k < 56; k++ {
				d.KWh[k] = 12.5
			}
		}, 0},
		{"200 days", func(d *fit.Days) { low(d, 50, 250) }, 200},
		{"201 days: a departure and a return", func(d *fit.Days) { low(d, 50, 251) }, 0},
		{"120 days to the end", func(d *fit.Days) { low(d, 280, 400) }, 120},
		{"121 days to the end", func(d *fit.Days) { low(d, 279, 400) }, 0},
		{"121 days, back for four days", func(d *fit.Days) { low(d, 275, 396) }, 0},
		{"121 days, back for five", func(d *fit.Days) { low(d, 274, 395) }, 121},
		{"own consumption not known", func(d *fit.Days) { low(d, 50, 56); d.Gross = false }, 0},
	} {
		d := plainDays(400)
		c.alter(d)
		d.Recount()
		p, f := levelOnly(d)
		got, found := Absences(p, &f, nil, 1.5)
		absent := 0
		for k, a := range got.Absent {
			if a {
				absent++
			}
			if a && (got.Counted[k] || d.Absent[k] || !d.Counted[k]) {
				t.Errorf("%s: day %d is absent and counts, or the days handed in were changed", c.what, k)
			}
		}
		if absent != c.days || found != (c.days > 0) || got.Count != d.Count-c.days {
			t.Errorf("%s: %d days of absence, %d of %d days left, want %d", c.what, absent, got.Count, d.Count, c.days)
		}
	}
}

// A rise of 5 · 2 kWh from day 100 makes 18 kWh low (less than 0.62 · 30) from then
// on; a fall does not make less low. Without hours no peak is asked for.
func TestLowDaysBesideSteps(t *testing.T) {
	d := plainDays(400)
	for k := range d.KWh {
		d.KWh[k] = 18
	}
	p, f := levelOnly(d)
	twos := make([]float64, d.N())
	for k := range twos {
		twos[k] = 2
	}
	p.Columns = &fit.Columns{Answers: []fit.Column{{X: twos}}}
	rise := Steps{aStep(fit.ToNothing, 100, 5, 9)}
	for k, low := range lowDays(p, &f, rise, 0) {
		if low != (k >= 100) {
			t.Fatalf("after a rise: day %d low: %v", k, low)
		}
	}
	for k := range d.KWh {
		d.KWh[k] = 12
	}
	for k, low := range lowDays(p, &f, Steps{aStep(fit.ToNothing, 100, -4.5, 9)}, 0) {
		if !low {
			t.Fatalf("a fall lowers what is expected on day %d", k)
		}
	}
	if lowDays(p, &f, nil, 1.5)[7] {
		t.Error("a day with its usual peak is low")
	}
}

// Peaks of 1, 2, 3 and 4 kWh over the night's floor: their lower quartile is 1.75.
func TestLiveliness(t *testing.T) {
	d := plainDays(5)
	for k := range 5 {
		d.Targets[PeakHour][k] = 0.5 + float64(k+1)
	}
	d.Counted[4] = false
	near(t, "quartile", Liveliness(d), 1.75, 1e-12)
	d.Targets = d.Targets[:1]
	near(t, "without hours", Liveliness(d), 0, 0)
}

// A level needs 28 days that count on either side, an answer to the weather ten
// on which there is such weather.
func TestDaysAroundAStep(t *testing.T) {
	d := plainDays(100)
	ones, even := make([]float64, 100), make([]float64, 100)
	for k := range ones {
		ones[k] = 1
		if k%2 == 0 {
			even[k] = 1
		}
	}
	for _, c := range []struct {
		what   string
		a      fit.Column
		lo, hi int
	}{
		{"level", fit.Column{What: fit.ToNothing, X: ones}, 28, 73},
		{"summer", fit.Column{What: fit.ToSummer, X: ones}, 28, 73},
		{"cold", fit.Column{What: fit.ToCold, X: even}, 19, 81}, // the tenth even day is 18; from the end 80
		{"heat", fit.Column{What: fit.ToHeat, X: even}, 19, 81},
		{"no weather", fit.Column{What: fit.ToHeat, X: make([]float64, 100)}, 100, 0},
	} {
		if lo, hi := daysAround(d, &c.a); lo != c.lo || hi != c.hi {
			t.Errorf("%s: from %d to %d, want %d to %d", c.what, lo, hi, c.lo, c.hi)
		}
	}
	d.Counted[3], d.Counted[4], d.Counted[98] = false, false, false
	if lo, hi := daysAround(d, &fit.Column{X: ones}); lo != 30 || hi != 72 {
		t.Errorf("with days not read: from %d to %d", lo, hi)
	}
}

// Two years with 100 days of weather in each, as in TestWellSeen: 75.05 of a
// normal year's 100.07 are seen when day 175 is over.
func TestWellSeenByTheFleet(t *testing.T) {
	d, x := plainDays(730), make([]float64, 730)
	for k := range x {
		if k%365 >= 100 && k%365 < 200 {
			x[k] = 1
		}
	}
	year := 100 * 365.25 / 365
	for _, c := range []struct {
		what     fit.Answer
		byFleet  bool
		from, to int
	}{{fit.ToHeat, true, 176, 531}, {fit.ToSummer, true, 176, 554}, {fit.ToSummer, false, 134, 554}, {fit.ToCold, true, 134, 554}} {
		a := fit.Column{What: c.what, X: x, Year: year}
		if from, to := wellSeen(d, &a, c.byFleet); from != c.from || to != c.to {
			t.Errorf("answer %d, by the fleet %v: from %d to %d, want %d to %d", c.what, c.byFleet, from, to, c.from, c.to)
		}
	}
	for k := 100; k < 110; k++ {
		d.Counted[k] = false
	}
	a := fit.Column{What: fit.ToCold, X: x, Year: year}
	if from, _ := wellSeen(d, &a, false); from != 144 {
		t.Errorf("with ten days not read: from %d", from)
	}
	near(t, "seasons before day 150", seasonsBefore(d, &a, 150), 40/year, 1e-12)
	near(t, "seasons from day 150", seasonsAfter(d, &a, 150), 150/year, 1e-12)
	near(t, "seasons from day 199", seasonsAfter(d, &a, 199), 101/year, 1e-12)
	g := Group{Parts: Steps{{Step: fit.Step{Day: 199}}}}
	near(t, "seen since the group came", g.SeenAfter(&fit.Columns{Answers: []fit.Column{a}}, d), 101/year, 1e-12)
}

// 3·ln 100 = 13.8155; with one day or none 3·ln 2. Blind is who has no thermometer
// and under 700 days (480 where the fleet tells the season).
func TestPenaltyAndBlindness(t *testing.T) {
	near(t, "penalty of 100 days", penalty(&fit.Days{Count: 100}), 13.815510557964274, 1e-12)
	near(t, "penalty of no days", penalty(&fit.Days{}), 3*math.Ln2, 1e-12)
	for _, c := range []struct {
		method string
		days   int
		blind  bool
	}{
		{fit.MethodCalendar, 699, true}, {fit.MethodCalendar, 700, false},
		{fit.MethodSeason, 479, true}, {fit.MethodSeason, 480, false}, {fit.MethodDegreeDays, 30, false},
	} {
		if got := IsBlind(&fit.Columns{Method: c.method}, plainDays(c.days)); got != c.blind {
			t.Errorf("%s over %d days: blind %v", c.method, c.days, got)
		}
	}
}
