package sky

import (
	"math"

	"rowen/analyze/sun"
)

// Rules of a facing's spread, measured on invented and real roofs.
const (
	sdFloor    = 1.0  // degrees: the model itself is no better
	sdAlone    = 4.3  // under a sky that the array itself tells: two real arrays of known facing lie 7 and 9 degrees off, which 1.645 times the whole must hold
	sdTwo      = 6.5  // of each of two planes
	sdHalves   = 2.5  // the two halves of a record lie this many standard deviations apart
	sdClock    = 0.2  // of the turn that half an hour makes: a clock is sure to six minutes
	sdRuns     = 6    // runs of days left out in turn
	sdMost     = 45.0 // is said where the data tell nothing
	steadyDays = 30   // days from which six runs are left out, else three
)

// spread is the standard deviation of each plane's normal, for one of its two
// directions, from how the fit moves when it sees other days.
//
//	sd^2 = 1^2 (4.3^2 where no neighbor tells the sky) + jack^2 + (halves/2.5)^2 + (0.2 q)^2
//
// jack: leaving out one of six runs of days in turn; halves: the angle between
// the fits of the first and the second half; q: the turn if the clock were half
// an hour off. The fit's own residuals say little: one roof's errors are alike
// on all days.
func (f *Fit) spread(at pose) []float64 {
	n := len(f.which)
	runs := sdRuns
	if n < steadyDays {
		runs = sdRuns / 2
	}
	var left [][]sun.Plane
	for r := range runs {
		left = append(left, f.refit(at, func(i int) bool { return i*runs/n != r }))
	}
	first := f.refit(at, func(i int) bool { return i < n/2 })
	last := f.refit(at, func(i int) bool { return i >= n/2 })
	turn := f.halfHour(at)
	out := make([]float64, len(at.planes))
	for g := range out {
		floor := sdFloor
		switch {
		case len(at.planes) > 1:
			floor = sdTwo
		case f.set.data.K == nil:
			floor = sdAlone
		}
		v := sq(floor) + sq(jackknife(left, g)) + sq(sun.AngleDeg(first[g], last[g])/sdHalves) + sq(sdClock*turn[g])
		out[g] = min(sdMost, math.Sqrt(v))
	}
	return out
}

// refit descends from a pose on some of the days.
func (f *Fit) refit(at pose, use func(i int) bool) []sun.Plane {
	var which []int
	for i := range f.which {
		if use(i) {
			which = append(which, i)
		}
	}
	_, p := newClimb(f.set, which, len(at.planes)).descend(pose{at.planes, at.haze, at.share}, 1.0/4)
	return p.planes
}

// halfHour is by how much the planes turn if the clock is half an hour off.
func (f *Fit) halfHour(at pose) []float64 {
	out := make([]float64, len(at.planes))
	for _, late := range []float64{-0.5, 0.5} {
		f.late(late)
		p := f.refit(at, func(int) bool { return true })
		for g := range out {
			out[g] = max(out[g], sun.AngleDeg(p[g], at.planes[g]))
		}
	}
	f.late(0)
	return out
}

// late sets the clock of all days.
func (f *Fit) late(hours float64) {
	for i := range f.set.days {
		f.set.days[i].late = hours
	}
}

// jackknife is the spread of plane g's normal over the fits that each left some
// days out, degrees for one direction.
func jackknife(left [][]sun.Plane, g int) float64 {
	var mean [3]float64
	k := float64(len(left))
	for _, p := range left {
		e, n, u := p[g].Normal()
		mean[0], mean[1], mean[2] = mean[0]+e/k, mean[1]+n/k, mean[2]+u/k
	}
	sum := 0.0
	for _, p := range left {
		e, n, u := p[g].Normal()
		sum += sq(e-mean[0]) + sq(n-mean[1]) + sq(u-mean[2])
	}
	return math.Sqrt((k-1)/k*sum/2) * 180 / math.Pi
}
