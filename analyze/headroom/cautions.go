package headroom

import (
	"fmt"
	"math"
)

// cautions collects what a person must look at before anything is promised.
func (f *facts) cautions(from []Caution, r *Result) []Caution {
	out := append([]Caution(nil), from...)
	say := func(code, format string, a ...any) {
		out = append(out, Caution{Code: code, Says: fmt.Sprintf(format, a...)})
	}
	site := f.in.Site
	if g := site.Gateway; silent(g, f.in.AsOf) {
		say("gateway_silent", "The gateway was last seen on %s: check it first, its model, software and device count may be out of date.", g.LastSeenOn.Format("2006-01-02"))
	}
	if s := site.Service; s != nil && f.acBasis == "inverters" && s.PVBreakerAmps > 0 && f.phaseVolts > 0 && f.phases != 3 {
		if amps := f.factor * f.oldACW / f.phaseVolts; amps > s.PVBreakerAmps+0.5 {
			say("pv_breakers_smaller", "The old inverters need %s A of breakers by their ratings; the register says %s A.", num(amps), num(s.PVBreakerAmps))
		}
	}
	if s := site.Service; s != nil && f.profile != nil && s.Phases.Known && s.Phases.V != f.profile.Phases && f.profile.VoltsBetween != "phase" {
		say("phases_differ", "The register says %d phases and the profile %s is for %d.", s.Phases.V, f.profile.ID, f.profile.Phases)
	}
	f.peak(say)
	if g := site.Gateway; g != nil && g.ReportingInverters.Known && f.units.Known && g.ReportingInverters.V != f.units.V {
		say("device_count_differs", "The gateway reports %d inverters, the register has %d.", g.ReportingInverters.V, f.units.V)
	}
	return out
}

// peak compares the household's highest gross demand with the service's
// rating: 1.25 x peak within it (NEC 220.87, from memory for PV sites: the
// peak must be of gross load).
func (f *facts) peak(say func(code, format string, a ...any)) {
	s := f.in.Site.Service
	if s == nil || f.profile == nil || math.IsNaN(f.in.PeakLoadKW) || !(s.MainBreakerAmps > 0) || !(f.phaseVolts > 0) {
		return
	}
	factor := f.profile.PeakFactor
	if !(factor > 0) {
		factor = defaultContinuousFactor
	}
	lines := 1.0
	if f.phases == 3 {
		lines = 3
	}
	amps := f.in.PeakLoadKW * 1000 / f.phaseVolts / lines
	if factor*amps > s.MainBreakerAmps {
		say("service_full_for_load", "The household's highest demand of %s kW is %s A; times %g it exceeds the service's %s A: the service itself must be upgraded, with or without new modules.",
			num(f.in.PeakLoadKW), num(amps), factor, num(s.MainBreakerAmps))
	}
}
