package demand

import (
	"math"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
	"rowen/ingest"
)

// A home whose days swing by a third of its consumption, at random and without a
// thermometer, and a car of 3.6 kW for an hour on every second evening from day
// 640 of 700 on: 657 kWh a year by hand, which the days' sums alone do not tell from
// the swing.
func TestArrivalByRate(t *testing.T) {
	start := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	const days, arrive = 700, 640
	s := &ingest.Series{SiteID: "A", Start: ingest.HourFrom(start), StepMinutes: 60}
	s.Wh[ingest.Consumption] = make([]float64, days*24)
	swing := uint64(7)
	for d := range days {
		swing = swing*6364136223846793005 + 1442695040888963407
		level := 0.6 + 0.8*float64(swing>>40)/float64(1<<24)
		for h := range 24 {
			wh := 900 * level
			if d >= arrive && d%2 == 0 && h == 20 {
				wh += 3600
			}
			s.Wh[ingest.Consumption][d*24+h] = wh
		}
	}
	r := Assess(Input{Series: s, Location: time.UTC, LatitudeDeg: 45})
	if len(r.Events) != 1 {
		t.Fatalf("events %v", r.Events)
	}
	e := r.Events[0]
	if e.Kind != KindEV || math.Abs(e.On.Sub(start).Hours()/24-arrive) > 14 || math.Abs(e.KWhYr-657) > 80 || e.KWhYrLow > 657 || e.KWhYrHigh < 657 {
		t.Errorf("%s on %s, %.0f kWh a year (%.0f to %.0f)", e.Kind, e.On.Format(time.DateOnly), e.KWhYr, e.KWhYrLow, e.KWhYrHigh)
	}
}

func TestUnseenArrivals(t *testing.T) {
	groups := []change.Group{{Day: 300, Low: 295, Top: 305}}
	got := unseen([]pulse.Change{{Day: 345, Low: 340, Top: 352}, {Day: 360, Low: 352, Top: 366}, {Day: 240, Low: 230, Top: 249}}, groups)
	if len(got) != 2 || got[0].Day != 360 || got[1].Day != 240 {
		t.Errorf("unseen %v", got)
	}
}

// What the hours name already keeps its name.
func TestOfPulses(t *testing.T) {
	a := &pulse.Change{Score: 5, MinKW: 2.5, PerWeek: 3, BeforePerWeek: 1}
	if v := ofPulses(load.Verdict{Kind: KindHeatPump}, a, nil); v.Kind != KindHeatPump {
		t.Errorf("a heat pump became %s", v.Kind)
	}
	v := ofPulses(load.Verdict{Kind: KindOther}, a, nil)
	if v.Kind != KindEV || math.Abs(v.Score-0.8) > 1e-12 || v.Because != "loads of 2.5 kW and more began or grew: about 4 a week, 1 before" {
		t.Errorf("%+v", v)
	}
}

// A spring day has 23 hours and an autumn day 25 in Berlin: every hour keeps its
// place on the clock, the skipped one is missing.
func TestIntervalsOnTheClock(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 28, 0, 0, 0, 0, zone)
	const hours = 24 + 23 + 24
	h := household{in: &Input{Series: &ingest.Series{StepMinutes: 60}}, basis: basis{name: BasisMeter, gross: true, wh: make([]float64, hours)}, calendar: new(ingest.Calendar)}
	h.calendar.Lay(zone, ingest.HourFrom(start), hours)
	for i := range hours {
		h.wh[i] = float64(1000 * h.calendar.Local(i).Hour())
	}
	h.days = &fit.Days{KWh: make([]float64, 3)}
	v := h.intervals()
	for d := range 3 {
		for hour := range 24 {
			got := v.KW[d*24+hour]
			if d == 1 && hour == 2 {
				if !math.IsNaN(got) {
					t.Errorf("the skipped hour has %g", got)
				}
			} else if got != float64(hour) {
				t.Errorf("day %d, hour %d: %g", d, hour, got)
			}
		}
	}
}
