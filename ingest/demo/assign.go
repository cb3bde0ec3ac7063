package demo

import (
	"math"
	"sort"
)

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
