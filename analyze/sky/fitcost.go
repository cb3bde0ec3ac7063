package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// Rules of the cost, measured on real roofs unless tagged.
const (
	fitNoise   = 0.05 // of a day's top: what a clear day's shape really misses by; 0.02 lets the shape outvote the seasons
	fitHaze    = 0.03 // spread of a day's level: haze, dust
	fitSeason  = 0.03 // what soiling, snow light and temperature may move the level by through the year
	fitCap     = 9.0  // a day's level counts no more than three sigma
	fitUnclear = 12.0 // cost from which a day that was not clear after all counts less and less
	hazeSD     = 1.5  // of the turbidity
)

// levels is the scratch of a cost.
type levels struct{ f, x []float64 }

// cost is how badly the days go with a model of their output, by day.
//
//	f_d = sum yM / sum M^2;  e_d = sum (y - f_d M)^2 / (0.05 top)^2 / 2;  shape = sum 12 ln(1 + e_d/12)
//	x_d = f_d/median - 1;  level = sum min(9, (x_d - k0 - k1 cos w - k2 sin w)^2/0.03^2) + (k1^2 + k2^2)/0.03^2
//	cost = (shape + level)/days + haze prior
//
// The shape of the day gives azimuth and part of the tilt, the levels over the
// seasons the rest; hours of a day err together, hence the half.
//
// In:      m, the model's output; which days.
// Source:  our choice of the form; constants see there.
func (s *fitSet) cost(m []float64, which []int, l *levels) float64 {
	l.f = l.f[:0]
	sum := 0.0
	for _, n := range which {
		f, e := s.days[n].shape(m)
		l.f = append(l.f, f)
		sum += e
	}
	l.x = append(l.x[:0], l.f...)
	med := stat.MedianInPlace(l.x)
	if !(med > 0) {
		return math.Inf(1)
	}
	sum += s.levelCost(which, l, med)
	return (sum + sq(s.now/hazeSD)) / float64(len(which))
}

// shapeCost is the shape's part alone: what two planes are judged by, since
// the levels of an array with faults make every plane bad.
func (s *fitSet) shapeCost(m []float64, which []int) float64 {
	sum := 0.0
	for _, n := range which {
		_, e := s.days[n].shape(m)
		sum += e
	}
	return sum
}

// shape gives a day's level and how badly its curve fits.
func (day *fitDay) shape(m []float64) (f, cost float64) {
	var mm, pm, pp float64
	whole := day.late == math.Trunc(day.late)
	from := day.off + lagReach - int(day.late)
	for j, w := range day.w {
		if w == 0 {
			continue
		}
		v := 0.0
		if whole {
			v = m[from+j]
		} else {
			v = day.at(m, j)
		}
		y := day.y[j]
		mm, pm, pp = mm+float64(v*v), pm+float64(y*v), pp+float64(y*y)
	}
	if mm <= 0 || day.peak <= 0 {
		return 0, fitUnclear
	}
	e := max(0, pp-pm*pm/mm) / sq(fitNoise*day.peak) / 2
	return pm / mm, fitUnclear * samebits.Log1p(e/fitUnclear)
}

// levelCost is what the days' levels cost beyond a season of little freedom.
func (s *fitSet) levelCost(which []int, l *levels, med float64) float64 {
	var a [3][3]float64
	var b [3]float64
	for i, n := range which {
		day := &s.days[n]
		l.f[i] = min(0.5, max(-0.5, l.f[i]/med-1))
		v := [3]float64{1, day.cos, day.sin}
		for r := range v {
			b[r] += float64(v[r] * l.f[i])
			for c := range v {
				a[r][c] += float64(v[r] * v[c])
			}
		}
	}
	ridge := sq(fitHaze / fitSeason)
	a[0][0], a[1][1], a[2][2] = a[0][0]+1e-9, a[1][1]+ridge, a[2][2]+ridge
	k := solve3(a, b)
	sum := (sq(k[1]) + sq(k[2])) / sq(fitSeason)
	for i, n := range which {
		day := &s.days[n]
		rest := l.f[i] - k[0] - float64(k[1]*day.cos) - float64(k[2]*day.sin)
		sum += min(fitCap, sq(rest/fitHaze))
	}
	return sum
}

// solve3 solves a x = b for a positive definite a.
func solve3(a [3][3]float64, b [3]float64) (x [3]float64) {
	for c := range 3 {
		for r := c + 1; r < 3; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k < 3; k++ {
				a[r][k] -= float64(f * a[c][k])
			}
			b[r] -= float64(f * b[c])
		}
	}
	for r := 2; r >= 0; r-- {
		v := b[r]
		for k := r + 1; k < 3; k++ {
			v -= float64(a[r][k] * x[k])
		}
		x[r] = v / a[r][r]
	}
	return x
}
