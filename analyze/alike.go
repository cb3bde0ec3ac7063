package analyze

import (
	"cmp"
	"math"
	"slices"
	"time"

	"rowen/analyze/headroom"
	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

const (
	likeEra     = 4.0  // years apart at which a site counts 1/e of one of the same year (our choice)
	likeSize    = 0.35 // ln of the ratio of the arrays' sizes at which it counts e^-1/2 (our choice)
	otherBranch = 0.5  // what a site of another branch counts (our choice: roofs are alike within a town)
	priorWeight = 8.0  // registered sites that the prior counts as (our choice)
	// priorBlocked is how often a limit that nobody looked at ends a sale, whatever
	// is done (our choice, about one site in ten).
	priorBlocked = 0.1
	enoughSites  = 10 // registered sites, by weight, that a distribution is said to come from
)

// like is a site one of whose limits is registered, and how many modules that
// limit takes.
type like struct {
	siteID, branch string
	capacityKW     float64
	commissionedOn time.Time
	most           int
}

// registered are, by limit, the sites of a fleet that stand for those whose limit
// nobody has registered.
type registered map[string][]like

// mostLike sites are asked for each limit: with a thousand the chances are known to
// two points of a hundred at the worst (the binomial's standard error), and a large
// fleet's work does not grow with its square (our choice).
const mostLike = 1000

// sample draws the sites that tell one limit, the same ones whatever their order.
type sample struct {
	drawn []like
	more  bool // there were more
}

func (s *sample) add(l like) {
	if s.drawn = append(s.drawn, l); len(s.drawn) >= 2*mostLike {
		s.trim()
	}
}

func (s *sample) trim() {
	slices.SortFunc(s.drawn, func(a, b like) int {
		return cmp.Or(cmp.Compare(stat.Seed(a.siteID), stat.Seed(b.siteID)), cmp.Compare(a.siteID, b.siteID))
	})
	s.drawn, s.more = s.drawn[:min(mostLike, len(s.drawn))], true
}

// close gives the sample: all of a small fleet, in their order.
func (s *sample) close() []like {
	if s.more || len(s.drawn) > mostLike {
		s.trim()
	}
	return s.drawn
}

// chances is how often a limit takes at least n modules, n from 1 on, and how
// many registered sites like this one say so.
func (p registered) chances(k *Key, name string, sizes int) (atLeast []float64, weight float64) {
	atLeast = make([]float64, sizes)
	prior := priorOf(k, name)
	for n := range atLeast {
		atLeast[n] = priorWeight * prior(n+1)
	}
	sumSq := 0.0
	for _, o := range p[name] {
		if o.siteID == k.SiteID {
			continue
		}
		w := alike(k, &o)
		weight += w
		sumSq += float64(w * w)
		for n := range atLeast {
			if o.most > n {
				atLeast[n] += w
			}
		}
	}
	for n := range atLeast {
		atLeast[n] /= priorWeight + weight
	}
	if weight > 0 {
		return atLeast, weight * weight / sumSq // as many of equal weight would tell as much
	}
	return atLeast, 0
}

// rowThere tells whether a site's own row tells a limit: what is known of a site
// without one is known because it is bad, and would stand for the worst.
func rowThere(f *Finding, name string) bool {
	switch name {
	case headroom.Roof:
		return len(f.Site.Planes) > 0
	case headroom.Gateway:
		return f.Site.Gateway != nil
	}
	return f.Site.Service != nil
}

// mostWith is how many modules a site's limit takes, jobs done that lift it.
func mostWith(f *Finding, name string) (n int, known bool) {
	for _, l := range f.Room.Limits() {
		if l.Name != name {
			continue
		}
		if l.Unlimited {
			return headroom.Many, true
		}
		if !l.Modules.Known {
			return 0, false
		}
		if name != headroom.Roof {
			for _, j := range f.Room.Jobs {
				if j.Lifts == name {
					return headroom.Many, true
				}
			}
		}
		return l.Modules.V, true
	}
	return 0, false
}

// priorOf is what is thought of a limit before any site of the fleet is looked
// at: of a roof a triangle from what is measured to the most that arrays like the
// old one leave, its peak at a third; of the others one chance in ten that it
// ends the sale.
func priorOf(k *Key, name string) func(n int) float64 {
	if name != headroom.Roof {
		return func(int) float64 { return 1 - priorBlocked }
	}
	low, high := k.RoofLow, k.RoofHigh
	peak := low + (high-low)/3
	return func(n int) float64 {
		x := float64(n)
		switch {
		case x <= low:
			return 1
		case x > high:
			return 0
		case x <= peak:
			return 1 - sq(x-low)/((high-low)*(peak-low))
		}
		return sq(high-x) / ((high - low) * (high - peak))
	}
}

// alike is what a site counts for another: by the array's size, its era and the
// branch.
func alike(k *Key, o *like) float64 {
	w := 1.0
	if a, b := k.CapacityKW, o.capacityKW; a > 0 && b > 0 {
		w *= samebits.Exp(-sq(samebits.Log(a/b)/likeSize) / 2)
	}
	if a, b := k.CommissionedOn, o.commissionedOn; !a.IsZero() && !b.IsZero() {
		w *= samebits.Exp(-math.Abs(a.Sub(b).Hours()) / (24 * 365.25 * likeEra))
	}
	if k.Branch != o.branch {
		w *= otherBranch
	}
	return w
}

func sq(x float64) float64 { return float64(x * x) }
