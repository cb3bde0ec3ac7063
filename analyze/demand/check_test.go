package demand

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/analyze/demand/fit"
	"rowen/ingest"
	"rowen/scripts/outside"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
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
	c := ingest.NewCalendar(loc, start, n)
	day, _ := daySums(c, use)
	columns := fit.DegreeHours(c.Days(), fit.Weather{HourC: tempC, DayHours: c.Day}, fit.DefaultGrid, new([]float64))
	year := func(from time.Time) fit.DegreeDays {
		lo := int(from.Unix()/86400) - c.DayNumber(0)
		part := make([]float64, len(day))
		for d := range part {
			part[d] = math.NaN()
			if d >= lo && d < lo+365 {
				part[d] = day[d]
			}
		}
		m, ok := fit.FitRelative(part, columns)
		if !ok {
			t.Fatal("no fit")
		}
		return m
	}
	before := year(time.Date(2015, 12, 26, 0, 0, 0, 0, time.UTC))
	after := year(time.Date(2017, 1, 5, 0, 0, 0, 0, time.UTC))
	for _, m := range []fit.DegreeDays{before, after} {
		near(t, "heating balance, °C", m.HeatBalanceC, (60-32)/1.8, 5/3.0) // one step of 3 °F
		near(t, "cooling balance, °C", m.CoolBalanceC, (65-32)/1.8, 5/3.0)
	}
	// 2000 kWh a year are 5.47 kWh a day.
	near(t, "base a day, kWh", before.Mu/1000, 2000/365.25, 0.6)
	// Both years' models on the same temperatures: a tenth less.
	was, now := 0.0, 0.0
	for d := range day {
		if !math.IsNaN(columns.Heat[0][d]) {
			was += before.Predict(columns, d)
			now += after.Predict(columns, d)
		}
	}
	near(t, "step, %", 100*(now/was-1), -10, 0.5)

	end := s.End()
	r := Assess(Input{SiteID: "il", Location: loc, LatitudeDeg: 39.8, Series: s, TempC: tempC, Window: ingest.Window{Start: end - 8760, N: 8760}})
	near(t, "twelve months against the twelve before, %", r.Change12mPct, -10, 2)
	near(t, "level, kWh a year", r.LevelKWhYr, 9000, 450)
}
