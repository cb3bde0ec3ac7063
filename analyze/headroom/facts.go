package headroom

import (
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// stringDCPerAC is how much module power a string inverter takes for its AC
// rating where the catalogue does not say (common practice: 1.2).
const stringDCPerAC = 1.2

// defaultContinuousFactor is what a profile without one gets: 1.25 (NEC
// 705.12), the stricter reading.
const defaultContinuousFactor = 1.25

// kind is an inverter's family and generation: what mixing rules speak of.
type kind struct {
	family     string
	generation int
}

// facts is what stands at a site and does not change by any job.
type facts struct {
	in      Input
	profile *ingest.ServiceProfile

	phases     int     // 0: not known
	phaseVolts float64 // what an inverter feeds; NaN: not known
	factor     float64 // continuous duty

	perInverter int // modules on one new inverter

	units     ingest.Opt[int] // old inverters by the register
	unitWatts []float64       // one entry an old inverter; nil where not known
	oldACW    float64         // NaN: not known
	acBasis   string          // inverters, pv breakers, none
	kinds     []kind          // old families and generations, each once
	kindsGap  string          // what keeps kinds from being known; ""
	oldDCW    float64
	loads     []float64 // watts that the old inverters feed into each phase
}

func gather(in Input) facts {
	f := facts{in: in, phaseVolts: math.NaN(), oldACW: math.NaN(), factor: defaultContinuousFactor}
	f.perInverter = perInverter(in.Module, in.Inverter)
	if s := in.Site.Service; s != nil {
		f.profile = in.Catalogue.Profile(s.Profile)
		f.voltages(s)
	}
	if f.profile != nil && f.profile.ContinuousFactor > 0 {
		f.factor = f.profile.ContinuousFactor
	}
	f.oldInverters()
	f.loads = f.spread()
	f.oldDCW = in.ExistingWatts
	if math.IsNaN(f.oldDCW) {
		f.oldDCW = registeredWatts(in.Site, in.Catalogue)
	}
	return f
}

// perInverter is how many modules hang on one new inverter.
func perInverter(m ingest.Module, inv ingest.Inverter) int {
	if inv.Kind != "string" || !(m.Watts > 0) {
		return 1
	}
	dc := inv.MaxDCWatts
	if !(dc > 0) {
		dc = stringDCPerAC * inv.ACWatts
	}
	return max(1, int(dc/m.Watts+1e-9))
}

// voltages settles the phases and the voltage that an inverter feeds. On three
// phases the profile says whether its volts are to neutral or between lines; a
// site's own volts that are about the root of 3 times the profile's are between
// lines, and so are 380 V and more, which no dwelling has to neutral.
func (f *facts) voltages(s *ingest.Service) {
	volts, between := s.Volts, ""
	if f.profile != nil {
		f.phases, between = f.profile.Phases, f.profile.VoltsBetween
		if s.Phases.Known {
			f.phases = s.Phases.V
		}
		switch {
		case math.IsNaN(volts) && (f.phases == f.profile.Phases || between == "phase") && f.profile.Volts > 0:
			volts = f.profile.Volts
		case math.IsNaN(volts):
		case f.profile.Volts > 0 && math.Abs(volts/f.profile.Volts/math.Sqrt(3)-1) < 0.03:
			between = "line"
		}
	} else if s.Phases.Known {
		f.phases = s.Phases.V
	}
	if volts >= 380 {
		between = "line"
	}
	if f.phases == 3 && between == "line" {
		volts /= math.Sqrt(3)
	}
	if volts > 0 {
		f.phaseVolts = volts
	}
}

// oldInverters counts the old inverters and what they feed: by the register's
// models (one a module for micro inverters whose count is blank), else by the
// breakers they hang on.
func (f *facts) oldInverters() {
	site, known, counted := f.in.Site, true, true
	units, watts := 0, 0.0
	for _, a := range site.Arrays {
		inv := f.in.Catalogue.Inverter(a.InverterModel)
		n := f.in.Catalogue.InverterCount(&a)
		counted = counted && n.Known
		units += n.V
		if inv == nil {
			f.kindsGap = fmt.Sprintf("the inverter model of array %s", a.ID)
			known = false
			continue
		}
		if k := (kind{inv.Family, inv.Generation}); !slices.Contains(f.kinds, k) {
			f.kinds = append(f.kinds, k)
		}
		if !n.Known || !(inv.ACWatts > 0) {
			known = false
			continue
		}
		for range n.V {
			f.unitWatts = append(f.unitWatts, inv.ACWatts)
		}
		watts += float64(n.V) * inv.ACWatts
	}
	if units == 0 && len(site.Arrays) > 0 { // modules hang on some inverter
		known, counted = false, false
	}
	breakers := math.NaN()
	if site.Service != nil {
		breakers = site.Service.PVBreakerAmps
	}
	if problemIn(site, "arrays") {
		known, counted, f.kindsGap = false, false, "the array whose row was set aside"
	}
	if len(site.Arrays) == 0 && breakers > 0 { // no array in the register, but a breaker for one
		known, counted, f.kindsGap = false, false, "the array behind the PV breakers"
	}
	if counted {
		f.units = ingest.Some(units)
	}
	if known {
		f.oldACW, f.acBasis = watts, "inverters"
		return
	}
	f.unitWatts = nil
	if breakers >= 0 && f.phaseVolts > 0 {
		f.oldACW, f.acBasis = breakers/f.factor*f.phaseVolts, "pv breakers"
	}
}

// registeredWatts is the DC power of the old arrays; NaN where one is not known.
func registeredWatts(s *ingest.Site, c *ingest.Catalogue) float64 {
	watts := 0.0
	for _, a := range s.Arrays {
		w := a.ModuleWatts
		if m := c.Module(a.ModuleModel); math.IsNaN(w) && m != nil {
			w = m.Watts
		}
		watts += float64(a.Modules) * w
	}
	return watts
}

// spread is what the old inverters feed into each phase, watts. On three
// phases it is an assumption: whole inverters, each on the least loaded phase.
func (f *facts) spread() []float64 {
	n := 1
	if f.phases == 3 {
		n = 3
	}
	out := make([]float64, n)
	if f.unitWatts == nil {
		for i := range out {
			out[i] = f.oldACW / float64(n)
		}
		return out
	}
	for _, w := range f.unitWatts {
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

// inverters is how many new inverters keep every phase within limitW.
func (f *facts) inverters(limitW float64) int {
	loads, w := f.loads, f.in.Inverter.ACWatts
	if f.in.Inverter.Phases == 3 {
		fewest := Many
		for _, l := range loads {
			fewest = min(fewest, floorPositive((limitW-l)/(w/float64(len(loads)))))
		}
		return fewest
	}
	n := 0
	for _, l := range loads {
		n += floorPositive((limitW - l) / w)
	}
	return n
}

// floorPositive rounds down, forgiving the last bits of a division, and never
// goes below 0.
func floorPositive(x float64) int {
	if !(x > 0) {
		return 0
	}
	return int(math.Min(Many, math.Floor(x+1e-9)))
}

func (f *facts) unitAmps() float64 { return f.in.Inverter.ACWatts / f.phaseVolts }

// state is what jobs change.
type state struct {
	busbarAmps  float64
	feed        string
	spaces      ingest.Opt[int]
	supplySide  bool
	permission  bool // a new permission has been granted
	gateway     string
	software    string
	updated     bool   // software brought up to date
	swapped     bool   // gateway replaced
	limitLifted string // name of the job that lifts the profile's limits, once done
}

func (f *facts) asItStands() state {
	s := state{busbarAmps: math.NaN()}
	if v := f.in.Site.Service; v != nil {
		s.busbarAmps, s.feed, s.spaces = v.BusbarAmps, v.Feed, v.FreeSpaces
	}
	if g := f.in.Site.Gateway; g != nil {
		s.gateway, s.software = g.Model, g.SoftwareVersion
	}
	return s
}
