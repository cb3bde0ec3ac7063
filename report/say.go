package report

import (
	"fmt"
	"math"
	"strings"

	"rowen/analyze"
	"rowen/analyze/demand"
	"rowen/report/page"
)

// customerKinds is what the customer would call an event of each kind.
var customerKinds = map[string]string{
	demand.KindEV: "an electric car charging at home", demand.KindHeatPump: "a heat pump or other electric heating",
	demand.KindCooling: "more air conditioning", demand.KindPoolPump: "a pool pump", demand.KindWaterHeating: "electric water heating",
	demand.KindBaseload: "something that runs day and night",
}

// say is what a caller can say: one sentence of what was found at this home, the
// strongest that is true, and one of what the modules would do. Both carry their
// ranges.
func (w words) say(f *analyze.Finding) (found, offer string) {
	found = w.found(f)
	o := f.Chosen
	years := math.Max(math.Round(o.SimplePaybackYears), 1)
	offer = fmt.Sprintf("%s more solar modules would make about %s a year and lower your bill by %s a year; they cost about %s and pay for themselves in about %s.",
		capital(number0(o.Modules)), kWh(first(spoken(o.AddedKWhYr, math.NaN(), math.NaN()))), w.span(o.Saving.Value, o.Saving.Low, o.Saving.High, w.money),
		w.money(first(spoken(o.Cost, math.NaN(), math.NaN()))), plainYears(years))
	return found, offer
}

// found is the first sentence: that of the verdict's first reason.
func (w words) found(f *analyze.Finding) string {
	d := &f.Demand
	lead := ""
	if len(f.Verdict.Reasons) > 0 {
		lead = f.Verdict.Reasons[0].Code
	}
	switch lead {
	case analyze.NewLoad:
		if e := f.NewestLoad(); e != nil {
			return w.event(e)
		}
	case analyze.UsedMore:
		return fmt.Sprintf("In the last twelve months you used about %.0f %% more electricity than in the twelve before (%.0f to %.0f %%, the weather taken out).",
			d.Change12mPct, math.Floor(d.Change12mLow), math.Ceil(d.Change12mHigh))
	case analyze.UseGrowing:
		return fmt.Sprintf("Your consumption grows by about %.1f %% a year (%.1f to %.1f %%), anything new in the home apart.", d.GrowthPctYr, d.GrowthLow, d.GrowthHigh)
	case analyze.LowCoverage:
		low, high := f.CoverageRange()
		says := fmt.Sprintf("Over a year your solar modules make about %.0f %% of the electricity you use", f.Year.CoveragePct)
		if !math.IsNaN(low) {
			says += fmt.Sprintf(" (%.0f to %.0f %%)", math.Floor(low), math.Ceil(high))
		}
		return says + "; the rest is bought."
	}
	return fmt.Sprintf("With the solar modules you have, your electricity bill comes to about %s a year.", w.money(first(spoken(f.Chosen.BillBefore, math.NaN(), math.NaN()))))
}

// event says since when a new load is there, how large it is and what it looks
// like: a pattern, never a fact.
func (w words) event(e *demand.Event) string {
	since := "Since " + w.month(e.On)
	if from, to := w.month(e.OnLow), w.month(e.OnHigh); !e.OnLow.IsZero() && !e.OnHigh.IsZero() && e.OnHigh.Sub(e.OnLow).Hours() > 24*62 {
		if e.OnLow.Year() == e.OnHigh.Year() {
			from = e.OnLow.Format("January")
		}
		since = "Since some time between " + from + " and " + to
	}
	kind := customerKinds[e.Kind]
	switch {
	case e.Detail == "household_grown":
		kind = "a larger household"
	case kind == "":
		return fmt.Sprintf("%s your home has used %s a year more than before.", since, w.span(e.KWhYr, e.KWhYrLow, e.KWhYrHigh, kWh))
	}
	return fmt.Sprintf("%s your home has used %s a year more than before, in a pattern that fits %s.", since, w.span(e.KWhYr, e.KWhYrLow, e.KWhYrHigh, kWh), kind)
}

// comesFirst is everything that must be done before the modules, with what it
// costs together; "": nothing.
func (w words) comesFirst(f *analyze.Finding) string {
	o := f.Verdict.Offer
	if o == nil || len(o.Jobs) == 0 {
		return ""
	}
	names := make([]string, len(o.Jobs))
	for i, job := range o.Jobs {
		names[i] = inWords(job.Name)
	}
	switch {
	case o.JobsCost == 0:
		return strings.Join(names, " + ") + " (no cost)"
	case len(names) > 1:
		return strings.Join(names, " + ") + " (together " + w.money(o.JobsCost) + ")"
	}
	return names[0] + " (" + w.money(o.JobsCost) + ")"
}

func first(v, _, _ float64) float64 { return v }

func plainYears(y float64) string {
	if y == 1 {
		return "a year"
	}
	return fmt.Sprintf("%.0f years", y)
}

var smallNumbers = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// number0 is a count as a sentence says it.
func number0(n int) string {
	if n >= 0 && n < len(smallNumbers) {
		return smallNumbers[n]
	}
	return page.Grouped(float64(n))
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
