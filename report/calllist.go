package report

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"rowen/analyze"
)

// CallRow is one customer to call. It holds personal data and goes into the
// call list only. head is the column's heading in the workbook, wide its width
// there in characters, print marks what a printed page holds. The columns that
// are printed stand first.
type CallRow struct {
	Rank               int32   `parquet:"rank" says:"1 = call first, within the whole fleet" head:"rank" wide:"5" print:"yes"`
	SiteID             string  `parquet:"site_id" says:"the site's id" head:"site" wide:"10" print:"yes"`
	Customer           string  `parquet:"customer" says:"the customer's name (personal data)" head:"customer" wide:"16" print:"yes"`
	Phone              string  `parquet:"phone" says:"the telephone number in the register's contact, where it holds one (personal data)" head:"phone" wide:"14" print:"yes"`
	Say                string  `parquet:"say" says:"two sentences to say: what was found at this home, and what more modules would do; ranges hold the true value nine times in ten" head:"what to say" wide:"50" print:"yes"`
	ModulesToAdd       int32   `parquet:"modules_to_add" unit:"modules" says:"the proposed count: it holds whatever is still in doubt of the limits" head:"modules to add" wide:"8" print:"yes"`
	Cost               float64 `parquet:"cost" unit:"currency" says:"modules, visit and enabling jobs" head:"cost" wide:"8" print:"yes"`
	SavingsFirstYear   float64 `parquet:"savings_first_year" unit:"currency/yr" says:"what the bill falls by in the first year" head:"saves a year" wide:"8" print:"yes"`
	NextStep           string  `parquet:"next_step" says:"what to do, in order" head:"next step" wide:"26" print:"yes"`
	Result             string  `parquet:"result" says:"filled in by sales: sold, declined, no answer or not suitable" head:"result" wide:"11" print:"yes"`
	CalledOn           string  `parquet:"called_on" says:"filled in by sales: the day of the call" head:"called on" wide:"11" print:"yes"`
	Notes              string  `parquet:"notes" says:"filled in by sales: why, in a word (roof, shade, price, moving ...) or freely" head:"notes" wide:"14" print:"yes"`
	ModulesSold        string  `parquet:"modules_sold" says:"filled in by sales where sold: how many" head:"modules sold" wide:"9"`
	Price              string  `parquet:"price" says:"filled in by sales where sold: what was agreed" head:"price agreed" wide:"10"`
	Email              string  `parquet:"email" says:"the e-mail address in the register's contact, where it holds one (personal data)" head:"e-mail" wide:"30"`
	Branch             string  `parquet:"branch" says:"the branch that calls" head:"branch" wide:"13"`
	Lane               string  `parquet:"lane" says:"call or prepare" head:"lane" wide:"10"`
	Why                string  `parquet:"why" says:"the reasons in words, the weightiest first" head:"why" wide:"56"`
	EnablingJobs       string  `parquet:"enabling_jobs" says:"every job that comes before the modules, with what they cost" head:"what comes first" wide:"26"`
	AskFirst           string  `parquet:"ask_first" says:"what is not known and could end the sale: find it out before an offer" head:"find out before an offer" wide:"28"`
	CheckOnSite        string  `parquet:"check_on_site" says:"what is asked or looked at on site as a matter of course; the offer stands whatever comes of it" head:"ask on site" wide:"36"`
	ModulesUpTo        int32   `parquet:"modules_up_to" unit:"modules" says:"what the proposed count could grow to were what is in doubt of the limits to turn out well" head:"up to modules" wide:"9"`
	AddedKWhYr         float64 `parquet:"added_kwh_yr" unit:"kWh/yr" says:"what they make in the first year" head:"added kWh a year" wide:"9"`
	SavingsLow         float64 `parquet:"savings_first_year_low" unit:"currency/yr" says:"lower end of the 90 % interval" head:"saves a year (low)" wide:"9"`
	SavingsHigh        float64 `parquet:"savings_first_year_high" unit:"currency/yr" says:"upper end of the 90 % interval" head:"saves a year (high)" wide:"9"`
	NetBenefit         float64 `parquet:"net_benefit" unit:"currency" says:"present value of the savings less the cost" head:"net benefit" wide:"10"`
	NetBenefitLow      float64 `parquet:"net_benefit_low" unit:"currency" says:"lower end of the 90 % interval" head:"net benefit (low)" wide:"10"`
	NetBenefitHigh     float64 `parquet:"net_benefit_high" unit:"currency" says:"upper end of the 90 % interval" head:"net benefit (high)" wide:"10"`
	SimplePaybackYears float64 `parquet:"simple_payback_years" unit:"yr" says:"cost / first-year saving" head:"pays back (years)" wide:"9"`
	Confidence         float64 `parquet:"confidence" says:"how far the judgement may be trusted, 0 to 1" head:"confidence" wide:"11"`
	Stability          float64 `parquet:"list_stability" says:"share of the draws in which the site stays on its branch's list, 0 to 1" head:"stays on the list" wide:"9"`
	Trip               int32   `parquet:"trip" says:"sites with the same number lie within a drive of each other: one trip serves them all" head:"trip" wide:"6"`
	TripWith           string  `parquet:"trip_with" says:"the other sites of that trip" head:"trip with" wide:"24"`
	Contact            string  `parquet:"contact" says:"how to reach the customer, as the register has it (personal data)" head:"contact" wide:"34"`
	Postcode           string  `parquet:"postcode" says:"where the site is" head:"postcode" wide:"10"`
	Cautions           string  `parquet:"cautions" says:"what holds for every row that leads to work on a house" head:"cautions" wide:"90"`
	ReportMonth        string  `parquet:"report_month" says:"the month that the run judges, as 2026-10" head:"report month" wide:"11"`

	listed listed // what taking in the filled list needs to know
}

// listed is what the list said of a site, for the outcome of the call.
type listed struct {
	Tenth                int
	Reason, Register     string
	AddedKWhYr           float64
	Saving, SavingLow    float64
	SavingHigh           float64
	ModulesToAdd, RankOf int32
}

// callRows completes the rows of the ranked sites that their branch can call, best
// first: what only the whole list tells.
func callRows(rows []CallRow) []CallRow {
	slices.SortFunc(rows, func(a, b CallRow) int { return int(a.Rank - b.Rank) })
	trips := map[int32][]string{}
	for _, r := range rows {
		trips[r.Trip] = append(trips[r.Trip], r.SiteID)
	}
	for i := range rows {
		r := &rows[i]
		if others := trips[r.Trip]; len(others) > 1 {
			r.TripWith = strings.Join(slices.DeleteFunc(slices.Clone(others), func(id string) bool { return id == r.SiteID }), ", ")
		}
		r.listed.Tenth = 1 + 10*i/len(rows)
	}
	return rows
}

// callRow is the one row that holds personal data.
func callRow(f *analyze.Finding, w words) CallRow {
	v, o := &f.Verdict, f.Chosen
	found, offer := w.say(f)
	phone, email := reach(f.Site.Contact)
	r := CallRow{
		Rank: int32(v.Rank), Branch: f.Site.Branch, SiteID: f.Site.ID, Customer: f.Site.Customer, Contact: f.Site.Contact, Phone: phone, Email: email,
		Postcode: f.Site.Postcode, Lane: string(v.Lane), Say: found + " " + offer, Why: strings.Join(w.reasons(v.Reasons), " "), NextStep: w.plain(v.NextStep),
		ModulesToAdd: int32(o.Modules), ModulesUpTo: int32(o.Modules), AddedKWhYr: math.Round(o.AddedKWhYr), Cost: cents(o.Cost),
		SavingsFirstYear: cents(o.Saving.Value), SavingsLow: cents(o.Saving.Low), SavingsHigh: cents(o.Saving.High),
		NetBenefit: cents(o.NetBenefit.Value), NetBenefitLow: cents(o.NetBenefit.Low), NetBenefitHigh: cents(o.NetBenefit.High),
		SimplePaybackYears: math.Round(o.SimplePaybackYears*10) / 10, Confidence: v.Confidence, Stability: math.Round(v.Stability*100) / 100, Trip: int32(v.Trip),
		EnablingJobs: w.comesFirst(f), AskFirst: asks(len(v.AskFirst), func(i int) string { return v.AskFirst[i].Says }),
		CheckOnSite: asks(len(v.AskOnSite), func(i int) string { return v.AskOnSite[i].Says }), Cautions: Caution, ReportMonth: f.Month.String(),
		listed: listed{Reason: mainReasons(f, 1), Register: f.RegisterDigest, AddedKWhYr: math.Round(o.AddedKWhYr), Saving: cents(o.Saving.Value),
			SavingLow: cents(o.Saving.Low), SavingHigh: cents(o.Saving.High), ModulesToAdd: int32(o.Modules), RankOf: int32(v.Rank)},
	}
	if v.Offer != nil {
		r.ModulesUpTo = int32(max(v.Offer.UpTo, o.Modules))
	}
	return r
}

func asks(n int, at func(int) string) string { return strings.Join(codes(n, at), "; ") }

var (
	emailIn = regexp.MustCompile(`[^\s,;<>()|·]+@[^\s,;<>()|·]+`)
	phoneIn = regexp.MustCompile(`\+?[0-9(][0-9 ().\-/]{5,}[0-9]`)
)

// reach parts a contact into telephone number and e-mail address; what it does
// not hold stays blank.
func reach(contact string) (phone, email string) {
	email = emailIn.FindString(contact)
	phone = phoneIn.FindString(strings.Replace(contact, email, " ", 1))
	return strings.TrimSpace(phone), strings.TrimRight(email, ".")
}

// resultWords are the results as the workbook's list offers them, and their
// codes in outcomes.csv.
var resultWords = [][2]string{{"sold", "sold"}, {"declined", "declined"}, {"no answer", "no_answer"}, {"not suitable", "not_suitable"}}

func resultCode(word string) (string, error) {
	w := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(word)), "_", " ")
	for _, r := range resultWords {
		if r[0] == w {
			return r[1], nil
		}
	}
	return "", fmt.Errorf("result %q must be sold, declined, no answer or not suitable", word)
}
