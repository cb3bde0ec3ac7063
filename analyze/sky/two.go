package sky

import "rowen/analyze/sun"

// Rules of one plane or two.
const (
	twoAsk   = 1.2  // cost a day of one plane below which nobody asks (our choice: as good as roofs get)
	twoGain  = 0.60 // what two planes must leave of the shape's cost on days they were not fitted on
	twoApart = 30.0 // degrees between their normals
	twoShare = 0.15 // of the smaller one
	twoTilt  = 45.0 // a steep pair north and south imitates a flatter plane
	twoRuns  = 8    // runs of days that are left out by halves
)

// two asks whether one array lies on two planes: only where two explain days
// that they were not fitted on clearly better than one. An east and west roof
// looks flat to one plane.
func (f *Fit) two(one pose, cost float64) (pose, float64) {
	if cost < twoAsk {
		return pose{}, 0
	}
	c := newClimb(f.set, f.which, 2)
	best, at := 0.0, pose{}
	for _, from := range c.pairs([]float64{15, 28, 40}, []float64{0.35, 0.5, 0.65}, 3) {
		from.haze = one.haze
		if v, to := c.descend(from, 1.0/8); at.planes == nil || v < best {
			best, at = v, to
		}
	}
	if at.planes == nil || sun.AngleDeg(at.planes[0], at.planes[1]) < twoApart || max(at.planes[0].TiltDeg, at.planes[1].TiltDeg) > twoTilt ||
		at.share < twoShare || at.share > 1-twoShare {
		return pose{}, 0
	}
	var ones, twos float64
	run := max(1, len(f.which)/twoRuns)
	for part := range 2 {
		var fit, test []int
		for i := range f.which {
			if (i/run)%2 == part {
				fit = append(fit, i)
			} else {
				test = append(test, i)
			}
		}
		ones += f.crossed(one, fit, test)
		twos += f.crossed(at, fit, test)
	}
	if twos >= twoGain*ones {
		return pose{}, 0
	}
	return at, best
}

// crossed is the shape's cost of some days under the planes fitted on others.
func (f *Fit) crossed(from pose, fit, test []int) float64 {
	c := newClimb(f.set, fit, len(from.planes))
	_, at := c.descend(from, 1.0/4)
	c.output(at)
	return f.set.shapeCost(c.sum, test)
}
