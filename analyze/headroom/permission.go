package headroom

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// assessPermission finds the limit of the permission to operate and of the
// program's cap; both must hold.
func (f *facts) assessPermission(s state) Ceiling {
	return tighter(f.sizeLimit(s), f.programCap())
}

// sizeLimit compares old and new AC power with the permission's limit.
//
// Refuses: limit not in the register; old AC power not known.
func (f *facts) sizeLimit(s state) Ceiling {
	limit := f.in.Site.PermissionLimitKW
	switch {
	case s.permission:
		return Ceiling{Unlimited: true, Low: Many, High: Many, Reason: "new_permission", Says: "A new permission is asked for at the size that is built."}
	case math.IsNaN(limit):
		return unknown("permission_unknown", "The limit in the permission to operate is not in the register.", "the AC limit in the permission to operate", 0, Many)
	case math.IsNaN(f.oldACW) || !(f.in.Inverter.ACWatts > 0):
		high := Many
		if f.in.Inverter.ACWatts > 0 {
			high = floorPositive(limit*1000/f.in.Inverter.ACWatts) * f.perInverter
		}
		return unknown("old_ac_unknown", "The AC power of the old inverters is not known.", "the models and number of the old inverters, or the sum of the PV breakers", 0, high)
	}
	n := floorPositive((float64(limit*1000)-f.oldACW)/f.in.Inverter.ACWatts) * f.perInverter
	return Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "permission_limit",
		Says:     fmt.Sprintf("The permission allows %s kW AC; old inverters make up %s kW: room for %d more modules at %g W.", num2(limit), num2(f.oldACW/1000), n, f.in.Inverter.ACWatts),
		Evidence: []string{"register: permission_limit_kw", "old AC power from " + f.acBasis}}
}

// programCap compares the yearly output, old and new, with the use.
//
//	E_old + n y P <= cap/100 U
//
// with the yearly use U, the yield y [kWh/kW] and the module's power P [kW].
// Source: the profile's program; handbook section 11.3.
func (f *facts) programCap() Ceiling {
	if f.profile == nil || !(f.profile.ProgramCapPctOfUse > 0) {
		return noLimit()
	}
	in, cap := f.in, f.profile.ProgramCapPctOfUse
	perModule := in.YieldKWhPerKW * in.Module.Watts / 1000
	if math.IsNaN(in.UseKWhYr) || math.IsNaN(in.ProductionKWhYr) || !(perModule > 0) {
		return unknown("program_cap_unknown", fmt.Sprintf("The program caps the yearly output at %g %% of the yearly consumption, and that cannot be calculated.", cap),
			"twelve months of consumption and of production", 0, Many)
	}
	fits := func(useKWh float64) int {
		return floorPositive((float64(cap/100*useKWh) - in.ProductionKWhYr) / perModule)
	}
	n := fits(in.UseKWhYr)
	c := Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "program_cap",
		Says: fmt.Sprintf("The program caps the yearly output at %g %% of the consumption: %.0f kWh of %.0f kWh; the old modules make %.0f kWh: room for %d more at %.0f kWh each.",
			cap, cap/100*in.UseKWhYr, in.UseKWhYr, in.ProductionKWhYr, n, perModule),
		Evidence: f.profileEvidence()}
	if past := in.PastUseKWhYr; past > 0 && past < in.UseKWhYr {
		c.Low = min(n, fits(past))
		c.Says += fmt.Sprintf(" By the last twelve months alone (%.0f kWh) it would be %d: submit the grown consumption as evidence.", past, fits(past))
	}
	return c
}

// legacyTerms says how far the array may grow before the site loses its
// tariff's terms: by a share of the old size or by a size, the larger of the
// two where both are given.
func (f *facts) legacyTerms() *Legacy {
	t := f.in.Tariff
	if t == nil || t.Legacy == nil || !(f.in.Module.Watts > 0) {
		return nil
	}
	l := t.Legacy
	share := l.LostWhenAddedPct / 100 * f.oldDCW
	if math.IsNaN(share) {
		share = 0
	}
	watts := max(share, l.LostWhenAddedKW*1000)
	n := floorPositive(watts / f.in.Module.Watts)
	return &Legacy{KeepsUpTo: n, Successor: l.Successor,
		Says: fmt.Sprintf("Tariff %s keeps its terms up to %s kW more (%g %% of %s kW): %d modules. Beyond that the whole site moves to %s.",
			t.ID, num2(watts/1000), l.LostWhenAddedPct, num2(f.oldDCW/1000), n, l.Successor)}
}

// num2 prints kilowatts to the watt's ten, without useless zeros.
func num2(x float64) string { return fmt.Sprintf("%g", math.Round(x*100)/100) }
