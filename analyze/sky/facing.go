package sky

import (
	"sort"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// FacingFit is a plane read off the data.
type FacingFit struct {
	ArrayIDs []string
	Plane    sun.Plane
	SDDeg    float64 // of the facing, as an angle between normals
	Cost     float64 // mean squared deviation an hour over the squared noise: 1 is as good as can be
	Days     int
}

// Rules of the fit, our choice unless tagged.
const (
	fitDays      = 45   // days used at most, spread over the seasons
	minFitDays   = 8    // fewer give no facing
	fitNoise     = 0.02 // of the modules' watts: an hour's noise on a clear day
	fitHaze      = 0.04 // spread of a day's level: haze, dust
	fitCap       = 9.0  // a day's level counts no more than three sigma
	maxTiltDeg   = 75   // steeper is no roof
	minFitSDDeg  = 3.0  // the model itself is no better: measured on invented fleets, where half the fits lie within 2.6
	fitEnergy    = 0.85 // of the rolling top of daily energies: may be clear
	fitRoughness = 0.35 // share of days kept: those with the smoothest curve
)

// Facings fits the planes of the arrays that the register leaves blank.
//
//	cost(planes) = sum over days [ sum (P - f_d M)^2 / s^2 + min(9, (f_d - f)^2 / (s^2/sum M^2 + (0.04 f)^2)) ]
//
// with f_d = sum P M / sum M^2 of the day and f their median: the shape of the
// day gives azimuth and part of the tilt, the levels over the seasons the rest.
//
// In:      hourly energy, and the sky where it is known.
// Out:     one fit a blank array (of more than two, the smaller ones share the largest one's plane).
// Refuses: fewer than eight usable days: no fit.
// Edges:   arrays with a known facing stay as they are and take their part of the output; hours at the inverters' limit are left out.
// Source:  orientation from clear-day power, Killinger et al. 2017 (published abstract); the cost is our choice.
// Cost:    some 200 models of 400 hours for one plane.
func Facings(data Hourly, site *ingest.Site, cat *ingest.Catalogue) []FacingFit {
	var blank []int
	for i := range site.Arrays {
		if _, known := FacingOf(site, &site.Arrays[i]); !known && groupOf(site, cat, &site.Arrays[i]).Watts > 0 {
			blank = append(blank, i)
		}
	}
	return FitArrays(data, site, cat, blank)
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
	set    *fitSet
	groups []Group
}

// NewFit picks the days for the arrays named by their place in the register;
// nil where there are too few.
func NewFit(data Hourly, site *ingest.Site, cat *ingest.Catalogue, which []int) *Fit {
	if len(which) == 0 {
		return nil
	}
	groups := make([]Group, 0, 2)
	sort.SliceStable(which, func(a, b int) bool {
		return groupOf(site, cat, &site.Arrays[which[a]]).Watts > groupOf(site, cat, &site.Arrays[which[b]]).Watts
	})
	for n, i := range which {
		g := groupOf(site, cat, &site.Arrays[i])
		if p, known := FacingOf(site, &site.Arrays[i]); known {
			g.Skyline = skylineOf(p, data.Sun, shadingOf(site, &site.Arrays[i]))
		}
		if n < 2 {
			groups = append(groups, g)
		} else {
			groups[0].Watts += g.Watts
			groups[0].ArrayIDs = append(groups[0].ArrayIDs, g.ArrayIDs...)
		}
	}
	set := newFitSet(data, site, cat, groups)
	if len(set.first)-1 < minFitDays || len(set.hours) == 0 {
		return nil
	}
	return &Fit{set, groups}
}

// Solve searches the planes of least cost.
func (f *Fit) Solve() []FacingFit {
	fits := f.set.solve(f.groups)
	for i := range fits {
		fits[i].ArrayIDs = f.groups[i].ArrayIDs
		fits[i].Days = len(f.set.first) - 1
	}
	return fits
}

// CostOf is the cost with the first group on a plane, over the first and the
// last half of the days; for fits of one group.
func (f *Fit) CostOf(p sun.Plane) (early, late float64) {
	s := f.set
	m := make([]float64, len(s.hours))
	s.model(&f.groups[0], p, m)
	for j := range m {
		m[j] += s.hours[j].known
	}
	mid := len(s.first) / 2
	cut := s.first[mid]
	first := &fitSet{h: s.h, hours: s.hours[:cut], first: s.first[:mid+1]}
	last := &fitSet{h: s.h, hours: s.hours[cut:]}
	for _, at := range s.first[mid:] {
		last.first = append(last.first, at-cut)
	}
	level := make([]float64, len(s.first))
	return first.cost(m[:cut], level), last.cost(m[cut:], level)
}
