// Package config says what the settings are: their names, types, units,
// defaults and limits, each defined once in the tags of Settings, and how they
// are loaded (flags over ROWEN_* environment over rowen.yaml over defaults).
//
// It imports none of the other packages: cmd/rowen turns Settings into the
// plain option structs that they take.
package config

// Settings is everything that can be set. The tags are the one place where a
// key is defined: its name, unit, default, limit and text. Keys lists them.
//
// A default without a source in the text is our choice.
type Settings struct {
	Name     string    `key:"name" text:"the business whose fleet this is, as printed on the page"`
	Currency string    `key:"currency" default:"USD" text:"the currency of all money, as printed beside it"`
	Locale   string    `key:"locale" default:"en-US" oneof:"en-US en-GB en-AU en-CA en-IE en-IN en-NZ en-ZA" text:"how dates, clock times and money are written for people"`
	ShowMap  bool      `key:"show_map" default:"true" text:"draw the sites on the page by their coordinates, to about a kilometer; false: no map"`
	Month    string    `key:"month" form:"month" text:"report month, as 2026-10; blank: the last complete month in the data"`
	Defaults Defaults  `key:"defaults"`
	Readings []Mapping `key:"readings" text:"one entry a kind of export; none: the contract's own columns in readings/"`
	Money    Money     `key:"money"`
	Roof     Roof      `key:"roof"`
	Rank     Rank      `key:"rank"`
	Limits   Limits    `key:"limits"`
	Health   Health    `key:"health"`
	Sky      Sky       `key:"sky"`
	Weather  Weather   `key:"weather"`
	Workers  int       `key:"workers" default:"0" limit:">=0 <=1024" text:"sites worked on at the same time; 0: one per core"`
}

// Defaults stand in where the register is blank.
type Defaults struct {
	Timezone string `key:"timezone" form:"zone" text:"IANA zone of sites whose timezone is blank"`
	TariffID string `key:"tariff_id" text:"tariff of sites whose tariff_id is blank"`
	Profile  string `key:"profile" text:"service profile of services whose profile is blank"`
	Module   string `key:"module" text:"the module model that is offered; blank: the first of the catalogue"`
	Inverter string `key:"inverter" text:"the inverter model that is offered with it; blank: the newest of the site's own family"`
}

// Mapping says how one kind of export is read.
type Mapping struct {
	Glob       string   `key:"glob" required:"true" text:"the files that this entry reads, under the fleet's folder; ** is any depth, {a,b} either; .gz and .zst need not be written"`
	Format     string   `key:"format" oneof:"csv parquet json xlsx green_button nem12" text:"how the files are written; blank: as their names end; pages of Parquet packed by ZSTD, SNAPPY, GZIP, BROTLI or not at all"`
	Layout     string   `key:"layout" default:"long" oneof:"long wide days" text:"long: a column per quantity; wide: a column per site; days: a row per day and a column per interval"`
	Delimiter  string   `key:"delimiter" oneof:", ; | tab" text:"what stands between two cells; blank: found in the header line"`
	Decimal    string   `key:"decimal" default:"." oneof:". ," text:"the decimal sign of numbers"`
	HeaderLine int      `key:"header_line" default:"0" limit:">=0 <=1000" text:"the line that the column names stand on; 0: the first that is not blank"`
	NoHeader   bool     `key:"no_header" default:"false" text:"true: the file begins with its rows; name columns by position, as #2"`
	DataLine   int      `key:"data_line" default:"0" limit:">=0 <=1000" text:"the line of the first row, where other lines follow the header; 0: the next one"`
	Thousands  string   `key:"thousands" oneof:". , ' _" text:"the sign between thousands, as in 1.234,5; blank: none"`
	Register   string   `key:"register" text:"the column that says what a row measures; each channel's rows matches it"`
	Scale      string   `key:"scale" text:"the column of a factor that values are multiplied with"`
	Records    string   `key:"records" text:"json: the keys that lead to the list of rows, as energy.values; blank: the longest list"`
	Sheet      string   `key:"sheet" text:"xlsx: a regular expression on the names of the sheets that are read; blank: all"`
	SiteID     SiteID   `key:"site_id"`
	Time       Time     `key:"time"`
	Channels   Channels `key:"channels"`
}

// SiteID says where a mapping takes the site's ID from.
type SiteID struct {
	Column string `key:"column" text:"the column that holds the site's ID; site_id where nothing else is given"`
	File   string `key:"file" form:"regexp" text:"a regular expression with a group site_id, on the file's name or else on its path under the fleet's folder"`
	Value  string `key:"value" text:"the site that every row is of"`
	Header string `key:"header" form:"regexp" text:"wide layout: a regular expression on the column names; blank: every column but the time's is a site's"`
	Sheet  string `key:"sheet" form:"regexp" text:"xlsx: a regular expression with a group site_id, on the sheet's name"`
}

// Time says how a mapping's time stamps are read.
type Time struct {
	Column     string `key:"column" text:"the column of the time stamps; start where time.start is blank too"`
	TimeColumn string `key:"time_column" text:"a second column with the time of day, where the first holds the date"`
	Format     string `key:"format" default:"rfc3339" text:"rfc3339 (any ISO 8601 form), unix (seconds), unix_ms, or a Go layout such as 02.01.2006 15:04"`
	Zone       string `key:"zone" form:"zone_or_site" text:"zone of stamps without an offset; blank or site: the site's"`
	Stamp      string `key:"stamp" default:"start" oneof:"start end" text:"which end of the interval a stamp marks"`
	Start      string `key:"start" text:"for files without stamps: the stamp of the first row, in the format"`
	Step       string `key:"step" form:"step" text:"the time from row to row; blank: found for each site"`
	EndColumn  string `key:"end_column" text:"a column with the interval's end: rows that cover another time than most, such as totals, are set aside"`
	Pattern    string `key:"pattern" text:"a regular expression whose groups, joined, are the stamp, where more stands beside it"`
}

// Channels are the quantities that a mapping reads; none given: the
// contract's four. In a wide layout one is given, or several each with a
// header, and none with a column.
type Channels struct {
	Production  *Channel `key:"production"`
	Consumption *Channel `key:"consumption"`
	Import      *Channel `key:"import"`
	Export      *Channel `key:"export"`
	Net         *Channel `key:"net"` // at the grid: positive is import, negative is export
}

// Channel says how one column of readings becomes energy in Wh.
type Channel struct {
	Column   string `key:"column" text:"the column that holds the values; blank: the contract's name for it"`
	Header   string `key:"header" form:"regexp" text:"wide layout with several channels: a regular expression with a group site_id, on the names of this channel's columns"`
	Unit     string `key:"unit" default:"Wh" oneof:"Wh kWh MWh W kW" text:"their unit"`
	Quantity string `key:"quantity" default:"energy" oneof:"energy power counter" text:"energy in the interval, mean power over it, or a counter's reading at the stamp"`
	Sign     int    `key:"sign" default:"1" oneof:"1 -1" text:"-1 where the export counts the other way round"`

	Also string `key:"also" text:"further columns that are added, parted by |"`
	Rows string `key:"rows" text:"a regular expression on the cells of the register column: the rows of this channel; rows of one stamp add up"`

	// Counters only.
	WrapsAt   float64 `key:"wraps_at" default:"0" limit:">=0" text:"counters: the reading, in its unit, at which it starts again at 0; 0: a drop is a reset"`
	SpreadGap string  `key:"spread_gap" default:"6h" form:"gap" text:"counters: over gaps up to this long the energy is spread evenly and marked as estimated; 0: never"`
}

// Money is what the net benefit is worked out from.
type Money struct {
	DiscountRatePct        float64 `key:"discount_rate_pct" unit:"% a year" default:"5" limit:">=0 <=50" text:"how much less a year's waiting makes money worth"`
	PriceEscalationPctYr   float64 `key:"price_escalation_pct_yr" unit:"% a year" default:"2.5" limit:">=-10 <=20" text:"how fast energy prices rise"`
	HorizonYears           int     `key:"horizon_years" unit:"years" default:"25" limit:">=1 <=50" text:"the years that savings are counted for"`
	ModuleDegradationPctYr float64 `key:"module_degradation_pct_yr" unit:"% a year" default:"0.5" limit:">=0 <=5" text:"what a module loses a year (common practice)"`
	CostPerModule          float64 `key:"cost_per_module" unit:"money" default:"780" limit:">=0" text:"one module installed: module, inverter, racking, wiring, labour"`
	CostPerVisit           float64 `key:"cost_per_visit" unit:"money" default:"1400" limit:">=0" text:"once a job, however many modules"`
	CostOf                 CostOf  `key:"cost_of"`

	// Costs over the years.
	UpkeepPerModuleYr    float64 `key:"upkeep_per_module_yr" unit:"money a year" default:"0" limit:">=0" text:"what a module costs to keep, in today's money"`
	ReplacementPerModule float64 `key:"replacement_per_module" unit:"money" default:"0" limit:">=0" text:"a module's share of a new inverter, once"`
	ReplacementYear      int     `key:"replacement_year" unit:"year" default:"0" limit:">=0 <=50" text:"when that is paid; 0: never"`

	// Incentives, taxes and loans.
	SalesTaxPct        float64 `key:"sales_tax_pct" unit:"%" default:"0" limit:">=0 <=50" text:"on the cost"`
	IncentivePctOfCost float64 `key:"incentive_pct_of_cost" unit:"%" default:"0" limit:">=0 <=100" text:"of the cost with tax that somebody else pays"`
	IncentivePerKW     float64 `key:"incentive_per_kw" unit:"money a kW" default:"0" limit:">=0" text:"paid for each kW of modules added"`
	IncentiveMax       float64 `key:"incentive_max" unit:"money" default:"0" limit:">=0" text:"both incentives together at the most; 0: no limit"`
	ExportIncomeTaxPct float64 `key:"export_income_tax_pct" unit:"%" default:"0" limit:">=0 <=100" text:"on what is earned by feeding in at a rate"`
	LoanSharePct       float64 `key:"loan_share_pct" unit:"%" default:"0" limit:">=0 <=100" text:"of the cost that a loan pays"`
	LoanRatePct        float64 `key:"loan_rate_pct" unit:"% a year" default:"0" limit:">=0 <=50" text:"the loan's interest"`
	LoanYears          int     `key:"loan_years" unit:"years" default:"0" limit:">=0 <=50" text:"how long it runs"`
	CO2KgPerKWh        float64 `key:"co2_kg_per_kwh" unit:"kg/kWh" default:"0" limit:">=0 <=3" text:"of the grid's electricity; 0: not said"`
}

// CostOf is what the enabling jobs cost. A job that costs nothing counts as
// done, any other does not.
type CostOf struct {
	SoftwareUpdate    float64 `key:"software_update" unit:"money" default:"0" limit:">=0" text:"bringing the gateway's software up to date"`
	PanelboardUpgrade float64 `key:"panelboard_upgrade" unit:"money" default:"2800" limit:">=0" text:"a larger panelboard"`
	Subpanel          float64 `key:"subpanel" unit:"money" default:"1200" limit:">=0" text:"a subpanel, where the panelboard lacks nothing but free spaces (common practice)"`
	NewPermission     float64 `key:"new_permission" unit:"money" default:"450" limit:">=0" text:"a new permission to operate"`
	GatewaySwap       float64 `key:"gateway_swap" unit:"money" default:"900" limit:">=0" text:"another gateway"`

	// SupplySideConnection is offered only where it is priced and the service
	// profile allows it.
	SupplySideConnection *float64 `key:"supply_side_connection" unit:"money" limit:">=0" text:"a connection before the main breaker; blank: not offered"`
}

// Roof is the clear space that a roof keeps.
type Roof struct {
	RidgeSetbackM float64 `key:"ridge_setback_m" unit:"m" default:"0.46" limit:">=0 <=5" text:"free below the ridge (common practice: 18 inches)"`
	EaveSetbackM  float64 `key:"eave_setback_m" unit:"m" default:"0" limit:">=0 <=5" text:"free above the eave"`
	SideSetbackM  float64 `key:"side_setback_m" unit:"m" default:"0.30" limit:">=0 <=5" text:"free at either side"`
	ModuleGapM    float64 `key:"module_gap_m" unit:"m" default:"0.02" limit:">=0 <=1" text:"between two modules"`

	AreaSharePct      float64 `key:"area_share_pct" unit:"%" default:"33" limit:">=0 <=100" text:"more of the roof than this under modules widens the ridge setback (common practice); 0: never"`
	WideRidgeSetbackM float64 `key:"wide_ridge_setback_m" unit:"m" default:"0.91" limit:">=0 <=5" text:"the wider ridge setback (common practice: 36 inches)"`
	ObstacleMarginM   float64 `key:"obstacle_margin_m" unit:"m" default:"0.30" limit:">=0 <=5" text:"free around vents and skylights whose place is known"`
}

// Rank is how the call list is cut.
type Rank struct {
	CallsPerBranch  int     `key:"calls_per_branch" unit:"calls" default:"40" limit:">=1" text:"what a branch can call in a month"`
	CoolDownMonths  int     `key:"cool_down_months" unit:"months" default:"6" limit:">=0 <=120" text:"how long after a call a site is left alone"`
	MaxPaybackYears float64 `key:"max_payback_years" unit:"years" default:"15" limit:">0 <=50" text:"a longer simple payback is no gain"`
	MinModules      int     `key:"min_modules" unit:"modules" default:"2" limit:">=1 <=1000" text:"fewer are not worth the visit"`
	MinDataDays     int     `key:"min_data_days" unit:"days" default:"328" limit:">=30 <=366" text:"fewer days with readings are too few to judge (published: CalTRACK 2.2, nine tenths of a year)"`
	MinChance       float64 `key:"min_chance" default:"0.95" limit:">=0 <=1" text:"the chance of a gain that an offer must have; at 0.95 the low end of the 90 % interval is no loss"`
	Order           string  `key:"order" default:"net_benefit_per_call" oneof:"net_benefit_per_call net_benefit_per_visit shortest_payback" text:"what the list is sorted by: what is scarce"`
	TripKM          float64 `key:"trip_km" unit:"km" default:"5" limit:">=0 <=200" text:"sites of the list within this distance make one trip"`

	// What an earlier call does to the next one.
	AfterSaleMonths        int `key:"after_sale_months" unit:"months" default:"18" limit:">=0 <=120" text:"how long a sold site stays out of the ranking while arrays.csv does not show the new modules"`
	AfterDeclineMonths     int `key:"after_decline_months" unit:"months" default:"12" limit:">=0 <=120" text:"how long a customer who declined is not called"`
	AfterNoAnswerMonths    int `key:"after_no_answer_months" unit:"months" default:"1" limit:">=0 <=120" text:"how long a customer who did not answer is not called"`
	MaxAttempts            int `key:"max_attempts" unit:"calls" default:"3" limit:">=0 <=365" text:"calls a year that nobody answers; 0: no limit"`
	AfterNotSuitableMonths int `key:"after_not_suitable_months" unit:"months" default:"24" limit:">=0 <=120" text:"how long a site found not suitable is blocked while its register rows stay the same"`
}

// Limits are where a run stops being good enough.
type Limits struct {
	MaxRejectedPct float64 `key:"max_rejected_pct" unit:"%" default:"2" limit:">=0 <=100" text:"share of rows set aside above which the exit code is 3"`

	MaxMissingReadingsPct float64 `key:"max_missing_readings_pct" unit:"%" default:"2" limit:">=0 <=100" text:"share of the readings, by size of files, that cannot be read or are gone since an earlier run, above which the run publishes no call list; any missing file makes the exit code 3"`

	// What a file may ask of memory: far above any export, far below what stops
	// the job.
	MaxLineMB        float64 `key:"max_line_mb" unit:"MB" default:"16" limit:">0 <=256" text:"one line, record or element of a file; a wide file of 100,000 sites has lines of about 1 MB"`
	MaxUnpackedRatio float64 `key:"max_unpacked_ratio" default:"500" limit:">=10 <=100000" text:"how many times its size a packed file may unpack to, beyond 64 MB; readings of one value throughout reach about 200"`
}

// Health is when an array is sick.
type Health struct {
	RepairLossPct float64 `key:"repair_loss_pct" unit:"%" default:"10" limit:">0 <=100" text:"an array that loses at least this share of its output is repaired first (common practice)"`
	MinLossPct    float64 `key:"min_loss_pct" unit:"%" default:"5" limit:">0 <=100" text:"a lasting loss below this is no fault (common practice)"`
	CapacityPct   float64 `key:"capacity_pct" unit:"%" default:"15" limit:">0 <=100" text:"capacity further from the register's is a finding"`
	AzimuthDeg    float64 `key:"azimuth_deg" unit:"deg" default:"30" limit:">0 <=180" text:"an azimuth further from the register's is a finding"`
}

// Sky is the clear sky and the fleet as its own weather station.
type Sky struct {
	LinkeTurbidity []float64 `key:"linke_turbidity" default:"2.5 2.5 2.8 3.1 3.3 3.5 3.5 3.5 3.2 2.9 2.6 2.5" limit:">=1 <=10" count:"12" text:"haze of the clear sky, January to December of the northern hemisphere (common practice: clean cold 2, temperate 2.5 in winter to 3.5 in summer, humid or urban 4 to 5)"`
	RadiusKM       float64   `key:"radius_km" unit:"km" default:"60" limit:">0 <=1000" text:"how far a site borrows the sky of others"`
}

// Weather is how far weather records reach.
type Weather struct {
	MaxDistanceKM float64 `key:"max_distance_km" unit:"km" default:"60" limit:">0 <=1000" text:"a station farther away says nothing about a site's temperature"`
	LightKM       float64 `key:"light_km" unit:"km" default:"30" limit:">0 <=1000" text:"a station farther away says nothing about a site's light"`
	Prefer        bool    `key:"prefer" default:"false" text:"true: a near station's light comes before the fleet's own sky; false: it fills the holes"`
}
