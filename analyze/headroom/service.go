package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/ingest"
)

// busbarRoom is what the current rule leaves for new sources, continuous amps:
//
//	I = (pct/100 B - M - other)/factor - I_old
//
// with the busbar's rating B, the main breaker M and the old inverters' rated
// output I_old. Negative where the old ones pass the rule already.
// Source: NEC 705.12(B), handbook section 9.1.
func busbarRoom(busbar, main, other, oldAmps, pct, factor float64) float64 {
	return (float64(pct/100*busbar)-main-other)/factor - oldAmps
}

// rules are the profile's busbar rules for a feed. A profile that names none
// has BusbarPct for feed at opposite ends and at most 100 % for any other.
func rules(p *ingest.ServiceProfile, feed string) []ingest.BusbarRule {
	if feed != "end" && feed != "center" {
		feed = "unknown"
	}
	if feed != "end" && p.CenterFed == "refuse" {
		return nil
	}
	all := p.BusbarRules
	if len(all) == 0 {
		all = []ingest.BusbarRule{
			{Name: "opposite_end", Pct: p.BusbarPct, Feeds: []string{"end"}},
			{Name: "any_place", Pct: min(100, p.BusbarPct), Feeds: []string{"center", "unknown"}},
		}
	}
	var out []ingest.BusbarRule
	for _, r := range all {
		if len(r.Feeds) == 0 || contains(r.Feeds, feed) {
			out = append(out, r)
		}
	}
	return out
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if strings.EqualFold(strings.TrimSpace(x), s) {
			return true
		}
	}
	return false
}

// assess finds the limit of the electrical service.
//
// In:      the service row, its profile, the old inverters, what jobs changed.
// Out:     the most modules for which any one busbar rule passes, the panelboard
//
//	upstream passes too, and the profile's limits by phase and by
//	installation hold.
//
// Refuses: busbar, main breaker, other supplies, volts, profile or old inverters
//
//	not known; a center-fed or unknown feed where the profile refuses it.
//
// Edges:   old inverters that pass the rule already give 0, not a negative.
// Source:  the profile's clauses; handbook section 9.
func (e *electric) assess(s state) Ceiling {
	v, p := e.in.Site.Service, e.profile
	if ask := e.serviceGaps(); ask != "" {
		return unknown("service_unknown", "Too little is known of the electrical service: "+ask+" is missing.", ask, 0, Many)
	}
	c := Ceiling{Unlimited: true, Low: Many, High: Many, Reason: "no_limit", Says: "The profile sets no limit here.", Evidence: e.profileEvidence()}
	if p.BusbarPct > 0 || len(p.BusbarRules) > 0 {
		c = e.busbar(s.busbarAmps, v.MainBreakerAmps, s.feed, "busbar")
		if up := v.UpstreamBusbarAmps; up > 0 || v.UpstreamMainBreakerAmps > 0 {
			c = tighter(c, e.busbar(up, v.UpstreamMainBreakerAmps, v.UpstreamFeed, "upstream_busbar"))
		}
		if s.supplySide {
			c = looser(c, e.supplySide())
		}
	}
	if !(s.limitLifted != "" && s.limitLifted == p.LimitsLiftedBy) {
		c = tighter(c, e.phaseLimit())
		c = tighter(c, e.installationLimit())
	}
	return c
}

// serviceGaps names what is missing before any rule can be applied.
func (e *electric) serviceGaps() string {
	v := e.in.Site.Service
	var missing []string
	switch {
	case v == nil:
		return "the electrical service (phases, volts, busbar and main breaker amps, breaker spaces)"
	case e.profile == nil:
		return fmt.Sprintf("the service profile %q in the catalogue", v.Profile)
	case e.phases == 0:
		missing = append(missing, "the number of phases")
	}
	if math.IsNaN(e.phaseVolts) {
		missing = append(missing, "the service's volts")
	}
	if !(e.in.Inverter.ACWatts > 0) {
		missing = append(missing, "the AC watts of the inverter "+e.in.Inverter.Model)
	}
	if math.IsNaN(e.oldACW) {
		missing = append(missing, "the models and number of the old inverters, or the sum of the PV breakers")
	}
	return strings.Join(missing, "; ")
}

// busbar applies the rules of one panelboard: any one that passes is enough.
func (e *electric) busbar(busbar, main float64, feed, reason string) Ceiling {
	where := "busbar"
	if reason != "busbar" {
		where = "upstream busbar"
	}
	other, otherAsk := e.otherSupply()
	var missing []string
	if !(busbar > 0) {
		missing = append(missing, where+" rating")
	}
	if !(main > 0) {
		missing = append(missing, "main breaker of the "+where)
	}
	if otherAsk != "" {
		missing = append(missing, otherAsk)
	}
	apply := rules(e.profile, feed)
	if len(apply) == 0 {
		return unknown("feed_refused", fmt.Sprintf("The panelboard's feed is %s, and the profile %s leaves that to an electrician.", orUnknown(feed), e.profile.ID),
			"where the main breaker feeds the busbar (end or center), from an electrician", 0, Many)
	}
	best, atMost := e.anyRule(apply, busbar, main, other, reason)
	if feed != "end" && feed != "center" { // what it would be at the end
		end, most := e.anyRule(rules(e.profile, "end"), busbar, main, other, reason)
		atMost = max(atMost, end.Low, most)
	}
	if len(missing) > 0 || !best.Modules.Known {
		if len(missing) == 0 {
			missing = append(missing, "the sum of all load and PV breakers")
		}
		low, high := 0, Many
		if otherAsk == "" {
			low = max(0, best.Low)
		} else if best.Modules.Known { // other supplies only take away
			high = max(best.Low, atMost)
		}
		ask := strings.Join(missing, "; ")
		return unknown(reason+"_unknown", fmt.Sprintf("The rule for the %s cannot be applied: %s is not known.", where, ask), ask, low, high)
	}
	best.High = max(best.High, atMost)
	if feed != "end" && feed != "center" {
		best.Ask = "where the main breaker feeds the " + where + " (end or center)"
	}
	if best.Modules.V == 0 && atMost > 0 && !(e.in.Site.Service.LoadBreakersAmps > 0) && hasSum(apply) {
		best.Ask = join(best.Ask, "; ", "the sum of all load breakers: the sum rule may allow more")
	}
	return best
}

// anyRule is the best of some rules, of which any one is enough, and what the
// sum rule might allow where its inputs are not known.
func (e *electric) anyRule(rs []ingest.BusbarRule, busbar, main, other float64, reason string) (best Ceiling, atMost int) {
	best.Low = -1
	for _, r := range rs {
		c, ok := e.apply(r, busbar, main, other, reason)
		switch {
		case ok && c.Modules.V > best.Low:
			best = c
		case !ok && r.Kind == "sum":
			atMost = e.sumAtMost(r, busbar, other)
		}
	}
	return best, atMost
}

func hasSum(rs []ingest.BusbarRule) bool {
	return slices.ContainsFunc(rs, func(r ingest.BusbarRule) bool { return r.Kind == "sum" })
}

// sumAtMost bounds what the sum rule could allow where the load breakers are
// not listed.
func (e *electric) sumAtMost(r ingest.BusbarRule, busbar, other float64) int {
	if !(busbar > 0) || e.phases == 3 {
		return 0
	}
	old, _ := e.oldBreakers()
	return e.spare + e.byBreakers(sumRoom(busbar, old+other, r.Pct))
}

// otherSupply is the amps of other sources. A blank counts as none only where
// the gateway's row says that there is neither storage nor a backup controller.
func (e *electric) otherSupply() (amps float64, ask string) {
	if a := e.in.Site.Service.OtherSupplyAmps; a >= 0 {
		return a, ""
	}
	if g := e.in.Site.Gateway; g != nil && g.StorageKWh == 0 && g.BackupController.Known && !g.BackupController.V {
		return 0, ""
	}
	return 0, "amps of other supplies (storage, generator)"
}

// apply finds the most modules that one rule lets pass; ok is false where its
// inputs are not known.
func (e *electric) apply(r ingest.BusbarRule, busbar, main, other float64, reason string) (Ceiling, bool) {
	p, v := e.profile, e.in.Site.Service
	allowed := float64(r.Pct / 100 * busbar)
	c := Ceiling{Reason: reason}
	if math.IsNaN(allowed) {
		return c, false
	}
	n := 0
	switch {
	case r.Kind == "sum":
		old, ok := e.oldBreakers()
		// A panelboard without loads is one nobody has listed, and the register
		// lists those of the main panelboard only.
		if !ok || !(v.LoadBreakersAmps > 0) || e.phases == 3 || reason != "busbar" {
			return c, false
		}
		left := sumRoom(busbar, v.LoadBreakersAmps+old+other, r.Pct)
		n = e.spare + e.byBreakers(left)
		c.Says = fmt.Sprintf("All breakers but the main one: loads %s A + PV %s A + other %s A = %s A of %s A (%g %% of %g A): room for %d more modules.",
			num(v.LoadBreakersAmps), num(old), num(other), num(v.LoadBreakersAmps+old+other), num(allowed), r.Pct, busbar, n)
	case p.StrictBreaker:
		old, ok := e.oldBreakers()
		if !ok || math.IsNaN(main) || e.phases == 3 { // how breakers spread over phases is for an electrician
			return c, false
		}
		n = e.spare + e.byBreakers(allowed-main-other-old)
		c.Says = fmt.Sprintf("Counted by breaker sizes: PV %s A + main %s A + other %s A = %s A of %s A (%g %% of %g A): room for %d more modules.",
			num(old), num(main), num(other), num(old+main+other), num(allowed), r.Pct, busbar, n)
	default:
		if math.IsNaN(main) {
			return c, false
		}
		// On the phase that carries most: watts within (allowed - main - other)/factor x V.
		limitW := busbarRoom(busbar, main, other, 0, r.Pct, e.factor) * e.phaseVolts
		n = e.inverters(limitW) * e.perInverter
		c.Says = e.busbarSentence(r, busbar, main, other, n)
	}
	c.Modules, c.Low, c.High = ingest.Some(n), n, n
	c.Evidence = append(e.profileEvidence(), ruleEvidence(r))
	return c, true
}

func (e *electric) busbarSentence(r ingest.BusbarRule, busbar, main, other float64, n int) string {
	load := 0.0
	for _, l := range e.loads {
		load = max(load, l)
	}
	oldAmps := load / e.phaseVolts
	used, allowed := float64(e.factor*oldAmps)+main+other, float64(r.Pct/100*busbar)
	per := ""
	if e.phases == 3 {
		per = " on the fullest phase"
	}
	s := fmt.Sprintf("%g x %s A of PV%s + main %s A", e.factor, num(oldAmps), per, num(main))
	if other > 0 {
		s += fmt.Sprintf(" + other %s A", num(other))
	}
	s += fmt.Sprintf(" = %s A of %s A (%g %% of the %g A busbar)", num(used), num(allowed), r.Pct, busbar)
	if used > allowed+eps {
		return s + ": over the rule already."
	}
	return s + fmt.Sprintf(": room for %d more modules at %s A an inverter.", n, num2(e.unitAmps()))
}

// supplySide is the limit of a connection before the main breaker: the new
// sources within the service's rating, factor included, and no busbar to pass.
// Source: NEC 705.11, handbook section 9.1.
func (e *electric) supplySide() Ceiling {
	main := e.in.Site.Service.MainBreakerAmps
	if !(main > 0) {
		return unknown("service_rating_unknown", "The service's rating is not known.", "main breaker amps", 0, Many)
	}
	n := floorPositive(main/e.factor/e.unitAmps()) * e.perInverter
	if e.phases == 3 && e.in.Inverter.Phases != 3 {
		n *= 3
	}
	return Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "supply_side",
		Says:     fmt.Sprintf("Connected before the main breaker: %g x new PV within the service's %s A: room for %d more modules.", e.factor, num(main), n),
		Evidence: append(e.profileEvidence(), e.tagged("supply_side")...)}
}

// phaseLimit is the profile's limit on all inverters of one phase.
func (e *electric) phaseLimit() Ceiling {
	kw := e.profile.PerPhaseLimitKW
	if !(kw > 0) {
		return noLimit()
	}
	n := e.inverters(kw*1000) * e.perInverter
	phases := "the phase"
	if e.phases == 3 {
		phases = "each of three phases"
	}
	return Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "per_phase_limit",
		Says:     fmt.Sprintf("Old %s kW and new inverters within %g kW on %s: room for %d more modules.", num2(e.oldACW/1000), kw, phases, n),
		Evidence: append(e.profileEvidence(), e.tagged("per_phase_limit_kw")...)}
}

func (e *electric) installationLimit() Ceiling {
	kw := e.profile.PerInstallationLimitKW
	if !(kw > 0) {
		return noLimit()
	}
	n := floorPositive((float64(kw*1000)-e.oldACW)/e.in.Inverter.ACWatts) * e.perInverter
	return Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "installation_limit",
		Says:     fmt.Sprintf("Old %s kW and new inverters within %g kW for the premises: room for %d more modules.", num2(e.oldACW/1000), kw, n),
		Evidence: append(e.profileEvidence(), e.tagged("per_installation_limit_kw")...)}
}
