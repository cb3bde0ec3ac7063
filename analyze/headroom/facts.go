package headroom

import (
	"math"

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

// electric is the electrical side of a site as the limits see it: the supply,
// what feeds it already and what one new inverter would add.
type electric struct {
	in *Input
	supply
	oldInverters
	perInverter int       // modules on one new inverter
	loads       []float64 // watts that the old inverters feed into each phase
	spare       int       // modules that the old branches still take; 0 where that is not known
}

// facts is what stands at a site and does not change by any job.
type facts struct {
	electric
	mixing mixing
}

func gather(in Input) facts {
	at := supplyOf(&in)
	old := oldInvertersOf(&in, at)
	e := electric{in: &in, supply: at, oldInverters: old, perInverter: perInverter(in.Module, in.Inverter), loads: old.spread(at.phases)}
	m := mixingOf(&in, old, e.perInverter)
	e.spare = onSpare(&e, m)
	return facts{electric: e, mixing: m}
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

// inverters is how many new inverters keep every phase within limitW.
func (e *electric) inverters(limitW float64) int {
	loads, w := e.loads, e.in.Inverter.ACWatts
	if e.in.Inverter.Phases == 3 {
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

func (e *electric) unitAmps() float64 { return e.in.Inverter.ACWatts / e.phaseVolts }

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
