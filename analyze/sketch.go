package analyze

import (
	"fmt"

	"rowen/analyze/demand"
	"rowen/analyze/sky"
	"rowen/ingest/packed"
)

// Shard is a run of neighbours: the part of the passes' order, from neighbour to
// neighbour, that is the N-th of Of, counted from 0. Neighbours share the sun's
// tables and the cells of the sky, so that a shard works little out that another
// one does too.
type Shard struct{ N, Of int }

// Whole is the fleet in one piece.
var Whole = Shard{0, 1}

// of gives where a shard begins and ends among so many sites.
func (s Shard) of(sites int) (from, to int) {
	return sites * s.N / s.Of, sites * (s.N + 1) / s.Of
}

func (s Shard) last() bool { return s.N == s.Of-1 }

// Sketch is what the survey of a shard learns. Sketches of neighbours join into
// that of both, and it does not matter where they were parted: of the sky the sites
// with the smallest hash a cell, of the season counts, of the months a list.
type Sketch struct {
	sky    *sky.Field
	season *demand.SeasonBuilder
	read   int
	reach  Reach
	seen   []seen
}

// add takes in the next site.
func (s *Sketch) add(g glance, failed error) {
	switch {
	case failed != nil: // said in pass 2, even where the second reading succeeds
		s.seen = append(s.seen, seen{Failed: failed.Error()})
		return
	case g.ok:
		s.read++
		s.reach.Join(g.reach)
		if g.estimate != nil {
			s.sky.Add(*g.estimate)
		}
	}
	s.seen = append(s.seen, seen{Clock: g.clock})
}

// sketched is a sketch as plain values.
type sketched struct {
	Read   int
	Reach  Reach
	Seen   []seen
	Sky    sky.Part
	Season demand.SeasonCounts
}

// Append adds a sketch's bytes to b.
func (s *Sketch) Append(b []byte) []byte {
	return packed.Append(b, sketched{s.read, s.reach, s.seen, s.sky.Part(), s.season.Counts()})
}

// Join takes in the sketch of the next shard, from its bytes.
func (s *Sketch) Join(b []byte) error {
	var o sketched
	if _, err := packed.Take(b, &o); err != nil {
		return fmt.Errorf("reading a part of the survey: it %w", err)
	}
	s.read += o.Read
	s.reach.Join(o.Reach)
	s.seen = append(s.seen, lastingAll(o.Seen)...)
	s.sky.Join(o.Sky)
	s.season.Join(o.Season)
	return nil
}

// Blank is the sketch of no site, for others to join.
func (fl *Fleet) Blank() *Sketch {
	return &Sketch{sky: sky.NewField(fl.Options.Sky), season: demand.NewSeasonBuilder()}
}

// Merge makes the survey of a sketch of the whole fleet, with what the weather
// stations tell. The sketch is used up.
func (fl *Fleet) Merge(sketch *Sketch) *Survey {
	s := &Survey{Sky: sketch.sky, Read: sketch.read, Reach: sketch.reach, seen: sketch.seen}
	for i := range fl.Register.Stations {
		st := &fl.Register.Stations[i]
		s.Sky.AddStation(st, fl.stationHours(st))
	}
	s.Sky.Close()
	s.Season = sketch.season.Close()
	if s.Month = fl.Options.Month; s.Month.IsZero() {
		s.Month = s.Reach.Complete()
	}
	return s
}

// settled is a survey as plain values.
type settled struct {
	Month  Month
	Read   int
	Reach  Reach
	Seen   []seen
	Sky    sky.Part
	Season demand.SeasonSignals
}

// Append adds a survey's bytes to b.
func (s *Survey) Append(b []byte) []byte {
	return packed.Append(b, settled{s.Month, s.Read, s.Reach, s.seen, s.Sky.Part(), s.Season.Signals()})
}

// TakeSurvey gives back the survey that bytes were made of.
func (fl *Fleet) TakeSurvey(b []byte) (*Survey, error) {
	var o settled
	if _, err := packed.Take(b, &o); err != nil {
		return nil, fmt.Errorf("reading the survey: it %w", err)
	}
	if len(o.Seen) != len(fl.sites) {
		return nil, fmt.Errorf("reading the survey: it is of %d sites, and the register has %d", len(o.Seen), len(fl.sites))
	}
	return &Survey{Month: o.Month, Read: o.Read, Reach: o.Reach, seen: lastingAll(o.Seen),
		Sky: sky.FromPart(fl.Options.Sky, o.Sky), Season: demand.FromSignals(o.Season)}, nil
}

// lastingAll gives the sites whose clock is right one clock.
func lastingAll(all []seen) []seen {
	for i := range all {
		if all[i].Clock != nil {
			all[i].Clock = lasting(all[i].Clock)
		}
	}
	return all
}
