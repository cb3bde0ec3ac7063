package sky

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"rowen/analyze/sun"
)

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
				p.TiltDeg = min(maxTiltDeg, max(0, p.TiltDeg+float64(step*way[2*g])))
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
				by[i] += float64(s[0] * d)
				by[j] += float64(s[1] * d)
				v += float64(s[0] * s[1] * at(by))
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
