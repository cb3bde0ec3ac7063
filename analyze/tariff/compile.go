package tariff

import (
	"errors"
	"fmt"
	"slices"
	"strings"

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
	t.compileDemand(&errs)
	t.compileLadders(&errs)
	atMost("demand", len(t.demand), 16, &errs)
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
		where := fmt.Sprintf("period %d", i+1)
		t.imports = append(t.imports, compileRule(p, where, errs))
		checkPrice(where+": price", p.Price, t.Data.NegativePrices, errs)
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
	t.noCarry = make([]bool, len(t.buckets))
	for _, name := range t.Data.BankExcludes {
		at := slices.Index(t.buckets, name)
		if at < 0 {
			errs.add("bank_excludes: %q is no bucket of the import periods; name one of %s", name, strings.Join(t.buckets, ", "))
			continue
		}
		t.noCarry[at] = true
	}
	t.checkHoles(t.imports, "import", errs)
}

func (t *Tariff) compileExport(errs *violations) {
	e := t.Data.Export
	t.exports = t.exportRules(e.Periods, e.Price, "export period", errs)
	t.checkHoles(t.exports, "export", errs)
	if n := e.NewModules; n != nil {
		t.exportsNew = t.exportRules(n.Periods, n.Price, "export new_modules period", errs)
		t.checkHoles(t.exportsNew, "export new_modules", errs)
	}
}

// exportRules ends with the plain price, so that it holds where no period does.
// Only periods with no plain price beside them must cover every hour.
func (t *Tariff) exportRules(periods []ingest.TariffPeriod, price float64, what string, errs *violations) []rule {
	var rules []rule
	for i, p := range periods {
		where := fmt.Sprintf("%s %d", what, i+1)
		rules = append(rules, compileRule(p, where, errs))
		checkPrice(where+": price", p.Price, t.Data.NegativePrices, errs)
		if len(p.Tiers) > 0 {
			errs.add("%s: tiers have no place in an export period; give its price", where)
		}
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

// compileDemand brings the entries of one name and price together: one charge.
func (t *Tariff) compileDemand(errs *violations) {
	for i, d := range t.Data.Demand {
		where := fmt.Sprintf("demand %d", i+1)
		r := compileRule(ingest.TariffPeriod{Name: d.Name, Months: d.Months, Days: d.Days, Hours: d.Hours, Price: d.PerKW}, where, errs)
		checkAmount(where+": per_kw", d.PerKW, errs)
		at := slices.IndexFunc(t.demand, func(c demandCharge) bool { return d.Name != "" && c.name == d.Name && c.price == d.PerKW })
		if at < 0 {
			at = len(t.demand)
			t.demand = append(t.demand, demandCharge{name: d.Name, price: d.PerKW})
		}
		t.demand[at].rules = append(t.demand[at].rules, r)
	}
}

// compileLadders gives every import period its ladder of tiers: its own, or the
// tariff's. Like ladders are one.
func (t *Tariff) compileLadders(errs *violations) {
	for i, p := range t.Data.Import {
		tiers, where := t.Data.Tiers, ""
		if len(p.Tiers) > 0 {
			tiers, where = p.Tiers, fmt.Sprintf("period %d: ", i+1)
			checkTiers(tiers, where, errs)
		}
		if !t.Data.NegativePrices {
			checkTierPrices(tiers, where, p.Price, i+1, errs)
		}
		at := slices.IndexFunc(t.ladders, func(l []ingest.TariffTier) bool { return slices.Equal(l, tiers) })
		if at < 0 {
			at = len(t.ladders)
			t.ladders = append(t.ladders, tiers)
		}
		t.ladderOf = append(t.ladderOf, at)
	}
	checkTiers(t.Data.Tiers, "", errs)
}

func compileRule(p ingest.TariffPeriod, where string, errs *violations) rule {
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
	return r
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
	for _, what := range d.Undecided {
		t.Notes = append(t.Notes, "not decided yet: "+what)
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
func (t *Tariff) Nets() bool { return t.spans() || t.netsPeriods() }

// KeepsShape tells whether twice the energies are twice the bill, fixed charges
// apart: no blocks in kWh, nothing held against an amount of money.
func (t *Tariff) KeepsShape() bool {
	d := &t.Data
	return !t.tiered() && d.MinimumPerMonth == 0 && d.MinimumPerYear == 0 && d.CreditLimit != "bill"
}

// tiered tells whether some kWh cost more than others of the same hour.
func (t *Tariff) tiered() bool {
	return slices.ContainsFunc(t.ladders, func(l []ingest.TariffTier) bool { return len(l) > 0 })
}

// creditLimit is what credits may pay: none, energy, bill or import.
func (t *Tariff) creditLimit() string {
	switch limit := t.Data.CreditLimit; {
	case limit != "":
		return limit
	case t.spans(), t.Data.Bank == "money":
		return "energy"
	}
	return "none"
}

// limited tells whether credits stop somewhere.
func (t *Tariff) limited() bool { return t.creditLimit() != "none" }

// netsPeriods tells whether kWh net within each bucket before the balance sold
// earns the export price.
func (t *Tariff) netsPeriods() bool { return !t.retail() && t.Data.Netting == "period" }

// closes tells whether a net surplus is left and paid when a period closes.
func (t *Tariff) closes() bool {
	return t.limited() && (t.Data.Settlement == "monthly" || t.Data.Settlement == "yearly")
}

// byBucket tells whether kWh net against kWh within each bucket.
func (t *Tariff) byBucket() bool {
	return t.spans() && (t.Data.Netting == "bucket" || t.Data.Bank == "kwh")
}
