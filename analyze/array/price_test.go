package array

import (
	"math"
	"testing"
	"time"

	"rowen/ingest"
)

// A year of 8,760 h in which the array should make 10,000 kWh and makes 9,000:
// whatever the faults say, they cost no more than the 1,000 kWh between.
func TestLossesAddUp(t *testing.T) {
	start := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	w := ingest.Window{Start: ingest.HourOf(start), N: 8760}
	day := func(n int) time.Time { return start.AddDate(0, 0, n) }
	r := Result{ExpectedKWhYr: 10_000, ProductionIndex: 0.9, Faults: []Fault{
		{Code: Outage, LossPct: 100, On: day(-20), Until: day(73), Repairable: true}, // over: 73 days are a fifth of the year
		{Code: InvertersDown, LossPct: 40, On: day(292), Live: true, Repairable: true},
		{Code: Shading, LossPct: 10, Live: true, Repairable: true},
		{Code: Clipping, LossPct: 2, KWhYr: 200, Live: true},
	}}
	r.price(w)
	sum, ahead := 0.0, 0.0
	for _, f := range r.Faults {
		if f.Code != Clipping {
			sum, ahead = sum+f.KWhYr, ahead+f.AheadKWhYr
		}
	}
	// 2,000 + 40 % of a fifth (800) + 10 % of all (1,000) = 3,800 for 1,000 kWh.
	for i, want := range []float64{2000 / 3.8, 800 / 3.8, 1000 / 3.8, 200} {
		if got := r.Faults[i].KWhYr; math.Abs(got-want) > 0.1 {
			t.Errorf("%s: %.1f kWh in the report year, want %.1f", r.Faults[i].Code, got, want)
		}
	}
	if math.Abs(sum-1000) > 1e-6 {
		t.Errorf("the year's losses are %.1f kWh together, expected less made 1,000", sum)
	}
	// 60 % x 90 % = 54 % stay: 4,600 kWh a year are lost together, 5,000 one by one.
	if math.Abs(r.ShortfallKWhYr-4600) > 1e-6 || math.Abs(ahead-4600) > 1e-6 || r.Faults[0].AheadKWhYr != 0 {
		t.Errorf("ahead: shortfall %.1f, faults together %.1f, a past outage %.1f", r.ShortfallKWhYr, ahead, r.Faults[0].AheadKWhYr)
	}
}
