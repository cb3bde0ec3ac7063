package headroom

import (
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// supply is what the register and the service's profile say of the connection.
type supply struct {
	profile    *ingest.ServiceProfile
	phases     int     // 0: not known
	phaseVolts float64 // what an inverter feeds; NaN: not known
	factor     float64 // continuous duty
}

// supplyOf settles the phases and the voltage that an inverter feeds.
func supplyOf(in *Input) supply {
	out := supply{phaseVolts: math.NaN(), factor: defaultContinuousFactor}
	if s := in.Site.Service; s != nil {
		out.profile = in.Catalogue.Profile(s.Profile)
		out.phases, out.phaseVolts = voltages(s, out.profile)
	}
	if p := out.profile; p != nil && p.ContinuousFactor > 0 {
		out.factor = p.ContinuousFactor
	}
	return out
}

// voltages reads a service's phases and volts. On three phases the profile
// says whether its volts are to neutral or between lines; a site's own volts
// that are about the root of 3 times the profile's are between lines, and so
// are 380 V and more, which no dwelling has to neutral.
func voltages(s *ingest.Service, p *ingest.ServiceProfile) (phases int, phaseVolts float64) {
	volts, between := s.Volts, ""
	if p != nil {
		phases, between = p.Phases, p.VoltsBetween
	}
	if s.Phases.Known {
		phases = s.Phases.V
	}
	if p != nil {
		switch {
		case math.IsNaN(volts) && (phases == p.Phases || between == "phase") && p.Volts > 0:
			volts = p.Volts
		case math.IsNaN(volts):
		case p.Volts > 0 && math.Abs(volts/p.Volts/math.Sqrt(3)-1) < 0.03:
			between = "line"
		}
	}
	if volts >= 380 {
		between = "line"
	}
	if phases == 3 && between == "line" {
		volts /= math.Sqrt(3)
	}
	if volts > 0 {
		return phases, volts
	}
	return phases, math.NaN()
}

// oldInverters is what feeds in already.
type oldInverters struct {
	units     ingest.Opt[int] // by the register
	unitWatts []float64       // one entry an inverter; nil where not known
	oldACW    float64         // NaN: not known
	acBasis   string          // inverters, pv breakers; "": not known
	kinds     []kind          // families and generations, each once
	kindsGap  string          // what keeps kinds from being known; ""
	oldDCW    float64
}

// oldInvertersOf counts the old inverters and what they feed: by the register's
// models (one a module for micro inverters whose count is blank), else by the
// breakers they hang on.
func oldInvertersOf(in *Input, at supply) oldInverters {
	site, breakers := in.Site, math.NaN()
	if site.Service != nil {
		breakers = site.Service.PVBreakerAmps
	}
	o, known, counted := byModels(in)
	if problemIn(site, "arrays") {
		known, counted, o.kindsGap = false, false, "the array whose row was set aside"
	}
	if len(site.Arrays) == 0 && breakers > 0 { // no array in the register, but a breaker for one
		known, counted, o.kindsGap = false, false, "the array behind the PV breakers"
	}
	if !counted {
		o.units = ingest.Opt[int]{}
	}
	if !known {
		o.oldACW, o.acBasis, o.unitWatts = math.NaN(), "", nil
		if breakers >= 0 && at.phaseVolts > 0 {
			o.oldACW, o.acBasis = breakers/at.factor*at.phaseVolts, "pv breakers"
		}
	}
	o.oldDCW = in.ExistingWatts
	if math.IsNaN(o.oldDCW) {
		o.oldDCW = registeredWatts(site, in.Catalogue)
	}
	return o
}

// byModels adds up the inverters that the register's arrays name, and says
// whether their power and their number are known.
func byModels(in *Input) (o oldInverters, known, counted bool) {
	known, counted = true, true
	o.acBasis = "inverters"
	units := 0
	for _, a := range in.Site.Arrays {
		inv := in.Catalogue.Inverter(a.InverterModel)
		n := in.Catalogue.InverterCount(&a)
		counted = counted && n.Known
		units += n.V
		if inv == nil {
			o.kindsGap = fmt.Sprintf("the inverter model of array %s", a.ID)
			known = false
			continue
		}
		if k := (kind{inv.Family, inv.Generation}); !slices.Contains(o.kinds, k) {
			o.kinds = append(o.kinds, k)
		}
		if !n.Known || !(inv.ACWatts > 0) {
			known = false
			continue
		}
		for range n.V {
			o.unitWatts = append(o.unitWatts, inv.ACWatts)
		}
		o.oldACW += float64(float64(n.V) * inv.ACWatts)
	}
	if units == 0 && len(in.Site.Arrays) > 0 { // modules hang on some inverter
		return o, false, false
	}
	o.units = ingest.Some(units)
	return o, known, counted
}

// registeredWatts is the DC power of the old arrays; NaN where one is not known.
func registeredWatts(s *ingest.Site, c *ingest.Catalogue) float64 {
	watts := 0.0
	for _, a := range s.Arrays {
		w := a.ModuleWatts
		if m := c.Module(a.ModuleModel); math.IsNaN(w) && m != nil {
			w = m.Watts
		}
		watts += float64(float64(a.Modules) * w)
	}
	return watts
}

// spread is what the old inverters feed into each phase, watts. On three
// phases it is an assumption: whole inverters, each on the least loaded phase.
func (o *oldInverters) spread(phases int) []float64 {
	n := 1
	if phases == 3 {
		n = 3
	}
	out := make([]float64, n)
	if o.unitWatts == nil {
		for i := range out {
			out[i] = o.oldACW / float64(n)
		}
		return out
	}
	for _, w := range o.unitWatts {
		least := 0
		for i := range out {
			if out[i] < out[least]-eps {
				least = i
			}
		}
		out[least] += w
	}
	return out
}
