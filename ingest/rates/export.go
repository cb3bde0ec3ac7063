package rates

import (
	"fmt"
	"slices"
	"strings"

	"rowen/ingest"
)

// metering writes the export side: as the file says, or as somebody decided.
func (r *Rate) metering(o object, a Answers, grid *schedule, periods [][]urdbTier) {
	t := &r.Tariff
	sells := slices.ContainsFunc(periods, func(p []urdbTier) bool {
		return slices.ContainsFunc(p, func(t urdbTier) bool { return t.Sell != nil })
	})
	rule := a.Metering
	if rule == "" {
		rule = map[string]string{"Net Metering": "net_metering", "Net Billing Instantaneous": "net_billing", "Net Billing Hourly": "net_billing", "Buy All Sell All": "sell_all"}[text(o, "dgrules")]
	}
	if rule == "" && text(o, "usenetmetering") == "true" {
		rule = "net_metering"
	}
	switch rule {
	case "net_metering":
		t.Export.Credit, t.Settlement, t.Netting, t.Bank, t.BankFollows = "retail", "monthly", "bucket", "kwh", "time_of_day"
		r.Notes = append(r.Notes, "net metering is written as kWh carried on from month to month within the periods of the same time of day; the file does not say how it settles")
		if sells {
			r.Left = append(r.Left, "sell: prices for export stand in the file beside net metering; --metering net_billing takes them")
		}
		r.surplus(a)
	case "net_billing", "sell_all":
		t.Export.Credit, t.Settlement = "rate", "interval"
		if rule == "sell_all" {
			t.Export.Metering = "gross"
		}
		r.exportPrices(a, grid, periods, sells)
	case "none":
		t.Export.Credit = "rate"
	default:
		t.Export.Credit = "rate"
		r.Ask = append(r.Ask, "metering rule: the file has none; until it is decided a kWh sold earns nothing (--metering "+strings.Join(Meterings, "|")+")")
	}
	if !a.NoLegacy {
		r.Ask = append(r.Ask, "legacy terms: whether growing the array moves the site to another tariff; write legacy, or --no-legacy")
	}
}

func (r *Rate) surplus(a Answers) {
	if a.SurplusPrice.Known {
		r.Tariff.SurplusPrice = a.SurplusPrice.V
		return
	}
	r.Ask = append(r.Ask, "surplus_price: what a kWh of net surplus earns when the year closes; until it is decided, nothing (--surplus-price)")
}

// exportPrices takes the answer, else the file's sell prices by period.
func (r *Rate) exportPrices(a Answers, grid *schedule, periods [][]urdbTier, sells bool) {
	t := &r.Tariff
	switch {
	case a.ExportPrice.Known:
		t.Export.Price = a.ExportPrice.V
	case sells:
		for _, e := range grid.spans(true) {
			sell := 0.0
			if s := periods[e.period][0].Sell; s != nil {
				sell = *s
			} else {
				r.Ask = append(r.Ask, fmt.Sprintf("export price: %s has no sell; until it is decided, nothing", periodName(e.period)))
			}
			for _, tier := range periods[e.period][1:] {
				if tier.Sell != nil && *tier.Sell != sell {
					r.Left = append(r.Left, fmt.Sprintf("sell of the higher tiers of %s", periodName(e.period)))
					break
				}
			}
			t.NegativePrices = t.NegativePrices || sell < 0
			t.Export.Periods = append(t.Export.Periods, ingest.TariffPeriod{Name: periodName(e.period), Months: e.months, Days: e.days, Hours: e.hours, Price: sell})
		}
	default:
		r.Ask = append(r.Ask, "export price: the file has no sell price; until it is decided, a kWh sold earns nothing (--export-price)")
	}
}

func text(o object, key string) string { return strings.Trim(string(o[key]), `"`) }

// leftOver names what stands in the file and not in the entry.
func (r *Rate) leftOver(o object) {
	var keys []string
	for key := range o {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	var texts []string
	for _, key := range keys {
		switch {
		case slices.Contains(read, key) || slices.Contains(silent, key) || !has(o, key):
		case slices.Contains(prose, key):
			texts = append(texts, key)
		default:
			r.Left = append(r.Left, key+": "+shorten(string(o[key])))
		}
	}
	if len(texts) > 0 {
		r.Left = append(r.Left, "the words of "+strings.Join(texts, ", ")+": riders and conditions may stand there")
	}
	if s := text(o, "sector"); s != "" && s != "Residential" {
		r.Left = append(r.Left, "sector "+s+": the rate is not for households")
	}
	r.Left = append(r.Left, "holidays: the format has none; they are priced as their weekday")
}
