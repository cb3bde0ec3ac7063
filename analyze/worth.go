package analyze

import (
	"rowen/analyze/array"
	"rowen/analyze/option"
	"rowen/ingest"
)

// judgeWorth simulates every size.
func (j *judge) judgeWorth(f *Finding, s *ingest.Series, units map[string]array.UnitOutput) {
	f.Worth.Best, f.Worth.BestWithJobs, f.Worth.UpTo, f.Worth.UpToWithJobs = -1, -1, -1, -1
	if f.Array.Refusal != "" || f.Demand.Refusal != "" {
		f.Worth.Refusal = "no production or no consumption to calculate with"
		return
	}
	t := j.tariffs[f.Site.TariffID]
	f.TariffID, f.TariffDefaulted = f.Site.TariffID, f.Site.TariffDefaulted
	if t == nil {
		f.TariffID, f.TariffDefaulted = j.Options.DefaultTariff, true
		if t = j.tariffs[f.TariffID]; t == nil {
			f.Worth.Refusal = "no_tariff"
			return
		}
	}
	if kept := j.withoutLegacy[t.ID]; kept != nil {
		f.SuccessorUnknown = t.Data.Legacy.Successor
		t = kept
	}
	in := option.Input{
		SiteID: f.Site.ID, Window: f.Window, Location: f.Location,
		LoadWh: f.Demand.NextYearWh, LoadRelSD: f.Demand.NextYearRelSD, ProductionWh: f.Array.YearWh,
		ExistingKW: f.Array.CapacityKW, Possible: f.Room.Possible.Or(f.Room.PossibleLow), FreeJobs: f.Room.FreeJobs,
		MinModules: j.Options.Rank.MinModules, Tariff: t, AsOf: f.Month.End(f.Location),
		TariffDefaulted: f.TariffDefaulted, Money: j.Options.Money, ExportLimitKW: f.Room.ExportLimitKW,
		MinChance: j.Options.Rank.MinChance, PerBranch: f.Inverter.PerBranch,
	}
	if next := j.tariffs.Successors(t.At(in.AsOf)); len(next) > 0 {
		in.Successor, in.OtherSuccessors = next[0], next[1:]
	}
	in.SureNow, in.SureRoof = sureRoom(&f.Room)
	for _, set := range f.Room.JobSets {
		modules := set.Modules
		if set.Open { // what some limit takes is not known
			modules = min(modules, screeningModules)
		}
		in.JobSets = append(in.JobSets, option.JobSet{Jobs: set.Jobs, Cost: set.Cost, Modules: modules})
	}
	if !f.Room.Possible.Known {
		in.Possible = min(f.Room.PossibleHigh, screeningModules)
	}
	in.Planes = j.candidates(f, units)
	if f.Site.Service != nil {
		in.Phases = f.Site.Service.Phases.Or(0)
	}
	in.SickWh = sickWh(f)
	if !in.AtMeteringInterval(s.Fine) {
		in.HourlyBias = option.HourlyBias(s.Fine)
	}
	f.Worth = option.Evaluate(in)
}

// sickWh is the report year's output with today's repairable faults in it; nil
// where there are none.
func sickWh(f *Finding) []float64 {
	if !(f.Array.ShortfallKWhYr > 0) || !(f.Array.ExpectedKWhYr > 0) {
		return nil
	}
	left := 1 - f.Array.ShortfallKWhYr/f.Array.ExpectedKWhYr
	sick := make([]float64, len(f.Array.YearWh))
	for i, wh := range f.Array.YearWh {
		sick[i] = left * wh
	}
	return sick
}
