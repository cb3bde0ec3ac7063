package change

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"rowen/analyze/demand/fit"
)

// fitted is a story of days as they are, without a search.
func fitted(d *fit.Days, steps Steps) (*Story, *fit.Design) {
	w := new(fit.Workspace)
	s := &Story{Days: d, Columns: fit.NewColumns(w, d, fit.Weather{}), Root: fit.Equal(d.N()), Steps: steps}
	s.Fit, _ = fit.Solve(w, s.problem(fit.FirstStart(d)), steps.Fit())
	return s, s.refit(w, DriftSpread, 1)
}

// 140 days are 20 whole weeks: a step in the middle is the difference of the means
// of 70 days and 70, of variance σ²·(1/70 + 1/70); of two steps together it is the
// last 42 days less the first 42.
func TestDoubtOfAGroupsEnergy(t *testing.T) {
	d := household(3, 140, func(int, *rand.Rand) float64 { return 0 })
	for _, c := range []struct {
		days []int
		each float64
	}{{[]int{70}, 70}, {[]int{42, 98}, 42}} {
		var steps Steps
		for _, day := range c.days {
			steps = append(steps, aStep(fit.ToNothing, day, 0, 9))
		}
		s, design := fitted(d, steps)
		want := 365.25 * math.Sqrt(fit.LongRunVariance(d, s.Fit.Resid)*2/c.each)
		near(t, "sd of the yearly energy", s.yearlySD(design, &Group{Parts: s.Steps}), want, 1e-6*want)
		if len(c.days) == 2 { // one of them is a group of its own: 42 days before and 56 after
			one := 365.25 * math.Sqrt(fit.LongRunVariance(d, s.Fit.Resid)*(1./42+1./56))
			near(t, "sd of one of two", s.yearlySD(design, &Group{Parts: s.Steps[:1]}), one, 1e-6*one)
		}
	}
}

// In normal weather the base would have used 3 kWh more, drifted by a tenth a
// year; a step of 2 kWh a K·day from day 60 on, 1.5 K more.
func TestLuckOfADay(t *testing.T) {
	s, _ := fitted(plainDays(200), nil)
	s.Fit.BaseNormal = slices.Clone(s.Fit.Base)
	x, normal := make([]float64, 200), make([]float64, 200)
	for k := range x {
		s.Fit.BaseNormal[k] += 3
		x[k], normal[k] = 4, 5.5
	}
	s.Columns.Answers = append(s.Columns.Answers, fit.Column{What: fit.ToCold, X: x, Normal: normal})
	s.Steps = Steps{{Step: fit.Step{Day: 60, Column: len(s.Columns.Answers) - 1, Beta: 2}}}
	near(t, "before the step", s.Luck(59), 3, 1e-12)
	near(t, "from the step on", s.Luck(60), 6, 1e-12)
	s.Fit.Drift = 0.1
	near(t, "drifted", s.Luck(199), 3*(1+0.1*99.5/365.25)+3, 1e-9)
}

// Sixty weeks of residuals with an sd of 0.2 kWh, and 3 kWh higher from
// the thirtieth on: one shift is left unexplained.
func TestUnexplainedShifts(t *testing.T) {
	for _, c := range []struct {
		what      string
		size      float64
		countedOf int // days of each week
		want      []int
	}{
		{"a shift", 3, 6, []int{30}},
		{"none", 0, 6, nil},
		{"four days of a week, then five", 3, 4, []int{30}},
		{"two days of a week, then three", 3, 2, nil},
	} {
		d := plainDays(60*7 + 3) // the last three days are no week
		s := Story{Days: d, Root: make([]float64, d.N()), Fit: fit.Fit{Resid: make([]float64, d.N())}}
		noise, rng := make([]float64, 61), rand.New(rand.NewPCG(4, 4))
		for w := range noise {
			noise[w] = 0.2 * rng.NormFloat64()
		}
		for k := range d.N() {
			v, days := 2+noise[k/7], c.countedOf // the weighted residual is the same at any weight and number of days
			if k >= 210 {
				v += c.size
			}
			if s.Root[k] = 1; k >= 105 {
				s.Root[k], days = 3, days+1
			}
			d.Counted[k], s.Fit.Resid[k] = k%7 < days, v/s.Root[k]
			if !d.Counted[k] || k >= 420 {
				s.Fit.Resid[k] = 1e6
			}
		}
		if got := s.Unexplained(); !slices.Equal(got, c.want) {
			t.Errorf("%s: weeks %v, want %v", c.what, got, c.want)
		}
	}
	if got := (&Story{Days: plainDays(14), Root: make([]float64, 14), Fit: fit.Fit{Resid: make([]float64, 14)}}).Unexplained(); got != nil {
		t.Errorf("two weeks: %v", got)
	}
}

// Weighted residuals of ±1 before an event and ±3 from it on.
func TestNoiseOfAStretch(t *testing.T) {
	d := plainDays(20)
	s := Story{Days: d, Root: make([]float64, 20), Fit: fit.Fit{Resid: make([]float64, 20)}, Groups: []Group{{Day: 8}, {Day: 16}}}
	for k := range 20 {
		s.Root[k] = 0.5
		if k < 8 {
			s.Fit.Resid[k] = 2 - float64(k%2)*4
		} else if k < 16 {
			s.Fit.Resid[k] = 6 - float64(k%2)*12
		}
	}
	s.Fit.Resid[3], d.Counted[3] = 1e6, false
	for k, v := range s.NoiseByDay() {
		want := 1.0
		if k >= 16 {
			want = 1e-9 // no noise, and yet something to divide by
		} else if k >= 8 {
			want = 3
		}
		near(t, "noise", v, want, 1e-12)
	}
}

// thermometer is 13 °C in the mean of the year, 0 in the middle of January and 26 in
// July, give or take 3 by day, 3 lower at night and 3 higher by day.
func thermometer(d *fit.Days, seed uint64) fit.Weather {
	rng := rand.New(rand.NewPCG(seed, 3))
	w := fit.Weather{DayHours: func(day int) (int, int) { return 24 * day, 24*day + 24 }}
	for k := range d.N() {
		mean := 13 - 13*d.Winter(k) + 3*rng.NormFloat64()
		for h := range 24 {
			w.HourC = append(w.HourC, mean-3*math.Cos(2*math.Pi*float64(h-3)/24))
		}
		w.DayC = append(w.DayC, mean)
	}
	return w
}

// degreeDaysOf is what a day's hours lie below and above a balance point, in K·day.
func degreeDaysOf(w *fit.Weather, day int, balanceC float64) (below, above float64) {
	for _, c := range w.HourC[24*day : 24*day+24] {
		below, above = below+max(balanceC-c, 0)/24, above+max(c-balanceC, 0)/24
	}
	return below, above
}

// What came is found with its day, its answer and its energy: by construction a
// heat pump of 0.8 kWh a K·day under 15 °C, an air conditioner of 2 over 20 °C,
// levels up and down, one after the other and alone, for homes that cool and do not.
func TestWhatCameIsFound(t *testing.T) {
	type arrival struct {
		what fit.Answer
		day  int
		beta float64
	}
	for k, c := range []struct {
		name    string
		already float64 // cooling of the home all along, kWh a K·day
		come    []arrival
	}{
		{"a heat pump in its second autumn", 0, []arrival{{fit.ToCold, 640, 0.8}}},
		{"an air conditioner in its second summer", 0, []arrival{{fit.ToHeat, 540, 2}}},
		{"a second air conditioner", 0.8, []arrival{{fit.ToHeat, 540, 2}}},
		{"a car", 0, []arrival{{fit.ToNothing, 333, 6}}},
		{"a car that leaves again", 0, []arrival{{fit.ToNothing, 300, 6}, {fit.ToNothing, 700, -6}}},
		{"three loads", 0, []arrival{{fit.ToNothing, 200, 5}, {fit.ToNothing, 500, 4}, {fit.ToCold, 640, 0.8}}},
	} {
		d := household(uint64(20+k), 1000, func(int, *rand.Rand) float64 { return 0 })
		d.First = 20454
		weather := thermometer(d, uint64(k))
		for day := range d.N() {
			below, _ := degreeDaysOf(&weather, day, 15)
			_, above20 := degreeDaysOf(&weather, day, 20)
			d.KWh[day] += c.already * above20
			for _, a := range c.come {
				if day >= a.day {
					d.KWh[day] += a.beta * map[fit.Answer]float64{fit.ToNothing: 1, fit.ToCold: below, fit.ToHeat: above20}[a.what]
				}
			}
		}
		w := new(fit.Workspace)
		s := Tell(w, d, fit.NewColumns(w, d, weather), nil)
		if len(s.Groups) != len(c.come) {
			t.Errorf("%s: %d events: %+v", c.name, len(s.Groups), s.Steps)
			continue
		}
		for i, a := range c.come {
			g := s.Groups[i]
			main := g.Main()
			if main.What != a.what || a.day < g.Low || a.day > g.Top {
				t.Errorf("%s: answer %d, day %d to %d, want %d on day %d", c.name, main.What, g.Low, g.Top, a.what, a.day)
			}
			truth := 0.0
			for day := range d.N() {
				below, _ := degreeDaysOf(&weather, day, 15)
				_, above := degreeDaysOf(&weather, day, 20)
				truth += a.beta * map[fit.Answer]float64{fit.ToNothing: 1, fit.ToCold: below, fit.ToHeat: above}[a.what] * 365.25 / float64(d.N())
			}
			// The readings hold three summers and two winters and more: up to a fifth more weather than their share.
			near(t, c.name+": energy a year", g.Yearly(&s.Columns).Total(), truth, 0.2*math.Abs(truth)+3*s.SDKWhYr[i])
		}
		if c.come[0].what == fit.ToHeat && s.Columns.HasCool != (c.already > 0) {
			t.Errorf("%s: cooling before the events: %v", c.name, s.Columns.HasCool)
		}
	}
}
