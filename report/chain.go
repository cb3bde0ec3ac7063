package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/analyze/rank"
	"rowen/ingest"
)

// chain says how one site's answer came about, step by step, in the order of
// the judgement: what was read, what each stage found on what grounds, what
// decided the lane. It holds no personal data. `rowen explain` prints it.
func chain(f *analyze.Finding) []Step {
	c := &steps{}
	if f.Failed != "" {
		c.add("failed", "%s", f.Failed)
		c.lane(f)
		return c.list
	}
	if f.Days == 0 && math.IsNaN(f.CoveragePct) {
		c.add("readings", "none")
	} else {
		c.add("readings", "%d days count; %s of the hours from the first reading to the last were read, and %s of the report year's", f.Days, percent(f.CoveragePct), percent(f.WindowPct))
	}
	for _, q := range f.Quality {
		c.add("readings", "%s: %s", q.Code, q.Says)
	}
	c.array(f)
	c.demand(f)
	c.room(f)
	c.worth(f)
	c.lane(f)
	return c.list
}

type steps struct{ list []Step }

func (s *steps) add(stage, format string, args ...any) {
	s.list = append(s.list, Step{stage, fmt.Sprintf(format, args...)})
}

// caveats adds the doubts that were not said before.
func (s *steps) caveats(stage string, caveats []ingest.Caveat) {
	for _, v := range caveats {
		said := slices.ContainsFunc(s.list, func(have Step) bool { return have.Stage == stage && strings.Contains(have.Says, v.Says) })
		if !said {
			s.add(stage, "%s: %s", v.Code, v.Says)
		}
	}
}

func (s *steps) array(f *analyze.Finding) {
	a := &f.Array
	if a.Refusal != "" {
		s.add("array", "no number: %s", inWords(a.Refusal))
		s.faults(a)
		s.caveats("array", a.Caveats)
		return
	}
	s.add("array", "its sky is that of %s", skyOf(f.SkySource))
	for _, p := range a.Planes {
		how := "as registered"
		if p.Estimated {
			how = fmt.Sprintf("estimated from clear days, give or take %.0f°", p.SDDeg)
		}
		s.add("array", "array %s faces %.0f° at a tilt of %.0f°, %s", strings.Join(p.ArrayIDs, ", "), p.AzimuthDeg, p.TiltDeg, how)
	}
	if math.IsNaN(a.Factor) {
		s.add("array", "%.2f kW registered", a.CapacityKW)
	} else {
		s.add("array", "%.2f kW registered; it gives %s of what sun and ratings promise on clear days", a.CapacityKW, percent(100*a.Factor))
	}
	s.add("array", "made %s kWh in the report year%s, %s kWh were to be expected of it in order; production index %s", whole(f.Year.ProductionKWh), filledIn(f.Year.ProductionFilledPct), whole(a.ExpectedKWhYr), decimals(a.ProductionIndex, 3))
	if !math.IsNaN(a.TrendPctYr) {
		s.add("array", "the index moves by %s %% a year (%s to %s)", signed(a.TrendPctYr, 1), signed(a.TrendLow, 1), signed(a.TrendHigh, 1))
	}
	s.faults(a)
	if a.ShortfallKWhYr > 0 {
		s.add("array", "mending what lasts gives back %.0f kWh a year", a.ShortfallKWhYr)
	}
	s.caveats("array", a.Caveats)
}

func (s *steps) faults(a *array.Result) {
	for _, f := range a.Faults {
		when := "from the first reading on"
		if !f.On.IsZero() {
			when = "from " + f.On.Format(time.DateOnly) + " on"
		}
		if !f.Until.IsZero() {
			when = strings.TrimSuffix(when, " on") + " to " + f.Until.Format(time.DateOnly)
		} else if !f.Live {
			when += ", and no more"
		}
		if f.LossPct > 0 {
			when += "; costs " + percent(f.LossPct) + " of the output"
		}
		s.add("array", "%s: %s (%s; confidence %.2f)", f.Code, strings.TrimRight(f.Says, "."), when, f.Confidence)
	}
}

func skyOf(source string) string {
	switch source {
	case "fleet":
		return "the arrays around"
	case "weather":
		return "the weather record"
	case "self":
		return "the array itself, for want of neighbours"
	}
	return "a typical year: nothing is known of the real one"
}

var basisWords = map[string]string{"meter": "by the consumption meter", "derived": "from production + import - export", "bills": "by the bills", "net": "by the net meter"}

func (s *steps) demand(f *analyze.Finding) {
	d := &f.Demand
	if d.Refusal != "" {
		s.add("use", "no number: %s", inWords(d.Refusal))
		if d.RefusalSays != "" {
			s.list[len(s.list)-1].Says += ": " + d.RefusalSays
		}
		return
	}
	basis := basisWords[d.Basis]
	if basis == "" {
		basis = "by " + inWords(d.Basis)
	}
	if y := &f.Year; !math.IsNaN(y.ConsumptionKWh) {
		s.add("use", "%s kWh in the report year, %s%s", whole(y.ConsumptionKWh), basis, filledIn(y.ConsumptionFilledPct))
	}
	s.add("use", "%s kWh a year in normal weather, the weather taken out by %s", withRange(d.LevelKWhYr, d.LevelLow, d.LevelHigh), inWords(d.Method))
	if !math.IsNaN(d.GrowthPctYr) {
		s.add("use", "it drifts by %s %% a year (%s to %s), events apart", signed(d.GrowthPctYr, 1), signed(d.GrowthLow, 1), signed(d.GrowthHigh, 1))
	}
	if !math.IsNaN(d.Change12mPct) {
		s.add("use", "the last twelve months against the twelve before: %s %%, everything counted", signed(d.Change12mPct, 1))
	}
	for _, e := range d.Events {
		s.add("use", "%s: %s", e.Kind, e.Says)
	}
	s.add("use", "next year %s kWh: %s of it from events carried on, %s from the drift", withRange(d.NextYearKWh, d.NextYearLow, d.NextYearHigh), signed(d.FromEventsKWh, 0), signed(d.FromTrendKWh, 0))
	if !math.IsNaN(f.Year.CoveragePct) {
		s.add("use", "the array made %s of the consumption of the report year", percent(f.Year.CoveragePct))
	}
	s.caveats("use", d.Caveats)
}

// filledIn says how much of a figure no meter read; less than half a percent goes
// without saying.
func filledIn(pct float64) string {
	if !(pct >= 0.5) {
		return ""
	}
	return ", " + percent(pct) + " of it filled in by the model"
}

func (s *steps) room(f *analyze.Finding) {
	for _, l := range f.Room.Limits() {
		says := l.Says
		switch {
		case l.Unlimited:
			s.add("room", "%s: no limit. %s", l.Name, says)
		case l.Modules.Known:
			s.add("room", "%s: %s. %s", l.Name, modules(l.Modules.V), says)
		default:
			if l.Ask != "" {
				says += " Ask: " + strings.TrimRight(l.Ask, ".") + "."
			}
			s.add("room", "%s: not known. %s", l.Name, says)
		}
	}
	switch {
	case f.Room.Possible.Known && f.Room.Binding != "":
		s.add("room", "possible as the site stands: %s; the %s binds", modules(f.Room.Possible.V), f.Room.Binding)
	case !f.Room.Possible.Known && f.Room.PossibleHigh < headroom.Many:
		s.add("room", "possible as the site stands: from %d to %s, by what is not known", f.Room.PossibleLow, modules(f.Room.PossibleHigh))
	case !f.Room.Possible.Known:
		s.add("room", "possible as the site stands: not known")
	}
	s.caveats("room", f.Room.Cautions)
}

func (s *steps) worth(f *analyze.Finding) {
	w := &f.Worth
	if w.Refusal != "" {
		s.add("worth", "no number: %s", inWords(w.Refusal))
		return
	}
	mark := ""
	if f.TariffDefaulted {
		mark = " (the settings' default: the register names none that can be used)"
	}
	s.add("worth", "tariff %s%s; the yearly bill with today's array, on next year's hours, is %.2f", f.TariffID, mark, w.BillBefore.Total)
	for _, k := range w.Cases {
		s.add("worth", "legal case %s: best with %s, net benefit %s", inWords(k.Case), modules(k.Modules), whole(k.NetBenefit))
	}
	if o := f.Chosen; o != nil {
		lead := "proposed"
		if !f.Verdict.Lane.Ranked() {
			lead = "the best size there is, not proposed"
		}
		s.add("worth", "%s: %s, %.0f kWh a year more, %s of it used there; cost %.0f, saving %s a year, paid back in %s; net benefit %s, chance of a gain %.0f %%", lead, modules(o.Modules),
			o.AddedKWhYr, percent(o.AddedSelfUsePct), o.Cost, withRange(o.Saving.Value, o.Saving.Low, o.Saving.High), years(o.SimplePaybackYears),
			withRange(o.NetBenefit.Value, o.NetBenefit.Low, o.NetBenefit.High), 100*o.Chance)
	} else {
		s.add("worth", "no size is expected to gain")
	}
	if l := f.Likely; l != nil {
		s.add("worth", "what nobody registered: %s; net benefit %s in the mean over what may fit; the %s moves it most, by %s", l.Says(), whole(l.Expected), l.AskMost, whole(l.AskWorth))
	}
	for _, u := range w.Tornado {
		s.add("worth", "if %s", strings.ReplaceAll(u.Says, u.Name, inWords(u.Name)))
	}
	for _, g := range w.Jobs {
		s.add("worth", "with %s (%.0f): %s modules, %s net benefit", strings.Join(jobsInWords(g.Jobs), " + "), g.Cost, signed(float64(g.ModulesGained), 0), signed(g.NetBenefitGained, 0))
	}
	s.caveats("worth", w.Caveats)
}

func (s *steps) lane(f *analyze.Finding) {
	for _, r := range f.Verdict.Reasons {
		s.add("lane", "%s, because %s: %s", f.Verdict.Lane, r.Code, r.Says)
	}
	s.add("lane", "confidence %s", product(f.Verdict.Confidence, f.Verdict.Factors))
	s.add("lane", "next: %s", f.Verdict.NextStep)
}

// product says what a confidence is made of.
func product(confidence float64, factors []rank.Factor) string {
	parts := make([]string, len(factors))
	for i, f := range factors {
		parts[i] = fmt.Sprintf("%.2f (%s)", f.Value, f.Says)
	}
	if len(parts) == 0 {
		return fmt.Sprintf("%.2f", confidence)
	}
	return fmt.Sprintf("%.2f = %s", confidence, strings.Join(parts, " x "))
}

// inWords turns a code into words.
func inWords(code string) string { return strings.ReplaceAll(code, "_", " ") }

func modules(n int) string {
	if n == 1 {
		return "1 module"
	}
	return fmt.Sprintf("%d modules", n)
}

func percent(x float64) string {
	if math.IsNaN(x) {
		return "an unknown share"
	}
	return plain(x, 1) + " %"
}

func whole(x float64) string { return decimals(x, 0) }

func decimals(x float64, n int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not known"
	}
	return plain(x, n)
}

// signed prints a change with its sign; none is without.
func signed(x float64, n int) string {
	s := decimals(x, n)
	if x > 0 && strings.Trim(s, "0.") != "" && !math.IsInf(x, 0) {
		s = "+" + s
	}
	return s
}
