package rank

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"rowen/ingest/samebits"
)

// The orders that a list can have, by what is scarce.
const (
	PerCall         = "net_benefit_per_call"  // calls are scarce: what one call is worth
	PerVisit        = "net_benefit_per_visit" // visits are scarce: what one visit is worth
	ShortestPayback = "shortest_payback"      // the offers that are easiest to accept first
)

// Orders lists them, the default first.
var Orders = []string{PerCall, PerVisit, ShortestPayback}

// Terms are what a priority is made of.
//
//	net_benefit_per_call    Expected · Chance · Confidence · Outcomes
//	net_benefit_per_visit   the same / Visits
//	shortest_payback        Chance · Confidence · Outcomes / Payback
//
// Chance · Confidence is the chance that the offer stands: that it gains, and
// that what it rests on is so.
type Terms struct {
	Expected   float64 // net benefit to the customer, its enabling jobs paid
	Chance     float64 // of a gain
	Confidence float64
	Outcomes   float64 // how calls like it have fared; 1: as the fleet, or too few to say
	Visits     float64 // one for the work, and one for each thing that is looked at or prepared at the house
	Payback    float64 // years
}

// visitJobs are the enabling jobs that take somebody to the house beforehand.
var visitJobs = []string{"panelboard_upgrade", "subpanel", "supply_side_connection"}

func termsOf(c *Case, f *Offer, confidence float64) Terms {
	t := Terms{Expected: f.Expected, Chance: f.Chance, Confidence: confidence, Outcomes: c.OutcomeFactor, Visits: 1, Payback: f.Payback}
	if t.Outcomes == 0 {
		t.Outcomes = 1
	}
	for _, job := range f.Jobs {
		if slices.Contains(visitJobs, job.Name) {
			t.Visits++
		}
	}
	if len(c.Unknown) > 0 {
		t.Visits++
	}
	return t
}

// Priority is what the ranking sorts by.
func (t Terms) Priority(order string) float64 {
	stands := t.Chance * t.Confidence * t.Outcomes
	switch order {
	case PerVisit:
		return math.Max(t.Expected, 0) * stands / t.Visits
	case ShortestPayback:
		return stands / math.Max(t.Payback, 0.1)
	}
	return math.Max(t.Expected, 0) * stands
}

// Place is a ranked site with what its place on the list hangs on, and what Order
// finds.
type Place struct {
	SiteID, Branch, Postcode string
	LatitudeDeg              float64
	LongitudeDeg             float64
	Priority, Expected       float64 // of the verdict and its terms
	Rests                    bool    // it is not to be called yet
	Drawn                    int     // draws of the offer's net benefit that there are; 0: not drawn

	Rank      int
	Stability float64
	Trip      int
	OnList    bool
}

// Draws gives the net benefit of a place's offer in each draw.
type Draws func(p *Place) ([]float32, error)

// Order ranks the places: priority, then the site's ID, and marks what each
// branch can call, how sure each place on the list is, and who lies within a
// drive of whom. Ranks run over the whole fleet.
func Order(places []Place, callsPerBranch int, tripKm float64, draws Draws) error {
	order := make([]*Place, len(places))
	for i := range places {
		order[i] = &places[i]
	}
	slices.SortFunc(order, func(a, b *Place) int {
		return cmp.Or(cmp.Compare(b.Priority, a.Priority), strings.Compare(a.SiteID, b.SiteID))
	})
	branches := map[string][]*Place{}
	for n, p := range order {
		p.Rank, p.Trip, p.OnList, p.Stability = n+1, 0, false, math.NaN()
		if p.Rests { // ranked, but not to be called yet
			p.Stability = 0
			continue
		}
		p.OnList = callsPerBranch == 0 || len(branches[p.Branch]) < callsPerBranch
		branches[p.Branch] = append(branches[p.Branch], p)
	}
	for _, list := range branches {
		if err := stability(list, callsPerBranch, draws); err != nil {
			return err
		}
	}
	trips(order, tripKm)
	return nil
}

// stability is the share of the draws in which each site stays on its branch's
// list: its offer gains, and fewer than the branch can call come before it. The
// draws of the sites are taken as independent, which makes the list look a little
// less steady than it is: weather and prices move all sites together.
//
// The draws are gone over twice and not kept: once for the last of the list in each
// of them, once for those that come before it.
func stability(list []*Place, calls int, of Draws) error {
	draws := math.MaxInt
	for _, p := range list {
		if p.Drawn > 0 {
			draws = min(draws, p.Drawn)
		}
	}
	if draws == math.MaxInt {
		return nil
	}
	each := func(use func(i, draw int, worth float64)) error {
		for i, p := range list {
			var drawn []float32
			if p.Drawn > 0 && p.Expected > 0 {
				var err error
				if drawn, err = of(p); err != nil {
					return err
				}
			}
			for d := range draws {
				worth := p.Priority
				if drawn != nil {
					worth *= float64(drawn[d]) / p.Expected
				}
				if worth > 0 {
					use(i, d, worth)
				}
			}
		}
		return nil
	}
	first := make([]best, draws)
	if calls > 0 && calls < len(list) {
		if err := each(func(i, d int, worth float64) { first[d].add(entry{worth, i}, calls) }); err != nil {
			return err
		}
	}
	stays := make([]int, len(list))
	err := each(func(i, d int, worth float64) {
		if len(first[d]) < calls || calls == 0 || !first[d][0].before(entry{worth, i}) {
			stays[i]++
		}
	})
	for i, p := range list {
		p.Stability = float64(stays[i]) / float64(draws)
	}
	return err
}

// entry is a place of a branch's list in one draw.
type entry struct {
	worth float64
	at    int
}

// before tells which of two comes first.
func (e entry) before(o entry) bool { return e.worth > o.worth || e.worth == o.worth && e.at < o.at }

// best are the first entries of a draw, as a heap with the last of them on top.
type best []entry

// add takes an entry in where it is one of the first so many.
func (b *best) add(e entry, most int) {
	h := *b
	if len(h) < most {
		h = append(h, e)
		for i := len(h) - 1; i > 0 && h[(i-1)/2].before(h[i]); i = (i - 1) / 2 {
			h[i], h[(i-1)/2] = h[(i-1)/2], h[i]
		}
		*b = h
		return
	}
	if !e.before(h[0]) {
		return
	}
	h[0] = e
	for i := 0; ; {
		last := i // of itself and those below, the one that comes last
		for c := 2*i + 1; c <= 2*i+2 && c < len(h); c++ {
			if h[last].before(h[c]) {
				last = c
			}
		}
		if last == i {
			return
		}
		h[i], h[last] = h[last], h[i]
		i = last
	}
}

// tripStops is how many sites one trip serves at the most (our choice: a day's
// surveys).
const tripStops = 6

// trips numbers the sites of the list that lie within a drive of each other, the
// best site's trip first: straight lines between coordinates, or the same postcode
// where a site has none.
func trips(order []*Place, km float64) {
	n := 0
	for i, seed := range order {
		if !seed.OnList || seed.Trip > 0 {
			continue
		}
		n++
		seed.Trip = n
		stops := 1
		for _, p := range order[i+1:] {
			if stops < tripStops && p.OnList && p.Trip == 0 && p.Branch == seed.Branch && near(seed, p, km) {
				p.Trip = n
				stops++
			}
		}
	}
}

func near(a, b *Place, km float64) bool {
	if d := distanceKm(a, b); !math.IsNaN(d) {
		return d <= km
	}
	return a.Postcode != "" && a.Postcode == b.Postcode
}

// distanceKm is the straight line over the ground: a flat map is exact enough
// within a drive.
func distanceKm(a, b *Place) float64 {
	const kmPerDeg = 111.2
	y := (a.LatitudeDeg - b.LatitudeDeg) * kmPerDeg
	x := math.Remainder(a.LongitudeDeg-b.LongitudeDeg, 360) * kmPerDeg * samebits.Cos(a.LatitudeDeg*math.Pi/180)
	return samebits.Hypot(x, y)
}
