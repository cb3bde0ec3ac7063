package ingest

// Tariff is how a utility charges and credits, as data; analyze/tariff turns
// it into prices by the hour and into bills. What is left out is none of it:
// no holidays, no minimum, no bank.
type Tariff struct {
	ID           string         `yaml:"id"`
	FixedPerDay  float64        `yaml:"fixed_per_day"`
	Import       []TariffPeriod `yaml:"import"` // first match wins
	Tiers        []TariffTier   `yaml:"tiers"`
	Export       TariffExport   `yaml:"export"`
	Settlement   string         `yaml:"settlement"`    // interval, monthly, yearly
	SurplusPrice float64        `yaml:"surplus_price"` // per kWh of net surplus when the settlement period closes
	Legacy       *TariffLegacy  `yaml:"legacy"`

	FixedPerMonth       float64        `yaml:"fixed_per_month"`
	Holidays            []string       `yaml:"holidays"`               // "2026-12-25", or "12-25" for every year: no weekdays
	MinimumPerMonth     float64        `yaml:"minimum_bill_per_month"` // what a month costs at the least; 0: none
	NonBypassablePerKWh float64        `yaml:"non_bypassable_per_kwh"` // on every kWh imported, on top; no credit reduces it
	Demand              []TariffDemand `yaml:"demand"`                 // charges on the month's highest power

	// Netting says how retail credits meet charges within the settlement
	// period: "" or money (every kWh at its hour's price), period (kWh against
	// kWh within each import period, the balance charged or credited at its
	// price: the same sum), or bucket (kWh against kWh within each bucket; what
	// is left in one pays for nothing in another and earns the surplus price).
	Netting string `yaml:"netting"`
	// Bank carries a month's surplus on: "" or none, kwh (within the bucket),
	// money. It closes at the end of the anniversary year.
	Bank string `yaml:"bank"`
	// AnniversaryMonth is the month (1 to 12) that a bank's year begins with; 0: January.
	AnniversaryMonth int `yaml:"anniversary_month"`
	// CreditLimit is what credits may pay: "" or none (no limit: the rest is
	// paid out), or energy (not more than the period's energy charges).
	CreditLimit string `yaml:"credit_limit"`

	// Escalation overrides the settings' yearly price rise by component.
	Escalation *TariffEscalation `yaml:"escalation"`

	Source  string `yaml:"source"` // where this tariff's text stands
	Edition string `yaml:"edition"`
}

// TariffPeriod prices the hours that it matches, by the site's civil clock.
type TariffPeriod struct {
	Name   string  `yaml:"name"`
	Months []int   `yaml:"months"` // empty: all
	Days   string  `yaml:"days"`   // weekday, weekend, holiday, mon … sun, or several with commas; "": all
	Hours  string  `yaml:"hours"`  // "16-21": from 16:00 up to 21:00; "22-6" wraps; several with commas; "": all
	Price  float64 `yaml:"price"`  // per kWh
	Bucket string  `yaml:"bucket"` // periods of one bucket net against each other; "": the name
}

// TariffTier adds to the price of the month's kWh up to a limit.
type TariffTier struct {
	UpToKWhPerMonth float64 `yaml:"up_to_kwh_per_month"` // 0: no limit
	Add             float64 `yaml:"add"`
}

// TariffExport is what a kWh sent to the grid earns.
type TariffExport struct {
	Credit  string         `yaml:"credit"` // rate or retail
	Price   float64        `yaml:"price"`
	Periods []TariffPeriod `yaml:"periods"` // first match wins; Price where none matches

	// Metering is surplus ("": what the household does not use) or gross: all
	// output is sold, all use is bought.
	Metering string `yaml:"metering"`
	// NewModules, where set, is what modules added from now on earn; the old
	// ones keep the terms above. Only with credit: rate.
	NewModules *TariffExportNew `yaml:"new_modules"`
}

// TariffExportNew is the export price of modules added from now on.
type TariffExportNew struct {
	Price   float64        `yaml:"price"`
	Periods []TariffPeriod `yaml:"periods"`
	// Split says which of the hour's export is the new modules': capacity
	// ("", pro rata by size) or output (pro rata by the hour's output).
	Split string `yaml:"split"`
}

// TariffDemand charges the month's highest import power in the hours it matches.
type TariffDemand struct {
	Name   string  `yaml:"name"`
	Months []int   `yaml:"months"`
	Days   string  `yaml:"days"`
	Hours  string  `yaml:"hours"`
	PerKW  float64 `yaml:"per_kw"` // a month
}

// TariffLegacy is a tariff that growing the array too much would lose.
type TariffLegacy struct {
	LostWhenAddedPct float64 `yaml:"lost_when_added_pct"`
	// LostWhenAddedKW, where set, allows this much even where it is more than
	// the share (the greater of the two is allowed).
	LostWhenAddedKW float64 `yaml:"lost_when_added_kw"`
	Successor       string  `yaml:"successor"`
	// Apart lists the ways in which a larger addition may keep the legacy
	// terms: non_export (the new modules may not feed in), own_meter (all of
	// their output is sold on the successor tariff). Empty: neither.
	Apart []string `yaml:"apart"`
}

// TariffEscalation is a yearly price rise by component, in percent; nil: the
// settings' rate.
type TariffEscalation struct {
	ImportPctYr *float64 `yaml:"import_pct_yr"` // energy, tiers, non-bypassable; retail credits follow it
	ExportPctYr *float64 `yaml:"export_pct_yr"` // export rates and the surplus price
	FixedPctYr  *float64 `yaml:"fixed_pct_yr"`  // fixed, minimum and demand charges
}

// FindTariff finds a tariff by its ID; nil where there is none.
func FindTariff(ts []Tariff, id string) *Tariff {
	for i := range ts {
		if ts[i].ID == id {
			return &ts[i]
		}
	}
	return nil
}
