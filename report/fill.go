package report

import (
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/ingest"
)

// siteLists says one Finding in the columns of the outputs, but for its chain, which
// the tidy tables do not need.
func siteLists(f *analyze.Finding) SiteRow {
	v := &f.Verdict
	r := SiteRow{
		ReportMonth: f.Month.String(), SiteID: f.Site.ID, Lane: string(v.Lane), NextStep: v.NextStep, Branch: text(f.Site.Branch),
		LoadEvents: []LoadEvent{}, FaultDetails: []FaultRow{}, Planes: []PlaneRow{}, EnablingJobs: []JobRow{},
		DataDays: int32(f.Days), DataCoveragePct: number(f.CoveragePct), OnCallList: v.OnList, Failed: text(f.Failed),
		SkySource: text(f.SkySource), TariffID: text(f.TariffID), TariffDefaulted: f.TariffDefaulted,
		Confidence: number(v.Confidence),
		NotBefore:  dateOrNil(v.NotBefore), RegisterDigest: text(f.RegisterDigest), OutcomeRegister: text(f.OutcomeRegister),
	}
	r.Expansions = []ExpansionRow{}
	if x := f.Expansion; x != nil {
		r.Expansions = append(r.Expansions, ExpansionRow{SiteID: f.Site.ID, SoldOn: date(x.SoldOn), BuiltOn: date(x.BuiltOn), Modules: int32(x.Modules), Months: x.Months,
			PredictedKWhYr: number(x.PredictedKWhYr), RealizedKWhYr: number(x.RealizedKWhYr), RealizedLow: number(x.RealizedLow), RealizedHigh: number(x.RealizedHigh),
			PredictedSaving: number(x.PredictedSaving), RealizedSaving: number(x.RealizedSaving), SavedLow: number(x.SavedLow), SavedHigh: number(x.SavedHigh)})
	}
	if o := f.LastOutcome(); o != nil {
		r.Outcome, r.OutcomeOn = text(o.Result), dateOrNil(o.CalledOn)
	}
	if v.Rank > 0 {
		t := &v.Terms
		r.Rank, r.Priority, r.ExpectedBenefit = count(v.Rank), number(v.Priority), number(t.Expected)
		r.OutcomeFactor, r.Visits, r.Stability = number(t.Outcomes), number(t.Visits), number(v.Stability)
	}
	if v.Trip > 0 {
		r.Trip = count(v.Trip)
	}
	if l := f.Likely; l != nil {
		r.PaysFrom, r.PaysTo, r.FitNineInTen, r.FitHalf = count(l.PaysFrom), count(l.PaysTo), count(l.NineInTen), count(l.Half)
		r.LikelyBenefit, r.LikelyFrom, r.AskMost, r.AskWorth = number(l.Expected), text(l.From), text(l.AskMost), number(l.AskWorth)
	}
	r.AskFirst = codes(len(v.AskFirst), func(i int) string { return v.AskFirst[i].Code })
	r.AskOnSite = codes(len(v.AskOnSite), func(i int) string { return v.AskOnSite[i].Code })
	r.Reasons = codes(len(v.Reasons), func(i int) string { return v.Reasons[i].Code })
	r.Caveats = codes(len(f.Caveats), func(i int) string { return f.Caveats[i].Code })
	fillArray(&r, f)
	fillDemand(&r, f)
	fillRoom(&r, f)
	fillOffer(&r, f)
	return r
}

func fillArray(r *SiteRow, f *analyze.Finding) {
	a := &f.Array
	r.ProductionKWhYr, r.ProductionFilledPct = number(f.Year.ProductionKWh), number(f.Year.ProductionFilledPct)
	r.ArrayFaults = []string{}
	for _, fault := range a.Faults {
		if fault.Live && !slices.Contains(r.ArrayFaults, fault.Code) {
			r.ArrayFaults = append(r.ArrayFaults, fault.Code)
		}
		r.FaultDetails = append(r.FaultDetails, FaultRow{Code: fault.Code, On: dateOrNil(fault.On), Until: dateOrNil(fault.Until),
			LossPct: number(fault.LossPct), KWhYr: number(fault.KWhYr), AheadKWhYr: number(fault.AheadKWhYr), Confidence: number(fault.Confidence)})
	}
	if a.Refusal != "" {
		return
	}
	r.ProductionIndex = number(a.ProductionIndex)
	r.ProductionIndexTrend = number(a.TrendPctYr)
	r.ProductionIndexTrendLow, r.ProductionIndexTrendHigh = number(a.TrendLow), number(a.TrendHigh)
	r.ShortfallKWhYr = number(a.ShortfallKWhYr)
	for _, p := range a.Planes {
		r.Planes = append(r.Planes, PlaneRow{Arrays: strings.Join(p.ArrayIDs, " "), TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg,
			SDDeg: number(p.SDDeg), Estimated: p.Estimated})
	}
}

func fillDemand(r *SiteRow, f *analyze.Finding) {
	d := &f.Demand
	r.ConsumptionKWhYr, r.ConsumptionFilledPct = number(f.Year.ConsumptionKWh), number(f.Year.ConsumptionFilledPct)
	r.CoveragePct = number(f.Year.CoveragePct)
	for _, e := range d.Events {
		r.LoadEvents = append(r.LoadEvents, LoadEvent{On: date(e.On), Kind: e.Kind, KWhYr: e.KWhYr, Score: e.Score})
	}
	if d.Refusal != "" {
		return
	}
	r.ConsumptionNormalKWhYr, r.ConsumptionLowKWhYr, r.ConsumptionHighKWhYr = number(d.LevelKWhYr), number(d.LevelLow), number(d.LevelHigh)
	r.ConsumptionBasis = text(d.Basis)
	r.ExpectedUseKWhYr, r.ExpectedUseLowKWhYr, r.ExpectedUseHighKWhYr = number(d.NextYearKWh), number(d.NextYearLow), number(d.NextYearHigh)
	r.ConsumptionGrowthPctYr, r.ConsumptionGrowthLow, r.ConsumptionGrowthHigh = number(d.GrowthPctYr), number(d.GrowthLow), number(d.GrowthHigh)
	r.ConsumptionChange12mPct = number(d.Change12mPct)
	r.CoverageChangePct = number(d.Coverage.TrendPtsYr)
}

func fillRoom(r *SiteRow, f *analyze.Finding) {
	r.UnknownLimits = []string{}
	into := [5]**int32{&r.RoofModules, &r.ServiceModules, &r.BranchModules, &r.GatewayModules, &r.PermissionModules}
	for i, l := range f.Room.Limits() {
		*into[i] = known(l.Modules)
		if l.Unknown() {
			r.UnknownLimits = append(r.UnknownLimits, l.Name)
		}
	}
	r.ModulesPossible, r.BindingLimit = known(f.Room.Possible), text(f.Room.Binding)
	if r.ModulesPossible == nil && len(r.UnknownLimits) < 5 && f.Room.PossibleHigh < headroom.Many {
		r.ModulesPossible = count(f.Room.PossibleHigh)
	}
	for _, g := range f.Worth.Jobs {
		r.EnablingJobs = append(r.EnablingJobs, JobRow{Job: strings.Join(g.Jobs, "+"), Cost: g.Cost,
			ModulesGained: int32(g.ModulesGained), NetBenefitGained: number(g.NetBenefitGained)})
	}
}

func fillOffer(r *SiteRow, f *analyze.Finding) {
	o := f.Chosen
	if o == nil {
		return
	}
	r.ModulesToAdd, r.AddedKWDC, r.AddedKWAC = count(o.Modules), number(o.AddedKWDC), number(o.AddedKWAC)
	if v := &f.Verdict; v.Offer != nil && v.Offer.UpTo > o.Modules {
		r.ModulesUpTo = count(v.Offer.UpTo)
	}
	r.AddedKWhYr, r.AddedSelfUsePct, r.CoverageAfterPct = number(o.AddedKWhYr), number(o.AddedSelfUsePct), number(o.CoverageAfterPct)
	r.Cost = number(o.Cost)
	r.SavingsFirstYear, r.SavingsFirstYearLow, r.SavingsFirstYearHigh = number(o.Saving.Value), number(o.Saving.Low), number(o.Saving.High)
	r.NetBenefit, r.NetBenefitLow, r.NetBenefitHigh = number(o.NetBenefit.Value), number(o.NetBenefit.Low), number(o.NetBenefit.High)
	r.ChanceOfGain, r.SimplePaybackYears, r.IRRPct = number(o.Chance), number(o.SimplePaybackYears), number(o.IRRPct)
}

func optionRows(f *analyze.Finding) []OptionRow {
	rows := make([]OptionRow, 0, len(f.Worth.Options))
	for i := range f.Worth.Options {
		o := &f.Worth.Options[i]
		rows = append(rows, OptionRow{
			ReportMonth: f.Month.String(), SiteID: f.Site.ID, Modules: int32(o.Modules), Feasible: o.Feasible, EnablingJobs: append([]string{}, o.Jobs...),
			AddedKWhYr: o.AddedKWhYr, AddedSelfUsePct: number(o.AddedSelfUsePct),
			BillBefore: o.BillBefore, BillAfter: o.BillAfter, Cost: o.Cost,
			SavingsFirstYear: o.Saving.Value, SavingsFirstYearLow: number(o.Saving.Low), SavingsFirstYearHigh: number(o.Saving.High),
			NetBenefit: o.NetBenefit.Value, NetBenefitLow: number(o.NetBenefit.Low), NetBenefitHigh: number(o.NetBenefit.High),
			SimplePaybackYears: number(o.SimplePaybackYears), IRRPct: number(o.IRRPct),
			NetBenefitMedian: number(o.NetBenefit.Median), ChanceOfGain: number(o.Chance), ChanceOfPayback: number(o.PaybackChance),
			PaybackLowYears: number(o.Payback.Low), PaybackHighYears: number(o.Payback.High), DiscountedPayback: number(o.DiscountedPayback),
			CostPerKWh: number(o.CostPerKWh), CO2KgYr: number(o.CO2KgYr), LegalCase: text(o.Case),
			SuccessorTariff: text(o.Successor), ClippedKWhYr: o.ClippedKWhYr,
			Chosen: f.Chosen != nil && f.Chosen.Modules == o.Modules,
		})
	}
	return rows
}

func monthRows(f *analyze.Finding) []MonthRow {
	rows := make([]MonthRow, 0, len(f.Months))
	for _, m := range f.Months {
		rows = append(rows, MonthRow{
			ReportMonth: f.Month.String(), SiteID: f.Site.ID, Month: date(m.First),
			ProductionKWh: number(m.ProductionKWh), ExpectedProductionKWh: number(m.ExpectedProductionKWh),
			ConsumptionKWh: number(m.ConsumptionKWh), ImportKWh: number(m.ImportKWh), ExportKWh: number(m.ExportKWh),
			DataCoveragePct: m.CoveragePct, ProductionIndex: number(m.ProductionIndex),
		})
	}
	return rows
}

func rejectRow(r ingest.Reject, month string) RejectRow {
	return RejectRow{ReportMonth: month, File: r.File, Line: int64(r.Line), Column: r.Column, Reason: r.Reason, SiteID: r.SiteID}
}

func codes(n int, at func(int) string) []string {
	out := make([]string, 0, n)
	for i := range n {
		if c := at(i); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// number is null where a value is not known or has no bound.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func count(n int) *int32 {
	v := int32(n)
	return &v
}

func known(o ingest.Opt[int]) *int32 {
	if !o.Known {
		return nil
	}
	return count(o.V)
}

// date is the calendar day that t names on its own clock, in days since 1970.
func date(t time.Time) int32 {
	return int32(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func dateOrNil(t time.Time) *int32 {
	if t.IsZero() {
		return nil
	}
	d := date(t)
	return &d
}

func cents(x float64) float64 { return math.Round(x*100) / 100 }
