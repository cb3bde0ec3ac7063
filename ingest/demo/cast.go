package demo

import (
	"math"
	"slices"

	"rowen/ingest"
)

// archetype is a kind of case that the fleet must hold.
type archetype struct {
	name, lane string
	may        []string
	weight     float64
	lone       bool
	shape      func(b *builder)
}

// cast is the demo's cases. The weights are shares of the fleet in percent;
// events and faults scale with the options.
func cast(o Options) []archetype {
	return slices.Concat(newLoads(o), obstacles(), sickArrays(o), littleToGain(), inTheWay())
}

// maybe names the other lanes that an honest judge may choose.
func maybe(lanes ...string) []string { return lanes }

// newLoads are households that outgrow their arrays.
func newLoads(o Options) []archetype {
	ev := o.Events / 0.4
	return []archetype{
		{name: "car came", lane: "call", may: maybe("watch"), weight: 12 * ev, shape: func(b *builder) {
			b.arrive("ev_charging", b.back(95, 600))
			b.coverage = b.between(0.75, 0.98)
		}},
		{name: "heat pump came", lane: "call", may: maybe("watch"), weight: 6 * ev, shape: func(b *builder) {
			b.house.heatKWperK = b.between(0.006, 0.012)
			b.arrive("heat_pump", b.back(190, 520))
			b.coverage = b.between(0.75, 0.98)
		}},
		{name: "cooling came", lane: "call", may: maybe("watch", "no_gain"), weight: 2.5 * ev, shape: func(b *builder) {
			b.house.coolKWperK = 0
			b.arrive("cooling", b.back(150, 560))
			b.coverage = b.between(0.7, 0.9)
		}},
		{name: "pool came", lane: "call", may: maybe("watch", "no_gain"), weight: 2.5 * ev, shape: func(b *builder) {
			b.arrive("pool_pump", b.back(120, 560))
			b.coverage = b.between(0.7, 0.92)
		}},
		{name: "base load rose", lane: "call", may: maybe("watch"), weight: 3 * ev, shape: func(b *builder) {
			b.arrive("baseload", b.back(120, 600))
			b.coverage = b.between(0.7, 0.92)
		}},
		{name: "household grew", lane: "call", may: maybe("watch", "no_gain"), weight: 2 * ev, shape: func(b *builder) {
			b.arrive("other", b.back(150, 560))
			b.coverage = b.between(0.7, 0.95)
		}},
		{name: "car and heat pump", lane: "call", may: maybe("watch"), weight: 2 * ev, shape: func(b *builder) {
			b.arrive("ev_charging", b.back(400, 650))
			b.arrive("heat_pump", b.back(190, 380))
		}},
		{name: "grows steadily", lane: "call", may: maybe("watch", "no_gain"), weight: 5, shape: func(b *builder) {
			b.growthPct = b.between(3.2, 5)
			b.coverage = b.between(0.62, 0.8)
		}},
		{name: "always too small", lane: "call", may: maybe("watch"), weight: 4, shape: func(b *builder) {
			b.coverage = b.between(0.42, 0.62)
		}},
	}
}

// obstacles are good cases with something to be done first.
func obstacles() []archetype {
	return []archetype{
		{name: "old gateway software", lane: "prepare", may: maybe("call", "watch"), weight: 4, shape: func(b *builder) {
			b.equipment, b.gateway = "kv1", "old_software"
			b.coverage = b.between(0.7, 0.95)
			b.arrive("ev_charging", b.back(120, 600))
		}},
		{name: "old gateway", lane: "prepare", may: maybe("watch", "call"), weight: 2, shape: func(b *builder) {
			b.equipment, b.gateway = "kv1", "hg1"
			b.coverage = b.between(0.65, 0.85)
			b.arrive("heat_pump", b.back(200, 560))
		}},
		{name: "panelboard full", lane: "prepare", may: maybe("blocked", "watch", "no_gain"), weight: 4.5, shape: func(b *builder) {
			b.tight = pick(b.rnd, []string{"service", "service", "spaces"})
			b.coverage, b.size = b.between(0.6, 0.8), 1.2
			b.arrive("ev_charging", b.back(120, 600))
		}},
		{name: "permission used up", lane: "prepare", may: maybe("blocked", "watch"), weight: 3, shape: func(b *builder) {
			b.tight = "permission"
			b.coverage = b.between(0.6, 0.85)
			b.arrive("ev_charging", b.back(120, 600))
		}},
	}
}

// sickArrays are arrays with a fault, a poor match or a wrong register.
func sickArrays(o Options) []archetype {
	sick := o.Faults / 0.2
	return []archetype{
		{name: "array dead", lane: "repair", weight: 2 * sick, shape: func(b *builder) {
			b.breaks("outage", b.back(25, 110), 0)
		}},
		{name: "inverters down", lane: "repair", may: maybe("watch"), weight: 4 * sick, shape: func(b *builder) {
			b.breaks("inverters_down", b.back(70, 500), 0)
			if b.chance(0.4) {
				b.arrive("ev_charging", b.back(120, 600))
			}
		}},
		{name: "declines fast", lane: "repair", may: maybe("watch", "call", "no_gain"), weight: 2.5 * sick, shape: func(b *builder) {
			b.breaks("decline", b.back(300, 560), 0)
		}},
		{name: "tree has grown", lane: "repair", may: maybe("watch", "call", "no_gain"), weight: 2 * sick, shape: func(b *builder) {
			b.breaks("shading", b.back(150, 560), 0)
		}},
		{name: "was broken and mended", lane: "no_gain", may: maybe("call", "watch"), weight: 3 * sick, shape: func(b *builder) {
			code := pick(b.rnd, []string{"outage", "inverters_down", "decline"})
			b.breaks(code, b.back(420, 640), map[string]float64{"outage": b.between(12, 45), "inverters_down": b.between(60, 200), "decline": b.between(180, 380)}[code])
			b.coverage = b.between(1.0, 1.15)
			b.tariff = tariffPoor
		}},
		{name: "register has another size", lane: "watch", may: maybe("call", "no_gain", "repair", "prepare"), weight: 1.5 * sick, shape: func(b *builder) {
			b.breaks("capacity_mismatch", 0, 0)
		}},
		{name: "register has another direction", lane: "watch", may: maybe("call", "no_gain", "repair", "prepare"), weight: 1.5 * sick, shape: func(b *builder) {
			b.breaks("orientation_mismatch", 0, 0)
		}},
		{name: "modules nobody entered", lane: "no_gain", may: maybe("call", "watch", "prepare"), weight: 1.5 * sick, shape: func(b *builder) {
			b.breaks("unregistered_modules", b.back(200, 560), 0)
		}},
		{name: "clips", lane: "call", may: maybe("no_gain", "watch", "prepare"), weight: 1.2 * sick, shape: func(b *builder) {
			b.equipment = "kv1-hot"
			b.coverage = b.between(0.6, 0.85)
		}},
		{name: "may not export", lane: "no_gain", may: maybe("watch", "repair", "call", "blocked"), weight: 1 * sick, shape: func(b *builder) {
			b.breaks("curtailment", b.back(200, 500), 0)
			b.tariff = tariffPoor
		}},
		{name: "production meter died", lane: "no_data", may: maybe("watch", "call", "no_gain", "repair", "prepare"), weight: 1 * sick, shape: func(b *builder) {
			b.breaks("meter_dead", b.back(60, 260), 0)
			b.meter = "full"
		}},
	}
}

// littleToGain are cases that do not pay, or not yet.
func littleToGain() []archetype {
	return []archetype{
		{name: "string inverter", lane: "blocked", may: maybe("call", "no_gain", "watch", "prepare"), weight: 3, shape: func(b *builder) {
			b.equipment = "string"
			b.coverage = b.between(0.7, 1.0)
		}},
		{name: "not there yet", lane: "watch", may: maybe("no_gain", "call"), weight: 6, shape: func(b *builder) {
			b.growthPct = b.between(2, 4.5)
			b.coverage = b.between(0.98, 1.08)
		}},
		{name: "car came last month", lane: "watch", may: maybe("call", "no_gain"), weight: 2, shape: func(b *builder) {
			b.arrive("ev_charging", b.back(18, 40))
			b.coverage = b.between(0.95, 1.05)
		}},
		{name: "makes plenty", lane: "no_gain", may: maybe("watch"), weight: 9, shape: func(b *builder) {
			b.coverage, b.growthPct = b.between(1.12, 1.5), b.between(-1, 1)
		}},
		{name: "cheap power", lane: "no_gain", may: maybe("watch"), weight: 5, shape: func(b *builder) {
			b.tariff, b.coverage = tariffPoor, b.between(0.85, 1.1)
		}},
		{name: "somebody moved out", lane: "no_gain", may: maybe("watch"), weight: 2.5, shape: func(b *builder) {
			b.arrive("departure", b.back(120, 560))
			b.coverage = b.between(0.95, 1.1)
		}},
		{name: "away for long", lane: "no_gain", may: maybe("watch", "call"), weight: 1.5, shape: func(b *builder) {
			b.arrive("absence", b.back(130, 560))
			b.coverage = b.between(0.95, 1.1)
		}},
		{name: "new tenants", lane: "no_gain", may: maybe("watch", "call"), weight: 1.5, shape: func(b *builder) {
			b.arrive("tenants", b.back(150, 560))
			b.coverage = b.between(0.95, 1.15)
		}},
	}
}

// inTheWay are cases in which a limit, a wish or missing data decides.
func inTheWay() []archetype {
	return []archetype{
		{name: "roof full", lane: "blocked", weight: 4, shape: func(b *builder) {
			b.tight, b.room = "roof", 0
			b.coverage = b.between(0.6, 0.85)
			b.arrive("ev_charging", b.back(120, 600))
		}},
		{name: "may not mix", lane: "blocked", may: maybe("prepare"), weight: 3, shape: func(b *builder) {
			b.equipment, b.gateway = "kv1", pick(b.rnd, []string{"backup", "storage"})
			b.meter = "consumption" // behind the grid meter a battery would show, and none is simulated
			b.coverage = b.between(0.6, 0.85)
			b.arrive("ev_charging", b.back(120, 600))
		}},
		{name: "off the grid", lane: "blocked", may: maybe("no_data", "no_gain"), weight: 0.8, shape: func(b *builder) {
			b.equipment, b.gateway, b.meter = "kv1", "off_grid", "consumption"
			b.coverage = b.between(1.1, 1.4)
		}},
		{name: "just begun", lane: "no_data", may: maybe("watch"), weight: 1.2, shape: func(b *builder) {
			b.meters.from = b.back(18, 50)
			b.flaw("late_start", b.first, b.meters.from, 0)
		}},
		{name: "only the array is metered", lane: "no_data", weight: 1.5, shape: func(b *builder) {
			b.meter = "none"
		}},
		{name: "gateway silent", lane: "no_data", may: maybe("watch", "repair"), weight: 1.2, shape: func(b *builder) {
			b.meters.to = b.back(220, 420)
			b.flaw("offline", b.meters.to, b.last, 0)
		}},
		{name: "only bills", lane: "call", may: maybe("watch", "no_gain"), weight: 2.5, shape: func(b *builder) {
			b.meter = "bills"
			b.coverage = b.between(0.5, 0.75)
		}},
		{name: "asked not to be called", lane: "do_not_contact", weight: 2, shape: func(b *builder) {
			b.reg.DoNotContact = true
			b.arrive("ev_charging", b.back(120, 600))
			b.coverage = b.between(0.6, 0.9)
		}},
		{name: "nobody wrote down the direction", lane: "call", may: maybe("watch", "no_gain", "prepare", "blocked"), weight: 2, shape: func(b *builder) {
			b.coverage = b.between(0.5, 0.75)
			b.forget = forgetDirection
		}},
		{name: "papers missing", lane: "prepare", may: maybe("call", "watch", "no_gain", "blocked"), weight: 1.5, shape: func(b *builder) {
			b.coverage = b.between(0.5, 0.75)
			b.forget = forgetPapers
		}},
		{name: "called not long ago", lane: "do_not_contact", may: maybe("call", "watch", "no_gain"), weight: 1.5, shape: func(b *builder) {
			b.coverage = b.between(0.55, 0.75)
			b.reg.LastContactOn = dateOf(timeOf(b.region.tl, b.back(20, 150)))
		}},
		{name: "far from all others", lane: "call", may: maybe("watch", "no_gain", "prepare"), weight: 0.4, lone: true, shape: func(b *builder) {
			b.coverage = b.between(0.55, 0.7)
		}},
	}
}

// forgetDirection takes the planes with arrays out of the register.
func forgetDirection(b *builder) {
	for i := range b.reg.Arrays {
		a := &b.reg.Arrays[i]
		for p := range b.reg.Planes {
			if b.reg.Planes[p].ID == a.PlaneID {
				b.truth.RoofModules -= b.truth.RoofByPlane[a.PlaneID]
				b.truth.RoofModulesLow = max(0, b.truth.RoofModulesLow-b.truth.RoofByPlane[a.PlaneID])
				delete(b.truth.RoofByPlane, a.PlaneID)
				b.reg.Planes = append(b.reg.Planes[:p], b.reg.Planes[p+1:]...)
				break
			}
		}
		a.PlaneID, a.TiltDeg, a.AzimuthDeg = "", math.NaN(), math.NaN()
	}
}

// forgetPapers takes out the service, the gateway and some planes' size.
func forgetPapers(b *builder) {
	b.reg.Service, b.reg.Gateway = nil, nil
	for i := range b.reg.Planes {
		if b.chance(0.5) { // nobody has measured it
			b.reg.Planes[i].WidthM, b.reg.Planes[i].SlopeM = math.NaN(), math.NaN()
		}
	}
	b.truth.ServiceModules, b.truth.BranchModules, b.truth.GatewayModules = ingest.Opt[int]{}, ingest.Opt[int]{}, ingest.Opt[int]{}
}
