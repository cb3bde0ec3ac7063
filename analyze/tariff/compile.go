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
	c := compiler{Tariff: &Tariff{ID: data.ID, Data: data}}
	if data.ID == "" {
		c.errs.add("id is empty; name the tariff")
	}
	checkAmounts(data, &c.errs)
	checkWords(data, &c.errs)
	c.holidays = parseHolidays(data.Holidays, &c.errs)
	c.compileImport()
	c.compileExport()
	c.compileDemand()
	c.compileLadders()
	atMost("demand", len(c.demand), 16, &c.errs)
	atMost("import", len(data.Import), 200, &c.errs)
	checkTogether(data, &c.errs)
	c.Notes = notes(c.Tariff)
	if err := c.errs.err(); err != nil {
		return nil, fmt.Errorf("reading tariff %q: %w", data.ID, err)
	}
	return c.Tariff, nil
}

// compiler is a tariff in the making, and what is wrong with it.
type compiler struct {
	*Tariff
	errs violations
}

// atMost keeps counts within what a year's indices hold.
func atMost(what string, n, limit int, errs *violations) {
	if n > limit {
		errs.add("%s: %d entries must be at most %d", what, n, limit)
	}
}

func (v violations) err() error { return errors.Join(v...) }

func (c *compiler) compileImport() {
	if len(c.Data.Import) == 0 {
		c.errs.add("import has no period; add {name: base, price: …}")
		return
	}
	for i, p := range c.Data.Import {
		where := fmt.Sprintf("period %d", i+1)
		c.imports = append(c.imports, compileRule(p, where, &c.errs))
		checkPrice(where+": price", p.Price, c.Data.NegativePrices, &c.errs)
		bucket := p.Bucket
		if bucket == "" {
			bucket = p.Name
		}
		at := slices.Index(c.buckets, bucket)
		if at < 0 {
			at = len(c.buckets)
			c.buckets = append(c.buckets, bucket)
		}
		c.bucketOf = append(c.bucketOf, at)
	}
	c.noCarry = make([]bool, len(c.buckets))
	for _, name := range c.Data.BankExcludes {
		at := slices.Index(c.buckets, name)
		if at < 0 {
			c.errs.add("bank_excludes: %q is no bucket of the import periods; name one of %s", name, strings.Join(c.buckets, ", "))
			continue
		}
		c.noCarry[at] = true
	}
	c.checkHoles(c.imports, "import")
}

func (c *compiler) compileExport() {
	e := c.Data.Export
	c.exports = c.exportRules(e.Periods, e.Price, "export period")
	c.checkHoles(c.exports, "export")
	if n := e.NewModules; n != nil {
		c.exportsNew = c.exportRules(n.Periods, n.Price, "export new_modules period")
		c.checkHoles(c.exportsNew, "export new_modules")
	}
}

// exportRules ends with the plain price, so that it holds where no period does.
// Only periods with no plain price beside them must cover every hour.
func (c *compiler) exportRules(periods []ingest.TariffPeriod, price float64, what string) []rule {
	var rules []rule
	for i, p := range periods {
		where := fmt.Sprintf("%s %d", what, i+1)
		rules = append(rules, compileRule(p, where, &c.errs))
		checkPrice(where+": price", p.Price, c.Data.NegativePrices, &c.errs)
		if len(p.Tiers) > 0 {
			c.errs.add("%s: tiers have no place in an export period; give its price", where)
		}
	}
	if len(periods) == 0 || price != 0 {
		rules = append(rules, rule{name: "price", months: allMonths, days: allDays, price: price})
	}
	return rules
}

func (c *compiler) checkHoles(rules []rule, what string) {
	if len(c.errs) > 0 {
		return // holes of half-read periods would only confuse
	}
	if at, found := hole(rules, len(c.holidays) > 0); found {
		c.errs.add("%s: no price for %s; end the list with a period without months, days and hours", what, at)
	}
}

// compileDemand brings the entries of one name and price together: one charge.
func (c *compiler) compileDemand() {
	for i, d := range c.Data.Demand {
		where := fmt.Sprintf("demand %d", i+1)
		r := compileRule(ingest.TariffPeriod{Name: d.Name, Months: d.Months, Days: d.Days, Hours: d.Hours, Price: d.PerKW}, where, &c.errs)
		checkAmount(where+": per_kw", d.PerKW, &c.errs)
		at := slices.IndexFunc(c.demand, func(c demandCharge) bool { return d.Name != "" && c.name == d.Name && c.price == d.PerKW })
		if at < 0 {
			at = len(c.demand)
			c.demand = append(c.demand, demandCharge{name: d.Name, price: d.PerKW})
		}
		c.demand[at].rules = append(c.demand[at].rules, r)
	}
}

// compileLadders gives every import period its ladder of tiers: its own, or the
// tariff's. Like ladders are one.
func (c *compiler) compileLadders() {
	for i, p := range c.Data.Import {
		tiers, where := c.Data.Tiers, ""
		if len(p.Tiers) > 0 {
			tiers, where = p.Tiers, fmt.Sprintf("period %d: ", i+1)
			checkTiers(tiers, where, &c.errs)
		}
		if !c.Data.NegativePrices {
			checkTierPrices(tiers, where, p.Price, i+1, &c.errs)
		}
		at := slices.IndexFunc(c.ladders, func(l []ingest.TariffTier) bool { return slices.Equal(l, tiers) })
		if at < 0 {
			at = len(c.ladders)
			c.ladders = append(c.ladders, tiers)
		}
		c.ladderOf = append(c.ladderOf, at)
	}
	checkTiers(c.Data.Tiers, "", &c.errs)
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

// notes says what stands in a tariff without effect.
func notes(t *Tariff) (out []string) {
	d := t.Data
	if t.retail() && d.Export.Price != 0 {
		out = append(out, fmt.Sprintf("export: price %v has no effect: credit retail pays the import price of the hour", d.Export.Price))
	}
	if d.SurplusPrice != 0 && !t.closes() {
		out = append(out, fmt.Sprintf("surplus_price %v has no effect: every kWh is paid when it is sold", d.SurplusPrice))
	}
	for _, what := range d.Undecided {
		out = append(out, "not decided yet: "+what)
	}
	return out
}
