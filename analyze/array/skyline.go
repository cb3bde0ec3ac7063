package array

import (
	"math"

	"rowen/analyze/stat"
)

// Rules of the skyline, our choice.
const (
	skylineBin   = 6    // usable days of a bin
	skylineBins  = 24   // bins needed
	skylineStep  = 0.05 // of the strength
	skylineLeast = 0.04 // weaker is left alone
	skylineMost  = 1.5
	skylineGain  = 0.6   // the other way: what the register's shading may be too much by
	skylineStray = 0.04  // a bin further from its neighbours is pulled in
	skylineNoise = 0.012 // the model's own misfit through a year
)

// learnSkyline finds how much beam the surroundings take by height of the sun
// beyond what the register says, so that a roof that is always shaded in
// winter is not called sick each winter.
//
//	x_d = level_d (1 - a g_d),  g_d = the day's mean of (1 - sin el)^2, beam only
//
// The level may step: a is the strength whose corrected days are cut into
// levels at the least penalised cost (the same cost as for the steps), so that
// a season is told from a step. With less than a year the two cannot be told
// apart and the register stands.
func learnSkyline(v view) (view, said) {
	x, g, span := binLevels(&v)
	if len(x) < skylineBins || span < 330 {
		return v, said{}
	}
	if a := seasonStrength(x, g); a != 0 {
		v.model = v.model.WithSkyline(a)
		return calibrate(v)
	}
	return v, said{}
}

// seasonStrength is the strength of the skyline that makes the levels of the
// bins agree best; 0 where none is needed.
func seasonStrength(x, g []float64) float64 {
	mid := rollingMedian(x, 3)
	for i := range x {
		x[i] = min(mid[i]+skylineStray, max(mid[i]-skylineStray, x[i])) // snow on one roof is no season
	}
	noise := math.Max(skylineNoise, stat.NoiseSD(x))
	penalty := stat.StepPenalty(penaltyFactor, noise, len(x), 0.3)
	y := make([]float64, len(x))
	cost := func(a float64) float64 {
		for i := range x {
			y[i] = x[i] / (1 - float64(a*g[i]))
		}
		m := stat.Median(y)
		for i := range y {
			y[i] /= m
		}
		cuts := stat.PELT(y, penalty, 2)
		return stat.PartitionCost(y, cuts, penalty)
	}
	best, least := 0.0, cost(0)
	for _, way := range [][2]float64{{1, skylineMost}, {-1, skylineGain}} {
		dir, most := way[0], way[1]
		for a := dir * skylineStep; math.Abs(a) <= most; a += float64(dir * skylineStep) {
			c := cost(a)
			if c < least {
				best, least = a, c
			}
			if math.Abs(a-best) > 4.5*skylineStep {
				break
			}
		}
	}
	if math.Abs(best) < skylineLeast || cost(0)-least < 1.5*penalty {
		return 0
	}
	return best
}

// binLevels are medians of runs of usable days with their skyline weight.
func binLevels(v *view) (x, g []float64, span int) {
	var bx, bg []float64
	first, last := -1, 0
	for d := range v.day {
		level := v.day[d].level()
		if level != level {
			continue
		}
		if first < 0 {
			first = d
		}
		last = d
		bx, bg = append(bx, level), append(bg, v.day[d].low/v.day[d].openDue)
		if len(bx) == skylineBin {
			x, g = append(x, stat.MedianInPlace(bx)), append(g, stat.Mean(bg))
			bx, bg = bx[:0], bg[:0]
		}
	}
	return x, g, last - first
}
