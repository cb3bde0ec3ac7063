package rates

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest"
)

// The parts of a plan of the Consumer Data Right (energy, plan detail) that make
// a bill. Amounts are text. Source: the standard's schema, from memory; no
// sample can be shipped, since the plans' licence is not stated.
type plan struct {
	PlanID      string   `json:"planId"`
	DisplayName string   `json:"displayName"`
	BrandName   string   `json:"brandName"`
	Contract    contract `json:"electricityContract"`
}

type contract struct {
	TimeZone string          `json:"timeZone"`
	Periods  []season        `json:"tariffPeriod"`
	FeedIn   []feedIn        `json:"solarFeedInTariff"`
	Control  json.RawMessage `json:"controlledLoad"`
	Discount json.RawMessage `json:"discounts"`
	Incent   json.RawMessage `json:"incentives"`
	Fees     json.RawMessage `json:"fees"`
	Green    json.RawMessage `json:"greenPowerCharges"`
}

type season struct {
	DisplayName  string          `json:"displayName"`
	StartDate    string          `json:"startDate"`
	EndDate      string          `json:"endDate"`
	DailySupply  string          `json:"dailySupplyCharges"`
	DailySupply2 string          `json:"dailySupplyCharge"`
	Kind         string          `json:"rateBlockUType"`
	Single       *singleRate     `json:"singleRate"`
	TimeOfUse    []timeRate      `json:"timeOfUseRates"`
	Demand       json.RawMessage `json:"demandCharges"`
}

type singleRate struct {
	Period string  `json:"period"`
	Rates  []block `json:"rates"`
}

type timeRate struct {
	Type        string   `json:"type"`
	DisplayName string   `json:"displayName"`
	Period      string   `json:"period"`
	Rates       []block  `json:"rates"`
	TimeOfUse   []window `json:"timeOfUse"`
}

type block struct {
	UnitPrice string   `json:"unitPrice"`
	Unit      string   `json:"measureUnit"`
	Volume    *float64 `json:"volume"`
}

type window struct {
	Days  []string `json:"days"`
	Start string   `json:"startTime"`
	End   string   `json:"endTime"`
}

type feedIn struct {
	DisplayName string `json:"displayName"`
	Scheme      string `json:"scheme"`
	Single      *struct {
		Amount string  `json:"amount"`
		Rates  []block `json:"rates"`
	} `json:"singleTariff"`
	Varying json.RawMessage `json:"timeVaryingTariffs"`
}

type timeFeedIn struct {
	Amount string   `json:"amount"`
	Rates  []block  `json:"rates"`
	Times  []window `json:"timeVariations"`
}

// planReader reads one plan.
type planReader struct {
	r     Rate
	a     Answers
	p     *problems
	cents bool
	gst   float64 // factor on charges
}

// readPlan turns a plan into an entry.
//
// Conventions: prices above 2 a kWh are cents; seasons are days of the year that
// may wrap; times may end inclusive ("1959") or exclusive ("2000") and wrap
// midnight; a block's volume is its width in the rate's period; charges are given
// without goods and services tax.
func readPlan(o object, a Answers, p *problems) Rate {
	rd := &planReader{a: a, p: p}
	text, err := json.Marshal(o)
	var pl plan
	if err == nil {
		err = json.Unmarshal(text, &pl)
	}
	if err != nil {
		p.add("the plan", "", "is not as the standard has it ("+err.Error()+")", "give the plan's detail as the interface returns it")
		return rd.r
	}
	t := &rd.r.Tariff
	if t.ID = idFrom(pl.BrandName, pl.DisplayName); t.ID == "" {
		t.ID = idFrom("plan", pl.PlanID)
	}
	t.Source = "Consumer Data Right, plan " + pl.PlanID
	if len(pl.Contract.Periods) == 0 {
		p.add("electricityContract.tariffPeriod", "", "is not there", "give the plan's detail; the list of plans has no prices")
		return rd.r
	}
	rd.money(pl.Contract)
	for i, s := range pl.Contract.Periods {
		rd.season(fmt.Sprintf("electricityContract.tariffPeriod[%d].", i), s, i, len(pl.Contract.Periods))
	}
	rd.feedIns(pl.Contract.FeedIn)
	rd.leftOver(pl.Contract)
	return rd.r
}

// money decides between cents and dollars, and about the tax.
func (rd *planReader) money(c contract) {
	const mostDollars = 2 // a kWh: nobody sells it for more
	top := 0.0
	for _, s := range c.Periods {
		for _, b := range s.blocks() {
			if v, err := strconv.ParseFloat(b.UnitPrice, 64); err == nil {
				top = max(top, v)
			}
		}
	}
	rd.cents = top > mostDollars
	unit := "dollars"
	if rd.cents {
		unit = "cents"
	}
	rd.r.Notes = append(rd.r.Notes, fmt.Sprintf("amounts are taken as %s: the highest price is %v a kWh", unit, top))
	const gstPct = 10 // goods and services tax; the standard: amounts are exclusive of it
	tax := rd.a.TaxPct.Or(gstPct)
	rd.gst = 1 + tax/100
	rd.r.Notes = append(rd.r.Notes, fmt.Sprintf("%v %% of tax is added to the charges, which the standard gives without it, and none to what is paid for export (--tax-pct 0 where the amounts hold it)", tax))
}

func (s *season) blocks() []block {
	var all []block
	if s.Single != nil {
		all = append(all, s.Single.Rates...)
	}
	for _, t := range s.TimeOfUse {
		all = append(all, t.Rates...)
	}
	return all
}

func (rd *planReader) amount(field, s string, factor float64) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		rd.p.add(field, strconv.Quote(s), "is no amount", "give a number as text, such as \"0.2494\"")
		return 0
	}
	if rd.cents {
		v /= 100
	}
	rd.r.Tariff.NegativePrices = rd.r.Tariff.NegativePrices || v < 0
	return tidy(v * factor)
}

// season reads one stretch of the year.
func (rd *planReader) season(field string, s season, at, of int) {
	months, ok := rd.months(field, s, of)
	if !ok {
		return
	}
	t := &rd.r.Tariff
	daily := s.DailySupply
	if daily == "" {
		daily = s.DailySupply2
	}
	if daily != "" {
		perDay := rd.amount(field+"dailySupplyCharges", daily, rd.gst)
		if at > 0 && perDay != t.FixedPerDay {
			rd.p.add(field+"dailySupplyCharges", daily, "differs between seasons, and an entry has one charge a day", "write the plan by hand")
		}
		t.FixedPerDay = perDay
	}
	name := func(what string) string {
		if of > 1 {
			return fmt.Sprintf("%s_%d", what, at+1)
		}
		return what
	}
	if s.Single != nil {
		price, tiers := rd.ladder(field+"singleRate.", s.Single.Rates, s.Single.Period)
		t.Import = append(t.Import, ingest.TariffPeriod{Name: name("all"), Months: months, Price: price, Tiers: tiers})
	}
	for i, tou := range s.TimeOfUse {
		f := fmt.Sprintf("%stimeOfUseRates[%d].", field, i)
		price, tiers := rd.ladder(f, tou.Rates, tou.Period)
		for j, w := range tou.TimeOfUse {
			days, hours, ok := rd.window(fmt.Sprintf("%stimeOfUse[%d].", f, j), w)
			if ok {
				t.Import = append(t.Import, ingest.TariffPeriod{Name: name(strings.ToLower(tou.Type)), Months: months, Days: days, Hours: hours, Price: price, Tiers: tiers})
			}
		}
	}
	if s.Single == nil && len(s.TimeOfUse) == 0 {
		rd.p.add(field+"rateBlockUType", strconv.Quote(s.Kind), "holds no energy price", "give singleRate or timeOfUseRates")
	}
	if given(s.Demand) {
		rd.p.add(field+"demandCharges", "", "cannot be taken: how often they are measured differs from plan to plan", "write the plan by hand, with demand in the entry")
	}
}

func given(m json.RawMessage) bool {
	s := strings.TrimSpace(string(m))
	return s != "" && s != "null" && s != "[]" && s != "{}"
}

// months turns days of the year into months; they may wrap over New Year.
func (rd *planReader) months(field string, s season, of int) ([]int, bool) {
	if of == 1 && s.StartDate == "" {
		return nil, true
	}
	from, okFrom := dayOfYear(s.StartDate)
	to, okTo := dayOfYear(s.EndDate)
	if !okFrom || !okTo {
		rd.p.add(field+"startDate and endDate", strconv.Quote(s.StartDate+" to "+s.EndDate), "are no days of the year", `give "12-01" and "03-31"`)
		return nil, false
	}
	next := to.AddDate(0, 0, 1)
	if next.Month() == from.Month() && next.Day() == from.Day() || of == 1 {
		return nil, true // the whole year, wherever it begins
	}
	if s.EndDate == "02-28" {
		next = time.Date(2000, 3, 1, 0, 0, 0, 0, time.UTC)
	}
	if from.Day() != 1 || next.Day() != 1 {
		rd.p.add(field+"startDate and endDate", strconv.Quote(s.StartDate+" to "+s.EndDate), "do not lie at the ends of months, and an entry's seasons are whole months", "write the plan by hand")
		return nil, false
	}
	var months []int
	for m := from; m.Month() != next.Month(); m = m.AddDate(0, 1, 0) {
		months = append(months, int(m.Month()))
	}
	slices.Sort(months)
	return months, true
}

func dayOfYear(s string) (time.Time, bool) {
	if len(s) > 5 {
		s = s[len(s)-5:]
	}
	t, err := time.Parse(time.DateOnly, "2000-"+s)
	return t, err == nil
}

// ladder turns blocks, which have widths, into tiers, which have upper limits.
func (rd *planReader) ladder(field string, blocks []block, period string) (float64, []ingest.TariffTier) {
	if len(blocks) == 0 {
		rd.p.add(field+"rates", "", "holds no price", "give the rate")
		return 0, nil
	}
	prices := make([]float64, len(blocks))
	for i, b := range blocks {
		prices[i] = rd.amount(fmt.Sprintf("%srates[%d].unitPrice", field, i), b.UnitPrice, rd.gst)
		if b.Unit != "" && !strings.EqualFold(b.Unit, "KWH") {
			rd.p.add(fmt.Sprintf("%srates[%d].measureUnit", field, i), strconv.Quote(b.Unit), "is no unit that energy is priced in here", "give KWH")
		}
	}
	if len(blocks) == 1 {
		return prices[0], nil
	}
	perDay, ok := rd.days(field, period, blocks)
	if !ok {
		return prices[0], nil
	}
	var tiers []ingest.TariffTier
	limit := 0.0
	for i, b := range blocks {
		e := ingest.TariffTier{Add: tidy(prices[i] - prices[0])}
		switch last := i == len(blocks)-1; {
		case last:
		case b.Volume == nil || !(*b.Volume > 0):
			rd.p.add(fmt.Sprintf("%srates[%d].volume", field, i), "", "must be there, since a block follows", "give the block's width in kWh")
			return prices[0], nil
		default:
			limit += *b.Volume / perDay
			e.UpToKWhPerDay = tidy(limit)
		}
		tiers = append(tiers, e)
	}
	return prices[0], tiers
}

// days is how many days a block's volume stands for. A volume a day that no
// house uses in a day is asked about.
func (rd *planReader) days(field, period string, blocks []block) (float64, bool) {
	const mostPerDay = 50 // kWh a block a day; above it the period is doubtful (our choice)
	if v, ok := map[string]float64{"day": 1, "month": 365.0 / 12, "year": 365}[rd.a.BlockPeriod]; ok {
		return v, true
	}
	days, ok := map[string]float64{"": 365, "P1Y": 365, "P6M": 182.5, "P3M": 91.25, "P2M": 365.0 / 6, "P1M": 365.0 / 12, "P1W": 7, "P1D": 1}[period]
	if !ok {
		rd.p.add(field+"period", strconv.Quote(period), "is no period that blocks are counted in here", "say what it is with --block-period day, month or year")
		return 0, false
	}
	if period == "" {
		rd.r.Notes = append(rd.r.Notes, field+"period is not there: the standard's P1Y, a year")
	}
	if v := blocks[0].Volume; days == 1 && v != nil && *v > mostPerDay {
		rd.p.add(field+"volume", fmt.Sprint(*v), "is doubtful: no block of a day is that wide", "ask the retailer and say --block-period day, month or year")
		return 0, false
	}
	if days != 1 {
		rd.r.Notes = append(rd.r.Notes, fmt.Sprintf("%sblocks of %s are written as kWh a day, by %.4g days", field, orText(period, "P1Y"), days))
	}
	return days, true
}

func orText(s, or string) string {
	if s == "" {
		return or
	}
	return s
}

// window reads days and times.
func (rd *planReader) window(field string, w window) (days, hours string, ok bool) {
	names := map[string]string{"MON": "mon", "TUE": "tue", "WED": "wed", "THU": "thu", "FRI": "fri", "SAT": "sat", "SUN": "sun",
		"MONDAY": "mon", "TUESDAY": "tue", "WEDNESDAY": "wed", "THURSDAY": "thu", "FRIDAY": "fri", "SATURDAY": "sat", "SUNDAY": "sun",
		"BUSINESS_DAYS": "weekday", "WEEKENDS": "weekend", "PUBLIC_HOLIDAYS": "holiday"}
	var list []string
	for i, d := range w.Days {
		n, known := names[strings.ToUpper(d)]
		if !known {
			rd.p.add(fmt.Sprintf("%sdays[%d]", field, i), strconv.Quote(d), "is no day", "give MON to SUN, BUSINESS_DAYS or PUBLIC_HOLIDAYS")
			return "", "", false
		}
		list = append(list, n)
	}
	if !slices.ContainsFunc([]string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}, func(d string) bool { return !slices.Contains(list, d) }) {
		list = nil
	}
	from, okFrom := clock(w.Start)
	to, okTo := clock(w.End)
	if !okFrom || !okTo {
		rd.p.add(field+"startTime and endTime", strconv.Quote(w.Start+" to "+w.End), "are no times", `give "1500" and "2100"`)
		return "", "", false
	}
	if to%100 == 59 { // inclusive
		to = (to/100 + 1) * 100
	}
	if to == 0 || from == to%2400 && from == 0 {
		to = 2400
	}
	if from == 0 && to == 2400 {
		return strings.Join(list, ","), "", true
	}
	return strings.Join(list, ","), at(from) + "-" + at(to), true
}

// clock reads "0", "0000", "2100", "21:00", "21:00:00" as a number of four
// digits.
func clock(s string) (int, bool) {
	s = strings.ReplaceAll(strings.TrimSuffix(strings.TrimSpace(s), "Z"), ":", "")
	if len(s) == 6 {
		s = s[:4]
	}
	v, err := strconv.Atoi(s)
	return v, err == nil && v >= 0 && v <= 2400 && v%100 < 60
}

func at(hhmm int) string {
	if hhmm%100 == 0 {
		return strconv.Itoa(hhmm / 100)
	}
	return fmt.Sprintf("%d:%02d", hhmm/100, hhmm%100)
}
