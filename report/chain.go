package report

import (
	"fmt"
	"math"
	"strings"

	"rowen/analyze"
	"rowen/analyze/headroom"
)

// chain says how one site's answer came about, step by step, in the order of
// the judgement: what was read, what each stage found on what grounds, what
// decided the lane. It holds no personal data. `rowen explain` prints it.
func chain(f *analyze.Finding) []Step {
	c := &steps{}
	if f.Failed != "" {
		c.add("failed", "%s", f.Failed)
		return c.list
	}
	c.add("readings", "%d days count, %s of the hours from first to last were read; the report year is read to %s", f.Days, percent(f.CoveragePct), percent(f.WindowPct))
	for _, q := range f.Quality {
		c.add("readings", "%s: %s", q.Code, q.Says)
	}
	chainArray(c, f)
	chainDemand(c, f)
	chainRoom(c, f)
	chainWorth(c, f)
	for _, r := range f.Verdict.Reasons {
		c.add("lane", "%s, because %s: %s", f.Verdict.Lane, r.Code, r.Says)
	}
	c.add("lane", "confidence %.2f; next: %s", f.Verdict.Confidence, f.Verdict.NextStep)
	return c.list
}

type steps struct{ list []Step }

func (s *steps) add(stage, format string, args ...any) {
	s.list = append(s.list, Step{stage, fmt.Sprintf(format, args...)})
}

func chainArray(c *steps, f *analyze.Finding) {
	a := &f.Array
	if a.Refusal != "" {
		c.add("array", "no number: %s", a.Refusal)
		return
	}
	c.add("array", "the sky is that of the %s", skyWords[f.SkySource])
	for _, p := range a.Planes {
		how := "as registered"
		if p.Estimated {
			how = fmt.Sprintf("estimated from clear days, give or take %.0f°", p.SDDeg)
		}
		c.add("array", "array %s faces %.0f° at a tilt of %.0f°, %s", strings.Join(p.ArrayIDs, ", "), p.AzimuthDeg, p.TiltDeg, how)
	}
	c.add("array", "%.2f kW registered; output factor %.3f on clear days", a.CapacityKW, a.Factor)
	c.add("array", "production index %.3f over the report year; it should have made %.0f kWh", a.ProductionIndex, a.ExpectedKWhYr)
	for _, fault := range a.Faults {
		c.add("array", "%s: %s", fault.Code, fault.Says)
	}
	for _, v := range a.Caveats {
		c.add("array", "%s: %s", v.Code, v.Says)
	}
}

var skyWords = map[string]string{
	"fleet": "arrays around", "weather": "weather record", "self": "site's own array, for want of neighbours", "none": "typical year: nothing is known of it", "": "typical year: nothing is known of it",
}

func chainDemand(c *steps, f *analyze.Finding) {
	d := &f.Demand
	if d.Refusal != "" {
		c.add("use", "no number: %s: %s", d.Refusal, d.RefusalSays)
		return
	}
	c.add("use", "by %s, weather taken out by %s: %s kWh a year", d.Basis, strings.ReplaceAll(d.Method, "_", " "), withRange(d.LevelKWhYr, d.LevelLow, d.LevelHigh))
	c.add("use", "growth %.1f %% a year (%.1f to %.1f), events apart; the last twelve months against those before %+.1f %%", d.GrowthPctYr, d.GrowthLow, d.GrowthHigh, d.Change12mPct)
	for _, e := range d.Events {
		c.add("use", "%s: %s", e.Kind, e.Says)
	}
	c.add("use", "next year %s kWh, of which %+.0f carried on from events and %+.0f from the drift", withRange(d.NextYearKWh, d.NextYearLow, d.NextYearHigh), d.FromEventsKWh, d.FromTrendKWh)
	for _, v := range d.Caveats {
		c.add("use", "%s: %s", v.Code, v.Says)
	}
}

func chainRoom(c *steps, f *analyze.Finding) {
	for _, l := range []struct {
		name string
		is   headroom.Ceiling
	}{{"roof", f.Room.Roof}, {"service", f.Room.Service}, {"branch", f.Room.Branch}, {"gateway", f.Room.Gateway}, {"permission", f.Room.Permission}} {
		switch {
		case l.is.Unlimited:
			c.add("room", "%s: no limit. %s", l.name, l.is.Says)
		case !l.is.Modules.Known:
			c.add("room", "%s: not known. %s Ask: %s", l.name, l.is.Says, l.is.Ask)
		default:
			c.add("room", "%s: %d modules. %s", l.name, l.is.Modules.V, l.is.Says)
		}
	}
	for _, v := range f.Room.Cautions {
		c.add("room", "%s: %s", v.Code, v.Says)
	}
}

func chainWorth(c *steps, f *analyze.Finding) {
	if f.Worth.Refusal != "" {
		c.add("worth", "no number: %s", f.Worth.Refusal)
		return
	}
	mark := ""
	if f.TariffDefaulted {
		mark = " (the settings' default)"
	}
	c.add("worth", "tariff %s%s; today's yearly bill on next year's hours is %.2f", f.TariffID, mark, f.Worth.BillBefore.Total)
	for _, k := range f.Worth.Cases {
		c.add("worth", "legal case %s: %d modules, net benefit %.0f", k.Case, k.Modules, k.NetBenefit)
	}
	if o := f.Chosen; o != nil {
		c.add("worth", "%d modules: %.0f kWh more, cost %.0f, saving %s a year, net benefit %s, chance of a gain %.0f %%", o.Modules, o.AddedKWhYr, o.Cost,
			withRange(o.Saving.Value, o.Saving.Low, o.Saving.High), withRange(o.NetBenefit.Value, o.NetBenefit.Low, o.NetBenefit.High), 100*o.Chance)
	}
	for _, u := range f.Worth.Tornado {
		c.add("worth", "%s: %s", u.Name, u.Says)
	}
	for _, g := range f.Worth.Jobs {
		c.add("worth", "with %s (%.0f): %+d modules, net benefit %+.0f", strings.Join(g.Jobs, " + "), g.Cost, g.ModulesGained, g.NetBenefitGained)
	}
	for _, v := range f.Worth.Caveats {
		c.add("worth", "%s: %s", v.Code, v.Says)
	}
}

func percent(x float64) string {
	if math.IsNaN(x) {
		return "none"
	}
	return fmt.Sprintf("%.1f %%", x)
}
