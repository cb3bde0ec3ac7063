package sky

import (
	"math"
	"sort"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// FacingFit is a plane read off the data.
type FacingFit struct {
	ArrayIDs []string
	Plane    sun.Plane
	Share    float64 // of these arrays' modules on this plane; 1, or two planes that share them
	SDDeg    float64 // of the facing, as an angle between normals, for one of its two directions
	Cost     float64 // a day, see cost: below 2 as good as roofs get, above unexplained none of these planes
	Days     int
}

const (
	maxTiltDeg  = 75   // steeper is no roof
	unexplained = 13.0 // cost a day above which no plane explains the days
)

// Facings fits the planes of the arrays that the register leaves blank.
//
// In:      hourly energy, and the sky where it is known.
// Out:     one fit a blank array (of more than two, the smaller ones share the largest one's plane), or two for a single one whose days say that it lies on two planes.
// Refuses: fewer than eight usable days: no fit.
// Edges:   arrays with a known facing stay as they are and take their part of the output; hours at the inverters' limit are left out.
// Source:  orientation from clear-day power, Killinger et al. 2017 (published abstract); the cost is our choice.
// Cost:    some 300 models of 800 hours for one plane.
func Facings(data Hourly, site *ingest.Site, cat *ingest.Catalogue) []FacingFit {
	return FitArrays(data, site, cat, blanks(site, cat))
}

// blanks are the arrays whose facing the register leaves open.
func blanks(site *ingest.Site, cat *ingest.Catalogue) (blank []int) {
	for i := range site.Arrays {
		if _, known := FacingOf(site, &site.Arrays[i]); !known && groupOf(site, cat, &site.Arrays[i]).Watts > 0 {
			blank = append(blank, i)
		}
	}
	return blank
}

// FitArrays fits the planes of the arrays named by their place in the
// register, whatever the register says of them.
func FitArrays(data Hourly, site *ingest.Site, cat *ingest.Catalogue, which []int) []FacingFit {
	f := NewFit(data, site, cat, which)
	if f == nil {
		return nil
	}
	return f.Solve()
}

// Fit is the days and arrays that a facing is fitted on.
type Fit struct {
	set   *fitSet
	all   []candidate
	which []int // days of the set
	plain bool  // how sure the planes are is not asked
}

// NewFit picks the days for the arrays named by their place in the register;
// nil where there are too few.
func NewFit(data Hourly, site *ingest.Site, cat *ingest.Catalogue, which []int) *Fit {
	if len(which) == 0 {
		return nil
	}
	f := &Fit{set: newFitSet(data, site, cat, groupsOf(data.Sun, site, cat, which))}
	var from ingest.Hour
	for _, g := range f.set.groups {
		from = max(from, g.From)
	}
	f.all = data.candidates(from, func(int) bool { return true })
	if !f.take(spreadOut(f.all, data.Calendar.Days())) {
		return nil
	}
	return f
}

// groupsOf are the arrays as groups whose planes are sought, the largest first;
// of more than two the smaller ones join the first.
func groupsOf(h *sun.Hours, site *ingest.Site, cat *ingest.Catalogue, which []int) []Group {
	groups := make([]Group, 0, 2)
	sort.SliceStable(which, func(a, b int) bool {
		return groupOf(site, cat, &site.Arrays[which[a]]).Watts > groupOf(site, cat, &site.Arrays[which[b]]).Watts
	})
	for n, i := range which {
		g := groupOf(site, cat, &site.Arrays[i])
		if p, known := FacingOf(site, &site.Arrays[i]); known {
			g.Skyline = skylineOf(p, h, shadingOf(site, &site.Arrays[i]))
		}
		if n < 2 {
			groups = append(groups, g)
		} else {
			groups[0].Watts += g.Watts
			groups[0].ArrayIDs = append(groups[0].ArrayIDs, g.ArrayIDs...)
		}
	}
	return groups
}

// take lays out days; false: they are too few.
func (f *Fit) take(days []int) bool {
	if len(days) < minFitDays {
		return false
	}
	f.set.pick(days, func(int) float64 { return 0 })
	f.which = make([]int, len(days))
	for i := range f.which {
		f.which[i] = i
	}
	return true
}

// Solve searches the planes of least cost, on the days that look clear and then
// on those that go best with the planes so found, and says how sure they are.
func (f *Fit) Solve() []FacingFit {
	c := newClimb(f.set, f.which, max(1, len(f.set.groups)))
	cost, at := c.solve(1.0 / 8)
	if f.repick(at) {
		c = newClimb(f.set, f.which, max(1, len(f.set.groups)))
		cost, at = c.descend(at, 1.0/16)
	}
	if len(f.set.groups) == 1 {
		if two, twoCost := f.two(at, cost); two.planes != nil {
			at, cost = two, twoCost
		}
	}
	return f.fits(at, cost)
}

// rough is Solve without asking how sure it is, at a quarter of the time.
func (f *Fit) rough() []FacingFit {
	f.plain = true
	return f.Solve()
}

// repick looks at the candidates again, with their distance from the planes'
// curve for roughness.
func (f *Fit) repick(at pose) bool {
	days := make([]int, len(f.all))
	for i, c := range f.all {
		days[i] = c.d
	}
	f.set.pick(days, func(int) float64 { return 0 })
	c := newClimb(f.set, nil, max(1, len(f.set.groups)))
	c.output(at)
	again := make([]candidate, len(f.all))
	for i := range f.all {
		_, e := f.set.days[i].shape(c.sum)
		again[i] = candidate{f.all[i].d, e}
	}
	return f.take(spreadOut(again, f.set.data.Calendar.Days()))
}

// fits says what a pose is of each array.
func (f *Fit) fits(at pose, cost float64) []FacingFit {
	sd := []float64{math.NaN(), math.NaN()}
	if !f.plain {
		sd = f.spread(at)
	}
	out := make([]FacingFit, len(at.planes))
	for g := range out {
		out[g] = FacingFit{ArrayIDs: f.set.groups[min(g, len(f.set.groups)-1)].ArrayIDs, Plane: at.planes[g], Share: 1, SDDeg: sd[g], Cost: cost, Days: len(f.which)}
	}
	if at.share > 0 {
		out[0].Share, out[1].Share = at.share, 1-at.share
	}
	return out
}

// CostOf is the cost with the first group on a plane, over the first and the
// last half of the days; for fits of one group.
func (f *Fit) CostOf(p sun.Plane) (early, late float64) {
	mid := (len(f.which) + 1) / 2
	of := func(which []int) float64 {
		c := newClimb(f.set, which, 1)
		at := pose{planes: []sun.Plane{p}}
		if f.set.data.K == nil { // the haze is free, as in a search
			best := c.cost(at)
			for haze := -1.5; haze <= 4; haze += 0.5 {
				at.haze = haze
				best = min(best, c.cost(at))
			}
			return best
		}
		return c.cost(at)
	}
	return of(f.which[:mid]), of(f.which[mid:])
}
