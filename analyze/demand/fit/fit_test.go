package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"rowen/scripts/outside"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

// cvrmse is 100·√(Σ(y-ŷ)²/(n-p))/ȳ with p all parameters (ASHRAE 14).
func cvrmse(m *DegreeDays) float64 {
	return 100 * math.Sqrt(m.ss/float64(m.n-m.terms-1)) / m.MeanY
}

// dailyMeans are the columns as CalTRACK has them, from the day's mean.
func dailyMeans(temp []float64, grid BalanceGrid) *DegreeColumns {
	c := &DegreeColumns{Grid: grid}
	for k := range grid.N {
		b := grid.Low + grid.Step*float64(k)
		heat, cool := make([]float64, len(temp)), make([]float64, len(temp))
		for d, t := range temp {
			heat[d], cool[d] = max(b-t, 0), max(t-b, 0)
		}
		c.Heat, c.Cool = append(c.Heat, heat), append(c.Cool, cool)
	}
	return c
}

// Two years of a state's demand: balance points, coefficients and fit as
// statsmodels and R give them.
func TestDegreeDaysAgainstCheckValues(t *testing.T) {
	var want struct {
		Fit struct {
			Heating   float64 `json:"heating_balance_C"`
			Cooling   float64 `json:"cooling_balance_C"`
			Intercept float64 `json:"intercept"`
			BetaH     float64 `json:"beta_H"`
			BetaC     float64 `json:"beta_C"`
			AdjR2     float64 `json:"adj_r2"`
			R2        float64 `json:"r2"`
			CV        float64 `json:"cvrmse_ashrae_n_minus_p_pct"`
		} `json:"fit_2012"`
		Applied struct {
			Predicted float64 `json:"sum_predicted_MW_days"`
			Change    float64 `json:"weather_normalised_change_pct"`
		} `json:"baseline_2012_applied_to_2013"`
	}
	outside.JSON(t, "07_degree_day_expected.json", &want)
	var y, temp, y13, temp13 []float64
	for _, r := range outside.Rows(t, "07_daily_demand.csv") {
		if r["date"] < "2013" {
			y, temp = append(y, r.Num(t, "mean_demand_MW")), append(temp, r.Num(t, "mean_temp_C"))
		} else {
			y13, temp13 = append(y13, r.Num(t, "mean_demand_MW")), append(temp13, r.Num(t, "mean_temp_C"))
		}
	}
	m, ok := FitDegreeHours(y, nil, dailyMeans(temp, BalanceGrid{Low: 5, Step: 1, N: 26}))
	if !ok {
		t.Fatal("no fit")
	}
	f := want.Fit
	near(t, "heating balance", m.HeatBalanceC, f.Heating, 0)
	near(t, "cooling balance", m.CoolBalanceC, f.Cooling, 0)
	near(t, "intercept", m.Mu, f.Intercept, 1e-7*f.Intercept)
	near(t, "heating slope", m.BetaH, f.BetaH, 1e-7*f.BetaH)
	near(t, "cooling slope", m.BetaC, f.BetaC, 1e-7*f.BetaC)
	near(t, "adjusted R2", m.AdjR2, f.AdjR2, 1e-7)
	near(t, "R2", m.R2, f.R2, 1e-7)
	near(t, "CV(RMSE)", cvrmse(&m), f.CV, 1e-6)
	columns := dailyMeans(temp13, BalanceGrid{Low: 5, Step: 1, N: 26})
	actual, predicted := 0.0, 0.0
	for i := range y13 {
		actual += y13[i]
		predicted += m.Predict(columns, i)
	}
	near(t, "predicted 2013", predicted, want.Applied.Predicted, 1e-7*predicted)
	near(t, "normalised change", 100*(actual/predicted-1), want.Applied.Change, 1e-6)
}

// A gas-heated house: with the balance point above every day the heating
// slope is the plain regression's, turned round.
func TestDegreeDaysAgainstWhiteside(t *testing.T) {
	var want struct {
		Intercept, Slope float64
		AdjR2            float64 `json:"adj_r2"`
		CV               float64 `json:"cvrmse_pct_n_minus_2"`
	}
	outside.JSON(t, "07_whiteside_expected.json", &want)
	var y, temp []float64
	for _, r := range outside.Rows(t, "07_whiteside.csv") {
		y, temp = append(y, r.Num(t, "gas_1000ft3_per_week")), append(temp, r.Num(t, "temp_C"))
	}
	const balance = 12 // above all 26 weeks
	m, ok := FitDegreeHours(y, nil, dailyMeans(temp, BalanceGrid{Low: balance, Step: 1, N: 1}))
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "slope", -m.BetaH, want.Slope, 1e-8)
	near(t, "intercept at 0 °C", m.Mu+m.BetaH*balance, want.Intercept, 1e-7)
	near(t, "adjusted R2", m.AdjR2, want.AdjR2, 1e-8)
	near(t, "CV(RMSE)", cvrmse(&m), want.CV, 1e-6)
}

// The scan's coefficient and gain are those of fitting each column anew.
func TestScanAgainstPlainFits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 60
	y, x, cov := make([]float64, n), make([]float64, n), make([]float64, n)
	ones := make([]float64, n)
	for i := range y {
		ones[i], x[i], cov[i] = 1, rng.Float64()+0.1, rng.NormFloat64()
		y[i] = 3 + 2*cov[i] + rng.NormFloat64()
		if i > 35 {
			y[i] += 4 * x[i]
		}
	}
	var m Linear
	m.Reset([][]float64{y})
	m.Add(ones)
	m.Add(cov)
	beta, left := [][]float64{make([]float64, n)}, make([]float64, n)
	m.Scan(x, beta, left)
	for _, tau := range []int{5, 20, 36, 55} {
		step := make([]float64, n)
		copy(step[tau:], x[tau:])
		design, plain := mat.NewDense(n, 3, nil), mat.VecDense{}
		for c, column := range [][]float64{ones, cov, step} {
			design.SetCol(c, column)
		}
		if err := plain.SolveVec(design, mat.NewVecDense(n, y)); err != nil {
			t.Fatal(err)
		}
		near(t, "coefficient", beta[0][tau], plain.AtVec(2), 1e-9)
	}
	// The coefficient's weights give it back from the target.
	w := m.Weights(1, nil)
	near(t, "weights", Dot(w, y), m.Solve()[1], 1e-9)
}

// Where a home's noise grows with its consumption, the weights follow 1/ŷ; where
// it is the same on every day, all weigh alike. By construction.
func TestWeights(t *testing.T) {
	for _, c := range []struct {
		power, low, high float64
	}{{1, 0.65, 1}, {0, 0, 0.35}} {
		const n = 900
		d := &Days{KWh: make([]float64, n), Counted: make([]bool, n)}
		f := Fit{Base: make([]float64, n), EventDay: make([]float64, n), Resid: make([]float64, n), years: make([]float64, n)}
		for k := range n {
			y := 20 + 10*math.Cos(2*math.Pi*float64(k)/365)
			d.KWh[k], d.Counted[k], f.Base[k] = y, true, y
			f.Resid[k] = math.Pow(y/20, c.power) * math.Mod(float64(k)*0.61803398875, 1)
		}
		d.Recount()
		root := Weigh(Problem{Days: d, Columns: &Columns{Method: MethodDegreeDays}, Root: Equal(n)}, &f)
		// Day 0 is expected at 30, day 182 at 10.
		got := -math.Log(root[0]/root[182]) / math.Log(3)
		if got < c.low || got > c.high {
			t.Errorf("noise as consumption to the power of %g: weights say %.2f, want %g to %g", c.power, got, c.low, c.high)
		}
	}
}
