package tariff

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// Compile checks a tariff and makes it ready for bills.
//
// In:      a tariff as written; what is left out is none of it.
// Out:     the tariff, with notes on what stands in it without effect.
// Refuses: an hour without a price (the hour is named), tiers that overlap or
// leave kWh without a price, a negative or not finite price or charge, a value
// that no key knows, and keys that contradict each other. Every violation is
// in the error.
// Edges:   a later period that an earlier one hides is allowed: first match wins.
// Source:  contract section 4; the further keys are our choice.
func Compile(data ingest.Tariff) (*Tariff, error) {
	var errs violations
	t := &Tariff{ID: data.ID, Data: data}
	if data.ID == "" {
		errs.add("id is empty; name the tariff")
	}
	checkAmounts(data, &errs)
	checkWords(data, &errs)
	t.holidays = parseHolidays(data.Holidays, &errs)
	t.compileImport(&errs)
	t.compileExport(&errs)
	checkTiers(data, &errs)
	for i, d := range data.Demand {
		r := compileRule(ingest.TariffPeriod{Name: d.Name, Months: d.Months, Days: d.Days, Hours: d.Hours, Price: d.PerKW},
			fmt.Sprintf("demand %d", i+1), "per_kw", &errs)
		t.demand = append(t.demand, r)
	}
	atMost("demand", len(data.Demand), 16, &errs)
	atMost("import", len(data.Import), 200, &errs)
	checkTogether(data, &errs)
	t.note()
	if err := errs.err(); err != nil {
		return nil, fmt.Errorf("reading tariff %q: %w", data.ID, err)
	}
	return t, nil
}

// atMost keeps counts within what a year's indices hold.
func atMost(what string, n, limit int, errs *violations) {
	if n > limit {
		errs.add("%s: %d entries must be at most %d", what, n, limit)
	}
}

func (v violations) err() error { return errors.Join(v...) }

func (t *Tariff) compileImport(errs *violations) {
	if len(t.Data.Import) == 0 {
		errs.add("import has no period; add {name: base, price: …}")
		return
	}
	for i, p := range t.Data.Import {
		t.imports = append(t.imports, compileRule(p, fmt.Sprintf("period %d", i+1), "price", errs))
		bucket := p.Bucket
		if bucket == "" {
			bucket = p.Name
		}
		at := slices.Index(t.buckets, bucket)
		if at < 0 {
			at = len(t.buckets)
			t.buckets = append(t.buckets, bucket)
		}
		t.bucketOf = append(t.bucketOf, at)
	}
	t.checkHoles(t.imports, "import", errs)
}

func (t *Tariff) compileExport(errs *violations) {
	e := t.Data.Export
	t.exports = exportRules(e.Periods, e.Price, "export period", errs)
	t.checkHoles(t.exports, "export", errs)
	if n := e.NewModules; n != nil {
		t.exportsNew = exportRules(n.Periods, n.Price, "export new_modules period", errs)
		t.checkHoles(t.exportsNew, "export new_modules", errs)
	}
}

// exportRules ends with the plain price, so that it holds where no period does.
// Only periods with no plain price beside them must cover every hour.
func exportRules(periods []ingest.TariffPeriod, price float64, what string, errs *violations) []rule {
	var rules []rule
	for i, p := range periods {
		rules = append(rules, compileRule(p, fmt.Sprintf("%s %d", what, i+1), "price", errs))
	}
	if len(periods) == 0 || price != 0 {
		rules = append(rules, rule{name: "price", months: allMonths, days: allDays, price: price})
	}
	return rules
}

func (t *Tariff) checkHoles(rules []rule, what string, errs *violations) {
	if len(*errs) > 0 {
		return // holes of half-read periods would only confuse
	}
	if at, found := hole(rules, len(t.holidays) > 0); found {
		errs.add("%s: no price for %s; end the list with a period without months, days and hours", what, at)
	}
}

func compileRule(p ingest.TariffPeriod, where, amount string, errs *violations) rule {
	r := rule{name: p.Name, price: p.Price}
	var err error
	fail := func(err error) {
		if err != nil {
			errs.add("%s: %w", where, err)
		}
	}
	r.months, err = parseMonths(p.Months)
	fail(err)
	r.days, err = parseDays(p.Days)
	fail(err)
	r.spans, err = parseHours(p.Hours)
	fail(err)
	checkAmount(where+": "+amount, p.Price, errs)
	return r
}

func checkAmount(name string, v float64, errs *violations) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		errs.add("%s %v must be a number", name, v)
	case v < 0:
		errs.add("%s %v must be >= 0", name, v)
	}
}

func checkAmounts(d ingest.Tariff, errs *violations) {
	checkAmount("fixed_per_day", d.FixedPerDay, errs)
	checkAmount("fixed_per_month", d.FixedPerMonth, errs)
	checkAmount("surplus_price", d.SurplusPrice, errs)
	checkAmount("minimum_bill_per_month", d.MinimumPerMonth, errs)
	checkAmount("non_bypassable_per_kwh", d.NonBypassablePerKWh, errs)
	checkAmount("export: price", d.Export.Price, errs)
	if n := d.Export.NewModules; n != nil {
		checkAmount("export new_modules: price", n.Price, errs)
	}
	if d.AnniversaryMonth < 0 || d.AnniversaryMonth > 12 {
		errs.add("anniversary_month %d must be 1 to 12", d.AnniversaryMonth)
	}
	if l := d.Legacy; l != nil {
		checkAmount("legacy: lost_when_added_pct", l.LostWhenAddedPct, errs)
		checkAmount("legacy: lost_when_added_kw", l.LostWhenAddedKW, errs)
		if l.Successor == "" {
			errs.add("legacy: successor is empty; name the tariff that follows")
		}
		for _, a := range l.Apart {
			checkWord("legacy: apart", a, errs, "non_export", "own_meter")
		}
	}
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

func checkWords(d ingest.Tariff, errs *violations) {
	checkWord("settlement", d.Settlement, errs, "", "interval", "monthly", "yearly")
	checkWord("export: credit", d.Export.Credit, errs, "", "rate", "retail")
	checkWord("export: metering", d.Export.Metering, errs, "", "surplus", "gross")
	checkWord("netting", d.Netting, errs, "", "money", "period", "bucket")
	checkWord("bank", d.Bank, errs, "", "none", "kwh", "money")
	checkWord("credit_limit", d.CreditLimit, errs, "", "none", "energy")
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

// checkTiers: the blocks lie one upon the other and leave no kWh out. A block may
// take something off the price, but not more than there is.
func checkTiers(d ingest.Tariff, errs *violations) {
	below, tiers := 0.0, d.Tiers
	for i, tier := range tiers {
		if math.IsNaN(tier.Add) || math.IsInf(tier.Add, 0) {
			errs.add("tier %d: add %v must be a number", i+1, tier.Add)
		}
		for p, period := range d.Import {
			if period.Price >= 0 && period.Price+tier.Add < 0 {
				errs.add("tier %d: add %v makes the price %v of period %d negative", i+1, tier.Add, period.Price, p+1)
			}
		}
		checkAmount(fmt.Sprintf("tier %d: up_to_kwh_per_month", i+1), tier.UpToKWhPerMonth, errs)
		last := i == len(tiers)-1
		switch limit := tier.UpToKWhPerMonth; {
		case limit == 0 && !last:
			errs.add("tier %d: has no up_to_kwh_per_month, so that tier %d overlaps it; only the last may have none", i+1, i+2)
		case limit != 0 && limit <= below:
			errs.add("tier %d: up_to_kwh_per_month %v overlaps tier %d, which goes up to %v; it must be more", i+1, limit, i, below)
		case limit != 0 && last:
			errs.add("tier %d: no tier covers the kWh above %v; end with a tier without up_to_kwh_per_month", i+1, limit)
		default:
			below = limit
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
	if d.Bank == "money" && d.CreditLimit == "none" && !(retail && d.Settlement == "monthly") {
		errs.add("bank money needs credit_limit energy: without a limit nothing is left to bank")
	}
	if (d.Netting == "period" || d.Netting == "bucket") && (!retail || d.Settlement == "" || d.Settlement == "interval") {
		errs.add("netting %s needs export credit retail and settlement monthly or yearly", d.Netting)
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

// note says what has no effect.
func (t *Tariff) note() {
	d := t.Data
	if t.retail() && d.Export.Price != 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("export: price %v has no effect: credit retail pays the import price of the hour", d.Export.Price))
	}
	if d.SurplusPrice != 0 && !t.closes() {
		t.Notes = append(t.Notes, fmt.Sprintf("surplus_price %v has no effect: every kWh is paid when it is sold", d.SurplusPrice))
	}
}

func (t *Tariff) retail() bool { return t.Data.Export.Credit == "retail" }

// Retail tells whether a kWh sold earns the import price of its hour.
func (t *Tariff) Retail() bool { return t.retail() }

// Gross tells whether all output is sold and all use is bought.
func (t *Tariff) Gross() bool { return t.Data.Export.Metering == "gross" }

// HasDemand tells whether power is charged: bills then need PeakKW.
func (t *Tariff) HasDemand() bool { return len(t.demand) > 0 }

// NewTerms is how the export of modules added from now on is told from the old
// ones': "", capacity or output.
func (t *Tariff) NewTerms() string {
	switch n := t.Data.Export.NewModules; {
	case n == nil:
		return ""
	case n.Split == "output":
		return "output"
	default:
		return "capacity"
	}
}

// spans tells whether retail credits net over a month or a year.
func (t *Tariff) spans() bool {
	return t.retail() && (t.Data.Settlement == "monthly" || t.Data.Settlement == "yearly")
}

// Nets tells whether a kWh sold pays for a kWh bought at another hour, so that
// the metering interval hardly matters.
func (t *Tariff) Nets() bool { return t.spans() }

// KeepsShape tells whether twice the energies are twice the bill, fixed charges
// apart: no blocks in kWh, no minimum in money.
func (t *Tariff) KeepsShape() bool { return len(t.Data.Tiers) == 0 && t.Data.MinimumPerMonth == 0 }

// limited tells whether credits stop at the energy charges.
func (t *Tariff) limited() bool {
	return t.spans() || t.Data.CreditLimit == "energy" || t.Data.Bank == "money"
}

// closes tells whether a net surplus is left and paid when a period closes.
func (t *Tariff) closes() bool {
	return t.limited() && (t.Data.Settlement == "monthly" || t.Data.Settlement == "yearly")
}

// byBucket tells whether kWh net against kWh within each bucket.
func (t *Tariff) byBucket() bool {
	return t.spans() && (t.Data.Netting == "bucket" || t.Data.Bank == "kwh")
}
