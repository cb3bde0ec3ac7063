package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A home of 10 kWh, 0.5 a K·day under 15 °C and 0.8 over 20, growing by 3 % a year,
// with a step of 4 kWh from day 500 on: without noise all of it comes back, and in
// normal weather the base has the normal degree days.
func TestWhatWasPutInComesBack(t *testing.T) {
	const n = 1000
	temp := wave(5, n)
	d, w := wholeDays(19800, n), hourly(temp)
	c := NewColumns(new(Workspace), d, w)
	for k := range n {
		base := 10 + 0.5*max(15-temp[k], 0) + 0.8*max(temp[k]-20, 0)
		d.KWh[k] = base * (1 + 0.03*c.Years[k])
		if k >= 500 {
			d.KWh[k] += 4
		}
	}
	clean := make([]float64, n)
	for k := range clean {
		clean[k] = 10 + 0.5*max(15-temp[k], 0) + 0.8*max(temp[k]-20, 0)
	}
	c = c.Refit(d, clean)
	if c.Degree.HeatBalanceC != 15 || c.Degree.CoolBalanceC != 20 || !c.HasHeat || !c.HasCool {
		t.Fatalf("%+v", c.Degree)
	}
	ws := new(Workspace)
	p := Problem{Days: d, Columns: &c, Root: Equal(n), Start: FirstStart(d)}
	steps := []Step{{Day: 500}}
	f, _ := Solve(ws, p, steps)
	f, design := Iterate(ws, p, steps, f, 1e9, 30)
	near(t, "growth", f.Drift, 0.03, 1e-6)
	near(t, "heating", f.HeatSlope, 0.5, 1e-5)
	near(t, "cooling", f.CoolSlope, 0.8, 1e-5)
	near(t, "step", f.Beta[0], 4, 1e-4)
	near(t, "left", design.SumOfSquares(), 0, 1e-5)
	if design.Drift < 0 || design.StepPlace(0) != design.Columns()-1 || f.Params != design.Columns() {
		t.Errorf("drift at %d, step at %d of %d, %d parameters", design.Drift, design.StepPlace(0), design.Columns(), f.Params)
	}
	for _, k := range []int{0, 250, 499, 500, 999} {
		near(t, "base", f.Base[k], clean[k], 1e-4)
		near(t, "expected", f.Expected(k), d.KWh[k], 1e-3)
		normal := clean[k] + 0.5*(c.heating.Normal[k]-c.heating.X[k]) + 0.8*(c.cooling.Normal[k]-c.cooling.X[k])
		near(t, "base in normal weather", f.BaseNormal[k], normal, 1e-4)
		near(t, "residual", f.Resid[k], d.KWh[k]-f.Expected(k), 1e-12)
	}
	near(t, "no step yet", f.EventDay[499], 0, 0)
	near(t, "the step", f.EventDay[500], f.Beta[0], 0)
	// The same step once more says nothing new; without either the model is the first.
	twice := design.With([]Step{{Day: 500}, {Day: 500}}, -1)
	if twice.StepPlace(0) < 0 || twice.StepPlace(1) >= 0 {
		t.Errorf("steps at %d and %d", twice.StepPlace(0), twice.StepPlace(1))
	}
	if got := twice.With([]Step{{Day: 500}, {Day: 700}}, 1); got.Columns() != f.Params {
		t.Errorf("%d columns with one of two steps", got.Columns())
	}
	_, bare := Solve(ws, Problem{Days: d.Until(100), Columns: ptr(c.Until(100)), Root: Equal(100), Start: Start{Base: clean[:100]}}, nil)
	if bare.Drift >= 0 {
		t.Error("a drift of 100 days")
	}
}

func ptr[T any](v T) *T { return &v }

// The prior's row is the noise over the spread: residuals of ±2 on 40 days have a
// variance of 4 at a weight of 1, of 1 at roots of 0.5.
func TestPriorOfTheDrift(t *testing.T) {
	d := wholeDays(0, 40)
	f := Fit{Base: []float64{7}, Resid: make([]float64, 40)}
	root := Equal(40)
	for k := range f.Resid {
		f.Resid[k], root[k] = 2-4*float64(k%2), 0.5
	}
	near(t, "row", f.After(Problem{Days: d, Root: Equal(40)}, 0.04).DriftRow, 50, 1e-9)
	got := f.After(Problem{Days: d, Root: root}, 0.04)
	near(t, "row", got.DriftRow, 25, 1e-9)
	near(t, "base", got.Base[0], 7, 0)
}

// With weights and days left out the coefficients are those of weighted least
// squares on the days that count.
func TestWeightedFitAgainstAPlainOne(t *testing.T) {
	const n = 200
	rng := rand.New(rand.NewPCG(3, 4))
	d, root := wholeDays(19800, n), make([]float64, n)
	for k := range n {
		d.KWh[k], root[k] = 20+rng.NormFloat64(), 0.5+rng.Float64()
		d.Counted[k] = k%5 != 2
		if k >= 90 {
			d.KWh[k] += 3
		}
	}
	d.Recount()
	c := NewColumns(new(Workspace), d, Weather{})
	f, design := Solve(new(Workspace), Problem{Days: d, Columns: &c, Root: root, Start: FirstStart(d)}, []Step{{Day: 90}})
	x, y := mat.NewDense(d.Count, 8, nil), mat.NewVecDense(d.Count, nil)
	row := 0
	for k := range n {
		if !d.Counted[k] {
			near(t, "a day that does not count", f.Resid[k], 0, 0)
			continue
		}
		x.Set(row, 0, root[k])
		if wd := (19800 + k + 4) % 7; wd > 0 {
			x.Set(row, wd, root[k])
		}
		if k >= 90 {
			x.Set(row, 7, root[k])
		}
		y.SetVec(row, d.KWh[k]*root[k])
		row++
	}
	var b mat.VecDense
	if err := b.SolveVec(x, y); err != nil {
		t.Fatal(err)
	}
	near(t, "step", f.Beta[0], b.AtVec(7), 1e-9)
	near(t, "base of day 0", f.Base[0], b.AtVec(0)+b.AtVec((19800+4)%7), 1e-9)
	// Each coefficient's weights give it back, and give 1 for its own column and 0 for the others.
	solved := design.Linear.Solve()
	for j := range solved {
		w := design.Weights(j, nil)
		sum := 0.0
		for k := range n {
			if d.Counted[k] {
				sum += w[k] * d.KWh[k] * root[k]
			}
		}
		near(t, "by weights", sum, solved[j], 1e-9)
	}
}

// A column's gain β²·left is what the sum of squares falls by when it is added; a
// column that the model holds already has nothing new.
func TestGainOfAScan(t *testing.T) {
	const n = 50
	rng := rand.New(rand.NewPCG(8, 8))
	y, ones, x := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		y[i], ones[i], x[i] = rng.NormFloat64(), 1, rng.Float64()
	}
	var m Linear
	m.Reset([][]float64{y})
	m.Add(ones)
	beta, left := [][]float64{make([]float64, n)}, make([]float64, n)
	m.Scan(x, beta, left)
	before := Dot(m.Resid(0), m.Resid(0))
	m.Mark()
	for _, tau := range []int{0, 13, 37, 49} {
		step := make([]float64, n)
		copy(step[tau:], x[tau:])
		m.Add(step)
		near(t, "gain", beta[0][tau]*beta[0][tau]*left[tau], before-Dot(m.Resid(0), m.Resid(0)), 1e-9)
		m.Rewind()
	}
	m.Scan(ones, beta, left)
	near(t, "ones again", left[0], 0, 0)
	near(t, "ones from the middle", left[25], 12.5, 1e-9) // 25 - 25²/50
	m.Scan(make([]float64, n), beta, left)
	near(t, "nothing", left[0], 0, 0)
}

// Degree days turned round (T for -T) change heating for cooling and nothing else.
func TestHeatingAndCoolingAreMirrored(t *testing.T) {
	temp, mirrored, y := wave(9, 400), make([]float64, 400), make([]float64, 400)
	for k := range temp {
		mirrored[k] = -temp[k]
		y[k] = 12 + 0.7*max(14-temp[k], 0) + math.Sin(float64(k*k))
	}
	heat, ok := FitDegreeHours(y, nil, dailyMeans(temp, BalanceGrid{Low: 0, Step: 1, N: 31}))
	cool, ok2 := FitDegreeHours(y, nil, dailyMeans(mirrored, BalanceGrid{Low: -30, Step: 1, N: 31}))
	if !ok || !ok2 || heat.BetaC != 0 || cool.BetaH != 0 {
		t.Fatalf("%+v, %+v", heat, cool)
	}
	near(t, "slope", cool.BetaC, heat.BetaH, 1e-9)
	near(t, "base", cool.Mu, heat.Mu, 1e-9)
	near(t, "balance", cool.CoolBalanceC, -heat.HeatBalanceC, 0)
	near(t, "R²", cool.R2, heat.R2, 1e-9)
	near(t, "adjusted R²", cool.AdjR2, heat.AdjR2, 1e-9)
	near(t, "adjusted R² by its definition", heat.AdjR2, 1-(1-heat.R2)*399/398, 1e-9)
}

// What a term needs: ten days and 100/9 K·days, a base above nothing, two days more
// than terms.
func TestWhatATermNeeds(t *testing.T) {
	at15 := BalanceGrid{Low: 15, Step: 1, N: 1}
	for kelvin, want := range map[float64]float64{1.112: 2, 1.111: 0} {
		temp, y := make([]float64, 30), make([]float64, 30)
		for k := range temp {
			if temp[k], y[k] = 20, 10; k < 10 {
				temp[k], y[k] = 15-kelvin, 10+2*kelvin
			}
		}
		m, _ := FitDegreeHours(y, nil, dailyMeans(temp, at15))
		near(t, "slope", m.BetaH, want, 1e-9)
	}
	temp, y := make([]float64, 30), make([]float64, 30)
	for base, want := range map[float64]float64{1: 2, -1: 0} { // 2 a K·day and a base of 1, or of -1
		for k := range temp {
			temp[k] = float64(k%10) - 5
			y[k] = base + 2*(15-temp[k])
		}
		m, _ := FitDegreeHours(y, nil, dailyMeans(temp, at15))
		near(t, "slope", m.BetaH, want, 1e-9)
	}
}

// Two passes of least squares with weights 1/ŷ², ŷ not under a fifth of the mean.
func TestRelativeFitAgainstAPlainOne(t *testing.T) {
	temp, y := wave(11, 300), make([]float64, 300)
	for k := range y {
		y[k] = (1 + 2.5*max(16-temp[k], 0)) * (1 + 0.1*math.Sin(float64(3*k*k)))
	}
	c := dailyMeans(temp, BalanceGrid{Low: 16, Step: 1, N: 1})
	got, ok := FitRelative(y, c)
	weight := Equal(300)
	mean := stat.Mean(y, nil)
	var alpha, beta float64
	for pass := range 3 {
		alpha, beta = stat.LinearRegression(c.Heat[0], y, weight, false)
		for k := range weight {
			if pass < 2 {
				weight[k] = math.Pow(max(alpha+beta*c.Heat[0][k], 0.2*mean), -2)
			}
		}
		mean = stat.Mean(y, weight)
	}
	if !ok {
		t.Fatal("refused")
	}
	near(t, "base", got.Mu, alpha, 1e-6)
	near(t, "slope", got.BetaH, beta, 1e-7)
}

// The station's anomalies against the fleet's, in the winter half with the sign
// turned: the larger of the two halves' correlations, each of 60 days and more.
func TestCorrelationOfAStation(t *testing.T) {
	const n = 730
	c, f := wave(21, n), wave(22, n)
	for k := range f {
		f[k] = 0.03*f[k] - 0.02*c[k] // some of the fleet follows the cold
	}
	d := wholeDays(19800, n)
	w := Weather{DayC: c, Signal: &Signal{First: 19800, Log: f}}
	ac, af := anomalies(c), anomalies(f)
	half := func(sign float64) float64 {
		var x, y []float64
		for k := range n {
			if sign*d.Winter(k) >= 0.3 && ac[k] == ac[k] && af[k] == af[k] {
				x, y = append(x, -sign*ac[k]), append(y, af[k])
			}
		}
		return stat.Correlation(x, y, nil)
	}
	near(t, "the winter's", w.correlation(d), half(1), 1e-9)
	if half(1) < half(-1) {
		t.Fatal("the fleet was made to follow the cold")
	}
	for k := range f {
		f[k] += 0.06 * c[k] // and now the heat
	}
	af = anomalies(f)
	near(t, "the summer's", w.correlation(d), half(-1), 1e-9)
	for k := range c { // 59 or 60 days of summer alone are known
		if d.Winter(k) > -0.3 {
			c[k] = math.NaN()
		}
	}
	summer := 0
	for _, v := range anomalies(c) {
		if v == v {
			summer++
		}
	}
	ac = anomalies(c)
	near(t, "a summer alone", w.correlation(d), half(-1), 1e-9)
	for k := range c {
		if c[k] == c[k] && summer > 0 && d.Winter(k) > -0.9 {
			c[k] = math.NaN()
		}
	}
	for k := range c[n/2:] {
		c[n/2+k] = math.NaN()
	}
	if got := w.correlation(d); got == got {
		t.Errorf("of half a summer's days: %g", got)
	}
}

// 101 days of 10 kWh whose noise is 1, 99 of 20 and 100 of 30 whose noise is 2: the
// power is ln 2/ln 3, and a day of 10 weighs (20/10)^power. What is expected lies
// between 0.4 and 3 times the mean.
func TestNoiseThatGrowsWithConsumption(t *testing.T) {
	const n = 300
	d := wholeDays(0, n)
	f := Fit{Base: make([]float64, n), EventDay: make([]float64, n), Resid: make([]float64, n), years: make([]float64, n)}
	for k := range n {
		f.Base[k], f.Resid[k] = 10, 0.5-float64(k%2)
		if k >= 101 {
			f.Base[k], f.Resid[k] = 20, 50*(0.5-float64(k%2)) // the middle third says nothing
		}
		if k >= 200 {
			f.Base[k], f.Resid[k] = 30, 1-2*float64(k%2)
		}
	}
	power := math.Log(2) / math.Log(3)
	c := Columns{Method: MethodDegreeDays}
	p := Problem{Days: d, Columns: &c, Root: Equal(n)}
	for k, want := range map[int]float64{0: 2, 150: 1, 250: 2. / 3} {
		near(t, "root of the weight", Weigh(p, &f)[k], math.Pow(want, power), 1e-9)
	}
	f.Base[0], f.Base[299] = 1, 90
	near(t, "next to nothing", Weigh(p, &f)[0], math.Pow(1/0.4, power), 1e-9)
	near(t, "much", Weigh(p, &f)[299], math.Pow(1./3, power), 1e-9)
	f.Base[0], f.Base[299] = 10, 30
	c.Method = MethodCalendar
	near(t, "without weather", Weigh(p, &f)[0], 1, 0)
	c.Method, d.Monthly = MethodSeason, true
	near(t, "of bills", Weigh(p, &f)[0], 1, 0)
	for k := range n {
		d.Counted[k] = k%3 != 2 // 33 pairs of neighbors in each third
	}
	d.Recount()
	near(t, "of few neighbors", noisePower(d, &f), 0, 0)
	near(t, "weighted", Weighted([]float64{3}, []float64{0.5})[0], 1.5, 0)
}
