package analyze

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/array"
	"rowen/analyze/rank"
	"rowen/ingest/samebits"
)

// minWindowPct is the share of the report year's hours below which a site's
// readings are too stale to judge (our choice).
const minWindowPct = 50

// caseOf gives the lane rules what they ask for.
func (j *judge) caseOf(f *Finding) rank.Case {
	c := rank.Case{
		SiteID: f.Site.ID, Branch: f.Site.Branch,
		OptedOut: f.Site.DoNotContact, LastContactOn: f.Site.LastContactOn, MonthEnd: f.Month.End(f.Location),
		DataDays: f.Days, DataCoveragePct: orZero(f.CoveragePct),
		GrowthPctYr: math.NaN(), GrowthLowPctYr: math.NaN(), CoveragePct: math.NaN(), PlaneRelSD: math.NaN(), DemandRelWidth: math.NaN(),
		Caveats: len(f.Caveats), OutcomeFactor: 1, TariffRefused: f.TariffDefaulted,
	}
	if v, ok := j.fares[f.Site.Branch]; ok {
		c.OutcomeFactor = v
	}
	j.pastOf(f, &c)
	c.Refusals = refusals(f)
	c.WorstFault = worstFault(f)
	c.ArrayJudged = arrayJudged(f)
	if f.Array.Verify != "" {
		c.Unknown = append(c.Unknown, rank.Reason{Code: "verify_array", Says: f.Array.Verify})
	}
	if d := &f.Demand; d.Refusal == "" {
		c.GrowthPctYr, c.GrowthLowPctYr = d.GrowthPctYr, d.GrowthLow
		c.CoveragePct = f.Year.CoveragePct
		c.DemandRelWidth = (d.NextYearHigh - d.NextYearLow) / d.NextYearKWh
		c.Benefits = benefits(f)
	}
	if f.SuccessorUnknown != "" {
		c.Uncertain = append(c.Uncertain, rank.Reason{Code: "successor_unknown",
			Says: fmt.Sprintf("an expansion loses the terms of tariff %s, and its successor %s is not in tariffs.yaml", f.TariffID, f.SuccessorUnknown)})
	}
	roomOf(f, &c, &j.Options.Rank)
	offersOf(f, &c, &j.Options.Rank)
	j.askedFirst(f, &c)
	sd := 0.0
	for _, p := range f.Array.Planes {
		sd = math.Max(sd, orZero(p.SDDeg)/180)
	}
	c.PlaneRelSD = samebits.Hypot(sd, orZero(f.Array.FactorSD))
	return c
}

// refusals are the stages that gave no number, with why.
func refusals(f *Finding) []rank.Reason {
	var rs []rank.Reason
	if f.Array.Refusal != "" {
		rs = append(rs, rank.Reason{Code: "production_unknown", Says: f.Array.Refusal})
	}
	if f.Demand.Refusal != "" {
		rs = append(rs, rank.Reason{Code: f.Demand.Refusal, Says: f.Demand.RefusalSays})
	}
	if !math.IsNaN(f.WindowPct) && f.WindowPct < minWindowPct {
		rs = append(rs, rank.Reason{Code: "stale_readings", Says: fmt.Sprintf("only %.0f %% of the report year's hours were read", f.WindowPct)})
	}
	for _, fault := range f.Array.Faults {
		if fault.Code == array.MeterDead && fault.Live {
			rs = append(rs, rank.Reason{Code: fault.Code, Says: fault.Says})
		}
	}
	if f.Worth.Refusal != "" && len(rs) == 0 {
		rs = append(rs, rank.Reason{Code: "not_reckoned", Says: f.Worth.Refusal})
	}
	return rs
}

// arrayJudged tells whether the array's faults hold whatever is known of the
// rest: its production is read, and not stale.
func arrayJudged(f *Finding) bool {
	return f.Array.Refusal == "" && f.WindowPct >= minWindowPct &&
		!slices.ContainsFunc(f.Array.Faults, func(t array.Fault) bool { return t.Code == array.MeterDead && t.Live })
}

// worstFault is the live fault that a mending visit would give most back for.
func worstFault(f *Finding) *rank.Fault {
	var worst *rank.Fault
	for _, fault := range f.Array.Faults {
		if fault.Live && fault.Repairable && (worst == nil || fault.LossPct > worst.LossPct) {
			worst = &rank.Fault{Code: fault.Code, LossPct: fault.LossPct, Says: fault.Says}
		}
	}
	return worst
}

// roomOf says what room there is, and why there is none.
func roomOf(f *Finding, c *rank.Case, o *rank.Options) {
	c.RoomNow = f.Room.Possible.Or(f.Room.PossibleHigh)
	c.RoomWithJobs = c.RoomNow
	for _, set := range f.Room.JobSets {
		c.RoomWithJobs = max(c.RoomWithJobs, set.Modules)
	}
	for _, ceiling := range f.Room.Limits() {
		if ceiling.Modules.Known && ceiling.Modules.V <= c.RoomNow && c.RoomNow < o.MinModules {
			c.BlockedBy = append(c.BlockedBy, rank.Reason{Code: ceiling.Reason, Says: ceiling.Says})
		}
	}
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}
