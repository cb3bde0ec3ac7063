package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/ingest"
)

// perBranch is how many inverters one branch circuit carries:
//
//	n = min(maker's limit, ⌊breaker / (factor I_unit)⌋)
//
// with the factor for continuous duty (1.25: ⌊0.8 breaker / I⌋); 0 where
// neither is known. A string inverter has a circuit of its own.
// Source: NEC 690.9, 210.20; handbook section 9.1, checks 09_branch_microinverters.
func perBranch(inv ingest.Inverter, unitAmps, factor float64) int {
	n := inv.PerBranch
	if inv.BranchBreakerAmps > 0 && unitAmps > 0 {
		byBreaker := floorPositive(inv.BranchBreakerAmps / factor / unitAmps)
		if n <= 0 || byBreaker < n {
			n = byBreaker
		}
	}
	if n <= 0 && inv.Kind == "string" && !(inv.BranchBreakerAmps > 0) {
		return 1
	}
	return n
}

// spacesPerBranch is how many breaker spaces a new branch circuit takes: as
// the profile says, else two on split phase, three for an inverter that feeds
// three phases, one on a single phase.
func (e *electric) spacesPerBranch() int {
	switch {
	case e.in.Inverter.Phases == 3:
		return 3
	case e.profile != nil && e.profile.SpacesPerBranch > 0 && (e.phases == e.profile.Phases || e.phases == 0):
		return e.profile.SpacesPerBranch
	case e.phases == 2:
		return 2
	}
	return 1
}

// onSpare is how many modules the existing branches still take, 0 where that
// is not known.
func onSpare(e *electric, m mixing) int {
	if e.in.Site.Service == nil {
		return 0
	}
	spare := e.in.Site.Service.BranchSpareAmps
	if !(spare > 0) || !m.mayShareBranch() {
		return 0
	}
	n := floorPositive(spare/e.unitAmps()) * e.perInverter
	if e.in.Inverter.PerBranch > 0 && e.units.Known && e.in.Inverter.Kind != "string" {
		// Never more than the maker's limit on as many branches as there are old inverters.
		n = min(n, e.in.Inverter.PerBranch*max(1, e.units.V))
	}
	return n
}

// mayShareBranch says whether new inverters may hang on the old branches: the
// same generation may, others where a mixing rule covers all of them and does
// not forbid it.
func (m *mixing) mayShareBranch() bool {
	if m.in.Inverter.Kind == "string" || len(m.old) == 0 || m.gap != "" {
		return false
	}
	if !m.mixes {
		return true
	}
	return slices.ContainsFunc(m.rules, func(r ingest.MixingRule) bool { return r.SameBranch == nil || *r.SameBranch })
}

// assessBranch finds the limit of the branch circuits.
//
// In:      free breaker spaces, room on the old branches, the inverter's limits.
// Out:     what the old branches still take, plus what new ones carry.
// Refuses: free spaces not known; the inverter's branch limits not known. What
//
//	the old branches take is then the lower bound.
//
// Edges:   old branches count as full unless the register says otherwise.
func (f *facts) assessBranch(s state) Ceiling {
	m, inv := f.in.Module, f.in.Inverter
	if inv.MaxModuleWatts > 0 && inv.Kind != "string" && m.Watts > inv.MaxModuleWatts {
		return Ceiling{Modules: ingest.Some(0), Reason: "module_exceeds_inverter",
			Says: fmt.Sprintf("The module %s has %g W and the inverter %s takes at most %g W.", m.Model, m.Watts, inv.Model, inv.MaxModuleWatts)}
	}
	if s.supplySide {
		return Ceiling{Unlimited: true, Low: Many, High: Many, Reason: "own_combiner",
			Says: "Connected before the main breaker, the new branches end in a combiner of their own and need no space in the panelboard."}
	}
	v := f.in.Site.Service
	var missing []string
	if v == nil {
		return unknown("spaces_unknown", "Free breaker spaces are not known.", "free breaker spaces", 0, Many)
	}
	if math.IsNaN(f.phaseVolts) || f.phases == 0 {
		missing = append(missing, "phases and volts of the service")
	}
	per := perBranch(inv, f.unitAmps(), f.factor)
	if per == 0 && (inv.PerBranch <= 0 && !(inv.BranchBreakerAmps > 0)) {
		missing = append(missing, "modules per branch circuit of the inverter "+inv.Model)
	}
	if len(missing) > 0 {
		return unknown("branch_unknown", "The branch circuits cannot be calculated.", strings.Join(missing, "; "), 0, Many)
	}
	spare := f.spare
	if !s.spaces.Known {
		return unknown("spaces_unknown", fmt.Sprintf("Free breaker spaces are not known; the old branches take %d more modules.", spare), "free breaker spaces", spare, Many)
	}
	circuits := max(0, s.spaces.V) / f.spacesPerBranch()
	n := spare + circuits*per*f.perInverter
	c := Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "branch_circuits",
		Says: fmt.Sprintf("%d free breaker spaces make %d new branch circuits of %d modules", s.spaces.V, circuits, per*f.perInverter)}
	if circuits == 0 {
		c.Reason = "no_breaker_space"
	}
	switch {
	case spare > 0:
		c.Says += fmt.Sprintf(", and the old branches take %d more (%s A of room): %d.", spare, num(v.BranchSpareAmps), n)
		if f.mixing.sharesInDoubt() {
			c.Low = n - spare
			c.Ask = "whether the old branch cable takes both generations of inverter"
		}
	case v.BranchSpareAmps > 0:
		c.Says += ". The old branches have room, but not for this generation of inverter."
	default:
		c.Says += fmt.Sprintf("; the old branches count as full: %d.", n)
		if math.IsNaN(v.BranchSpareAmps) && f.mixing.mayShareBranch() {
			c.High = n + per*f.perInverter // less than one more branch's worth may be free
		}
	}
	c.Evidence = []string{fmt.Sprintf("inverter %s: %s A continuous, at most %d a branch (maker), breaker %g A", inv.Model, num2(f.unitAmps()), inv.PerBranch, inv.BranchBreakerAmps)}
	return c
}

// sharesInDoubt is true where generations differ and no rule says outright
// that they may share a branch circuit.
func (m *mixing) sharesInDoubt() bool {
	return m.mixes && !slices.ContainsFunc(m.rules, func(r ingest.MixingRule) bool { return r.SameBranch != nil && *r.SameBranch })
}
