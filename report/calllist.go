package report

import (
	"math"
	"slices"
	"strings"

	"rowen/analyze"
)

// CallRow is one customer to call. It holds personal data and goes into the
// call list only. head is the column's heading in the workbook, wide its width
// there in characters.
type CallRow struct {
	Rank               int32   `parquet:"rank" says:"1 = call first, within the whole fleet" head:"rank" wide:"6"`
	Branch             string  `parquet:"branch" says:"the branch that calls" head:"branch" wide:"13"`
	SiteID             string  `parquet:"site_id" says:"the site's id" head:"site" wide:"11"`
	Customer           string  `parquet:"customer" says:"the customer's name (personal data)" head:"customer" wide:"20"`
	Contact            string  `parquet:"contact" says:"how to reach the customer (personal data)" head:"contact" wide:"34"`
	Lane               string  `parquet:"lane" says:"call or prepare" head:"lane" wide:"11"`
	Why                string  `parquet:"why" says:"the reasons in words, the weightiest first" head:"why" wide:"56"`
	NextStep           string  `parquet:"next_step" says:"the one thing to do next" head:"next step" wide:"28"`
	ModulesToAdd       int32   `parquet:"modules_to_add" unit:"modules" says:"the proposed count" head:"modules to add" wide:"9"`
	AddedKWhYr         float64 `parquet:"added_kwh_yr" unit:"kWh/yr" says:"what they make in the first year" head:"added kWh a year" wide:"9"`
	Cost               float64 `parquet:"cost" unit:"currency" says:"modules, visit and enabling jobs" head:"cost" wide:"9"`
	SavingsFirstYear   float64 `parquet:"savings_first_year" unit:"currency/yr" says:"what the bill falls by in the first year" head:"saves a year" wide:"9"`
	SavingsLow         float64 `parquet:"savings_first_year_low" unit:"currency/yr" says:"lower end of the 90 % interval" head:"saves a year (low)" wide:"9"`
	SavingsHigh        float64 `parquet:"savings_first_year_high" unit:"currency/yr" says:"upper end of the 90 % interval" head:"saves a year (high)" wide:"9"`
	NetBenefit         float64 `parquet:"net_benefit" unit:"currency" says:"present value of the savings less the cost" head:"net benefit" wide:"10"`
	NetBenefitLow      float64 `parquet:"net_benefit_low" unit:"currency" says:"lower end of the 90 % interval" head:"net benefit (low)" wide:"10"`
	NetBenefitHigh     float64 `parquet:"net_benefit_high" unit:"currency" says:"upper end of the 90 % interval" head:"net benefit (high)" wide:"10"`
	SimplePaybackYears float64 `parquet:"simple_payback_years" unit:"yr" says:"cost / first-year saving" head:"pays back (years)" wide:"9"`
	Confidence         float64 `parquet:"confidence" says:"how far the judgement may be trusted, 0 to 1" head:"confidence" wide:"11"`
	EnablingJobs       string  `parquet:"enabling_jobs" says:"the jobs that come before the modules" head:"what comes first" wide:"22"`
	CheckOnSite        string  `parquet:"check_on_site" says:"what to ask or look at before an offer" head:"ask or look at" wide:"36"`
	Cautions           string  `parquet:"cautions" says:"what holds for every row that leads to work on a house" head:"cautions" wide:"90"`
	ReportMonth        string  `parquet:"report_month" says:"the month that the run judges, as 2026-10" head:"report month" wide:"11"`
}

// Ranked gives the ranked findings, best first.
func Ranked(findings []*analyze.Finding) []*analyze.Finding {
	var ranked []*analyze.Finding
	for _, f := range findings {
		if f.Verdict.Rank > 0 && f.Chosen != nil {
			ranked = append(ranked, f)
		}
	}
	slices.SortFunc(ranked, func(a, b *analyze.Finding) int { return a.Verdict.Rank - b.Verdict.Rank })
	return ranked
}

// CallRows is the call list: the ranked sites that their branch can call.
func CallRows(findings []*analyze.Finding) []CallRow {
	rows := []CallRow{}
	for _, f := range Ranked(findings) {
		if f.Verdict.OnList {
			rows = append(rows, callRow(f))
		}
	}
	return rows
}

// callRow is the one row that holds personal data.
func callRow(f *analyze.Finding) CallRow {
	v, o := &f.Verdict, f.Chosen
	return CallRow{
		Rank: int32(v.Rank), Branch: f.Site.Branch, SiteID: f.Site.ID, Customer: f.Site.Customer, Contact: f.Site.Contact,
		Lane: string(v.Lane), Why: strings.Join(sentences(v.Reasons), " "), NextStep: v.NextStep,
		ModulesToAdd: int32(o.Modules), AddedKWhYr: math.Round(o.AddedKWhYr), Cost: cents(o.Cost),
		SavingsFirstYear: cents(o.Saving.Value), SavingsLow: cents(o.Saving.Low), SavingsHigh: cents(o.Saving.High),
		NetBenefit: cents(o.NetBenefit.Value), NetBenefitLow: cents(o.NetBenefit.Low), NetBenefitHigh: cents(o.NetBenefit.High),
		SimplePaybackYears: math.Round(o.SimplePaybackYears*10) / 10, Confidence: v.Confidence,
		EnablingJobs: strings.Join(jobsInWords(o.Jobs), " + "), CheckOnSite: strings.Join(checks(f), "; "), Cautions: Caution,
		ReportMonth: f.Month.String(),
	}
}

// checks are what to ask or look at before an offer, the array first.
func checks(f *analyze.Finding) []string {
	if f.Array.Verify == "" {
		return f.Room.Ask
	}
	return append([]string{f.Array.Verify}, f.Room.Ask...)
}
