package analyze

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rowen/analyze/demand"
	"rowen/analyze/rank"
)

// Codes of the findings that a customer may be told, as reasons carry them.
const (
	NewLoad     = "new_load"     // a lasting new load within two years
	UsedMore    = "used_more"    // more used in the last twelve months than in the twelve before
	UseGrowing  = "use_growing"  // the drift, events apart
	LowCoverage = "low_coverage" // a part of the year's consumption is bought
)

// recentMonths is how long ago an event may lie to be told (our choice).
const recentMonths = 24

// NewestLoad is the largest lasting rise of the consumption within the last two
// years whose low end is a rise as well; nil: there is none.
func (f *Finding) NewestLoad() *demand.Event {
	if f.Demand.Refusal != "" {
		return nil
	}
	since := f.Month.End(f.Location).AddDate(0, -recentMonths, 0)
	var most *demand.Event
	for i := range f.Demand.Events {
		e := &f.Demand.Events[i]
		if e.Live && e.KWhYr > 0 && !(e.KWhYrLow <= 0) && e.On.After(since) && (most == nil || e.KWhYr > most.KWhYr) {
			most = e
		}
	}
	return most
}

// benefits are the true findings that speak for more modules, the strongest
// first: by how much of the year's consumption each is about. A finding whose
// interval holds no change is not told.
func benefits(f *Finding) []rank.Reason {
	d := &f.Demand
	if d.Refusal != "" {
		return nil
	}
	type lead struct {
		rank.Reason
		weight float64
	}
	var leads []lead
	tell := func(code string, weight float64, format string, args ...any) {
		leads = append(leads, lead{rank.Reason{Code: code, Says: fmt.Sprintf(format, args...)}, weight})
	}
	if e := f.NewestLoad(); e != nil && d.LevelKWhYr > 0 {
		tell(NewLoad, 2*e.KWhYr/d.LevelKWhYr, "%s", e.Says) // a thing that the customer knows of: counts double (our choice)
	}
	if d.Change12mPct >= 3 && d.Change12mLow > 0 { // below 3 % nobody notices (our choice)
		tell(UsedMore, d.Change12mPct/100, "consumption rose by %.0f %% in twelve months (%.0f to %.0f)", d.Change12mPct, d.Change12mLow, d.Change12mHigh)
	}
	if d.GrowthLow > 0 {
		tell(UseGrowing, 2*d.GrowthPctYr/100, "consumption grows by %.1f %% a year (%.1f to %.1f), events apart", d.GrowthPctYr, d.GrowthLow, d.GrowthHigh)
	}
	if c := f.Year.CoveragePct; f.Array.Refusal == "" && c < 90 { // our choice: a tenth of the year's consumption bought is worth saying
		low, high := f.CoverageRange()
		tell(LowCoverage, (100-c)/100, "production covers %.0f %% of a year's consumption (%.0f to %.0f)", c, low, high)
	}
	slices.SortStableFunc(leads, func(a, b lead) int { return cmp.Compare(b.weight, a.weight) })
	out := make([]rank.Reason, len(leads))
	for i, l := range leads {
		out[i] = l.Reason
	}
	return out
}

// CoverageRange is the 90 % interval of the coverage, from that of the
// consumption; NaN: not known.
func (f *Finding) CoverageRange() (low, high float64) {
	d := &f.Demand
	if !(d.LevelLow > 0) || math.IsNaN(d.LevelHigh) {
		return math.NaN(), math.NaN()
	}
	return f.Year.CoveragePct * d.LevelKWhYr / d.LevelHigh, f.Year.CoveragePct * d.LevelKWhYr / d.LevelLow
}
