package analyze

import (
	"math"
	"testing"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/ingest"
)

// By hand. A year of 1000 Wh an hour is 8760 kWh. Of a hole of 72 hours the model
// knows the shape; it says half of what the meter reads, so that its 72 x 500 Wh
// count double: 72 kWh of 8760 are filled.
func TestYearOf(t *testing.T) {
	const n = 8760
	flat := func(wh float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = wh
		}
		return v
	}
	cut := func(v []float64, from, to int) []float64 {
		for i := from; i < to; i++ {
			v[i] = math.NaN()
		}
		return v
	}
	// The meter read 1000 Wh in the first half year and 3000 in the second; the
	// model knows of no rise. A hole in the second half is like its neighbors.
	risen := flat(1000)
	for i := n / 2; i < n; i++ {
		risen[i] = 3000
	}
	nan := math.NaN()
	for _, tc := range []struct {
		name        string
		read, model []float64
		kWh, filled float64
	}{
		{"all read, model or not", flat(1000), nil, 8760, 0},
		{"a hole of three days", cut(flat(1000), 1000, 1072), flat(500), 8760, 100 * 72.0 / 8760},
		{"a hole beside a rise", cut(risen, 7000, 7100), flat(500), 4380 + 3*4380, 100 * 300.0 / 17520},
		{"a hole without a model", cut(flat(1000), 0, 876), nil, 8760, 10},
		{"too large a hole without a model", cut(flat(1000), 0, 877), nil, nan, nan},
		{"half a year missing", cut(flat(1000), 0, n/2), flat(700), 8760, 50},
		{"nothing read", cut(flat(1000), 0, n), flat(700), nan, nan},
		{"nothing made", flat(0), nil, 0, 0},
		{"dead, with a hole", cut(flat(0), 10, 20), flat(500), 0, 0},
	} {
		kWh, filled := yearOf(tc.read, tc.model)
		if !near(kWh, tc.kWh) || !near(filled, tc.filled) {
			t.Errorf("%s: %g kWh, %g %% filled; want %g and %g", tc.name, kWh, filled, tc.kWh, tc.filled)
		}
	}
}

func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) || math.IsNaN(a) && math.IsNaN(b)
}

// A dead meter's zeros are holes, from the day that it died to the day that it
// came back.
func TestDeadMeterIsAHole(t *testing.T) {
	w := ingest.Window{Start: 480000, N: 100}
	day := func(h int) time.Time { return (w.Start + ingest.Hour(h)).Time() }
	wh := make([]float64, w.N)
	withoutDeadMeter(wh, w, []array.Fault{
		{Code: array.MeterDead, Until: day(10)},
		{Code: array.Outage, On: day(20), Until: day(30)},
		{Code: array.MeterDead, On: day(40), Until: day(50)},
		{Code: array.MeterDead, On: day(90)},
		{Code: array.MeterDead, On: day(-50), Until: day(-40)},
		{Code: array.MeterDead, On: day(200)},
	})
	for h, x := range wh {
		if hole := h < 10 || h >= 40 && h < 50 || h >= 90; hole != math.IsNaN(x) {
			t.Errorf("hour %d is %g", h, x)
		}
	}
}

// Nine months billed at 300 kWh each, the last of them for two thirds; three
// months missing of which the model says 200 kWh each where it says 400 for the
// billed ones.
func TestBilledYear(t *testing.T) {
	f := &Finding{Location: time.UTC, Month: Month{2026, time.October}}
	f.Window = f.Month.window(time.UTC)
	f.Demand.Basis = demand.BasisBills
	f.Demand.NextYearWh = make([]float64, f.Window.N)
	for k, m := range ingest.NewCalendar(time.UTC, f.Window.Start, f.Window.N).Months() {
		kWh := 400.0
		if k >= 9 {
			kWh = 200
		} else {
			share := 100.0
			if k == 8 {
				share = 200.0 / 3
			}
			f.Demand.Months = append(f.Demand.Months, demand.Month{First: m.First, ConsumptionKWh: 300, DataPct: share})
		}
		for i := m.Lo; i < m.Hi; i++ {
			f.Demand.NextYearWh[i] = 1000 * kWh / float64(m.Due)
		}
	}
	kWh, filled := billedYear(f)
	if !near(kWh, 9*300+3*150) || !near(filled, 100*(100+450)/3150.0) {
		t.Errorf("%g kWh, %g %% filled", kWh, filled)
	}
}

// A stray value of a consumption meter, or a meter since last week, takes nothing
// from the hours in which production, import and export were read.
func TestStrayMeterCostsNoDays(t *testing.T) {
	const n = 60 * 24
	f := &Finding{Location: time.UTC, Window: ingest.Window{Start: 1000, N: n}}
	s := &ingest.Series{Start: 1000, StepMinutes: 60}
	for c := range s.Wh {
		s.Wh[c] = make([]float64, n)
	}
	for i := range n - 7*24 {
		s.Wh[ingest.Consumption][i] = math.NaN()
	}
	cal := ingest.NewCalendar(time.UTC, s.Start, n)
	use := ingest.JoinConsumption(s, nil)
	f.countDays(s, cal, whole(s, &use))
	if f.Days < 59 || !near(f.CoveragePct, 100) || !near(f.WindowPct, 100) {
		t.Errorf("%d days, %g %% of the hours, %g %% of the year", f.Days, f.CoveragePct, f.WindowPct)
	}
	s.Wh[ingest.Production][5] = math.NaN()
	use = ingest.JoinConsumption(s, nil)
	f.countDays(s, cal, whole(s, &use))
	if !near(f.CoveragePct, 100*(n-1.0)/n) {
		t.Errorf("an hour without production: %g %%", f.CoveragePct)
	}
}
