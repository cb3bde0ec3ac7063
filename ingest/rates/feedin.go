package rates

import (
	"encoding/json"
	"fmt"
	"strings"

	"rowen/ingest"
)

// feedIns takes the one feed-in tariff of the plan. Several are no sum: the one
// that is neither premium nor closed is taken, and where that leaves more than
// one, or none, it is asked.
func (rd *planReader) feedIns(all []feedIn) {
	t := &rd.r.Tariff
	t.Export.Credit, t.Settlement = "rate", "interval"
	if !rd.a.NoLegacy {
		rd.r.Ask = append(rd.r.Ask, "legacy terms: whether growing the array loses an older feed-in tariff; write legacy, or --no-legacy")
	}
	if rd.a.ExportPrice.Known {
		t.Export.Price = rd.a.ExportPrice.V
		return
	}
	var open []int
	for i, f := range all {
		if s := strings.ToUpper(f.Scheme); s == "" || s == "OTHER" || s == "CURRENT" {
			open = append(open, i)
			continue
		}
		rd.r.Left = append(rd.r.Left, fmt.Sprintf("feed-in tariff %q of scheme %s: for those who already have it", f.DisplayName, f.Scheme))
	}
	if len(open) != 1 {
		rd.r.Ask = append(rd.r.Ask, fmt.Sprintf("export price: %d feed-in tariffs are open to new modules; until it is decided, a kWh sold earns nothing (--export-price)", len(open)))
		return
	}
	rd.feedIn(fmt.Sprintf("electricityContract.solarFeedInTariff[%d].", open[0]), all[open[0]])
}

func (rd *planReader) feedIn(field string, f feedIn) {
	t := &rd.r.Tariff
	if f.Single != nil {
		t.Export.Price = rd.feedInPrice(field+"singleTariff.", f.Single.Amount, f.Single.Rates)
		return
	}
	var times []timeFeedIn
	if err := json.Unmarshal(f.Varying, &times); err != nil {
		var one timeFeedIn
		if err := json.Unmarshal(f.Varying, &one); err != nil {
			rd.p.add(field+"timeVaryingTariffs", "", "is not as the standard has it", "give amount or rates, and timeVariations")
			return
		}
		times = []timeFeedIn{one}
	}
	for i, v := range times {
		f := fmt.Sprintf("%stimeVaryingTariffs[%d].", field, i)
		price := rd.feedInPrice(f, v.Amount, v.Rates)
		for j, w := range v.Times {
			if days, hours, ok := rd.window(fmt.Sprintf("%stimeVariations[%d].", f, j), w); ok {
				t.Export.Periods = append(t.Export.Periods, ingest.TariffPeriod{Name: fmt.Sprintf("feed_in_%d", i+1), Days: days, Hours: hours, Price: price})
			}
		}
	}
}

func (rd *planReader) feedInPrice(field, amount string, rates []block) float64 {
	if amount != "" {
		return rd.amount(field+"amount", amount, 1)
	}
	if len(rates) == 0 {
		rd.p.add(field+"rates", "", "holds no price", "give amount or rates")
		return 0
	}
	if len(rates) > 1 {
		rd.r.Ask = append(rd.r.Ask, fmt.Sprintf("export price: %s%d blocks; the last one's price, that of every further kWh, is written", field, len(rates)))
	}
	return rd.amount(field+"rates.unitPrice", rates[len(rates)-1].UnitPrice, 1)
}

// leftOver names what stands in the plan and not in the entry.
func (rd *planReader) leftOver(c contract) {
	for _, part := range []struct {
		name string
		is   json.RawMessage
	}{{"controlledLoad", c.Control}, {"discounts", c.Discount}, {"incentives", c.Incent}, {"fees", c.Fees}, {"greenPowerCharges", c.Green}} {
		if given(part.is) {
			rd.r.Left = append(rd.r.Left, part.name+": it stands in the plan")
		}
	}
	if tz := c.TimeZone; tz != "" && tz != "LOCAL" {
		rd.r.Ask = append(rd.r.Ask, "clock: the plan's times are "+tz+" all year; the entry's are by the site's clock, an hour apart in summer where clocks change")
	}
	rd.r.Left = append(rd.r.Left, "holidays: list those of the site's state where days differ")
}
