package sky

import (
	"math"

	"rowen/analyze/sun"
)

// pose is where a search stands: the planes, the haze and, where one array is
// taken as two planes, the share of the first.
type pose struct {
	planes []sun.Plane
	haze   float64
	share  float64 // of the first plane; 0: each group has its own
}

func (p pose) clone() pose {
	p.planes = append([]sun.Plane(nil), p.planes...)
	return p
}

// climb is one search.
type climb struct {
	set   *fitSet
	which []int // days
	parts [][]float64
	at    []sun.Plane // whose output parts hold
	haze  float64
	sum   []float64
	level levels
}

func newClimb(s *fitSet, which []int, planes int) *climb {
	c := &climb{set: s, which: which, sum: make([]float64, len(s.known)), at: make([]sun.Plane, planes), haze: math.NaN()}
	for range planes {
		c.parts = append(c.parts, make([]float64, len(s.known)))
	}
	return c
}

// output works out the sum of the planes.
func (c *climb) output(p pose) {
	s := c.set
	s.hazier(p.haze)
	copy(c.sum, s.known)
	for g, plane := range p.planes {
		group := &s.groups[min(g, len(s.groups)-1)]
		if plane != c.at[g] || p.haze != c.haze {
			s.model(group, plane, c.parts[g])
			c.at[g] = plane
		}
		share := 1.0
		if p.share > 0 {
			if share = p.share; g == 1 {
				share = 1 - p.share
			}
		}
		for j, v := range c.parts[g] {
			c.sum[j] += float64(share * v)
		}
	}
	c.haze = p.haze
}

func (c *climb) cost(p pose) float64 {
	c.output(p)
	return c.set.cost(c.sum, c.which, &c.level)
}

// A move changes a pose by a step.
type move func(p *pose, step float64)

// moves are the directions of a search: tilt and turn of each plane alone, of
// two planes with and against each other, since what one gains in the morning
// the other may lose, the haze and the share.
func (c *climb) moves(p pose) []move {
	turn := func(g int, dir float64) move {
		return func(p *pose, step float64) { p.planes[g] = turned(p.planes[g], 0, 12*dir*step) }
	}
	tilt := func(g int, dir float64) move {
		return func(p *pose, step float64) { p.planes[g] = turned(p.planes[g], 8*dir*step, 0) }
	}
	both := func(a, b move) move { return func(p *pose, step float64) { a(p, step); b(p, step) } }
	var out []move
	for _, dir := range []float64{1, -1} {
		for g := range p.planes {
			out = append(out, tilt(g, dir), turn(g, dir))
		}
		if len(p.planes) == 2 {
			out = append(out, both(tilt(0, dir), tilt(1, dir)), both(tilt(0, dir), tilt(1, -dir)), both(turn(0, dir), turn(1, dir)), both(turn(0, dir), turn(1, -dir)))
		}
		if c.set.data.K == nil {
			out = append(out, func(p *pose, step float64) { p.haze = min(6, max(-2, p.haze+float64(dir*step))) })
		}
		if p.share > 0 {
			out = append(out, func(p *pose, step float64) { p.share = min(0.9, max(0.1, p.share+float64(0.15*dir*step))) })
		}
	}
	return out
}

// turned is a plane tilted and turned on, within what roofs can be.
func turned(p sun.Plane, tilt, azimuth float64) sun.Plane {
	p.TiltDeg = min(maxTiltDeg, max(0, p.TiltDeg+tilt))
	p.AzimuthDeg = math.Mod(p.AzimuthDeg+azimuth+720, 360)
	return p
}

// descend walks down from a pose, halving its step where nothing is better.
func (c *climb) descend(from pose, least float64) (float64, pose) {
	at, best := from.clone(), c.cost(from)
	ways := c.moves(from)
	for step := 1.0; step >= least; {
		better := false
		for _, way := range ways {
			next := at.clone()
			way(&next, step)
			if cost := c.cost(next); cost < best-1e-9 {
				best, at, better = cost, next, true
			}
		}
		if !better {
			step /= 2
		}
	}
	return best, at
}

// solve searches from a coarse grid. Two groups start with one tilt, as on most
// roofs.
func (c *climb) solve(least float64) (float64, pose) {
	starts := c.grid()
	best, at := math.Inf(1), pose{}
	for _, from := range starts {
		if cost, to := c.descend(from, least); cost < best {
			best, at = cost, to
		}
	}
	return best, at
}
