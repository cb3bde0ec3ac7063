package fit

import (
	"math"
	"testing"
)

// wholeDays are n days of 20 kWh from a day number on.
func wholeDays(first, n int) *Days {
	d := allDays(n)
	d.First, d.Share, d.Absent = first, make([]float64, n), make([]bool, n)
	for k := range n {
		d.KWh[k], d.Share[k] = 20, 1
	}
	d.Targets = [][]float64{d.KWh}
	return d
}

// From Monday 2026-01-05 on. A level and six weekdays; a year's wave from 328
// days on, half a year's from 600.
func TestCalendarColumns(t *testing.T) {
	for days, base := range map[int]int{327: 7, 328: 9, 599: 9, 600: 11} {
		c := NewColumns(new(Workspace), wholeDays(20458, days), Weather{})
		if c.Method != MethodCalendar || len(c.base()) != base || c.HasHeat || c.HasCool {
			t.Errorf("%d days: %d columns by %s, want %d", days, len(c.base()), c.Method, base)
		}
	}
	d := wholeDays(20458, 11)
	for _, k := range []int{0, 1, 9, 10} {
		d.Counted[k] = false
	}
	c := NewColumns(new(Workspace), d, Weather{})
	near(t, "the middle of days 2 to 8", c.Years[5], 0, 0)
	near(t, "three days later", c.Years[8], 3/365.25, 1e-15)
	for k := range 11 {
		for w := range Weekdays {
			want := 0.0
			if (k+1)%7 == w+1 { // day 0 is a Monday, the first after Sunday
				want = 1
			}
			near(t, "weekday", c.weekend[w][k], want, 0)
		}
		cos, sin := c.wave[0][k], c.wave[1][k]
		near(t, "the year's wave", cos, math.Cos(2*math.Pi*float64(20458+k)/365.2425), 1e-12)
		near(t, "on the circle", cos*cos+sin*sin, 1, 1e-12)
		near(t, "half a year's, cos 2a", c.wave[2][k], cos*cos-sin*sin, 1e-12)
		near(t, "half a year's, sin 2a", c.wave[3][k], 2*sin*cos, 1e-12)
	}
}

// From May to September 153 days; south of the equator from November to March, 151.
func TestSummerColumn(t *testing.T) {
	for south, want := range map[bool][3]int{false: {153, 120, 272}, true: {151, 0, 364}} {
		d := wholeDays(20454, 365) // from 2026-01-01 on
		d.South = south
		c := NewColumns(new(Workspace), d, Weather{})
		summer := c.Answers[len(c.Answers)-1]
		sum, first, last := 0, -1, 0
		for k, v := range summer.X {
			if v == 1 {
				if sum++; first < 0 {
					first = k
				}
				last = k
			}
		}
		if summer.What != ToSummer || sum != want[0] || first != want[1] || last != want[2] {
			t.Errorf("south %v: %d days, from %d to %d", south, sum, first, last)
		}
		near(t, "over a normal year", summer.Year, float64(want[0])*365.25/365, 1e-9)
	}
}

// The cosine's year from the middle of January; heating's half wave is 1 then and
// 0.3 in between, cooling's is 1 in the middle of July.
func TestSeasons(t *testing.T) {
	d := &Days{First: 17}
	near(t, "a quarter of a year later", d.Winter(91), 0, 0.01)
	near(t, "half a year later", d.Winter(183), -1, 1e-3)
	near(t, "a year later", d.Winter(365), 1, 1e-4)
	near(t, "around the year", d.Angle(365)-d.Angle(0), 2*math.Pi*365/365.2425, 1e-12)
	for winter, want := range map[float64][2]float64{1: {1, 0}, 0: {0.3, 0}, -0.1: {0.23, 0}, -0.55: {0, 0.5}, -1: {0, 1}} {
		heating, cooling := seasonShapes(winter)
		near(t, "heating", heating, want[0], 1e-12)
		near(t, "cooling", cooling, want[1], 1e-12)
	}
}

// A spike of 30 on day 400 is 1 of the 30 days within a week of it and of day 35;
// ten days alone are each other's season within a week.
func TestNormalWeather(t *testing.T) {
	x := make([]float64, 730)
	x[400] = 30
	n := normalOf(x)
	for day, want := range map[int]float64{27: 0, 28: 1, 35: 1, 42: 1, 43: 0, 393: 1, 407: 1, 408: 0, 10: 0} {
		near(t, "normal", n[day], want, 1e-12)
	}
	short := normalOf([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10})
	near(t, "the first of ten days", short[0], 4.5, 1e-12)
	near(t, "the last of ten days", short[9], 6.5, 1e-12)
	ones := func(n int) []float64 {
		v := make([]float64, n)
		for k := range v {
			v[k] = 1
		}
		return v
	}
	for _, days := range []int{100, 364, 365, 729, 730} {
		near(t, "a year of ones", yearSum(ones(days)), 365.25, 1e-9)
	}
	near(t, "35 odd days before a whole year", yearSum(append(ones(35), make([]float64, 365)...)), 0, 0)
	near(t, "every second year", yearSum(append(make([]float64, 365), ones(365)...)), 365.25/2, 1e-9)
	near(t, "a part of a year", yearSum([]float64{2, 4}), 3*365.25, 1e-9)
}

// Days without a temperature: the neighbor's, or 8/4 of the season's shape.
func TestDegreeDaysOfDaysWithoutATemperature(t *testing.T) {
	nan := math.NaN()
	row := []float64{2, nan, nan, nan, 6}
	c := Columns{kelvin: &DegreeColumns{Grid: BalanceGrid{Low: 10, Step: 1, N: 1}, Heat: [][]float64{row}, Cool: [][]float64{append([]float64(nil), row...)}}}
	c.usual = [2][]float64{{1, 1, 2, 1, 3}, {2, 1, 3, 1, 2}}
	for k, want := range []float64{2, 2, 4, 6, 6} {
		near(t, "heating", c.degreeDays(c.kelvin.Heat, 10)[k], want, 1e-12)
	}
	near(t, "cooling by its own shape", c.degreeDays(c.kelvin.Cool, 10)[2], 6, 1e-12) // 8/4 of 3
	c.usual[0] = []float64{0, 1, 2, 1, 0}
	near(t, "no shape on the days known", c.degreeDays(c.kelvin.Heat, 10)[2], 0, 0)
	if row[2] == row[2] {
		t.Error("the degree days themselves were changed")
	}
}

// The fleet's signal less its mild days' is all winter's in January, all summer's
// in July and half and half in between; a day it does not know is a mild one.
func TestHalvesOfTheFleetsSignal(t *testing.T) {
	d := wholeDays(20454, 730)
	s := &Signal{First: d.First, Log: make([]float64, 730)}
	for k := range s.Log {
		s.Log[k] = 0.5
		if k%10 == 3 || k%10 == 4 {
			s.Log[k] = 0.1 // the lowest tenth and more
		}
	}
	s.Log[5] = math.NaN()
	c := NewColumns(new(Workspace), d, Weather{Signal: s})
	if c.Method != MethodSeason || len(c.base()) != 11 { // a level, weekdays, two halves, the year's wave
		t.Fatalf("%s with %d columns", c.Method, len(c.base()))
	}
	quarter := 16 + 91 // the middle of April
	for k, want := range map[int]float64{16: 1, 16 + 182: 0, 5: 0, 13: 0} {
		v := 0.4
		if k == 5 || k == 13 {
			v = 0
		}
		near(t, "winter", c.winter.X[k], want*v, 1e-9)
		near(t, "summer", c.summer.X[k], (1-want)*v, 1e-9)
	}
	w := 0.5 + 2*d.Winter(quarter)
	if w <= 0.4 || w >= 0.6 {
		t.Fatalf("the middle of April has a share of %g", w)
	}
	near(t, "winter's share of April", c.winter.X[quarter], 0.4*w, 1e-9)
	near(t, "summer's share of April", c.summer.X[quarter], 0.4*(1-w), 1e-9)
	whats := map[Answer]int{}
	for _, a := range c.Answers {
		whats[a.What]++
		for k := range a.X {
			if a.What == ToHeat && a.X[k] < 0 || a.What == ToCold && a.X[k] < 0 {
				t.Fatalf("answer %d is below nothing on day %d", a.What, k)
			}
		}
	}
	if whats[ToNothing] != 1 || whats[ToCold] != 2 || whats[ToHeat] != 2 || whats[ToSummer] != 1 {
		t.Errorf("answers %v", whats)
	}
	near(t, "what lies above nothing", above([]float64{-3, 4})[0], 0, 0)
	// The first 100 days alone are the same columns, shorter.
	cut := c.Until(100)
	for _, x := range [][]float64{cut.Years, cut.winter.X, cut.summer.Normal, cut.heating.X, cut.Answers[1].X, cut.Answers[1].Normal, cut.weekend[5], cut.wave[3]} {
		if len(x) != 100 {
			t.Errorf("%d days of 100", len(x))
		}
	}
	if len(c.Years) != 730 || len(c.Answers[1].X) != 730 || cut.Answers[1].Year != c.Answers[1].Year {
		t.Error("the columns of all days were changed, or a year became another")
	}
}

// Temperatures are used where they cover half of the days that count; where no
// fleet tells the weather, 120 of them are enough.
func TestWhetherAThermometerIsUsed(t *testing.T) {
	for _, c := range []struct {
		days, covered int
		signal        bool
		used          bool
	}{
		{200, 100, false, true}, {200, 99, false, false}, {300, 120, false, true}, {300, 119, false, false},
		{300, 149, true, false}, {300, 150, true, true},
	} {
		d, w := wholeDays(20454, c.days+10), Weather{DayC: make([]float64, c.days+10)}
		for k := range w.DayC {
			if w.DayC[k] = 10; k < 10 {
				d.Counted[k] = false // known, and of no use
			} else if k >= 10+c.covered {
				w.DayC[k] = math.NaN()
			}
		}
		d.Recount()
		if c.signal {
			w.Signal = &Signal{First: d.First, Log: make([]float64, c.days+10)}
		}
		measured, _ := w.thermometer(d)
		if (measured != nil) != c.used || measured != nil && (!measured[20] || measured[len(measured)-1] && c.covered < c.days) {
			t.Errorf("%d of %d days, the fleet %v: %v", c.covered, c.days, c.signal, measured != nil)
		}
	}
}
