package demo

import (
	"math"
	"sort"

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
	ev, sick := o.Events/0.4, o.Faults/0.2
	maybe := func(lanes ...string) []string { return lanes }
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
			b.forget = func() {
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
		}},
		{name: "papers missing", lane: "prepare", may: maybe("call", "watch", "no_gain", "blocked"), weight: 1.5, shape: func(b *builder) {
			b.coverage = b.between(0.5, 0.75)
			b.forget = func() {
				b.reg.Service, b.reg.Gateway = nil, nil
				for i := range b.reg.Planes {
					if b.chance(0.5) { // nobody has measured it
						b.reg.Planes[i].WidthM, b.reg.Planes[i].SlopeM = math.NaN(), math.NaN()
					}
				}
				b.truth.ServiceModules, b.truth.BranchModules, b.truth.GatewayModules = ingest.Opt[int]{}, ingest.Opt[int]{}, ingest.Opt[int]{}
			}
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

// plainHome is the bench's only archetype: nothing in the way, and a fault or
// an event by chance.
func plainHome(o Options) archetype {
	return archetype{name: "plain home", lane: "", weight: 1, shape: func(b *builder) {
		b.meter, b.room = "consumption", 24
		b.growthPct = b.between(-1, 5)
		b.coverage = b.between(0.6, 1.2)
		span := float64(b.last-b.first) / float64(24*b.region.tl.perHour)
		// Four months before and two after, that there is something to see.
		on := b.back(60, math.Max(span-120, 61))
		later := b.rnd.Float64()
		b.mayBreak(o, on, later)
		b.mayChange(o, b.back(60, math.Max(span-120, 61)))
	}}
}

// mayBreak gives a plain home a fault by chance. It draws from its own stream:
// the same fleet without faults is the same in all else.
func (b *builder) mayBreak(o Options, on int, later float64) {
	b.rnd = stream(b.seed, 15)
	if !b.chance(o.Faults) {
		return
	}
	code, days := pick(b.rnd, orAll(o.FaultCodes, faultCodes)), 0.0
	switch code {
	case "clipping": // no fault but a poor match
		b.equipment = "kv1-hot"
		return
	case "capacity_mismatch", "orientation_mismatch":
		on = 0
	case "outage":
		days = b.between(10, 60)
	case "inverters_down", "decline":
		if later < 0.25 {
			days = b.between(60, 120)
		}
	}
	b.breaks(code, on, days)
}

// mayChange gives a plain home an event by chance, from its own stream.
func (b *builder) mayChange(o Options, at int) {
	b.rnd = stream(b.seed, 16)
	if !b.chance(o.Events) {
		return
	}
	kind := pick(b.rnd, orAll(o.EventKinds, eventKinds))
	switch kind {
	case "cooling":
		b.house.coolKWperK = 0
	case "heat_pump":
		b.house.heatKWperK = b.between(0.006, 0.012)
	}
	b.arrive(kind, at)
}

// The faults and events that plain homes draw from.
var (
	faultCodes = []string{"outage", "inverters_down", "inverters_down", "decline", "shading", "unregistered_modules", "capacity_mismatch", "orientation_mismatch", "clipping", "curtailment"}
	eventKinds = []string{"ev_charging", "ev_charging", "ev_charging", "heat_pump", "heat_pump", "cooling", "pool_pump", "baseload", "departure", "other", "absence", "tenants"}
)

func orAll(some, all []string) []string {
	if len(some) > 0 {
		return some
	}
	return all
}

// assign shares the archetypes out over the sites: by largest remainder, at
// least one each where the fleet is large enough, and then shuffled.
func assign(all []archetype, o Options) []*archetype {
	total := 0.0
	for _, a := range all {
		total += a.weight
	}
	counts := make([]int, len(all))
	type rest struct {
		i    int
		left float64
	}
	var rests []rest
	given := 0
	for i, a := range all {
		want := a.weight / total * float64(o.Sites)
		counts[i] = int(want)
		if counts[i] == 0 && a.weight > 0 && o.Sites >= 3*len(all) {
			counts[i], want = 1, 1
		}
		given += counts[i]
		rests = append(rests, rest{i, want - float64(counts[i])})
	}
	sort.SliceStable(rests, func(x, y int) bool { return rests[x].left > rests[y].left })
	for k := 0; given < o.Sites; k++ {
		counts[rests[k%len(rests)].i]++
		given++
	}
	for k := 0; given > o.Sites; k++ { // the minimum of one each may have gone over
		if i := k % len(counts); counts[i] > 1 {
			counts[i]--
			given--
		}
	}
	var out []*archetype
	for i := range all {
		for range counts[i] {
			out = append(out, &all[i])
		}
	}
	rnd := stream(o.Seed, 11)
	rnd.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}
