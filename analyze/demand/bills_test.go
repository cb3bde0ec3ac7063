package demand

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

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

// Bills of two years and two months, by hand: 20 kWh a day with a yearly wave of
// a third and 5 % of chance; from a day in the middle of a bill on 6 kWh a day
// more, or less. The change is found with its size, its range holds the true
// day, and bills without a change have none.
func TestBillsShowAChangeOfLevel(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 7))
		noise := make([]float64, 26)
		for m := range noise {
			noise[m] = math.Exp(0.05 * r.NormFloat64())
		}
		for _, step := range []float64{0, 6, -6} {
			var bills []ingest.Bill
			change := synthStart.AddDate(0, 15, 10)
			at := synthStart
			for m, chance := range noise {
				to := at.AddDate(0, 1, 0)
				sum := 0.0
				for d := at; d.Before(to); d = d.AddDate(0, 0, 1) {
					sum += 20 * (1 + math.Cos(2*math.Pi*float64(m)/12)/3) * chance
					if !d.Before(change) {
						sum += step
					}
				}
				bills = append(bills, ingest.Bill{From: at, To: to, ImportKWh: sum, ExportKWh: math.NaN()})
				at = to
			}
			w := ingest.Window{Start: ingest.HourOf(at) - 8760, N: 8760}
			events := Assess(Input{SiteID: "bills", Bills: bills, Window: w}).Events
			if step == 0 {
				if len(events) > 0 {
					t.Errorf("seed %d: nothing changes, but %s", seed, events[0].Says)
				}
				continue
			}
			if len(events) != 1 {
				t.Errorf("seed %d, %+g kWh a day: %d events", seed, step, len(events))
				continue
			}
			e := events[0]
			if e.OnLow.After(change) || e.OnHigh.Before(change) || e.OnHigh.Sub(e.OnLow) < 28*24*time.Hour {
				t.Errorf("seed %d, %+g kWh a day: %s to %s, true %s", seed, step, e.OnLow.Format(time.DateOnly), e.OnHigh.Format(time.DateOnly), change.Format(time.DateOnly))
			}
			if math.Abs(e.KWhYr-365*step) > 0.35*365*math.Abs(step) || !strings.Contains(e.Says, "as far as bills tell") {
				t.Errorf("seed %d, %+g kWh a day: %.0f kWh a year: %s", seed, step, e.KWhYr, e.Says)
			}
			if kind := map[bool]string{true: KindOther, false: KindDeparture}[step > 0]; e.Kind != kind {
				t.Errorf("seed %d, %+g kWh a day: %s, bills tell no more than %s", seed, step, e.Kind, kind)
			}
		}
	}
}
