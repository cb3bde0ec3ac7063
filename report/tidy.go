package report

import (
	"rowen/analyze"
	"rowen/analyze/headroom"
)

// The tidy tables: the lists of sites.parquet with one row per entry, joined to
// the other tables by site_id and report_month.

// EventRow is one event of a site.
type EventRow struct {
	SiteID      string  `parquet:"site_id,dict"`
	On          int32   `parquet:"on,date"`
	Kind        string  `parquet:"kind,dict"`
	KWhYr       float64 `parquet:"kwh_yr"`
	Score       float64 `parquet:"score"`
	ReportMonth string  `parquet:"report_month,dict"`
}

// FaultTableRow is one fault of a site's array.
type FaultTableRow struct {
	SiteID      string   `parquet:"site_id,dict"`
	Code        string   `parquet:"code,dict"`
	Live        bool     `parquet:"live"`
	On          *int32   `parquet:"on,optional,date"`
	Until       *int32   `parquet:"until,optional,date"`
	LossPct     *float64 `parquet:"loss_pct,optional"`
	KWhYr       *float64 `parquet:"kwh_yr,optional"`
	AheadKWhYr  *float64 `parquet:"ahead_kwh_yr,optional"`
	Confidence  *float64 `parquet:"confidence,optional"`
	ReportMonth string   `parquet:"report_month,dict"`
}

// LimitRow is one of the five limits of a site.
type LimitRow struct {
	SiteID      string  `parquet:"site_id,dict"`
	Limit       string  `parquet:"limit,dict"`
	Modules     *int32  `parquet:"modules,optional"`
	ModulesLow  *int32  `parquet:"modules_low,optional"`
	ModulesHigh *int32  `parquet:"modules_high,optional"`
	Unlimited   bool    `parquet:"unlimited"`
	Binds       bool    `parquet:"binds"`
	Reason      *string `parquet:"reason,optional,dict"`
	ReportMonth string  `parquet:"report_month,dict"`
}

// JobTableRow is one set of enabling jobs of a site.
type JobTableRow struct {
	SiteID           string   `parquet:"site_id,dict"`
	Job              string   `parquet:"job,dict"`
	Cost             float64  `parquet:"cost"`
	ModulesGained    int32    `parquet:"modules_gained"`
	NetBenefitGained *float64 `parquet:"net_benefit_gained,optional"`
	ReportMonth      string   `parquet:"report_month,dict"`
}

// ReasonRow is one reason for a site's lane.
type ReasonRow struct {
	SiteID      string `parquet:"site_id,dict"`
	Place       int32  `parquet:"place"`
	Code        string `parquet:"code,dict"`
	ReportMonth string `parquet:"report_month,dict"`
}

// OutcomeRow is what came of one earlier call, and of the modules it sold.
type OutcomeRow struct {
	SiteID          string   `parquet:"site_id,dict"`
	CalledOn        int32    `parquet:"called_on,date"`
	Result          string   `parquet:"result,dict"`
	ModulesSold     *int32   `parquet:"modules_sold,optional"`
	Price           *float64 `parquet:"price,optional"`
	InstalledOn     *int32   `parquet:"installed_on,optional,date"`
	ListMonth       *string  `parquet:"list_month,optional,dict"`
	ListRank        *int32   `parquet:"list_rank,optional"`
	ListTenth       *int32   `parquet:"list_tenth,optional"`
	ListReason      *string  `parquet:"list_reason,optional,dict"`
	OfferedModules  *int32   `parquet:"offered_modules,optional"`
	OfferedKWhYr    *float64 `parquet:"offered_kwh_yr,optional"`
	OfferedSaving   *float64 `parquet:"offered_saving,optional"`
	OfferedLow      *float64 `parquet:"offered_saving_low,optional"`
	OfferedHigh     *float64 `parquet:"offered_saving_high,optional"`
	BuiltOn         *int32   `parquet:"built_on,optional,date"`
	ModulesBuilt    *int32   `parquet:"modules_built,optional"`
	Months          *float64 `parquet:"months_read,optional"`
	PredictedKWhYr  *float64 `parquet:"predicted_kwh_yr,optional"`
	RealizedKWhYr   *float64 `parquet:"realized_kwh_yr,optional"`
	RealizedLow     *float64 `parquet:"realized_low_kwh_yr,optional"`
	RealizedHigh    *float64 `parquet:"realized_high_kwh_yr,optional"`
	PredictedSaving *float64 `parquet:"predicted_saving,optional"`
	RealizedSaving  *float64 `parquet:"realized_saving,optional"`
	SavedLow        *float64 `parquet:"realized_saving_low,optional"`
	SavedHigh       *float64 `parquet:"realized_saving_high,optional"`
	ReportMonth     string   `parquet:"report_month,dict"`
}

func eventRows(f *analyze.Finding, r *SiteRow) []EventRow {
	rows := make([]EventRow, len(r.LoadEvents))
	for i, e := range r.LoadEvents {
		rows[i] = EventRow{r.SiteID, e.On, e.Kind, e.KWhYr, e.Score, r.ReportMonth}
	}
	return rows
}

func faultRows(f *analyze.Finding, r *SiteRow) []FaultTableRow {
	rows := make([]FaultTableRow, len(r.FaultDetails))
	for i, x := range r.FaultDetails {
		rows[i] = FaultTableRow{r.SiteID, x.Code, f.Array.Faults[i].Live, x.On, x.Until, x.LossPct, x.KWhYr, x.AheadKWhYr, x.Confidence, r.ReportMonth}
	}
	return rows
}

// limitRows are the limits of a site that was judged; of one that failed there
// are none.
func limitRows(f *analyze.Finding, r *SiteRow) []LimitRow {
	var rows []LimitRow
	for _, l := range f.Room.Limits() {
		if l.Reason == "" && l.Says == "" {
			continue
		}
		row := LimitRow{SiteID: r.SiteID, Limit: l.Name, Modules: known(l.Modules), Unlimited: l.Unlimited,
			Binds: r.BindingLimit != nil && *r.BindingLimit == l.Name, Reason: text(l.Reason), ReportMonth: r.ReportMonth}
		if !l.Unlimited {
			row.ModulesLow = count(l.Low)
			if l.High < headroom.Many {
				row.ModulesHigh = count(l.High)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

func jobRows(_ *analyze.Finding, r *SiteRow) []JobTableRow {
	rows := make([]JobTableRow, len(r.EnablingJobs))
	for i, j := range r.EnablingJobs {
		rows[i] = JobTableRow{r.SiteID, j.Job, j.Cost, j.ModulesGained, j.NetBenefitGained, r.ReportMonth}
	}
	return rows
}

func reasonRows(_ *analyze.Finding, r *SiteRow) []ReasonRow {
	rows := make([]ReasonRow, len(r.Reasons))
	for i, code := range r.Reasons {
		rows[i] = ReasonRow{r.SiteID, int32(i + 1), code, r.ReportMonth}
	}
	return rows
}

// outcomeRows leave out what a person wrote freely: it may name people.
func outcomeRows(f *analyze.Finding, r *SiteRow) []OutcomeRow {
	rows := make([]OutcomeRow, 0, len(f.Past))
	for i := range f.Past {
		o := &f.Past[i]
		l := &o.Listed
		row := OutcomeRow{SiteID: r.SiteID, CalledOn: date(o.CalledOn), Result: o.Result, ModulesSold: known(o.ModulesSold), Price: number(o.Price),
			InstalledOn: dateOrNil(o.InstalledOn), ListMonth: text(l.Month), ListRank: known(l.Rank), ListTenth: known(l.Tenth), ListReason: text(l.Reason),
			OfferedModules: known(l.Modules), OfferedKWhYr: number(l.AddedKWhYr), OfferedSaving: number(l.Saving),
			OfferedLow: number(l.SavingLow), OfferedHigh: number(l.SavingHigh), ReportMonth: r.ReportMonth}
		if len(r.Expansions) > 0 && o.Result == "sold" && r.Expansions[0].SoldOn == row.CalledOn {
			x := &r.Expansions[0]
			row.BuiltOn, row.ModulesBuilt, row.Months = &x.BuiltOn, &x.Modules, &x.Months
			row.PredictedKWhYr, row.RealizedKWhYr, row.RealizedLow, row.RealizedHigh = x.PredictedKWhYr, x.RealizedKWhYr, x.RealizedLow, x.RealizedHigh
			row.PredictedSaving, row.RealizedSaving, row.SavedLow, row.SavedHigh = x.PredictedSaving, x.RealizedSaving, x.SavedLow, x.SavedHigh
		}
		rows = append(rows, row)
	}
	return rows
}
