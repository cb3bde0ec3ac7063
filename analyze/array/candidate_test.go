package array

import (
	"math"
	"testing"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// TestAsNew: how a level carries to new modules, by hand.
func TestAsNew(t *testing.T) {
	const years = 8766
	series := &ingest.Series{Start: 480000}
	at := func(age float64) *view { // the array's age at the middle of two years of readings
		born := series.Start + years - ingest.Hour(age*years)
		m := &sky.Model{Groups: []sky.Group{{Watts: 5000, From: born, Born: born}}}
		return &view{record: &record{Input: Input{Series: series}}, model: m, wh: make([]float64, 2*years)}
	}
	flat := &Result{TrendPctYr: math.NaN(), TrendLow: math.NaN(), TrendHigh: math.NaN()}

	// The fleet loses as it is granted, nothing is known of the array: 1, and 0.25 % a year of doubt.
	if ratio, sd := asNew(at(6), flat); ratio != 1 || math.Abs(sd-6*0.0025) > 1e-6 {
		t.Errorf("ratio %.4f sd %.4f, want 1 and 0.015", ratio, sd)
	}
	// The fleet loses 0.2 % a year less than it was granted: six years took 1.2 % too much off.
	v := at(6)
	v.Sky.Ageing = sky.Ageing{Gain: 0.002}
	if ratio, _ := asNew(v, flat); math.Abs(ratio-math.Exp(-0.012)) > 1e-6 {
		t.Errorf("ratio %.5f, want exp(-0.012)", ratio)
	}
	// A sure trend of -1.1 % a year: 0.5 a year more than granted, as new 3 % above the level.
	sure := &Result{TrendPctYr: -1.1, TrendLow: -1.1 - 0.0165, TrendHigh: -1.1 + 0.0165}
	if ratio, _ := asNew(at(6), sure); math.Abs(ratio-math.Exp(0.03)) > 2e-4 {
		t.Errorf("ratio %.5f, want exp(0.03)", ratio)
	}
	// A trend of -8 % a year is no ageing.
	sick := &Result{TrendPctYr: -8, TrendLow: -8.1, TrendHigh: -7.9}
	if ratio, _ := asNew(at(6), sick); ratio != 1 {
		t.Errorf("ratio %.5f under a sick trend, want 1", ratio)
	}
	// No date in the register: as old as the arrays around, 0.6 % a year of it not granted yet.
	v = at(6)
	v.model.Groups[0].From = 0
	v.Sky.Typical.AgeYears = 6
	if ratio, sd := asNew(v, flat); math.Abs(ratio-math.Exp(0.006*5)) > 1e-4 || sd < 0.017 {
		t.Errorf("ratio %.5f sd %.4f, want exp(0.03) and 0.018", ratio, sd)
	}
}
