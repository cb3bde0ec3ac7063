package rates

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest"
)

// The fields of the open U.S. utility rate database, as its interface's
// documentation (versions 3 to 8) describes them. All that is not read here and
// not in silent is named as left out.
var read = []string{"label", "utility", "name", "startdate", "enddate", "sector",
	"energyratestructure", "energyweekdayschedule", "energyweekendschedule",
	"fixedchargefirstmeter", "fixedchargeunits", "fixedmonthlycharge", "mincharge", "minchargeunits", "minmonthlycharge", "annualmincharge",
	"demandratestructure", "demandweekdayschedule", "demandweekendschedule", "flatdemandstructure", "flatdemandmonths", "demandwindow",
	"dgrules", "usenetmetering"}

// silent are fields that say nothing about a household's bill. A unit of demand
// is filled in for rates without any demand charge.
var silent = []string{"approved", "is_default", "country", "servicetype", "demandunits", "demandrateunit", "flatdemandunit", "uri", "eiaid",
	"supersedes", "source", "sourceparent", "revisions", "latest_update", "rateid", "phasewiring", "voltagecategory", "voltageminimum", "voltagemaximum",
	"demandreactivepowercharge", "zipcode", "lat", "lon", "version"}

// prose are texts that may hold riders and conditions that no machine reads.
var prose = []string{"description", "energycomments", "demandcomments", "basicinformationcomments", "fixedattrs", "energyattrs", "demandattrs"}

type urdbTier struct {
	Rate float64  `json:"rate"`
	Adj  float64  `json:"adj"`
	Sell *float64 `json:"sell"`
	Max  *float64 `json:"max"`
	Unit string   `json:"unit"`
}

func (t urdbTier) price() float64 { return tidy(t.Rate + t.Adj) }

// tidy drops the digits that adding decimals in binary leaves behind.
func tidy(v float64) float64 { return math.Round(v*1e9) / 1e9 }

// readURDB turns one rate of the database into an entry.
//
// Conventions: adj is added to rate; max is the upper limit of a tier,
// cumulative over the month and across periods; "kWh daily" is times the days of
// the month; a max of 0, none, or 1e30 and more is no limit.
func readURDB(o object, a Answers, p *problems) Rate {
	var r Rate
	t := &r.Tariff
	label, _ := get[string](o, "label", p)
	utility, _ := get[string](o, "utility", p)
	name, _ := get[string](o, "name", p)
	if t.ID = idFrom(utility, name); t.ID == "" {
		t.ID = idFrom("rate", label)
	}
	t.Source = "open U.S. utility rate database, label " + label
	r.dates(o, p)
	r.fixed(o, p)
	grid, periods := r.energy(o, p)
	r.demandCharges(o, p)
	if len(p.list) > 0 {
		return r
	}
	r.metering(o, a, grid, periods)
	r.leftOver(o)
	return r
}

// dates gives the edition. Doubtful dates are asked; the prices stand.
func (r *Rate) dates(o object, p *problems) {
	start, okStart := dateOf(o, "startdate", p)
	end, okEnd := dateOf(o, "enddate", p)
	if okStart {
		r.Tariff.Edition = "from " + start.Format(time.DateOnly)
	}
	if okStart && okEnd && end.Before(start) {
		r.Ask = append(r.Ask, fmt.Sprintf("dates: enddate %s is before startdate %s in the file; find out whether the rate is in force", end.Format(time.DateOnly), start.Format(time.DateOnly)))
		return
	}
	if okEnd {
		r.Tariff.Edition += " to " + end.Format(time.DateOnly)
		r.Notes = append(r.Notes, "the file gives an end, "+end.Format(time.DateOnly)+": a later rate may be in force")
	}
}

// dateOf reads Unix seconds or a date as text. Seconds stand for local midnight,
// up to a day's shift.
func dateOf(o object, key string, p *problems) (time.Time, bool) {
	if !has(o, key) {
		return time.Time{}, false
	}
	raw := strings.Trim(string(o[key]), `"`)
	if s, err := strconv.ParseInt(raw, 10, 64); err == nil {
		return time.Unix(s, 0).UTC().Truncate(24 * time.Hour), true
	}
	t, err := time.Parse(time.DateOnly, raw[:min(len(raw), len(time.DateOnly))])
	if err != nil {
		p.add(key, shorten(raw), "is no date", "give Unix seconds or 2026-06-01")
		return time.Time{}, false
	}
	return t, true
}

func (r *Rate) fixed(o object, p *problems) {
	t := &r.Tariff
	if v, ok := get[float64](o, "fixedchargefirstmeter", p); ok && v != 0 {
		perUnit(o, "fixedchargeunits", p, v, map[string]*float64{"$/day": &t.FixedPerDay, "$/month": &t.FixedPerMonth, "$/year": &t.FixedPerYear})
	} else if v, ok := get[float64](o, "fixedmonthlycharge", p); ok {
		t.FixedPerMonth = v
	}
	if v, ok := get[float64](o, "mincharge", p); ok && v != 0 {
		perDay := 0.0
		perUnit(o, "minchargeunits", p, v, map[string]*float64{"$/day": &perDay, "$/month": &t.MinimumPerMonth, "$/year": &t.MinimumPerYear})
		if perDay > 0 {
			t.MinimumPerMonth = tidy(perDay * 365 / 12)
			r.Notes = append(r.Notes, fmt.Sprintf("a minimum of %v a day is written as 365/12 of it a month", perDay))
		}
	}
	if v, ok := get[float64](o, "minmonthlycharge", p); ok && t.MinimumPerMonth == 0 {
		t.MinimumPerMonth = v
	}
	if v, ok := get[float64](o, "annualmincharge", p); ok && t.MinimumPerYear == 0 {
		t.MinimumPerYear = v
	}
}

// perUnit puts an amount where its unit says; without a unit it is per month.
func perUnit(o object, key string, p *problems, v float64, into map[string]*float64) {
	unit, there := get[string](o, key, p)
	if !there {
		unit = "$/month"
	}
	at := into[strings.ToLower(strings.ReplaceAll(unit, " ", ""))]
	if at == nil {
		p.add(key, strconv.Quote(unit), "is no unit of a charge", "give $/day, $/month or $/year")
		return
	}
	if v < 0 {
		p.add(strings.TrimSuffix(key, "units"), fmt.Sprint(v), "must be >= 0", "mend the charge")
		return
	}
	*at = v
}

// energy reads the import periods, their tiers and when they hold.
func (r *Rate) energy(o object, p *problems) (*schedule, [][]urdbTier) {
	periods, there := get[[][]urdbTier](o, "energyratestructure", p)
	if !there || len(periods) == 0 {
		p.add("energyratestructure", "", "is not there", "give the energy prices; a rate without them has no bill")
		return nil, nil
	}
	prices := make([]float64, len(periods))
	tiers := make([][]ingest.TariffTier, len(periods))
	for i, period := range periods {
		field := fmt.Sprintf("energyratestructure[%d]", i)
		if len(period) == 0 {
			p.add(field, "", "holds no tier", "give the period's rate")
			return nil, nil
		}
		prices[i] = period[0].price()
		tiers[i] = r.tiersOf(field, period, p)
		for _, tier := range period {
			r.Tariff.NegativePrices = r.Tariff.NegativePrices || tier.price() < 0
		}
	}
	s, ok := gridOf(o, "energy", len(periods), p)
	if !ok || len(p.list) > 0 {
		return nil, nil
	}
	shared := !slices.ContainsFunc(tiers, func(l []ingest.TariffTier) bool { return !slices.Equal(l, tiers[0]) })
	if shared {
		r.Tariff.Tiers = tiers[0]
	} else {
		r.Notes = append(r.Notes, "where periods of one month have different tiers, a period's kWh lie in its tiers in the same proportion as the month's do")
	}
	for _, e := range s.spans(true) {
		entry := ingest.TariffPeriod{Name: periodName(e.period), Months: e.months, Days: e.days, Hours: e.hours, Price: prices[e.period]}
		if !shared {
			entry.Tiers = tiers[e.period]
		}
		r.Tariff.Import = append(r.Tariff.Import, entry)
	}
	return &s, periods
}

// periodName keeps the file's own number.
func periodName(i int) string { return fmt.Sprintf("period_%d", i) }

func gridOf(o object, field string, periods int, p *problems) (schedule, bool) {
	week, okWeek := get[[][]int](o, field+"weekdayschedule", p)
	end, okEnd := get[[][]int](o, field+"weekendschedule", p)
	switch {
	case !okWeek && !okEnd && periods == 1 && field == "energy":
		return schedule{}, true
	case !okWeek || !okEnd:
		p.add(field+"weekdayschedule and "+field+"weekendschedule", "", "must both be there", "give 12 rows of 24 period numbers each")
		return schedule{}, false
	}
	return scheduleOf(field, week, end, periods, p), true
}

// tiersOf reads a period's ladder. One tier that costs the same for every kWh is
// none.
func (r *Rate) tiersOf(field string, period []urdbTier, p *problems) []ingest.TariffTier {
	var out []ingest.TariffTier
	below := 0.0
	for j, tier := range period {
		at := fmt.Sprintf("%s[%d].", field, j)
		daily := false
		switch strings.ToLower(strings.TrimSpace(tier.Unit)) {
		case "", "kwh":
		case "kwh daily":
			daily = true
		default:
			p.add(at+"unit", strconv.Quote(tier.Unit), "is no unit that a tier is counted in here", `give "kWh" or "kWh daily"`)
			return nil
		}
		e := ingest.TariffTier{Add: tidy(tier.price() - period[0].price())}
		limit, limited := limitOf(tier.Max)
		last := j == len(period)-1
		switch {
		case limited && last:
			r.Notes = append(r.Notes, fmt.Sprintf("%smax %v of the last tier is not kept: more kWh cost the same", at, limit))
		case !limited && !last:
			p.add(at+"max", "", "must be there, since a tier follows", "give the tier's upper limit")
			return nil
		case limited && limit <= below:
			p.add(at+"max", fmt.Sprint(limit), fmt.Sprintf("must be more than %v, the limit of the tier before", below), "order the tiers by their limits")
			return nil
		case limited && daily:
			e.UpToKWhPerDay, below = limit, limit
		case limited:
			e.UpToKWhPerMonth, below = limit, limit
		}
		out = append(out, e)
	}
	if len(out) == 1 {
		return nil
	}
	return out
}

func limitOf(most *float64) (float64, bool) {
	const endless = 1e30
	if most == nil || *most <= 0 || *most >= endless {
		return 0, false
	}
	return *most, true
}

// demandCharges reads charges on power, flat by month and by period.
func (r *Rate) demandCharges(o object, p *problems) {
	if flat, ok := get[[][]urdbTier](o, "flatdemandstructure", p); ok {
		months, there := get[[]int](o, "flatdemandmonths", p)
		if !there || len(months) != 12 {
			p.add("flatdemandmonths", fmt.Sprintf("of %d months", len(months)), "must have 12", "give a period number for each month, January first")
			return
		}
		for i := range flat {
			var in []int
			for m, v := range months {
				if v < 0 || v >= len(flat) {
					p.add(fmt.Sprintf("flatdemandmonths[%d]", m), fmt.Sprint(v), fmt.Sprintf("names a period without a rate (there are %d, counted from 0)", len(flat)), "add the period's rate or mend the months")
					return
				}
				if v == i {
					in = append(in, m+1)
				}
			}
			r.demand(fmt.Sprintf("flatdemandstructure[%d]", i), fmt.Sprintf("flat_%d", i), flat[i], []span{{months: in}}, len(in) > 0, p)
		}
	}
	byPeriod, ok := get[[][]urdbTier](o, "demandratestructure", p)
	if !ok {
		return
	}
	s, ok := gridOf(o, "demand", len(byPeriod), p)
	if !ok || len(p.list) > 0 {
		return
	}
	for i := range byPeriod {
		spans := s.of(i)
		r.demand(fmt.Sprintf("demandratestructure[%d]", i), fmt.Sprintf("demand_%d", i), byPeriod[i], spans, len(spans) > 0, p)
	}
	if w, ok := get[float64](o, "demandwindow", p); ok && w == 60 {
		r.Tariff.DemandOver = "hour"
	}
}

func (r *Rate) demand(field, name string, tiers []urdbTier, spans []span, used bool, p *problems) {
	switch {
	case len(tiers) == 0:
		p.add(field, "", "holds no tier", "give the charge's rate")
	case len(tiers) > 1:
		p.add(field, fmt.Sprintf("of %d tiers", len(tiers)), "cannot be priced: a demand charge in steps of kW", "write the rate by hand, or leave it out")
	case tiers[0].price() < 0:
		p.add(field+"[0].rate", fmt.Sprint(tiers[0].price()), "must be >= 0", "mend the charge")
	case used && tiers[0].price() > 0:
		for _, e := range spans {
			if len(e.months) == 12 {
				e.months = nil
			}
			r.Tariff.Demand = append(r.Tariff.Demand, ingest.TariffDemand{Name: name, Months: e.months, Days: e.days, Hours: e.hours, PerKW: tiers[0].price()})
		}
	}
}
