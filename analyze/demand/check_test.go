package demand

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

// dailyMeans are the columns as CalTRACK has them, from the day's mean.
func dailyMeans(temp []float64, grid balanceGrid) *degreeColumns {
	c := &degreeColumns{grid: grid}
	for k := range grid.n {
		b := grid.low + grid.step*float64(k)
		heat, cool := make([]float64, len(temp)), make([]float64, len(temp))
		for d, t := range temp {
			heat[d], cool[d] = max(b-t, 0), max(t-b, 0)
		}
		c.heat, c.cool = append(c.heat, heat), append(c.cool, cool)
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
	m, ok := fitDegreeHours(y, nil, dailyMeans(temp, balanceGrid{low: 5, step: 1, n: 26}))
	if !ok {
		t.Fatal("no fit")
	}
	f := want.Fit
	near(t, "heating balance", m.heatBalance, f.Heating, 0)
	near(t, "cooling balance", m.coolBalance, f.Cooling, 0)
	near(t, "intercept", m.mu, f.Intercept, 1e-7*f.Intercept)
	near(t, "heating slope", m.betaH, f.BetaH, 1e-7*f.BetaH)
	near(t, "cooling slope", m.betaC, f.BetaC, 1e-7*f.BetaC)
	near(t, "adjusted R2", m.adjR2, f.AdjR2, 1e-7)
	near(t, "R2", m.r2, f.R2, 1e-7)
	near(t, "CV(RMSE)", m.cvrmse(), f.CV, 1e-6)
	columns := dailyMeans(temp13, balanceGrid{low: 5, step: 1, n: 26})
	actual, predicted := 0.0, 0.0
	for i := range y13 {
		actual += y13[i]
		predicted += m.predictHours(columns, i)
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
	m, ok := fitDegreeHours(y, nil, dailyMeans(temp, balanceGrid{low: balance, step: 1, n: 1}))
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "slope", -m.betaH, want.Slope, 1e-8)
	near(t, "intercept at 0 °C", m.mu+m.betaH*balance, want.Intercept, 1e-7)
	near(t, "adjusted R2", m.adjR2, want.AdjR2, 1e-8)
	near(t, "CV(RMSE)", m.cvrmse(), want.CV, 1e-6)
}

func TestMatchedMonthsAgainstCheckValues(t *testing.T) {
	var want struct {
		Used   int        `json:"months_used"`
		Growth float64    `json:"growth_pct"`
		CI     [2]float64 `json:"ci95_pct"`
		Median float64    `json:"median_month_growth_pct"`
	}
	outside.JSON(t, "07_matched_months_expected.json", &want)
	var before, after []monthUse
	for _, r := range outside.Rows(t, "07_matched_months.csv") {
		m := int(r.Num(t, "month"))
		before = append(before, monthUse{2023, m, r.Num(t, "kWh_year0"), int(r.Num(t, "valid_days_year0")), int(r.Num(t, "days_in_month_year0"))})
		after = append(after, monthUse{2024, m, r.Num(t, "kWh_year1"), int(r.Num(t, "valid_days_year1")), int(r.Num(t, "days_in_month_year1"))})
	}
	got, ok := matchMonths(append(before, after...), 0.95)
	if !ok {
		t.Fatal("refused")
	}
	if got.pairs != want.Used {
		t.Errorf("pairs: got %d, want %d", got.pairs, want.Used)
	}
	near(t, "growth", got.growthPct, want.Growth, 1e-9)
	near(t, "low", got.lowPct, want.CI[0], 1e-6)
	near(t, "high", got.higPct, want.CI[1], 1e-6)
	near(t, "median", got.medianPct, want.Median, 1e-9)
	if _, ok := matchMonths(append(before[:5:5], after[:5]...), 0.95); ok {
		t.Error("five months were enough")
	}
}

// Days of a clock change, Lord Howe's half hour left out: the hours are whole.
func TestLocalDaysAgainstCheckValues(t *testing.T) {
	tried := 0
	for _, r := range outside.Rows(t, "13_local_days.csv") {
		hours := r.Num(t, "hours")
		loc, err := time.LoadLocation(r["iana_zone"])
		if err != nil {
			t.Fatal(err)
		}
		start, err := time.Parse("2006-01-02T15:04Z", r["utc_start"])
		if err != nil {
			t.Fatal(err)
		}
		if hours != math.Trunc(hours) || start.Minute() != 0 {
			continue
		}
		tried++
		from := ingest.HourOf(start) - 72
		var c calendar
		newCalendar(from, 144+48, loc, &c)
		date, _ := time.Parse("2006-01-02", r["local_date"])
		d := int(date.Unix()/86400) - c.firstDay
		if got := float64(c.dayStart[d+1] - c.dayStart[d]); got != hours {
			t.Errorf("%s %s: %v hours, want %v", r["iana_zone"], r["local_date"], got, hours)
		}
		if got := (from + ingest.Hour(c.dayStart[d])).Time(); !got.Equal(start) {
			t.Errorf("%s %s begins %v, want %v", r["iana_zone"], r["local_date"], got, start)
		}
	}
	if tried < 5 {
		t.Fatalf("only %d days tried", tried)
	}
}

// readTruth reads one of the meters with a known truth: hours from a fixed
// offset of -6 h.
func readTruth(t *testing.T, name string) (ingest.Hour, []float64) {
	t.Helper()
	f, err := os.Open(outside.Data(t, "degree-day-known-truth", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var start ingest.Hour
	var out []float64
	for i, r := range rows[1:] {
		at, err := time.Parse(time.RFC3339, r[0])
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			start = ingest.HourOf(at)
		}
		v, err := strconv.ParseFloat(r[1], 64)
		if err != nil {
			v = math.NaN()
		}
		for len(out) < int(ingest.HourOf(at)-start) {
			out = append(out, math.NaN())
		}
		out = append(out, v)
	}
	return start, out
}

// The truth of these meters is exact: 60 and 65 °F, 2000 + 4000 + 4000 kWh a
// year, and a tenth less from the first days of January 2017.
func TestKnownTruthBalancePointsAndStep(t *testing.T) {
	start, kwh := readTruth(t, "il-electricity-cdd-hdd-hourly.csv.gz")
	tempStart, tempF := readTruth(t, "il-tempF.csv.gz")
	n := len(kwh)
	s := &ingest.Series{SiteID: "il", Start: start, StepMinutes: 60}
	use, tempC := make([]float64, n), make([]float64, n)
	for i := range use {
		use[i] = 1000 * kwh[i]
		tempC[i] = math.NaN()
		if k := int(start-tempStart) + i; k >= 0 && k < len(tempF) {
			tempC[i] = (tempF[k] - 32) / 1.8
		}
	}
	s.Wh[ingest.Consumption] = use
	loc, err := time.LoadLocation("America/Chicago") // the stamps keep its summer time
	if err != nil {
		t.Fatal(err)
	}
	var c calendar
	newCalendar(start, n, loc, &c)
	day, _ := daySums(&c, use, nil, nil)
	columns := degreeHours(&c, tempC, defaultGrid, new([]float64))
	year := func(from time.Time) degreeDays {
		lo := int(from.Unix()/86400) - c.firstDay
		part := make([]float64, len(day))
		for d := range part {
			part[d] = math.NaN()
			if d >= lo && d < lo+365 {
				part[d] = day[d]
			}
		}
		m, ok := fitRelative(part, &columns)
		if !ok {
			t.Fatal("no fit")
		}
		return m
	}
	before := year(time.Date(2015, 12, 26, 0, 0, 0, 0, time.UTC))
	after := year(time.Date(2017, 1, 5, 0, 0, 0, 0, time.UTC))
	for _, m := range []degreeDays{before, after} {
		near(t, "heating balance, °C", m.heatBalance, (60-32)/1.8, 5/3.0) // one step of 3 °F
		near(t, "cooling balance, °C", m.coolBalance, (65-32)/1.8, 5/3.0)
	}
	// 2000 kWh a year are 5.47 kWh a day.
	near(t, "base a day, kWh", before.mu/1000, 2000/365.25, 0.6)
	// Both years' models on the same temperatures: a tenth less.
	was, now := 0.0, 0.0
	for d := range day {
		if !math.IsNaN(columns.heat[0][d]) {
			was += before.predictHours(&columns, d)
			now += after.predictHours(&columns, d)
		}
	}
	near(t, "step, %", 100*(now/was-1), -10, 0.5)

	end := s.End()
	r := Assess(Input{SiteID: "il", Location: loc, LatitudeDeg: 39.8, Series: s, TempC: tempC, Window: ingest.Window{Start: end - 8760, N: 8760}})
	near(t, "twelve months against the twelve before, %", r.Change12mPct, -10, 2)
	near(t, "level, kWh a year", r.LevelKWhYr, 9000, 450)
}
