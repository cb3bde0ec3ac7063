package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/ingest/samebits"
)

// Rules of the register's watts, our choice.
const (
	capacityClear   = 2    // standard deviations of the factors around
	blindSD         = 0.1  // of an array's factor where no fleet shows it: the brackets of section 4.3
	blindLimit      = 0.35 // a third: less comes and goes with the season and the haze
	minTypicalSites = 10   // arrays that make a usual factor: twice the five of a peer set (section 5.3), since nameplates differ more than skies
)

// findCapacity compares the healthy factor with what arrays around make of
// their registered watts.
func findCapacity(v view, level healthyLevel) (say said) {
	t, limit := v.Sky.Typical, v.Options.CapacityPct/100
	if t.Sites < minTypicalSites || !(t.Value > 0) {
		t = sky.Factor{Value: v.Options.UsualFactor, SD: blindSD * v.Options.UsualFactor}
		limit = max(limit, blindLimit)
	}
	if math.IsNaN(level.factor) || v.grown > 0 {
		return say // modules that came are said with their date
	}
	ratio := level.factor / t.Value
	off := math.Abs(ratio - 1)
	sd := samebits.Hypot(t.SD/t.Value, level.factorSD/level.factor)
	if off <= limit || off < capacityClear*sd {
		return say
	}
	kw := v.capacityKW()
	says := fmt.Sprintf("the register says %.1f kW, the output fits %.1f kW", kw, ratio*kw)
	if ratio < 1 {
		says += ": a wrong entry, or a part of the array that was down before the data begin"
	}
	say.faults = append(say.faults, Fault{Code: CapacityMismatch, Live: true, Confidence: min(0.95, 0.3+0.1*off/sd), Says: says})
	return say
}

// capacityKW is the registered DC power at the end of the data.
func (v *view) capacityKW() float64 { return v.model.Watts(v.Series.End()) / 1000 }

// verifyBelow is the share of what arrays around make of their watts below which
// the array is looked at before anything else (our choice: no entry is so wrong
// by a slip of one module, and a third of the yield is half an array that never
// ran).
const verifyBelow = 0.5

// verify says what to look at where the array makes far less than its watts.
func verify(v view, level healthyLevel) string {
	usual := v.usualFactor()
	if math.IsNaN(level.factor) || level.factor >= verifyBelow*usual {
		return ""
	}
	return fmt.Sprintf("verify the array: it makes %.0f %% of what arrays around make of their watts: count the modules and strings, read every inverter", 100*level.factor/usual)
}
