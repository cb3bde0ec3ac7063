package fit

import (
	"math"
	"testing"
)

// 12 hours of 0 °C and 12 of 20 °C: against 10 °C the cold half makes 10·12/24 = 5
// and the warm half the same; against 15 °C 7.5 and 2.5; against 20 °C 10 and 0.
func TestDegreeHoursOfADay(t *testing.T) {
	nan := math.NaN()
	hours := make([]float64, 72)
	for i := range hours {
		switch {
		case i < 24 && i%2 == 0, i >= 24 && i < 36, i >= 48 && i < 59:
			hours[i] = 0
		case i < 24:
			hours[i] = 20
		default:
			hours[i] = nan // 12 hours of day 1 are known, 11 of day 2
		}
	}
	w := Weather{HourC: hours, DayHours: func(d int) (int, int) { return 24 * d, 24*d + 24 }}
	var memory []float64
	c := DegreeHours(3, w, BalanceGrid{Low: 10, Step: 5, N: 3}, &memory)
	for k, want := range [][2]float64{{5, 5}, {7.5, 2.5}, {10, 0}} {
		near(t, "heat", c.Heat[k][0], want[0], 1e-12)
		near(t, "cool", c.Cool[k][0], want[1], 1e-12)
		near(t, "heat of half a day", c.Heat[k][1], 10+5*float64(k), 1e-12)
		if h := c.Heat[k][2]; h == h {
			t.Errorf("less than half a day: %g", h)
		}
	}
	for b, k := range map[float64]int{3: 0, 10: 0, 12.4: 0, 12.6: 1, 20: 2, 40: 2} {
		if got := c.index(b); got != k {
			t.Errorf("%g °C is balance point %d", b, got)
		}
	}
	near(t, "balance", c.balance(2), 20, 0)
}

// Days that follow 10 + 2 a degree below 15 °C + 3 a degree above 22 °C are
// found as they are; the prediction gives them back.
func TestDegreeDaysExactly(t *testing.T) {
	var temp, y []float64
	for d := range 40 {
		c := float64(d) - 5
		temp = append(temp, c)
		y = append(y, 10+2*max(15-c, 0)+3*max(c-22, 0))
	}
	cols := dailyMeans(temp, DefaultGrid)
	for _, fit := range []func() (DegreeDays, bool){func() (DegreeDays, bool) { return FitDegreeHours(y, nil, cols) }, func() (DegreeDays, bool) { return FitRelative(y, cols) }} {
		m, ok := fit()
		if !ok {
			t.Fatal("refused")
		}
		for what, p := range map[string][2]float64{"base": {m.Mu, 10}, "heating": {m.BetaH, 2}, "cooling": {m.BetaC, 3}, "heating from": {m.HeatBalanceC, 15}, "cooling from": {m.CoolBalanceC, 22}, "R²": {m.R2, 1}, "adjusted R²": {m.AdjR2, 1}} {
			near(t, what, p[0], p[1], 1e-6)
		}
		for d := range y {
			near(t, "day", m.Predict(cols, d), y[d], 1e-6)
		}
	}
	// Nine days with degree days are too few for a term, ten are enough.
	for days, want := range map[int]float64{9: 0, 10: 2} {
		for d := range temp {
			if temp[d], y[d] = 20, 10; d < days {
				temp[d] = 10 - float64(d)
				y[d] = 10 + 2*(15-temp[d])
			}
		}
		m, _ := FitDegreeHours(y, nil, dailyMeans(temp, BalanceGrid{Low: 15, Step: 1, N: 1}))
		near(t, "slope", m.BetaH, want, 1e-9)
	}
	if _, ok := FitDegreeHours([]float64{math.NaN()}, nil, dailyMeans([]float64{3}, DefaultGrid)); ok {
		t.Error("a fit of nothing")
	}
	m, ok := FitDegreeHours([]float64{4, 4, 4}, nil, dailyMeans([]float64{3, 9, 12}, DefaultGrid))
	if !ok || m.Mu != 4 || m.BetaH != 0 || m.Predict(cols, 0) != 4 {
		t.Errorf("days all alike: %+v", m)
	}
}

func TestSeasonalGuess(t *testing.T) {
	v := make([]float64, 731)
	v[0], v[730], v[364], v[366] = 1, 3, 5, 7
	near(t, "all four", seasonalGuess(v, 365), 4, 0)
	v[730] = math.NaN()
	near(t, "three", seasonalGuess(v, 365), 13.0/3, 1e-12)
	v[1] = 8
	near(t, "the first day", seasonalGuess(v, 0), (8+v[365])/2, 0)
	if got := seasonalGuess([]float64{2}, 0); got == got {
		t.Errorf("alone: %g", got)
	}
}

// A day of 31 among zeros lifts the mean of the 31 days around it by one.
func TestAnomalies(t *testing.T) {
	v := make([]float64, 100)
	v[50] = 31
	a := anomalies(v)
	for d, want := range map[int]float64{50: 30, 49: -1, 35: -1, 65: -1, 34: 0, 66: 0, 0: 0, 99: 0} {
		near(t, "anomaly", a[d], want, 1e-12)
	}
	v[0] = 16 // the first day's window holds 16 days
	near(t, "at the edge", anomalies(v)[0], 15, 1e-12)
	for d := range v {
		if v[d] = math.NaN(); d >= 40 && d < 55 {
			v[d] = 2
		}
	}
	near(t, "15 days known", anomalies(v)[47], 0, 1e-12)
	v[40] = math.NaN()
	if got := anomalies(v)[47]; got == got {
		t.Errorf("14 days known: %g", got)
	}
}

func counted(on ...bool) *Days {
	d := &Days{Counted: on, KWh: make([]float64, len(on))}
	d.Recount()
	return d
}

func allDays(n int) *Days {
	on := make([]bool, n)
	for k := range on {
		on[k] = true
	}
	return counted(on...)
}

// Weeks of mean 0, 2, 0, 2: three squares of 4 between neighbors, 7·12/(2·3) = 14.
func TestBlockVariance(t *testing.T) {
	weeks := func(n int) []float64 {
		r := make([]float64, 7*n)
		for i := range r {
			r[i] = float64(2 * (i / 7 % 2))
		}
		return r
	}
	near(t, "four weeks", blockVariance(allDays(28), weeks(4), 7), 14, 1e-12)
	near(t, "three weeks", blockVariance(allDays(21), weeks(3), 7), 0, 0)
	near(t, "a part of a fifth", blockVariance(allDays(34), append(weeks(4), 9, 9, 9, 9, 9, 9), 7), 14, 1e-12)
	d := allDays(42)
	for _, k := range []int{0, 1, 2} {
		d.Counted[k] = false // four of seven days of the first week are left
	}
	near(t, "four of seven days", blockVariance(d, weeks(6), 7), 14, 1e-12)
	d.Counted[3] = false
	r := weeks(6)
	r[7] += 7 // the second week's mean is 3: its only neighbor is the third
	near(t, "three of seven days", blockVariance(d, r, 7), 7.0*(9+4+4+4)/8, 1e-12)
	near(t, "few days", LongRunVariance(counted(true, false, true), []float64{1, 9, 3}), 5, 1e-12)
	// 84 days: alternating days of -1 and 1 vary by 1 a day; weeks of means apart by 2 say 14.
	near(t, "weeks that move together", LongRunVariance(allDays(84), weeks(12)), 14, 1e-9)
}

func TestDaysByHand(t *testing.T) {
	d := counted(false, true, false, true, false)
	copy(d.KWh, []float64{9, 2, 9, 4, 9})
	if d.Count != 2 || d.Span() != 3 || counted(false).Span() != 0 || counted(true).Span() != 1 {
		t.Errorf("count %d, span %d", d.Count, d.Span())
	}
	near(t, "mean", d.MeanKWh(), 3, 0)
	near(t, "mean of none", counted(false).MeanKWh(), 0, 0)
	if got := d.Present(d.KWh); len(got) != 2 || got[0] != 2 || got[1] != 4 {
		t.Errorf("%v", got)
	}
	ten := allDays(10)
	for missing, want := range map[int]bool{0: true, 1: true, 2: false} {
		if got := ten.mostly(func(k int) bool { return k >= missing }); got != want {
			t.Errorf("%d of 10 missing: %v", missing, got)
		}
	}
	if counted(false).mostly(func(int) bool { return true }) {
		t.Error("no days, and yet mostly")
	}
	for day, want := range map[int]int{0: 4, -1: 3, -4: 0, -5: 6, 20458: 1, 20464: 0} { // 2026-01-05 is a Monday
		if got := weekday(day); got != want {
			t.Errorf("day %d is %d", day, got)
		}
	}
	near(t, "mid January", (&Days{First: 17}).Winter(0), 1, 1e-9)
	near(t, "mid January in the south", (&Days{First: 17, South: true}).Winter(0), -1, 1e-9)
	s := &Signal{First: 100, Log: []float64{5, 6, math.NaN()}}
	near(t, "signal", s.At(100), 5, 0)
	near(t, "signal", s.At(101), 6, 0)
	for _, day := range []int{99, 102, 103} {
		if v := s.At(day); v == v {
			t.Errorf("day %d: %g", day, v)
		}
	}
	near(t, "none known", (&Signal{}).floor(), 0, 0)
	long := &Signal{Log: []float64{math.NaN()}}
	for k := range 20 {
		long.Log = append(long.Log, float64(19-k))
	}
	near(t, "lowest tenth", long.floor(), 2, 0)
}

// y = 3 + 2 x exactly; a column that is the sum of both says nothing new.
func TestLinearByHand(t *testing.T) {
	ones, x := []float64{1, 1, 1, 1, 1}, []float64{0, 1, 2, 4, 7}
	y, sum := make([]float64, 5), make([]float64, 5)
	for i := range y {
		y[i], sum[i] = 3+2*x[i], 1+x[i]
	}
	var m Linear
	m.Reset([][]float64{y})
	if !m.Add(ones) {
		t.Fatal("the first column")
	}
	m.Mark()
	if !m.Add(x) || m.Add(sum) || m.Columns() != 2 {
		t.Fatalf("%d columns", m.Columns())
	}
	b := m.Solve()
	near(t, "level", b[0], 3, 1e-12)
	near(t, "slope", b[1], 2, 1e-12)
	near(t, "left", Dot(m.Resid(0), m.Resid(0)), 0, 1e-18)
	for j, want := range []float64{3, 2} {
		near(t, "by weights", Dot(m.Weights(j, nil), y), want, 1e-12)
	}
	m.Rewind()
	near(t, "mean", m.Solve()[0], 8.6, 1e-12) // (3 + 5 + 7 + 11 + 17)/5
	near(t, "left of the first", m.Resid(0)[0], 3-8.6, 1e-12)
	m.Reset([][]float64{make([]float64, 50)})
	for k := range 41 {
		unit := make([]float64, 50)
		unit[k] = 1
		if got := m.Add(unit); got != (k < stride) {
			t.Errorf("column %d: %v", k, got)
		}
	}
}
