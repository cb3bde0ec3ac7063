package ingest

// Tariff is how a utility charges and credits, as data; analyze/tariff turns
// it into prices by the hour and into bills.
type Tariff struct {
	ID           string         `yaml:"id"`
	FixedPerDay  float64        `yaml:"fixed_per_day"`
	Import       []TariffPeriod `yaml:"import"` // first match wins
	Tiers        []TariffTier   `yaml:"tiers"`
	Export       TariffExport   `yaml:"export"`
	Settlement   string         `yaml:"settlement"`    // interval, monthly, yearly
	SurplusPrice float64        `yaml:"surplus_price"` // per kWh of net surplus when the settlement period closes
	Legacy       *TariffLegacy  `yaml:"legacy"`
}

// TariffPeriod prices the hours that it matches, by the site's civil clock.
type TariffPeriod struct {
	Name   string  `yaml:"name"`
	Months []int   `yaml:"months"` // empty: all
	Days   string  `yaml:"days"`   // weekday, weekend; "": all
	Hours  string  `yaml:"hours"`  // "16-21": from 16:00 up to 21:00; "22-6" wraps; "": all
	Price  float64 `yaml:"price"`  // per kWh
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
	Periods []TariffPeriod `yaml:"periods"`
}

// TariffLegacy is a tariff that growing the array too much would lose.
type TariffLegacy struct {
	LostWhenAddedPct float64 `yaml:"lost_when_added_pct"`
	LostWhenAddedKW  float64 `yaml:"lost_when_added_kw"` // where given, the larger of the two thresholds holds; 0: none
	Successor        string  `yaml:"successor"`
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
