package report

// The rows of the output tables: a field is a column, with its name and its type
// in the parquet tag. What a column means stands in the dictionary.
//
// A pointer is a value that may be missing (null); lists are never null.

// SiteRow is one site: a row of sites.parquet, and of candidates.parquet where
// the site is ranked.
type SiteRow struct {
	SiteID   string   `parquet:"site_id"`
	Rank     *int32   `parquet:"rank,optional"`
	Lane     string   `parquet:"lane,dict"`
	Reasons  []string `parquet:"reasons,list" parquet-element:",dict"`
	NextStep string   `parquet:"next_step"`
	Branch   *string  `parquet:"branch,optional,dict"`

	ConsumptionKWhYr         *float64    `parquet:"consumption_kwh_yr,optional"`
	ConsumptionFilledPct     *float64    `parquet:"consumption_filled_pct,optional"`
	ConsumptionNormalKWhYr   *float64    `parquet:"consumption_normal_kwh_yr,optional"`
	ConsumptionLowKWhYr      *float64    `parquet:"consumption_low_kwh_yr,optional"`
	ConsumptionHighKWhYr     *float64    `parquet:"consumption_high_kwh_yr,optional"`
	ConsumptionBasis         *string     `parquet:"consumption_basis,optional,dict"`
	ExpectedUseKWhYr         *float64    `parquet:"expected_use_kwh_yr,optional"`
	ExpectedUseLowKWhYr      *float64    `parquet:"expected_use_low_kwh_yr,optional"`
	ExpectedUseHighKWhYr     *float64    `parquet:"expected_use_high_kwh_yr,optional"`
	ProductionKWhYr          *float64    `parquet:"production_kwh_yr,optional"`
	ProductionFilledPct      *float64    `parquet:"production_filled_pct,optional"`
	CoveragePct              *float64    `parquet:"coverage_pct,optional"`
	ConsumptionGrowthPctYr   *float64    `parquet:"consumption_growth_pct_yr,optional"`
	ConsumptionGrowthLow     *float64    `parquet:"consumption_growth_low_pct_yr,optional"`
	ConsumptionGrowthHigh    *float64    `parquet:"consumption_growth_high_pct_yr,optional"`
	ConsumptionChange12mPct  *float64    `parquet:"consumption_change_12m_pct,optional"`
	CoverageChangePct        *float64    `parquet:"coverage_change_pct,optional"`
	LoadEvents               []LoadEvent `parquet:"load_events,list"`
	ProductionIndex          *float64    `parquet:"production_index,optional"`
	ProductionIndexTrend     *float64    `parquet:"production_index_trend_pct_yr,optional"`
	ProductionIndexTrendLow  *float64    `parquet:"production_index_trend_low_pct_yr,optional"`
	ProductionIndexTrendHigh *float64    `parquet:"production_index_trend_high_pct_yr,optional"`
	ArrayFaults              []string    `parquet:"array_faults,list" parquet-element:",dict"`
	FaultDetails             []FaultRow  `parquet:"array_fault_details,list"`
	ShortfallKWhYr           *float64    `parquet:"repair_gain_kwh_yr,optional"`
	Planes                   []PlaneRow  `parquet:"array_planes,list"`
	SkySource                *string     `parquet:"sky_source,optional,dict"`

	RoofModules       *int32   `parquet:"roof_modules,optional"`
	ServiceModules    *int32   `parquet:"service_modules,optional"`
	BranchModules     *int32   `parquet:"branch_modules,optional"`
	GatewayModules    *int32   `parquet:"gateway_modules,optional"`
	PermissionModules *int32   `parquet:"permission_modules,optional"`
	ModulesPossible   *int32   `parquet:"modules_possible,optional"`
	BindingLimit      *string  `parquet:"binding_limit,optional,dict"`
	UnknownLimits     []string `parquet:"unknown_limits,list" parquet-element:",dict"`
	EnablingJobs      []JobRow `parquet:"enabling_jobs,list"`

	ModulesToAdd         *int32   `parquet:"modules_to_add,optional"`
	ModulesUpTo          *int32   `parquet:"modules_up_to,optional"`
	AddedKWDC            *float64 `parquet:"added_kw_dc,optional"`
	AddedKWAC            *float64 `parquet:"added_kw_ac,optional"`
	AddedKWhYr           *float64 `parquet:"added_kwh_yr,optional"`
	AddedSelfUsePct      *float64 `parquet:"added_self_use_pct,optional"`
	CoverageAfterPct     *float64 `parquet:"coverage_after_pct,optional"`
	Cost                 *float64 `parquet:"cost,optional"`
	SavingsFirstYear     *float64 `parquet:"savings_first_year,optional"`
	SavingsFirstYearLow  *float64 `parquet:"savings_first_year_low,optional"`
	SavingsFirstYearHigh *float64 `parquet:"savings_first_year_high,optional"`
	NetBenefit           *float64 `parquet:"net_benefit,optional"`
	NetBenefitLow        *float64 `parquet:"net_benefit_low,optional"`
	NetBenefitHigh       *float64 `parquet:"net_benefit_high,optional"`
	ChanceOfGain         *float64 `parquet:"chance_of_gain,optional"`
	SimplePaybackYears   *float64 `parquet:"simple_payback_years,optional"`
	IRRPct               *float64 `parquet:"irr_pct,optional"`
	TariffID             *string  `parquet:"tariff_id,optional,dict"`
	TariffDefaulted      bool     `parquet:"tariff_defaulted"`

	Priority        *float64       `parquet:"priority,optional"`
	ExpectedBenefit *float64       `parquet:"net_benefit_expected,optional"`
	OutcomeFactor   *float64       `parquet:"outcome_factor,optional"`
	Visits          *float64       `parquet:"visits,optional"`
	Stability       *float64       `parquet:"list_stability,optional"`
	Trip            *int32         `parquet:"trip,optional"`
	AskFirst        []string       `parquet:"ask_first,list" parquet-element:",dict"`
	AskOnSite       []string       `parquet:"ask_on_site,list" parquet-element:",dict"`
	PaysFrom        *int32         `parquet:"pays_from_modules,optional"`
	PaysTo          *int32         `parquet:"pays_to_modules,optional"`
	FitNineInTen    *int32         `parquet:"fits_9_in_10_modules,optional"`
	FitHalf         *int32         `parquet:"fits_1_in_2_modules,optional"`
	LikelyBenefit   *float64       `parquet:"net_benefit_over_limits,optional"`
	LikelyFrom      *string        `parquet:"limits_from,optional,dict"`
	AskMost         *string        `parquet:"ask_most,optional,dict"`
	AskWorth        *float64       `parquet:"ask_most_net_benefit,optional"`
	Confidence      *float64       `parquet:"confidence,optional"`
	DataDays        int32          `parquet:"data_days"`
	DataCoveragePct *float64       `parquet:"data_coverage_pct,optional"`
	Outcome         *string        `parquet:"last_outcome,optional,dict"`
	OutcomeOn       *int32         `parquet:"last_outcome_on,optional,date"`
	NotBefore       *int32         `parquet:"not_before,optional,date"`
	RegisterDigest  *string        `parquet:"register_digest,optional"`
	OutcomeRegister *string        `parquet:"not_suitable_register_digest,optional"`
	Expansions      []ExpansionRow `parquet:"expansions,list"`
	OnCallList      bool           `parquet:"on_call_list"`
	Caveats         []string       `parquet:"caveats,list" parquet-element:",dict"`
	Chain           []Step         `parquet:"chain,list"`
	Failed          *string        `parquet:"failed,optional"`
	ReportMonth     string         `parquet:"report_month,dict"`
}

// ExpansionRow is predicted against realized of modules that a call sold.
type ExpansionRow struct {
	SiteID          string   `parquet:"site_id"`
	SoldOn          int32    `parquet:"sold_on,date"`
	BuiltOn         int32    `parquet:"built_on,date"`
	Modules         int32    `parquet:"modules"`
	Months          float64  `parquet:"months_read"`
	PredictedKWhYr  *float64 `parquet:"predicted_kwh_yr,optional"`
	RealizedKWhYr   *float64 `parquet:"realized_kwh_yr,optional"`
	RealizedLow     *float64 `parquet:"realized_low_kwh_yr,optional"`
	RealizedHigh    *float64 `parquet:"realized_high_kwh_yr,optional"`
	PredictedSaving *float64 `parquet:"predicted_saving,optional"`
	RealizedSaving  *float64 `parquet:"realized_saving,optional"`
	SavedLow        *float64 `parquet:"realized_saving_low,optional"`
	SavedHigh       *float64 `parquet:"realized_saving_high,optional"`
}

// Step is one step of the way to a site's answer.
type Step struct {
	Stage string `parquet:"stage,dict"`
	Says  string `parquet:"says"`
}

// LoadEvent is one lasting change of the household's use.
type LoadEvent struct {
	On    int32   `parquet:"on,date"`
	Kind  string  `parquet:"kind,dict"`
	KWhYr float64 `parquet:"kwh_yr"`
	Score float64 `parquet:"score"`
}

// FaultRow is one fault of the array.
type FaultRow struct {
	Code       string   `parquet:"code,dict"`
	On         *int32   `parquet:"on,optional,date"`
	Until      *int32   `parquet:"until,optional,date"`
	LossPct    *float64 `parquet:"loss_pct,optional"`
	KWhYr      *float64 `parquet:"kwh_yr,optional"`
	AheadKWhYr *float64 `parquet:"ahead_kwh_yr,optional"`
	Confidence *float64 `parquet:"confidence,optional"`
}

// PlaneRow is one plane of today's array.
type PlaneRow struct {
	Arrays     string   `parquet:"arrays"`
	TiltDeg    float64  `parquet:"tilt_deg"`
	AzimuthDeg float64  `parquet:"azimuth_deg"`
	SDDeg      *float64 `parquet:"sd_deg,optional"`
	Estimated  bool     `parquet:"estimated"`
}

// JobRow is a set of enabling jobs that are done together.
type JobRow struct {
	Job              string   `parquet:"job"`
	Cost             float64  `parquet:"cost"`
	ModulesGained    int32    `parquet:"modules_gained"`
	NetBenefitGained *float64 `parquet:"net_benefit_gained,optional"`
}

// OptionRow is one size simulated for one site.
type OptionRow struct {
	SiteID               string   `parquet:"site_id,dict"`
	Modules              int32    `parquet:"modules"`
	Feasible             bool     `parquet:"feasible"`
	EnablingJobs         []string `parquet:"enabling_jobs,list" parquet-element:",dict"`
	AddedKWhYr           float64  `parquet:"added_kwh_yr"`
	AddedSelfUsePct      *float64 `parquet:"added_self_use_pct,optional"`
	BillBefore           float64  `parquet:"bill_before"`
	BillAfter            float64  `parquet:"bill_after"`
	Cost                 float64  `parquet:"cost"`
	SavingsFirstYear     float64  `parquet:"savings_first_year"`
	SavingsFirstYearLow  *float64 `parquet:"savings_first_year_low,optional"`
	SavingsFirstYearHigh *float64 `parquet:"savings_first_year_high,optional"`
	NetBenefit           float64  `parquet:"net_benefit"`
	NetBenefitLow        *float64 `parquet:"net_benefit_low,optional"`
	NetBenefitHigh       *float64 `parquet:"net_benefit_high,optional"`
	SimplePaybackYears   *float64 `parquet:"simple_payback_years,optional"`
	IRRPct               *float64 `parquet:"irr_pct,optional"`
	NetBenefitMedian     *float64 `parquet:"net_benefit_median,optional"`
	ChanceOfGain         *float64 `parquet:"chance_of_gain,optional"`
	ChanceOfPayback      *float64 `parquet:"chance_of_payback,optional"`
	PaybackLowYears      *float64 `parquet:"simple_payback_low_years,optional"`
	PaybackHighYears     *float64 `parquet:"simple_payback_high_years,optional"`
	DiscountedPayback    *float64 `parquet:"discounted_payback_years,optional"`
	CostPerKWh           *float64 `parquet:"levelised_cost_per_kwh,optional"`
	CO2KgYr              *float64 `parquet:"co2_kg_yr,optional"`
	LegalCase            *string  `parquet:"legal_case,optional,dict"`
	SuccessorTariff      *string  `parquet:"successor_tariff,optional,dict"`
	ClippedKWhYr         float64  `parquet:"clipped_kwh_yr"`
	Chosen               bool     `parquet:"chosen"`
	ReportMonth          string   `parquet:"report_month,dict"`
}

// MonthRow is one site in one month.
type MonthRow struct {
	SiteID                string   `parquet:"site_id,dict"`
	Month                 int32    `parquet:"month,date"`
	ProductionKWh         *float64 `parquet:"production_kwh,optional"`
	ExpectedProductionKWh *float64 `parquet:"expected_production_kwh,optional"`
	ConsumptionKWh        *float64 `parquet:"consumption_kwh,optional"`
	ImportKWh             *float64 `parquet:"import_kwh,optional"`
	ExportKWh             *float64 `parquet:"export_kwh,optional"`
	DataCoveragePct       float64  `parquet:"data_coverage_pct"`
	ProductionIndex       *float64 `parquet:"production_index,optional"`
	ReportMonth           string   `parquet:"report_month,dict"`
}

// RejectRow is something that was set aside.
type RejectRow struct {
	File        string `parquet:"file"`
	Line        int64  `parquet:"line"`
	Column      string `parquet:"column"`
	Reason      string `parquet:"reason"`
	SiteID      string `parquet:"site_id"`
	ReportMonth string `parquet:"report_month"`
}
