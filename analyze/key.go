package analyze

import (
	"math"
	"time"

	"rowen/analyze/headroom"
	"rowen/analyze/rank"
)

// Key is what ranking a fleet asks of one finding.
type Key struct {
	SiteID, Branch, Postcode  string
	LatitudeDeg, LongitudeDeg float64
	CommissionedOn            time.Time
	CapacityKW                float64

	Lane               rank.Lane
	Offered            bool // something is proposed
	NotBefore          time.Time
	Priority, Expected float64
	Drawn              int // draws of the net benefit that there are

	Completeness Completeness

	Takes [len(likeLimits)]int // modules that each limit takes, where its row is registered; -1: nobody knows
	// Of a ranked site some of whose limits nobody has registered:
	Open              *bySize // nil: it is none
	Unknown           []string
	RoofLow, RoofHigh float64
}

// Key is what ranking asks of a finding.
func (f *Finding) Key() Key {
	s, v := f.Site, &f.Verdict
	k := Key{SiteID: s.ID, Branch: s.Branch, Postcode: s.Postcode, LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg,
		CommissionedOn: s.CommissionedOn, CapacityKW: f.Array.CapacityKW,
		Lane: v.Lane, Offered: v.Offer != nil, NotBefore: v.NotBefore, Priority: v.Priority, Expected: v.Terms.Expected, Completeness: f.Completeness}
	for i, name := range likeLimits {
		if k.Takes[i] = -1; f.Failed == "" && rowThere(f, name) {
			if most, known := mostWith(f, name); known {
				k.Takes[i] = most
			}
		}
	}
	if f.Chosen == nil {
		return k
	}
	k.Drawn = len(f.Chosen.Draws)
	if k.Open = f.BySize; k.Open != nil {
		k.Unknown = f.unknownLimits()
		k.RoofLow, k.RoofHigh = float64(f.Room.Roof.Low), float64(f.Room.Roof.High)
	}
	return k
}

// Standing is what ranking the fleet adds to one site's finding.
type Standing struct {
	SiteID    string
	Rank      int
	Stability float64
	Trip      int
	OnList    bool
	Likely    *Likely
}

// Keys gives the keys of a fleet one after the other, in the order of the sites' ids,
// each to use while it lasts. They are asked for twice.
type Keys func(use func(*Key)) error

// Ranked is a fleet in its order.
type Ranked struct {
	Standings []Standing // by the sites' ids, of those alone to whom ranking adds something
	Lanes     map[rank.Lane]int
	Thin      string // what the report month lacks; "": nothing
}

// Rank orders a fleet by its keys and marks whom each branch can call. Neither keys
// nor draws are in memory all at once.
func Rank(keys Keys, callsPerBranch int, tripKm float64, draws rank.Draws) (*Ranked, error) {
	r := &Ranked{}
	pool, err := r.count(keys)
	if err != nil {
		return nil, err
	}
	var places []rank.Place
	var at []int32 // of each place among the standings
	words := map[string]string{}
	word := func(s string) string { // there are few of them: each once in memory
		if _, there := words[s]; !there {
			words[s] = s
		}
		return words[s]
	}
	err = keys(func(k *Key) {
		s := Standing{SiteID: k.SiteID, Stability: math.NaN()}
		if k.Open != nil {
			s.Likely = pool.likely(k)
		}
		if k.Lane.Ranked() && k.Offered {
			at = append(at, int32(len(r.Standings)))
			places = append(places, rank.Place{SiteID: k.SiteID, Branch: word(k.Branch), Postcode: word(k.Postcode), LatitudeDeg: k.LatitudeDeg, LongitudeDeg: k.LongitudeDeg,
				Priority: k.Priority, Expected: k.Expected, Rests: !k.NotBefore.IsZero(), Drawn: k.Drawn})
		} else if s.Likely == nil {
			return
		}
		r.Standings = append(r.Standings, s)
	})
	if err == nil {
		err = rank.Order(places, callsPerBranch, tripKm, draws)
	}
	for i, p := range places {
		s := &r.Standings[at[i]]
		s.Rank, s.Stability, s.Trip, s.OnList = p.Rank, p.Stability, p.Trip, p.OnList
	}
	return r, err
}

// Unranked counts a fleet that is not ranked.
func Unranked(keys Keys) (*Ranked, error) {
	r := &Ranked{}
	_, err := r.count(keys)
	return r, err
}

// count goes over the keys for what the fleet as a whole tells.
func (r *Ranked) count(keys Keys) (registered, error) {
	r.Lanes = map[rank.Lane]int{}
	var pools [len(likeLimits)]sample
	var month thinMonth
	err := keys(func(k *Key) {
		r.Lanes[k.Lane]++
		month.add(k.Completeness)
		for limit, most := range k.Takes {
			if most >= 0 {
				pools[limit].add(like{k.SiteID, k.Branch, k.CapacityKW, k.CommissionedOn, most})
			}
		}
	})
	r.Thin = month.says()
	pool := registered{}
	for limit, name := range likeLimits {
		pool[name] = pools[limit].close()
	}
	return pool, err
}

// Apply adds a standing to its site's finding, and says the chances of a site with
// unknown limits with the next step.
func (s *Standing) Apply(f *Finding) {
	v := &f.Verdict
	v.Rank, v.Stability, v.Trip, v.OnList = s.Rank, s.Stability, s.Trip, s.OnList
	if f.Likely = s.Likely; f.Likely != nil {
		v.NextStep += "; " + f.Likely.Says()
	}
}

// likeLimits are the limits that registered sites tell of others.
var likeLimits = [...]string{headroom.Roof, headroom.Service, headroom.Branch, headroom.Gateway}
