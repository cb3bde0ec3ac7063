package sky

import (
	"sort"

	"rowen/analyze/sun"
)

// gridPoint is a place to start from.
type gridPoint struct {
	cost float64
	pose pose
}

// best gives the poses of least cost.
func best(points []gridPoint, most int) []pose {
	sort.SliceStable(points, func(i, j int) bool { return points[i].cost < points[j].cost })
	var out []pose
	for i := 0; i < min(most, len(points)); i++ {
		out = append(out, points[i].pose)
	}
	return out
}

// grid gives the best points of a coarse grid for the groups as they are.
func (c *climb) grid() []pose {
	switch len(c.set.groups) {
	case 0:
		return []pose{{}}
	case 1:
		var points []gridPoint
		for _, t := range []float64{8, 20, 32, 48} {
			for a := 0.0; a < 360; a += 15 {
				p := pose{planes: []sun.Plane{{TiltDeg: t, AzimuthDeg: a}}}
				points = append(points, gridPoint{c.cost(p), p})
			}
		}
		return best(points, 1)
	}
	return c.pairs([]float64{12, 22, 34}, nil, 4)
}

// pairs gives the best pairs of planes of one tilt; shares: those of one array
// split in two, nil: two groups with watts of their own.
func (c *climb) pairs(tilts, shares []float64, most int) []pose {
	s := c.set
	s.hazier(0)
	var points []gridPoint
	split := shares != nil
	if !split {
		shares = []float64{0}
	}
	for _, t := range tilts {
		made := map[float64][2][]float64{}
		for a := 0.0; a < 360; a += 30 {
			var m [2][]float64
			for g := range m {
				m[g] = make([]float64, len(s.known))
				s.model(&s.groups[min(g, len(s.groups)-1)], sun.Plane{TiltDeg: t, AzimuthDeg: a}, m[g])
			}
			made[a] = m
		}
		for a := 0.0; a < 360; a += 30 {
			for b := 0.0; b < 360; b += 30 {
				if split && (b-a != 90 && b-a != 180 && b-a != -270 && b-a != -180) {
					continue
				}
				for _, share := range shares {
					p := pose{planes: []sun.Plane{{TiltDeg: t, AzimuthDeg: a}, {TiltDeg: t, AzimuthDeg: b}}, share: share}
					points = append(points, gridPoint{c.costOf(made[a][0], made[b][1], share), p})
				}
			}
		}
	}
	return best(points, most)
}

// costOf is the cost of two outputs laid over each other.
func (c *climb) costOf(a, b []float64, share float64) float64 {
	one, two := 1.0, 1.0
	if share > 0 {
		one, two = share, 1-share
	}
	for j := range c.sum {
		c.sum[j] = c.set.known[j] + float64(one*a[j]) + float64(two*b[j])
	}
	return c.set.cost(c.sum, c.which, &c.level)
}
