package report

// The rows of every output table. A column is defined once, here: its name and
// type in the parquet tag, its unit, what it says and how it comes about in the
// tags beside it. Every writer, the data dictionary of `rowen schema` and
// datapackage.json read these definitions.
//
// A pointer is a value that may be missing (null); lists are never null.

// SiteRow is one site: a row of sites.parquet, and of candidates.parquet where
// the site is ranked.
type SiteRow struct {
	SiteID   string   `parquet:"site_id" says:"the site's id in the register"`
	Rank     *int32   `parquet:"rank,optional" says:"place in the ranking, 1 = call first; null outside the ranking" how:"by priority, highest first; ties by site_id"`
	Lane     string   `parquet:"lane,dict" says:"where the site stands this month: call, prepare, repair, watch, no_gain, blocked, no_data, do_not_contact" how:"rules in a fixed order; the first that holds decides"`
	Reasons  []string `parquet:"reasons,list" says:"codes of the reasons for the lane, by weight"`
	NextStep string   `parquet:"next_step" says:"the one thing to do next"`
	Branch   *string  `parquet:"branch,optional,dict" says:"the branch that looks after the site"`

	ConsumptionKWhYr         *float64    `parquet:"consumption_kwh_yr,optional" unit:"kWh/yr" says:"the household's consumption in the report year, as metered" how:"hours without a reading are filled with the model's, in proportion to what was read around them"`
	ConsumptionFilledPct     *float64    `parquet:"consumption_filled_pct,optional" unit:"%" says:"share of consumption_kwh_yr that no meter read and the model filled in"`
	ConsumptionNormalKWhYr   *float64    `parquet:"consumption_normal_kwh_yr,optional" unit:"kWh/yr" says:"the household's level of consumption in a year of normal weather" how:"weather-normalized where temperatures are given, else by the fleet's season; events counted from their date on"`
	ConsumptionLowKWhYr      *float64    `parquet:"consumption_low_kwh_yr,optional" unit:"kWh/yr" says:"lower end of the 90 % interval of consumption_normal_kwh_yr"`
	ConsumptionHighKWhYr     *float64    `parquet:"consumption_high_kwh_yr,optional" unit:"kWh/yr" says:"upper end of the 90 % interval of consumption_normal_kwh_yr"`
	ConsumptionBasis         *string     `parquet:"consumption_basis,optional,dict" says:"where the use comes from: meter, derived (production + import - export), bills, net"`
	ExpectedUseKWhYr         *float64    `parquet:"expected_use_kwh_yr,optional" unit:"kWh/yr" says:"next year's expected use, recent events carried over the whole year"`
	ExpectedUseLowKWhYr      *float64    `parquet:"expected_use_low_kwh_yr,optional" unit:"kWh/yr" says:"lower end of its 90 % interval"`
	ExpectedUseHighKWhYr     *float64    `parquet:"expected_use_high_kwh_yr,optional" unit:"kWh/yr" says:"upper end of its 90 % interval"`
	ProductionKWhYr          *float64    `parquet:"production_kwh_yr,optional" unit:"kWh/yr" says:"what the array made in the report year, as metered" how:"hours without a reading are filled with the expected output, in proportion to what was read around them"`
	ProductionFilledPct      *float64    `parquet:"production_filled_pct,optional" unit:"%" says:"share of production_kwh_yr that no meter read and the model filled in"`
	CoveragePct              *float64    `parquet:"coverage_pct,optional" unit:"%" says:"production / consumption of the report year" how:"production_kwh_yr / consumption_kwh_yr; null where only import and export are known"`
	ConsumptionGrowthPctYr   *float64    `parquet:"consumption_growth_pct_yr,optional" unit:"%/yr" says:"the underlying drift of the use, events apart"`
	ConsumptionGrowthLow     *float64    `parquet:"consumption_growth_low_pct_yr,optional" unit:"%/yr" says:"lower end of its 90 % interval"`
	ConsumptionGrowthHigh    *float64    `parquet:"consumption_growth_high_pct_yr,optional" unit:"%/yr" says:"upper end of its 90 % interval"`
	ConsumptionChange12mPct  *float64    `parquet:"consumption_change_12m_pct,optional" unit:"%" says:"last twelve months against the twelve before, weather-normalised, events included"`
	CoverageChangePct        *float64    `parquet:"coverage_change_pct,optional" unit:"points/yr" says:"trend of the coverage, points a year"`
	LoadEvents               []LoadEvent `parquet:"load_events,list" says:"lasting changes of the use, each consistent with its kind, never a fact"`
	ProductionIndex          *float64    `parquet:"production_index,optional" says:"measured / expected production, 1 = as it should be"`
	ProductionIndexTrend     *float64    `parquet:"production_index_trend_pct_yr,optional" unit:"%/yr" says:"trend of the production index"`
	ProductionIndexTrendLow  *float64    `parquet:"production_index_trend_low_pct_yr,optional" unit:"%/yr" says:"lower end of its interval"`
	ProductionIndexTrendHigh *float64    `parquet:"production_index_trend_high_pct_yr,optional" unit:"%/yr" says:"upper end of its interval"`
	ArrayFaults              []string    `parquet:"array_faults,list" says:"codes of the live faults of the array"`
	FaultDetails             []FaultRow  `parquet:"array_fault_details,list" says:"every fault found, mended ones too"`
	ShortfallKWhYr           *float64    `parquet:"repair_gain_kwh_yr,optional" unit:"kWh/yr" says:"what mending the live faults would give back"`
	Planes                   []PlaneRow  `parquet:"array_planes,list" says:"the planes of today's array as used, estimated ones marked"`
	SkySource                *string     `parquet:"sky_source,optional,dict" says:"whose sky the expectation rests on: fleet, weather, self, none"`

	RoofModules       *int32   `parquet:"roof_modules,optional" says:"ceiling set by the free roof; null: not known" unit:"modules"`
	ServiceModules    *int32   `parquet:"service_modules,optional" says:"ceiling set by the electrical service; null: not known" unit:"modules"`
	BranchModules     *int32   `parquet:"branch_modules,optional" says:"ceiling set by branch circuits and breaker spaces; null: not known" unit:"modules"`
	GatewayModules    *int32   `parquet:"gateway_modules,optional" says:"ceiling set by the gateway and the mixing rules; null: not known" unit:"modules"`
	PermissionModules *int32   `parquet:"permission_modules,optional" says:"ceiling set by the permission to operate and the program; null: not known or none" unit:"modules"`
	ModulesPossible   *int32   `parquet:"modules_possible,optional" says:"the smallest ceiling that is known, as the site stands; enabling jobs that cost nothing count as done; see unknown_limits" unit:"modules"`
	BindingLimit      *string  `parquet:"binding_limit,optional,dict" says:"the ceiling that binds: roof, service, branch, gateway, permission; null while a limit that is not known might be smaller"`
	UnknownLimits     []string `parquet:"unknown_limits,list" says:"ceilings that are not known, and have to be asked for"`
	EnablingJobs      []JobRow `parquet:"enabling_jobs,list" says:"what lifts the binding ceilings, and what it gains"`

	ModulesToAdd         *int32   `parquet:"modules_to_add,optional" unit:"modules" says:"the proposed count"`
	ModulesUpTo          *int32   `parquet:"modules_up_to,optional" unit:"modules" says:"what the proposed count could grow to were what is in doubt of the limits to turn out well"`
	AddedKWDC            *float64 `parquet:"added_kw_dc,optional" unit:"kW" says:"rated power of the proposed modules"`
	AddedKWAC            *float64 `parquet:"added_kw_ac,optional" unit:"kW" says:"rated output of their inverters"`
	AddedKWhYr           *float64 `parquet:"added_kwh_yr,optional" unit:"kWh/yr" says:"what the proposed modules make in the first year"`
	AddedSelfUsePct      *float64 `parquet:"added_self_use_pct,optional" unit:"%" says:"share of the added output that the household uses itself"`
	CoverageAfterPct     *float64 `parquet:"coverage_after_pct,optional" unit:"%" says:"coverage with the proposed modules, on next year's use"`
	Cost                 *float64 `parquet:"cost,optional" unit:"currency" says:"modules, visit and enabling jobs"`
	SavingsFirstYear     *float64 `parquet:"savings_first_year,optional" unit:"currency/yr" says:"yearly bill today less yearly bill with the proposed modules"`
	SavingsFirstYearLow  *float64 `parquet:"savings_first_year_low,optional" unit:"currency/yr" says:"lower end of its 90 % interval"`
	SavingsFirstYearHigh *float64 `parquet:"savings_first_year_high,optional" unit:"currency/yr" says:"upper end of its 90 % interval"`
	NetBenefit           *float64 `parquet:"net_benefit,optional" unit:"currency" says:"present value of the savings over the horizon, less the cost"`
	NetBenefitLow        *float64 `parquet:"net_benefit_low,optional" unit:"currency" says:"lower end of its 90 % interval"`
	NetBenefitHigh       *float64 `parquet:"net_benefit_high,optional" unit:"currency" says:"upper end of its 90 % interval"`
	ChanceOfGain         *float64 `parquet:"chance_of_gain,optional" says:"chance that the net benefit is positive, 0 to 1"`
	SimplePaybackYears   *float64 `parquet:"simple_payback_years,optional" unit:"yr" says:"cost / first-year saving"`
	IRRPct               *float64 `parquet:"irr_pct,optional" unit:"%" says:"internal rate of return"`
	TariffID             *string  `parquet:"tariff_id,optional,dict" says:"the tariff that the bills were reckoned on"`
	TariffDefaulted      bool     `parquet:"tariff_defaulted" says:"the register names no usable tariff: the settings' default was taken"`

	Priority        *float64       `parquet:"priority,optional" says:"what the ranking sorts by" how:"by the setting rank.order: net_benefit_expected x chance_of_gain x confidence x outcome_factor, per call; the same / visits, per visit; or chance_of_gain x confidence x outcome_factor / simple_payback_years"`
	ExpectedBenefit *float64       `parquet:"net_benefit_expected,optional" unit:"currency" says:"mean of the net benefit over the draws"`
	OutcomeFactor   *float64       `parquet:"outcome_factor,optional" says:"how calls of the branch have fared against the fleet's" how:"drawn towards 1; 1 where fewer than 50 outcomes are known"`
	Visits          *float64       `parquet:"visits,optional" unit:"visits" says:"the work, and one for each thing that is looked at or prepared at the house first"`
	Stability       *float64       `parquet:"list_stability,optional" says:"share of the draws in which the site stays on its branch's list, 0 to 1"`
	Trip            *int32         `parquet:"trip,optional" says:"sites of the list with the same number lie within a drive of each other"`
	AskFirst        []string       `parquet:"ask_first,list" says:"codes of what is not known and could end the sale: found out before an offer"`
	AskOnSite       []string       `parquet:"ask_on_site,list" says:"codes of what is asked on site as a matter of course"`
	Confidence      *float64       `parquet:"confidence,optional" says:"how far the judgement may be trusted, 0 to 1" how:"share of hours read x length of the record against two years x (1 - half the relative width of next year's use) x (1 - relative doubt of the plane's output) x 0.7 for each ceiling not known x 0.98 for each caveat; our choice"`
	DataDays        int32          `parquet:"data_days" unit:"days" says:"days with enough readings"`
	DataCoveragePct *float64       `parquet:"data_coverage_pct,optional" unit:"%" says:"share of the hours that were read, from the first to the last"`
	Outcome         *string        `parquet:"last_outcome,optional,dict" says:"what came of the latest earlier call: sold, declined, no_answer, not_suitable" how:"outcomes.csv; the latest of a site counts, whether a list proposed the call or not"`
	OutcomeOn       *int32         `parquet:"last_outcome_on,optional,date" says:"the day of that call"`
	NotBefore       *int32         `parquet:"not_before,optional,date" says:"the first day on which the site may be contacted, or a site found not suitable be offered to, again" how:"the settings rank.after_*_months and rank.cool_down_months"`
	RegisterDigest  *string        `parquet:"register_digest,optional" says:"stands for the site's rows in the register, personal data, contacts and bills left out"`
	OutcomeRegister *string        `parquet:"not_suitable_register_digest,optional" says:"the same when the last call found the site not suitable: other rows lift the block"`
	Expansions      []ExpansionRow `parquet:"expansions,list" says:"what became of modules that an earlier call sold; at most one" how:"each hour's reading parted by the modelled share of the new modules"`
	OnCallList      bool           `parquet:"on_call_list" says:"within what the branch can call this month, and the customer did not buy lately"`
	Caveats         []string       `parquet:"caveats,list" says:"codes of the doubts that travel with the numbers"`
	Chain           []Step         `parquet:"chain,list" says:"how the answer came about, step by step"`
	Failed          *string        `parquet:"failed,optional" says:"why the site could not be judged at all, where that happened"`
	ReportMonth     string         `parquet:"report_month,dict" says:"the month that the run judges, as 2026-10"`
}

// ExpansionRow is predicted against realized of modules that a call sold.
type ExpansionRow struct {
	SiteID          string   `parquet:"site_id" says:"the site's id"`
	SoldOn          int32    `parquet:"sold_on,date" says:"the day of the call"`
	BuiltOn         int32    `parquet:"built_on,date" says:"when arrays.csv has them commissioned"`
	Modules         int32    `parquet:"modules" unit:"modules" says:"how many were built"`
	Months          float64  `parquet:"months_read" unit:"months" says:"with readings since"`
	PredictedKWhYr  *float64 `parquet:"predicted_kwh_yr,optional" unit:"kWh/yr" says:"by the list that proposed the call, for the modules that were built"`
	RealizedKWhYr   *float64 `parquet:"realized_kwh_yr,optional" unit:"kWh/yr" says:"a year's output at what was read; null before three months"`
	RealizedLow     *float64 `parquet:"realized_low_kwh_yr,optional" unit:"kWh/yr" says:"lower end of its 90 % interval"`
	RealizedHigh    *float64 `parquet:"realized_high_kwh_yr,optional" unit:"kWh/yr" says:"upper end of its 90 % interval"`
	PredictedSaving *float64 `parquet:"predicted_saving,optional" unit:"currency/yr" says:"first year, by that list"`
	RealizedSaving  *float64 `parquet:"realized_saving,optional" unit:"currency/yr" says:"a year's bill without the new modules less the bill with them"`
	SavedLow        *float64 `parquet:"realized_saving_low,optional" unit:"currency/yr" says:"lower end of its 90 % interval"`
	SavedHigh       *float64 `parquet:"realized_saving_high,optional" unit:"currency/yr" says:"upper end of its 90 % interval"`
}

// Step is one step of the way to a site's answer.
type Step struct {
	Stage string `parquet:"stage,dict" says:"readings, array, use, room, worth, lane"`
	Says  string `parquet:"says" says:"what was found, on what grounds"`
}

// LoadEvent is one lasting change of the household's use.
type LoadEvent struct {
	On    int32   `parquet:"on,date" says:"the day it shows first"`
	Kind  string  `parquet:"kind,dict" says:"ev_charging, heat_pump, cooling, pool_pump, baseload, departure, other"`
	KWhYr float64 `parquet:"kwh_yr" unit:"kWh/yr" says:"its size; negative: less use"`
	Score float64 `parquet:"score" says:"how well the pattern fits the kind, 0 to 1"`
}

// FaultRow is one fault of the array.
type FaultRow struct {
	Code       string   `parquet:"code,dict" says:"outage, inverters_down, decline, shading, clipping, curtailment, capacity_mismatch, orientation_mismatch, unregistered_modules, meter_dead"`
	On         *int32   `parquet:"on,optional,date" says:"the day it begins"`
	Until      *int32   `parquet:"until,optional,date" says:"the day it ended; null while it lasts"`
	LossPct    *float64 `parquet:"loss_pct,optional" unit:"%" says:"share of the output lost while it lasts"`
	KWhYr      *float64 `parquet:"kwh_yr,optional" unit:"kWh/yr" says:"what it cost in the report year; all faults but clipping together no more than expected less made" how:"clipping: against inverters without a limit, which the expectation does not have"`
	AheadKWhYr *float64 `parquet:"ahead_kwh_yr,optional" unit:"kWh/yr" says:"what it costs in a year to come if it lasts; 0: it is over"`
	Confidence *float64 `parquet:"confidence,optional" says:"0 to 1"`
}

// PlaneRow is one plane of today's array.
type PlaneRow struct {
	Arrays     string   `parquet:"arrays" says:"the array ids on it"`
	TiltDeg    float64  `parquet:"tilt_deg" unit:"degrees" says:"0 = flat"`
	AzimuthDeg float64  `parquet:"azimuth_deg" unit:"degrees" says:"clockwise from north"`
	SDDeg      *float64 `parquet:"sd_deg,optional" unit:"degrees" says:"standard deviation where estimated"`
	Estimated  bool     `parquet:"estimated" says:"estimated from clear days, not registered"`
}

// JobRow is a set of enabling jobs that are done together.
type JobRow struct {
	Job              string   `parquet:"job" says:"the enabling job; several joined by +"`
	Cost             float64  `parquet:"cost" unit:"currency" says:"what it costs"`
	ModulesGained    int32    `parquet:"modules_gained" unit:"modules" says:"how far it lifts modules_possible"`
	NetBenefitGained *float64 `parquet:"net_benefit_gained,optional" unit:"currency" says:"best net benefit with it less the best without"`
}

// OptionRow is one size simulated for one site.
type OptionRow struct {
	SiteID               string   `parquet:"site_id,dict" says:"the site's id"`
	Modules              int32    `parquet:"modules" unit:"modules" says:"how many are added"`
	Feasible             bool     `parquet:"feasible" says:"possible as the site stands"`
	EnablingJobs         []string `parquet:"enabling_jobs,list" says:"what has to be done first for this size"`
	AddedKWhYr           float64  `parquet:"added_kwh_yr" unit:"kWh/yr" says:"what they make in the first year"`
	AddedSelfUsePct      *float64 `parquet:"added_self_use_pct,optional" unit:"%" says:"share of it that the household uses itself"`
	BillBefore           float64  `parquet:"bill_before" unit:"currency/yr" says:"yearly bill with today's array, on next year's expected hours"`
	BillAfter            float64  `parquet:"bill_after" unit:"currency/yr" says:"yearly bill with the modules added"`
	Cost                 float64  `parquet:"cost" unit:"currency" says:"modules, visit and enabling jobs"`
	SavingsFirstYear     float64  `parquet:"savings_first_year" unit:"currency/yr" says:"bill_before - bill_after"`
	SavingsFirstYearLow  *float64 `parquet:"savings_first_year_low,optional" unit:"currency/yr" says:"lower end of the 90 % interval"`
	SavingsFirstYearHigh *float64 `parquet:"savings_first_year_high,optional" unit:"currency/yr" says:"upper end of the 90 % interval"`
	NetBenefit           float64  `parquet:"net_benefit" unit:"currency" says:"present value of the savings less the cost"`
	NetBenefitLow        *float64 `parquet:"net_benefit_low,optional" unit:"currency" says:"lower end of the 90 % interval"`
	NetBenefitHigh       *float64 `parquet:"net_benefit_high,optional" unit:"currency" says:"upper end of the 90 % interval"`
	SimplePaybackYears   *float64 `parquet:"simple_payback_years,optional" unit:"yr" says:"cost / first-year saving; null: never"`
	IRRPct               *float64 `parquet:"irr_pct,optional" unit:"%" says:"internal rate of return; null: none"`
	NetBenefitMedian     *float64 `parquet:"net_benefit_median,optional" unit:"currency" says:"middle of the draws"`
	ChanceOfGain         *float64 `parquet:"chance_of_gain,optional" says:"chance that the net benefit is positive, 0 to 1"`
	ChanceOfPayback      *float64 `parquet:"chance_of_payback,optional" says:"chance that it pays back within the settings' longest payback, 0 to 1"`
	PaybackLowYears      *float64 `parquet:"simple_payback_low_years,optional" unit:"yr" says:"lower end of its 90 % interval"`
	PaybackHighYears     *float64 `parquet:"simple_payback_high_years,optional" unit:"yr" says:"upper end of its 90 % interval; null: never"`
	DiscountedPayback    *float64 `parquet:"discounted_payback_years,optional" unit:"yr" says:"payback with later savings discounted; null: not within the horizon"`
	CostPerKWh           *float64 `parquet:"levelised_cost_per_kwh,optional" unit:"currency/kWh" says:"cost over the discounted output of the horizon"`
	CO2KgYr              *float64 `parquet:"co2_kg_yr,optional" unit:"kg/yr" says:"what the grid emits less in a year; null: no factor set"`
	LegalCase            *string  `parquet:"legal_case,optional,dict" says:"where a legacy tariff is at stake, the case that is ranked: within_threshold, successor, non_export, own_meter"`
	SuccessorTariff      *string  `parquet:"successor_tariff,optional,dict" says:"the tariff that this case moves to, or meters the new modules on"`
	ClippedKWhYr         float64  `parquet:"clipped_kwh_yr" unit:"kWh/yr" says:"of the added output, what the export limit takes away; not in added_kwh_yr"`
	Chosen               bool     `parquet:"chosen" says:"the size that is proposed"`
	ReportMonth          string   `parquet:"report_month,dict" says:"the month that the run judges, as 2026-10"`
}

// MonthRow is one site in one month.
type MonthRow struct {
	SiteID                string   `parquet:"site_id,dict" says:"the site's id"`
	Month                 int32    `parquet:"month,date" says:"first day of the month, by the site's own clock"`
	ProductionKWh         *float64 `parquet:"production_kwh,optional" unit:"kWh" says:"sum of the hours read"`
	ExpectedProductionKWh *float64 `parquet:"expected_production_kwh,optional" unit:"kWh" says:"what the registered array, in order, would have made in the hours read; null where the sky of most of them is not known"`
	ConsumptionKWh        *float64 `parquet:"consumption_kwh,optional" unit:"kWh" says:"sum of the hours known" how:"the consumption meter's, or production + import - export where that tells it"`
	ImportKWh             *float64 `parquet:"import_kwh,optional" unit:"kWh" says:"sum of the hours read"`
	ExportKWh             *float64 `parquet:"export_kwh,optional" unit:"kWh" says:"sum of the hours read"`
	DataCoveragePct       float64  `parquet:"data_coverage_pct" unit:"%" says:"share of the month's hours in which production and consumption are known"`
	ProductionIndex       *float64 `parquet:"production_index,optional" says:"measured / expected over the hours read"`
	ReportMonth           string   `parquet:"report_month,dict" says:"the month that the run judges, as 2026-10"`
}

// RejectRow is something that was set aside.
type RejectRow struct {
	File        string `parquet:"file" says:"relative to the fleet's folder"`
	Line        int64  `parquet:"line" says:"1 = header; 0: the file as a whole"`
	Column      string `parquet:"column" says:"the column, where one is to blame"`
	Reason      string `parquet:"reason" says:"what is wrong, the limit, and how to mend it"`
	SiteID      string `parquet:"site_id" says:"the site, where known"`
	ReportMonth string `parquet:"report_month" says:"the month that the run judges, as 2026-10"`
}
