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

	// ValidFrom is the day from which this entry is in force, "2027-01-01". An id
	// may come several times, each with a later day; "": from the beginning.
	ValidFrom string `yaml:"valid_from"`

	FixedPerMonth float64 `yaml:"fixed_per_month"`
	FixedPerYear  float64 `yaml:"fixed_per_year"` // a twelfth every month
	// FixedSpread says how charges per day fall on the months: "" or days (by the
	// days of the month), or even (365/12 of a day's charge every month).
	FixedSpread string `yaml:"fixed_spread"`

	Holidays            []string       `yaml:"holidays"`               // "2026-12-25", or "12-25" for every year: no weekdays
	MinimumPerMonth     float64        `yaml:"minimum_bill_per_month"` // what a month costs at the least; 0: none
	MinimumPerYear      float64        `yaml:"minimum_bill_per_year"`  // what a year costs at the least, made up in its last month
	NonBypassablePerKWh float64        `yaml:"non_bypassable_per_kwh"` // on every kWh imported, on top; no credit reduces it
	Demand              []TariffDemand `yaml:"demand"`                 // charges on the month's highest power
	// DemandOver is the time over which power is averaged: "" or interval (the
	// readings' own, a quarter hour or an hour), or hour.
	DemandOver string `yaml:"demand_over"`
	// NegativePrices allows a price below 0: without it such a price is taken as a
	// slip of the pen.
	NegativePrices bool `yaml:"negative_prices"`

	// Netting says how retail credits meet charges within the settlement
	// period: "" or money (every kWh at its hour's price), period (kWh against
	// kWh within each import period, the balance charged or credited at its
	// price: the same sum), or bucket (kWh against kWh within each bucket; what
	// is left in one pays for nothing in another and earns the surplus price).
	// With credit rate and settlement monthly, period nets kWh within each import
	// period's bucket first, and only the balance sold earns the export price.
	Netting string `yaml:"netting"`
	// Bank carries a month's surplus on: "" or none, kwh (within the bucket),
	// money. It closes at the end of the anniversary year.
	Bank string `yaml:"bank"`
	// BankExcludes names buckets whose kWh are not carried on: their surplus is
	// lost when the month closes. Only with bank: kwh.
	BankExcludes []string `yaml:"bank_excludes"`
	// BankFollows says what becomes of kWh banked in a bucket that has no hours in
	// the next month: "" (they wait for its return) or time_of_day (they go to the
	// bucket that holds at the same time, midnight, noon or 18:00 of a weekday).
	BankFollows string `yaml:"bank_follows"`
	// BankClose says what becomes of money left in a bank when its year closes:
	// "" or lost, or paid.
	BankClose string `yaml:"bank_close"`
	// CreditFrom says which bill a bank of money's credit may first pay: "" or
	// same_month, or next_month.
	CreditFrom string `yaml:"credit_from"`
	// SurplusOn says what the surplus price is paid for when a bank of kWh closes:
	// "" or bank (what the buckets hold), or total (what one bank for all buckets
	// together would hold).
	SurplusOn string `yaml:"surplus_on"`
	// AnniversaryMonth is the month (1 to 12) that a bank's year begins with; 0: January.
	AnniversaryMonth int `yaml:"anniversary_month"`
	// CreditLimit is what credits may pay: none (no limit: the rest is paid out),
	// energy (not more than the settlement period's energy charges), bill (fixed
	// and demand charges too, but the bill does not fall below 0), or import (not
	// more kWh are credited than were bought in the settlement period). "": energy
	// where retail credits net over a month or a year or there is a bank, else none.
	CreditLimit string `yaml:"credit_limit"`

	// Escalation overrides the settings' yearly price rise by component.
	Escalation *TariffEscalation `yaml:"escalation"`

	// Undecided names what the tariff's source did not say and nobody has decided
	// yet; the check of a fleet repeats it.
	Undecided []string `yaml:"undecided"`

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
	// Tiers of this period alone, in place of the tariff's: import periods only.
	// The month's kWh of all periods count; a period's kWh lie in its tiers in the
	// same proportion as the month's do.
	Tiers []TariffTier `yaml:"tiers"`
}

// TariffTier adds to the price of the month's kWh up to a limit.
type TariffTier struct {
	UpToKWhPerMonth float64 `yaml:"up_to_kwh_per_month"` // 0: no limit
	UpToKWhPerDay   float64 `yaml:"up_to_kwh_per_day"`   // the same, times the days of the month
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
	// IncomeTaxPct is the income tax on what feeding in earns at a rate; nil: the
	// settings'.
	IncomeTaxPct *float64 `yaml:"income_tax_pct"`
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
// Entries of one name and price are one charge on the highest of them all.
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
	// OtherSuccessors are tariffs that the customer may choose in the successor's
	// place. A site that does not choose moves to the successor.
	OtherSuccessors []string `yaml:"other_successors"`
	// EndsOn is the last day of the legacy terms, "2034-12-31": the site then moves
	// to the successor whether or not it grows. "": no end.
	EndsOn string `yaml:"ends_on"`
	// EndsWithOwner: the terms end when the house changes hands; after
	// OwnerStaysYears, where that is given, the site is counted on the successor.
	EndsWithOwner   bool    `yaml:"ends_with_owner"`
	OwnerStaysYears float64 `yaml:"owner_stays_years"`
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
