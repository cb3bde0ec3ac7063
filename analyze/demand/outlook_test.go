package demand

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

func closeBy(t *testing.T, what string, got, want float64) {
	t.Helper()
	near(t, what, got, want, 1e-6*math.Abs(want)+1e-9)
}

// The drift's energy is its share of the last year's base in normal weather, drifted.
func TestEnergyOfADrift(t *testing.T) {
	s := flatStory(900, 24)
	rng := rand.New(rand.NewPCG(2, 9))
	for k := range s.Days.KWh {
		s.Days.KWh[k] = 24*(1+0.04*s.Columns.Years[k]) + rng.NormFloat64()
		s.Fit.Resid[k] = s.Days.KWh[k] - 24
	}
	r := growthOf(&Input{SiteID: "A", Options: Options{Replicates: 200}, Scratch: new(Scratch)}, s)
	if !(r.GrowthLow < r.GrowthPctYr && r.GrowthPctYr < r.GrowthHigh) || math.Abs(r.GrowthPctYr-4) > 2 {
		t.Fatalf("%+v", r)
	}
	g, base := math.Log(1+r.GrowthPctYr/100), 0.0
	for k := 900 - 365; k < 900; k++ {
		base += 24 * (1 + g*(float64(k)-899./2)/365.25) * 365.25 / 365
	}
	closeBy(t, "kWh a year", r.GrowthKWhYr, base*r.GrowthPctYr/100)
	closeBy(t, "at least", r.GrowthKWhLow, base*r.GrowthLow/100)
	closeBy(t, "at most", r.GrowthKWhHigh, base*r.GrowthHigh/100)
}

// Bills give January 10 kWh a day; of February 21 of 28 days are known, of March 20 of 31.
func TestMonthsOfBills(t *testing.T) {
	s := flatStory(90, 10)
	for k := range s.Days.KWh {
		if k >= 31+21 && k < 59 || k >= 59+20 {
			s.Days.KWh[k] = nan
		}
	}
	start := ingest.Hour(20089 * 24)
	h := &household{in: &Input{}, basis: basis{name: BasisBills}, calendar: ingest.NewCalendar(time.UTC, start, 90*24), days: s.Days}
	m := h.months()
	if len(m) != 3 || m[0].ConsumptionKWh != 310 || m[0].DataPct != 100 || m[1].ConsumptionKWh != 280 || m[1].DataPct != 75 || !math.IsNaN(m[2].ConsumptionKWh) {
		t.Errorf("%+v", m)
	}
	closeBy(t, "of March", m[2].DataPct, 100*20./31)
	// Readings that begin six hours before the days' calendar: January's hours are its own.
	wh := slices.Repeat([]float64{9000}, 6)
	wh = append(wh, slices.Repeat([]float64{1000}, 31*24)...)
	series := &ingest.Series{Start: start - 6, StepMinutes: 60}
	series.Wh[ingest.Production] = wh
	h = &household{in: &Input{Series: series}, basis: basis{name: BasisMeter, wh: wh[6:], gross: true}, calendar: ingest.NewCalendar(time.UTC, start, 31*24), days: s.Days}
	if m := h.months(); len(m) != 1 || m[0].ProductionKWh != 744 || m[0].ConsumptionKWh != 744 || m[0].DataPct != 100 {
		t.Errorf("%+v", m)
	}
}

// The same home: residuals of ±1 kWh make the noise, the weather 2.5 % of 250 kWh; no
// hour is missing. A drift of 20 % with a standard error of 2 % is halved to 10 %, give
// or take √2 %.
func TestOutlookByHand(t *testing.T) {
	s := flatStory(400, 24)
	for k := range s.Fit.BaseNormal {
		s.Fit.BaseNormal[k] = 25
	}
	wh := slices.Repeat([]float64{1000}, 400*24)
	o := outlookAt(s, wh, 300, 10)
	car := Event{Live: true, KWhYr: 2000, KWhYrLow: 1671, KWhYrHigh: 2329,
		profile: profile{day: 305, parts: change.Steps{{Step: fit.Step{Beta: 6}}}, share: [24]float64{22: 0.5, 23: 0.5}}}
	for k := range s.Fit.Resid {
		s.Fit.Resid[k] = 1 - 2*float64(k%2)
	}
	noise := math.Sqrt(365 * s.LongRunVariance())
	r := nextYear(o.household, s, &Growth{GrowthPctYr: 20, GrowthLow: 20 - 3.29, GrowthHigh: 20 + 3.29}, []Event{car})
	closeBy(t, "level", r.LevelKWhYr, 250)
	closeBy(t, "level at most", r.LevelHigh, 250+1.645*noise)
	closeBy(t, "by the trend", r.FromTrendKWh, 25)
	closeBy(t, "by the car", r.FromEventsKWh, 30)
	closeBy(t, "next year", r.NextYearKWh, 305)
	sd := math.Sqrt(noise*noise + 6.25*6.25 + 2*2.5*2.5 + 3*3)
	closeBy(t, "next year at least", r.NextYearLow, 305-1.645*sd)
	closeBy(t, "its doubt", r.NextYearRelSD, sd/305)
	closeBy(t, "measured", r.WindowPct, 100)
	for i := 300 * 24; i < 302*24; i++ { // two of ten days missing: 15 % of a fifth of 240 kWh
		wh[i] = nan
	}
	r = nextYear(o.household, s, &Growth{GrowthPctYr: nan, GrowthLow: nan, GrowthHigh: nan}, nil)
	closeBy(t, "with days filled in", r.LevelHigh, 250+1.645*math.Hypot(noise, 7.2))
	closeBy(t, "measured", r.WindowPct, 80)
}
