package tariff

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/ingest"
)

func checkAmount(name string, v float64, errs *violations) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		errs.add("%s %v must be a number", name, v)
	case v < 0:
		errs.add("%s %v must be >= 0", name, v)
	}
}

// checkPrice is checkAmount, for prices that may be negative where the tariff
// says so.
func checkPrice(name string, v float64, mayBeNegative bool, errs *violations) {
	if mayBeNegative && v < 0 && !math.IsInf(v, 0) {
		return
	}
	if v < 0 && !math.IsInf(v, 0) {
		errs.add("%s %v must be >= 0, or the tariff must say negative_prices: true", name, v)
		return
	}
	checkAmount(name, v, errs)
}

func checkAmounts(d ingest.Tariff, errs *violations) {
	checkAmount("fixed_per_day", d.FixedPerDay, errs)
	checkAmount("fixed_per_month", d.FixedPerMonth, errs)
	checkAmount("surplus_price", d.SurplusPrice, errs)
	checkAmount("fixed_per_year", d.FixedPerYear, errs)
	checkAmount("minimum_bill_per_month", d.MinimumPerMonth, errs)
	checkAmount("minimum_bill_per_year", d.MinimumPerYear, errs)
	checkAmount("non_bypassable_per_kwh", d.NonBypassablePerKWh, errs)
	checkPrice("export: price", d.Export.Price, d.NegativePrices, errs)
	if n := d.Export.NewModules; n != nil {
		checkPrice("export new_modules: price", n.Price, d.NegativePrices, errs)
	}
	if d.AnniversaryMonth < 0 || d.AnniversaryMonth > 12 {
		errs.add("anniversary_month %d must be 1 to 12", d.AnniversaryMonth)
	}
	if tax := d.Export.IncomeTaxPct; tax != nil && !(*tax >= 0 && *tax <= 100) {
		errs.add("export: income_tax_pct %v must be 0 to 100", *tax)
	}
	checkDay("valid_from", d.ValidFrom, errs)
	checkLegacy(d.Legacy, errs)
	if e := d.Escalation; e != nil {
		for _, part := range []struct {
			name string
			pct  *float64
		}{{"import_pct_yr", e.ImportPctYr}, {"export_pct_yr", e.ExportPctYr}, {"fixed_pct_yr", e.FixedPctYr}} {
			if part.pct != nil && !(*part.pct > -50 && *part.pct < 50) { // also refuses NaN
				errs.add("escalation: %s %v must be between -50 and 50", part.name, *part.pct)
			}
		}
	}
}

func checkLegacy(l *ingest.TariffLegacy, errs *violations) {
	if l == nil {
		return
	}
	checkAmount("legacy: lost_when_added_pct", l.LostWhenAddedPct, errs)
	checkAmount("legacy: lost_when_added_kw", l.LostWhenAddedKW, errs)
	checkAmount("legacy: owner_stays_years", l.OwnerStaysYears, errs)
	if l.Successor == "" {
		errs.add("legacy: successor is empty; name the tariff that follows")
	}
	for _, a := range l.Apart {
		checkWord("legacy: apart", a, errs, "non_export", "own_meter")
	}
	checkDay("legacy: ends_on", l.EndsOn, errs)
	if l.OwnerStaysYears > 0 && !l.EndsWithOwner {
		errs.add("legacy: owner_stays_years needs ends_with_owner: true")
	}
	atMost("legacy: other_successors", len(l.OtherSuccessors), maxSuccessors-1, errs)
}

// Day reads a date of a tariff.
func Day(s string) (time.Time, bool) {
	t, err := time.Parse(time.DateOnly, s)
	return t, err == nil
}

func checkDay(name, s string, errs *violations) {
	if _, ok := Day(s); s != "" && !ok {
		errs.add("%s %q is no date; write 2027-01-01", name, s)
	}
}

func checkWords(d ingest.Tariff, errs *violations) {
	checkWord("settlement", d.Settlement, errs, "", "interval", "monthly", "yearly")
	checkWord("export: credit", d.Export.Credit, errs, "", "rate", "retail")
	checkWord("export: metering", d.Export.Metering, errs, "", "surplus", "gross")
	checkWord("netting", d.Netting, errs, "", "money", "period", "bucket")
	checkWord("bank", d.Bank, errs, "", "none", "kwh", "money")
	checkWord("credit_limit", d.CreditLimit, errs, "", "none", "energy", "bill", "import")
	checkWord("fixed_spread", d.FixedSpread, errs, "", "days", "even")
	checkWord("demand_over", d.DemandOver, errs, "", "interval", "hour")
	checkWord("bank_follows", d.BankFollows, errs, "", "time_of_day")
	checkWord("bank_close", d.BankClose, errs, "", "lost", "paid")
	checkWord("credit_from", d.CreditFrom, errs, "", "same_month", "next_month")
	checkWord("surplus_on", d.SurplusOn, errs, "", "bank", "total")
	if n := d.Export.NewModules; n != nil {
		checkWord("export new_modules: split", n.Split, errs, "", "capacity", "output")
	}
}

func checkWord(name, v string, errs *violations, allowed ...string) {
	if slices.Contains(allowed, v) {
		return
	}
	list := ""
	for _, a := range allowed {
		if a == "" {
			continue
		}
		if list != "" {
			list += ", "
		}
		list += a
	}
	errs.add("%s %q must be one of %s", name, v, list)
}

// checkTiers: the blocks lie one upon the other and leave no kWh out.
func checkTiers(tiers []ingest.TariffTier, where string, errs *violations) {
	below, perDay := 0.0, false
	for i, tier := range tiers {
		at := fmt.Sprintf("%stier %d", where, i+1)
		if math.IsNaN(tier.Add) || math.IsInf(tier.Add, 0) {
			errs.add("%s: add %v must be a number", at, tier.Add)
		}
		limit, key := tier.UpToKWhPerMonth, "up_to_kwh_per_month"
		if tier.UpToKWhPerDay != 0 {
			limit, key = tier.UpToKWhPerDay, "up_to_kwh_per_day"
			if tier.UpToKWhPerMonth != 0 {
				errs.add("%s: has up_to_kwh_per_month and up_to_kwh_per_day; keep one", at)
			}
		}
		checkAmount(at+": "+key, limit, errs)
		if i == 0 {
			perDay = tier.UpToKWhPerDay != 0
		}
		last := i == len(tiers)-1
		switch {
		case limit == 0 && !last:
			errs.add("%s: has no up_to_kwh_per_month or up_to_kwh_per_day, so that tier %d overlaps it; only the last may have none", at, i+2)
		case limit != 0 && last:
			errs.add("%s: no tier covers the kWh above %v; end with a tier without a limit", at, limit)
		case limit != 0 && perDay != (tier.UpToKWhPerDay != 0):
			errs.add("%s: limits per month and per day are mixed; give all of them the same way", at)
		case limit != 0 && limit <= below:
			errs.add("%s: %s %v overlaps tier %d, which goes up to %v; it must be more", at, key, limit, i, below)
		default:
			below = limit
		}
	}
}

// checkTierPrices: a block may take something off the price, but not more than
// there is.
func checkTierPrices(tiers []ingest.TariffTier, where string, price float64, period int, errs *violations) {
	for i, tier := range tiers {
		if price >= 0 && price+tier.Add < -1e-9 {
			errs.add("%stier %d: add %v makes the price %v of period %d negative; say negative_prices: true where that is meant", where, i+1, tier.Add, price, period)
		}
	}
}

// checkTogether refuses keys that contradict each other.
func checkTogether(d ingest.Tariff, errs *violations) {
	retail := d.Export.Credit == "retail"
	if d.Bank == "kwh" && (!retail || d.Settlement != "monthly") {
		errs.add("bank kwh needs export credit retail and settlement monthly")
	}
	if d.Bank == "kwh" && d.Netting == "money" {
		errs.add("bank kwh nets kWh within each bucket; leave netting out or set it to bucket")
	}
	if d.Bank == "money" && d.Settlement == "yearly" {
		errs.add("bank money needs settlement interval or monthly: a yearly settlement already nets over the year")
	}
	if d.Bank == "money" && d.Netting == "bucket" {
		errs.add("bank money needs netting money or period")
	}
	kWh := d.Bank == "kwh" || retail && d.Netting == "bucket"
	if d.CreditLimit == "none" && d.Bank == "money" {
		errs.add("bank money needs a credit_limit: with none nothing is left to bank; leave it out, or write energy or bill")
	}
	if kWh && d.CreditLimit != "" && d.CreditLimit != "energy" {
		errs.add("credit_limit %s does not go with bank kwh or netting bucket, where kWh meet kWh and no money is credited; leave it out", d.CreditLimit)
	}
	if d.Netting == "bucket" && (!retail || !spans(d)) {
		errs.add("netting bucket needs export credit retail and settlement monthly or yearly")
	}
	if d.Netting == "period" && !(retail && spans(d)) && !(!retail && d.Settlement == "monthly") {
		errs.add("netting period needs settlement monthly, or export credit retail and settlement yearly")
	}
	if d.Netting == "period" && !retail && d.Export.NewModules != nil {
		errs.add("export new_modules needs netting left out: a balance of kWh has no modules of its own")
	}
	if d.Bank != "money" && (d.BankClose != "" || d.CreditFrom != "") {
		errs.add("bank_close and credit_from need bank money")
	}
	if d.Bank != "kwh" && (d.SurplusOn != "" || d.BankFollows != "" || len(d.BankExcludes) > 0) {
		errs.add("surplus_on, bank_follows and bank_excludes need bank kwh")
	}
	if retail && len(d.Export.Periods) > 0 {
		errs.add("export: credit retail takes no periods; use credit rate, or leave them out")
	}
	if d.Export.NewModules != nil && retail {
		errs.add("export new_modules needs credit rate")
	}
	if d.Export.Metering == "gross" && retail {
		errs.add("export metering gross needs credit rate")
	}
}

// spans tells whether a settlement is longer than an interval.
func spans(d ingest.Tariff) bool { return d.Settlement == "monthly" || d.Settlement == "yearly" }
