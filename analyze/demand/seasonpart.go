package demand

import (
	"cmp"
	"slices"

	"rowen/analyze/demand/fit"
)

// SeasonCounts is what a builder gathered, as plain values: of a run of neighbours,
// to be joined with what others gathered. Counts add up however the sites are parted.
type SeasonCounts []RegionCounts // by latitude and longitude

// RegionCounts are one region's counts.
type RegionCounts struct {
	Lat, Lon int16
	Homes    homes
}

// Counts gives what was gathered, sharing its slices.
func (b *SeasonBuilder) Counts() SeasonCounts {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out SeasonCounts
	for key, r := range b.regions {
		out = append(out, RegionCounts{key.lat, key.lon, *r})
	}
	slices.SortFunc(out, func(a, b RegionCounts) int { return cmp.Or(cmp.Compare(a.Lat, b.Lat), cmp.Compare(a.Lon, b.Lon)) })
	return out
}

// Join takes in what another builder gathered of other sites.
func (b *SeasonBuilder) Join(counts SeasonCounts) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range counts {
		c := &counts[i]
		key := region{c.Lat, c.Lon}
		if b.regions[key] == nil {
			b.regions[key] = &homes{}
		}
		b.regions[key].All.join(&c.Homes.All)
		b.regions[key].Steady.join(&c.Homes.Steady)
	}
}

func (r *dayCounts) join(o *dayCounts) {
	if r.Sites += o.Sites; len(o.Bins) == 0 {
		return
	}
	r.cover(o.First, o.First+len(o.Bins))
	for d := range o.Bins {
		into := &r.Bins[o.First-r.First+d]
		for k, n := range o.Bins[d] {
			into[k] += n
		}
	}
}

// SeasonSignals is a season as plain values.
type SeasonSignals []RegionSignal // by latitude and longitude

// RegionSignal is one region's common seasonal signal.
type RegionSignal struct {
	Lat, Lon int16
	Signal   fit.Signal
}

// Signals gives a season as plain values, which share its slices.
func (s *Season) Signals() SeasonSignals {
	var out SeasonSignals
	for key, sig := range s.signals {
		out = append(out, RegionSignal{key.lat, key.lon, *sig})
	}
	slices.SortFunc(out, func(a, b RegionSignal) int { return cmp.Or(cmp.Compare(a.Lat, b.Lat), cmp.Compare(a.Lon, b.Lon)) })
	return out
}

// FromSignals gives back the season that signals were made of.
func FromSignals(signals SeasonSignals) *Season {
	s := &Season{signals: map[region]*fit.Signal{}}
	for i := range signals {
		x := &signals[i]
		s.signals[region{x.Lat, x.Lon}] = &x.Signal
	}
	return s
}
