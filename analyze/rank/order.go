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

// Place is a verdict with what ranking it needs.
type Place struct {
	SiteID, Branch, Postcode string
	LatitudeDeg              float64
	LongitudeDeg             float64
	Draws                    []float32 // net benefit of the offer in each draw; nil: not drawn
	*Verdict
}

// Order ranks the verdicts: priority, then the site's ID, and marks what each
// branch can call, how sure each place on the list is, and who lies within a
// drive of whom. Ranks run over the whole fleet.
func Order(places []Place, callsPerBranch int, tripKm float64) {
	order := make([]*Place, 0, len(places))
	for i := range places {
		if p := &places[i]; p.Lane.Ranked() && p.Offer != nil {
			order = append(order, p)
		}
	}
	slices.SortFunc(order, func(a, b *Place) int {
		return cmp.Or(cmp.Compare(b.Priority, a.Priority), strings.Compare(a.SiteID, b.SiteID))
	})
	branches := map[string][]*Place{}
	for n, p := range order {
		p.Rank = n + 1
		if !p.NotBefore.IsZero() { // ranked, but not to be called yet
			p.Stability = 0
			continue
		}
		p.OnList = callsPerBranch == 0 || len(branches[p.Branch]) < callsPerBranch
		branches[p.Branch] = append(branches[p.Branch], p)
	}
	for _, list := range branches {
		stability(list, callsPerBranch)
	}
	trips(order, tripKm)
}

// stability is the share of the draws in which each site stays on its branch's
// list: its offer gains, and fewer than the branch can call come before it. The
// draws of the sites are taken as independent, which makes the list look a little
// less steady than it is: weather and prices move all sites together.
func stability(list []*Place, calls int) {
	draws := math.MaxInt
	for _, p := range list {
		if len(p.Draws) > 0 {
			draws = min(draws, len(p.Draws))
		}
	}
	if draws == math.MaxInt {
		return
	}
	stays := make([]int, len(list))
	at := make([]int, 0, len(list))
	worth := make([]float64, len(list))
	for d := range draws {
		at = at[:0]
		for i, p := range list {
			worth[i] = p.Priority
			if len(p.Draws) > 0 && p.Terms.Expected > 0 {
				worth[i] *= float64(p.Draws[d]) / p.Terms.Expected
			}
			if worth[i] > 0 {
				at = append(at, i)
			}
		}
		slices.SortFunc(at, func(a, b int) int { return cmp.Or(cmp.Compare(worth[b], worth[a]), a-b) })
		if calls > 0 {
			at = at[:min(calls, len(at))]
		}
		for _, i := range at {
			stays[i]++
		}
	}
	for i, p := range list {
		p.Stability = float64(stays[i]) / float64(draws)
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
