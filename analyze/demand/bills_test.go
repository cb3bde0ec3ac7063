package demand

import (
	"math"
	"testing"

	"rowen/ingest"
)

// A household on bills whose use is 20 kWh on every day, and an array that
// makes three times as much on sunny days as on dull ones, which come in runs
// of a week: by construction nothing ever changes, whatever the sun does.
func TestBillsDoNotFollowTheSun(t *testing.T) {
	s := &ingest.Series{SiteID: "sun", Start: ingest.HourOf(synthStart), StepMinutes: 60}
	made := make([]float64, 900*24)
	for i := range made {
		if hour := i % 24; hour >= 9 && hour < 15 {
			made[i] = 1000 + 2000*float64(i/24/7%2)
		}
	}
	s.Wh[ingest.Production] = made
	var bills []ingest.Bill
	for from := 0; from+30 <= 900; from += 30 {
		sum := 0.0
		for _, v := range made[24*from : 24*(from+30)] {
			sum += v / 1000
		}
		bills = append(bills, ingest.Bill{From: synthStart.AddDate(0, 0, from), To: synthStart.AddDate(0, 0, from+30), ImportKWh: 600 - 0.4*sum, ExportKWh: 0.6 * sum})
	}
	w := ingest.Window{Start: s.End() - 8760, N: 8760}
	r := Assess(Input{SiteID: "sun", Series: s, Bills: bills, Window: w})
	whole(t, r, w)
	if r.Basis != BasisBills || len(r.Events) > 0 {
		t.Errorf("basis %s, events %v", r.Basis, r.Events)
	}
	near(t, "level", r.LevelKWhYr, 20*365, 1)
	if math.Abs(r.GrowthPctYr) > 0.05 {
		t.Errorf("growth %.2f %% a year of a use that never changes", r.GrowthPctYr)
	}
}
