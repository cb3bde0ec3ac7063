package array

import (
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// Rules of levels: section 5.3's unless tagged.
const (
	minSegment    = 5    // usable days of a segment (our choice)
	mergeStep     = 0.03 // steps smaller than this are one level (our choice)
	penaltyFactor = 3.0  // section 8.1
	maxPhi        = 0.6  // autocorrelation of days granted to weather (our choice)
	snowGain      = 0.15 // what a roof may gain on neighbours under snow (our choice)
	healthyDays   = 30   // clear days that make the healthy level (our choice: a month of dull weather may read high)
	healthyLeast  = 8    // and at the least, where that is an eighth of all
)

// points are the days that tell the level, in order.
type points struct {
	day []int
	x   []float64
	w   []float64 // how much a day says of the level: its light over a clear day's, squared (our choice: cloud errs on one roof at a time)

	noise float64 // standard deviation of a bright day's level
}

// mean is the weighted mean of the points from one to another.
func (p *points) mean(from, to int) float64 {
	sum, all := 0.0, 0.0
	for i := from; i < to; i++ {
		sum, all = sum+float64(p.w[i]*p.x[i]), all+p.w[i]
	}
	return sum / all
}

// weight is the sum of the weights: days as good as clear ones.
func (p *points) weight(from, to int) float64 { return sum(p.w[from:to]) }

// segment is a run of points at one level.
type segment struct {
	from, to int // points, to exclusive
	mean     float64
}

// levelPoints gathers the days and pulls stray ones in to three sigma of their
// neighbours: a cloud that stood over this roof alone is no step.
func (v *view) levelPoints() (p points) {
	for d := range v.day {
		if level := v.day[d].level(); level == level && !turnedAway(v, d) {
			p.day, p.x, p.w = append(p.day, d), append(p.x, level), append(p.w, sq(min(1, v.day[d].bright())))
		}
	}
	p.noise = max(0.005, stat.NoiseSD(p.x))
	mid := rollingMedian(p.x, 5)
	for i := range p.x {
		p.x[i] = min(mid[i]+float64(3*p.noise), max(mid[i]-float64(3*p.noise), p.x[i]))
	}
	return p
}

// turnedAway tells that on a day little of the light on the ground reached the modules:
// a steep plane that looks away from a low sun lives on what the sky scatters, of which
// the model knows too little to tell a level.
func turnedAway(v *view, d int) bool {
	t := &v.day[d]
	kW := v.model.Watts(v.Series.Start+ingest.Hour(24*d)) / 1000
	return t.full < float64(leastReached*v.factorAt(d)*kW*t.light)
}

// leastReached is the share of the ground's light that a plane must have for a day to
// tell its level (our choice; under an overcast sky it has nine tenths, turned from a
// clear winter's day a quarter).
const leastReached = 0.45

// over is the points with those from one on divided by a level.
func (p points) over(level float64, from int) points {
	p.x = slices.Clone(p.x)
	for i := from; i < len(p.x); i++ {
		p.x[i] /= level
	}
	return p
}

func rollingMedian(x []float64, reach int) []float64 {
	out := make([]float64, len(x))
	buf := make([]float64, 0, 2*reach+1)
	for i := range x {
		buf = append(buf[:0], x[max(0, i-reach):min(len(x), i+reach+1)]...)
		out[i] = stat.MedianInPlace(buf)
	}
	return out
}

// segments cuts the points and joins levels that are alike.
func (p *points) segments() []segment {
	slow := rollingMedian(p.x, 15)
	rest := make([]float64, len(p.x))
	for i := range rest {
		rest[i] = p.x[i] - slow[i]
	}
	phi := min(maxPhi, stat.Lag1(rest))
	cuts := stat.PELT(p.x, stat.StepPenalty(penaltyFactor, p.noise, len(p.x), phi), minSegment)
	var segs []segment
	from := 0
	for _, c := range append(cuts, len(p.x)) {
		segs = append(segs, segment{from, c, p.mean(from, c)})
		from = c
	}
	for len(segs) > 1 {
		at, least := -1, mergeStep
		for i := 1; i < len(segs); i++ {
			if d := math.Abs(segs[i].mean-segs[i-1].mean) / math.Max(segs[i].mean, segs[i-1].mean); d < least {
				at, least = i, d
			}
		}
		if at < 0 {
			break
		}
		a, b := segs[at-1], segs[at]
		segs[at-1] = segment{a.from, b.to, p.mean(a.from, b.to)}
		segs = slices.Delete(segs, at, at+1)
	}
	return segs
}

// healthy is the highest level that holds for a good part of the time: a
// month of clear days, or an eighth of all where that is less. A level that is
// somewhat higher in the cold only is snow that lay on the others.
func healthy(v *view, p points, segs []segment) float64 {
	order := slices.Clone(segs)
	slices.SortStableFunc(order, func(a, b segment) int {
		switch {
		case a.mean > b.mean:
			return -1
		case a.mean < b.mean:
			return 1
		}
		return 0
	})
	need := min(healthyDays, max(healthyLeast, p.weight(0, len(p.x))/8))
	var x, w []float64
	take := func(sg segment) {
		x, w = append(x, p.x[sg.from:sg.to]...), append(w, p.w[sg.from:sg.to]...)
	}
	warm := math.Inf(-1) // the highest level outside the cold
	for _, sg := range segs {
		if sg.mean > warm && !v.cold(p.day[sg.from], p.day[sg.to-1]+1) {
			warm = sg.mean
		}
	}
	for i, sg := range order {
		if sg.mean > warm && sg.mean < warm*(1+snowGain) {
			continue
		}
		take(sg)
		if sum(w) < need {
			continue
		}
		// levels within the merging step of this one belong to it
		for _, o := range order[i+1:] {
			if o.mean > sg.mean*(1-mergeStep) {
				take(o)
			}
		}
		break
	}
	return stat.WeightedMedian(x, w)
}
