package analyze

import (
	"math"
	"time"

	"rowen/analyze/headroom"
	"rowen/analyze/rank"
)

// Key is what ranking a fleet asks of one finding: a fleet of keys fits in memory
// where a fleet of findings does not.
type Key struct {
	SiteID, Branch, Postcode  string
	LatitudeDeg, LongitudeDeg float64
	CommissionedOn            time.Time
	CapacityKW                float64

	Lane               rank.Lane
	Offered            bool // something is proposed
	NotBefore          time.Time
	Priority, Expected float64
	Draws              []float32

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
	k.Draws = f.Chosen.Draws
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

// Rank orders a fleet by its keys and marks whom each branch can call. It gives the
// standings in the order of the keys, of those alone to whom it adds something.
func Rank(keys []Key, callsPerBranch int, tripKm float64) []Standing {
	pool := gather(keys)
	var standings []Standing
	var places []rank.Place
	var at []int // of each place among the standings
	for i := range keys {
		k := &keys[i]
		s := Standing{SiteID: k.SiteID, Stability: math.NaN()}
		if k.Open != nil {
			s.Likely = pool.likely(k)
		}
		if k.Lane.Ranked() && k.Offered {
			at = append(at, len(standings))
			places = append(places, rank.Place{SiteID: k.SiteID, Branch: k.Branch, Postcode: k.Postcode,
				LatitudeDeg: k.LatitudeDeg, LongitudeDeg: k.LongitudeDeg, Draws: k.Draws,
				Verdict: &rank.Verdict{Lane: k.Lane, Offer: &rank.Offer{}, NotBefore: k.NotBefore, Priority: k.Priority, Terms: rank.Terms{Expected: k.Expected}, Stability: math.NaN()}})
		} else if s.Likely == nil {
			continue
		}
		standings = append(standings, s)
	}
	rank.Order(places, callsPerBranch, tripKm)
	for i, p := range places {
		s := &standings[at[i]]
		s.Rank, s.Stability, s.Trip, s.OnList = p.Rank, p.Stability, p.Trip, p.OnList
	}
	return standings
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
