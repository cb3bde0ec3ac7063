package sky

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"rowen/analyze/stat"
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

// fitHour is one hour that the fit looks at.
type fitHour struct {
	i         int
	light     sun.Light
	tempC, wh float64
	known     float64 // modelled output of the arrays whose facing is given, factor 1
}

// fitSet is the days that the fit looks at.
type fitSet struct {
	h     *sun.Hours
	hours []fitHour
	first []int // first hour of each day, and the end
}

// Facings fits the planes of the arrays that the register leaves blank.
//
//	cost(planes) = sum over days [ sum (P - f_d M)^2 / s^2 + min(9, (f_d - f)^2 / (s^2/sum M^2 + (0.04 f)^2)) ]
//
// with f_d = sum P M / sum M^2 of the day and f their median: the shape of the
// day gives azimuth and part of the tilt, the levels over the seasons the rest.
//
// In:      hourly energy; k, the sky by hour, or nil: days that look clear are taken as K = 1.
// Out:     one fit a blank array (of more than two, the smaller ones share the largest one's plane).
// Refuses: fewer than eight usable days: no fit.
// Edges:   arrays with a known facing stay as they are and take their part of the output; hours at the inverters' limit are left out.
// Source:  orientation from clear-day power, Killinger et al. 2017 (published abstract); the cost is our choice.
// Cost:    some 200 models of 400 hours for one plane.
func Facings(site *ingest.Site, cat *ingest.Catalogue, h *sun.Hours, wh, tempC []float64, days []int, k []float64) []FacingFit {
	var blank []int
	for i := range site.Arrays {
		if _, known := FacingOf(site, &site.Arrays[i]); !known && groupOf(site, cat, &site.Arrays[i]).Watts > 0 {
			blank = append(blank, i)
		}
	}
	return FitArrays(site, cat, h, wh, tempC, days, k, blank)
}

// FitArrays fits the planes of the arrays named by their place in the
// register, whatever the register says of them.
func FitArrays(site *ingest.Site, cat *ingest.Catalogue, h *sun.Hours, wh, tempC []float64, days []int, k []float64, which []int) []FacingFit {
	f := NewFit(site, cat, h, wh, tempC, days, k, which)
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
func NewFit(site *ingest.Site, cat *ingest.Catalogue, h *sun.Hours, wh, tempC []float64, days []int, k []float64, which []int) *Fit {
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
			g.Skyline = skylineOf(p, h, shadingOf(site, &site.Arrays[i]))
		}
		if n < 2 {
			groups = append(groups, g)
		} else {
			groups[0].Watts += g.Watts
			groups[0].ArrayIDs = append(groups[0].ArrayIDs, g.ArrayIDs...)
		}
	}
	set := newFitSet(site, cat, h, wh, tempC, days, k, groups)
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

// newFitSet picks the days and splits their light once.
func newFitSet(site *ingest.Site, cat *ingest.Catalogue, h *sun.Hours, wh, tempC []float64, days []int, k []float64, groups []Group) *fitSet {
	fitted := map[string]bool{}
	limit, watts := 0.0, 0.0
	var from ingest.Hour
	for _, g := range groups {
		for _, id := range g.ArrayIDs {
			fitted[id] = true
		}
		limit, watts, from = limit+g.LimitW, watts+g.Watts, max(from, g.From)
	}
	others := *site
	others.Arrays = nil
	for _, a := range site.Arrays {
		if !fitted[a.ID] {
			others.Arrays = append(others.Arrays, a)
		}
	}
	known := NewModel(&others, cat, h, nil)
	end := h.Start + ingest.Hour(len(wh))
	if known != nil {
		limit, watts = limit+known.LimitW(end), watts+known.Watts(end)
	}
	set := &fitSet{h: h}
	for _, d := range fitDaysOf(h, wh, days, k, from) {
		set.first = append(set.first, len(set.hours))
		for i := days[d]; i < days[d+1]; i++ {
			p := wh[i]
			sky := 1.0
			if k != nil {
				sky = k[i]
			}
			if p != p || sky != sky || h.Up[i] < gateUp || p >= clippedShare*limit {
				continue
			}
			fh := fitHour{i: i, tempC: tempC[i], wh: p / watts}
			fh.light = light(h, i, sky)
			if known != nil {
				fh.known = known.Free(h, i, sky, tempC[i]) / watts
			}
			set.hours = append(set.hours, fh)
		}
	}
	set.first = append(set.first, len(set.hours))
	for i := range groups {
		groups[i].Watts /= watts
	}
	return set
}

// fitDaysOf picks up to fitDays days. With a known sky: bright days on which
// the arrays around agree. Without: full days with much energy and the
// smoothest curves of their season.
func fitDaysOf(h *sun.Hours, wh []float64, days []int, k []float64, from ingest.Hour) []int {
	nd := len(days) - 1
	energy, rough := make([]float64, nd), make([]float64, nd)
	for d := range energy {
		energy[d], rough[d] = math.NaN(), math.NaN()
		if h.Start+ingest.Hour(days[d]) >= from && days[d+1]-days[d] >= 23 {
			energy[d], rough[d] = dayShape(h, wh, days[d], days[d+1], k)
		}
	}
	top := rollingTop(energy)
	type cand struct {
		d     int
		rough float64
	}
	var all []cand
	for d := range energy {
		if energy[d] >= fitEnergy*top[d] && energy[d] > 0 && rough[d] == rough[d] {
			all = append(all, cand{d, rough[d]})
		}
	}
	// the smoothest of each stretch of days, so that every season speaks
	slots := fitDays
	span := max(1, (nd+slots-1)/slots)
	best := map[int]cand{}
	var order []float64
	for _, c := range all {
		order = append(order, c.rough)
		if b, ok := best[c.d/span]; !ok || c.rough < b.rough {
			best[c.d/span] = c
		}
	}
	limit := stat.Quantile(order, fitRoughness)
	var out []int
	for s := 0; s <= nd/span; s++ {
		if c, ok := best[s]; ok && (c.rough <= limit || len(all) < 2*minFitDays) {
			out = append(out, c.d)
		}
	}
	return out
}

// dayShape gives a day's energy and how rough its curve is: the sum of second
// differences over the top, least on a clear day. With a known sky the
// roughness is 1 - K instead. NaN where hours are missing.
func dayShape(h *sun.Hours, wh []float64, lo, hi int, k []float64) (energy, rough float64) {
	var top, bends, clear, sky float64
	for i := lo; i < hi; i++ {
		if h.ClearGHI[i] <= 0 {
			continue
		}
		if wh[i] != wh[i] {
			return math.NaN(), math.NaN()
		}
		energy += wh[i]
		top = max(top, wh[i])
		clear += h.ClearGHI[i]
		if k != nil {
			if k[i] != k[i] {
				return math.NaN(), math.NaN()
			}
			sky += k[i] * h.ClearGHI[i]
			continue
		}
		if i > lo && i+1 < hi {
			bends += math.Abs(wh[i-1] - 2*wh[i] + wh[i+1])
		}
	}
	if !(clear > 0) || !(top > 0) {
		return math.NaN(), math.NaN()
	}
	if k != nil {
		return sky / clear, math.Abs(1 - sky/clear)
	}
	return energy, bends / top
}

// model fills m with the output of a group on a plane, factor 1, as new.
func (s *fitSet) model(g *Group, p sun.Plane, m []float64) {
	one := *g
	one.Plane = p
	one.prepare()
	for j := range s.hours {
		fh := &s.hours[j]
		m[j] = max(0, one.dcW(s.h, fh.i, fh.light, fh.tempC))
	}
}

// cost is the sum of the doc comment of Facings, over the number of hours.
func (s *fitSet) cost(m, level []float64) float64 {
	sum := 0.0
	nd := len(s.first) - 1
	for d := 0; d < nd; d++ {
		var mm, pm, pp float64
		for j := s.first[d]; j < s.first[d+1]; j++ {
			p, v := s.hours[j].wh, m[j]
			mm, pm, pp = mm+v*v, pm+p*v, pp+p*p
		}
		level[d] = 0
		if mm > 0 {
			level[d] = pm / mm
			sum += (pp - pm*pm/mm) / (fitNoise * fitNoise)
		}
	}
	f := stat.Median(level[:nd])
	if !(f > 0) {
		return math.Inf(1)
	}
	for d := 0; d < nd; d++ {
		sum += min(fitCap, sq((level[d]-f)/(fitHaze*f)))
	}
	return sum / float64(len(s.hours))
}

// solve searches the plane, or the two planes, of least cost: a grid, then
// steps from its best points, turned and tilted singly and together.
func (s *fitSet) solve(groups []Group) []FacingFit {
	c := &climb{set: s, groups: groups, level: make([]float64, len(s.first)), sum: make([]float64, len(s.hours))}
	for range groups {
		c.parts = append(c.parts, make([]float64, len(s.hours)))
	}
	best, planes := math.Inf(1), []sun.Plane(nil)
	for _, from := range c.grid() {
		if cost, at := c.descend(from); cost < best {
			best, planes = cost, at
		}
	}
	if planes == nil {
		return nil
	}
	fits := make([]FacingFit, len(groups))
	for g, sd := range c.spread(planes, best) {
		fits[g] = FacingFit{Plane: planes[g], Cost: best, SDDeg: sd}
	}
	return fits
}

// climb is one search.
type climb struct {
	set    *fitSet
	groups []Group
	parts  [][]float64 // output of each group on its plane
	level  []float64
	sum    []float64
}

// cost of all groups on their planes.
func (c *climb) cost(planes []sun.Plane) float64 {
	for g := range planes {
		c.set.model(&c.groups[g], planes[g], c.parts[g])
	}
	return c.ofParts()
}

func (c *climb) ofParts() float64 {
	for j := range c.sum {
		c.sum[j] = c.set.hours[j].known
	}
	for _, p := range c.parts {
		for j, v := range p {
			c.sum[j] += v
		}
	}
	return c.set.cost(c.sum, c.level)
}

// moves are the directions of the search: tilt and turn of each plane alone,
// and of two planes against and with each other, since what one gains in the
// morning the other may lose.
func moves(groups int) [][]float64 {
	if groups == 1 {
		return [][]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}}
	}
	var out [][]float64
	for _, a := range []float64{-1, 0, 1} {
		for _, b := range []float64{-1, 0, 1} {
			for _, c := range []float64{-1, 0, 1} {
				for _, d := range []float64{-1, 0, 1} {
					if a != 0 || b != 0 || c != 0 || d != 0 {
						out = append(out, []float64{a, b, c, d})
					}
				}
			}
		}
	}
	return out
}

// descend walks down from a point, halving its step where nothing is better.
func (c *climb) descend(from []sun.Plane) (float64, []sun.Plane) {
	at := append([]sun.Plane(nil), from...)
	next := append([]sun.Plane(nil), from...)
	best := c.cost(at)
	ways := moves(len(at))
	for step := 8.0; step >= 0.5; {
		better := false
		for _, way := range ways {
			for g := range at {
				p := at[g]
				p.TiltDeg = min(maxTiltDeg, max(0, p.TiltDeg+step*way[2*g]))
				p.AzimuthDeg = math.Mod(p.AzimuthDeg+step*way[2*g+1]/max(0.15, math.Sin(p.TiltDeg*math.Pi/180))+720, 360)
				next[g] = p
			}
			if cost := c.cost(next); cost < best {
				best, better = cost, true
				copy(at, next)
			}
		}
		if !better {
			step /= 2
		}
	}
	return best, at
}

// grid gives the best points of a coarse grid to start from. Two planes start
// with one tilt, as on most roofs.
func (c *climb) grid() [][]sun.Plane {
	tilts, step, most := []float64{8, 20, 32, 48}, 15.0, 1
	if len(c.groups) == 2 {
		tilts, step, most = []float64{12, 22, 34}, 30, 4
	}
	type point struct {
		cost   float64
		planes []sun.Plane
	}
	var points []point
	for _, t := range tilts {
		var made [][2][]float64 // by azimuth and group
		var at []sun.Plane
		for a := 0.0; a < 360; a += step {
			p := sun.Plane{TiltDeg: t, AzimuthDeg: a}
			var m [2][]float64
			for g := range c.groups {
				m[g] = make([]float64, len(c.set.hours))
				c.set.model(&c.groups[g], p, m[g])
			}
			made, at = append(made, m), append(at, p)
		}
		keep := c.parts
		c.parts = make([][]float64, len(keep))
		for i := range made {
			c.parts[0] = made[i][0]
			if len(keep) == 1 {
				points = append(points, point{c.ofParts(), []sun.Plane{at[i]}})
				continue
			}
			for j := range made {
				c.parts[1] = made[j][1]
				points = append(points, point{c.ofParts(), []sun.Plane{at[i], at[j]}})
			}
		}
		c.parts = keep
	}
	sort.SliceStable(points, func(i, j int) bool { return points[i].cost < points[j].cost })
	var out [][]sun.Plane
	for i := 0; i < min(most, len(points)) && !math.IsInf(points[i].cost, 1); i++ {
		out = append(out, points[i].planes)
	}
	return out
}

// spread gives the standard deviation of each group's facing from how the cost
// rises around its minimum, all planes moving at once: what one plane can take
// over from another is not known of either.
//
//	Cov = 2 cost/(days - parameters) H^-1,  H the second differences of the cost
//
// The effective number of observations is the number of days: hours of one
// day err together.
func (c *climb) spread(planes []sun.Plane, best float64) []float64 {
	const d = 3.0 // degrees of facing
	n := 2 * len(planes)
	moved := append([]sun.Plane(nil), planes...)
	at := func(by []float64) float64 {
		for g, p := range planes {
			moved[g] = sun.Plane{TiltDeg: math.Abs(p.TiltDeg + by[2*g]), AzimuthDeg: p.AzimuthDeg + by[2*g+1]/max(0.15, math.Sin(p.TiltDeg*math.Pi/180))}
		}
		return c.cost(moved)
	}
	h := mat.NewSymDense(n, nil)
	by := make([]float64, n)
	for i := range n {
		for j := i; j < n; j++ {
			v := 0.0
			for _, s := range [][2]float64{{1, 1}, {-1, -1}, {1, -1}, {-1, 1}} {
				clear(by)
				by[i] += s[0] * d
				by[j] += s[1] * d
				v += s[0] * s[1] * at(by)
			}
			h.SetSym(i, j, v/(4*d*d)) // for i = j: (f(2d) - 2f(0) + f(-2d))/(4d^2)
		}
	}
	out := make([]float64, len(planes))
	var inv mat.Dense
	err := inv.Inverse(h)
	days := max(1, float64(len(c.set.first)-1-n))
	for g := range out {
		v := 0.0
		for k := 2 * g; k < 2*g+2 && err == nil; k++ {
			if x := inv.At(k, k); x > 0 {
				v = max(v, 2*best/days*x)
			} else {
				v = math.Inf(1)
			}
		}
		if err != nil {
			v = math.Inf(1)
		}
		out[g] = min(maxFitSDDeg, max(minFitSDDeg, math.Sqrt(v)))
	}
	return out
}

// maxFitSDDeg is said where the data tell nothing.
const maxFitSDDeg = 45
