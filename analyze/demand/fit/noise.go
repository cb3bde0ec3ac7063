package fit

import (
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// LongRunVariance is the variance a day that counts for means over weeks and
// months: the largest of the daily, the weekly and the four-weekly estimate,
// the last two from differences of neighbouring blocks, which a single step
// cannot raise much. It is how autocorrelation is allowed for.
//
// Source: long-run variance by batch means (from memory); block lengths of 7
// and 28 days, and of two bills where bills give the days, are our choice.
func LongRunVariance(d *Days, r []float64) float64 {
	daily := 0.0
	k := 0
	for i, on := range d.Counted {
		if on {
			daily += float64(r[i] * r[i])
			k++
		}
	}
	if k < 60 {
		return daily / math.Max(float64(k), 1)
	}
	sd := stat.NoiseSD(d.Present(r))
	best := sd * sd
	for _, length := range [...]int{7, 28} {
		best = max(best, blockVariance(d, r, length))
	}
	if d.Monthly {
		best = max(best, blockVariance(d, r, 61))
	}
	return best
}

func blockVariance(d *Days, r []float64, length int) float64 {
	sum, k := 0.0, 0
	prev := math.NaN()
	for lo := 0; lo+length <= d.N(); lo += length {
		m, c := 0.0, 0
		for i := lo; i < lo+length; i++ {
			if d.Counted[i] {
				m += r[i]
				c++
			}
		}
		if 2*c < length {
			prev = math.NaN()
			continue
		}
		m /= float64(c)
		if !math.IsNaN(prev) {
			sum += float64((m - prev) * (m - prev))
			k++
		}
		prev = m
	}
	if k < 3 {
		return 0
	}
	return float64(length) * sum / (2 * float64(k))
}

// Equal are the roots of weights that are all alike.
func Equal(n int) []float64 {
	root := make([]float64, n)
	for d := range root {
		root[d] = 1
	}
	return root
}

// Weigh gives the roots of the days' weights: a household's noise grows with
// its consumption, so that the heaviest days must not speak loudest. The noise
// is taken as a power of the consumption expected,
//
//	σ_d ∝ ŷ_d^p, 0 ≤ p ≤ 1
//
// with p from the differences of neighbouring days' residuals in the lower and
// the upper third of the days by ŷ: a step that is not yet known moves neither.
//
// Refuses: no thermometer and no signal of the fleet, since ŷ then knows no
// weather, and bills, whose days do not differ; the weights stay as they are.
// Edges:  fewer than 60 pairs of days in a third, or thirds less than 15 % apart,
// leave all weights 1; ŷ is held between 0.4 and 3 times the mean.
// Source: feasible generalised least squares (from memory); the limits are our
// choice.
func Weigh(p Problem, f *Fit) []float64 {
	d := p.Days
	if p.Columns.Method == MethodCalendar || d.Monthly {
		return p.Root
	}
	power := noisePower(d, f)
	mean := d.MeanKWh()
	root := make([]float64, d.N())
	for k := range root {
		y := min(max(f.Expected(k), 0.4*mean), 3*mean)
		root[k] = samebits.Pow(mean/y, power)
	}
	return root
}

func noisePower(d *Days, f *Fit) float64 {
	use := make([]float64, 0, d.Count)
	for k, on := range d.Counted {
		if on {
			use = append(use, f.Expected(k))
		}
	}
	slices.Sort(use)
	low, high := use[len(use)/3], use[2*len(use)/3]
	var diffs, sizes [2][]float64
	for k := 1; k < d.N(); k++ {
		if !d.Counted[k] || !d.Counted[k-1] {
			continue
		}
		e := (f.Expected(k) + f.Expected(k-1)) / 2
		side := 0
		if e >= high {
			side = 1
		} else if e > low {
			continue
		}
		diffs[side] = append(diffs[side], math.Abs(f.Resid[k]-f.Resid[k-1]))
		sizes[side] = append(sizes[side], e)
	}
	if len(diffs[0]) < 60 || len(diffs[1]) < 60 {
		return 0
	}
	ratio := stat.MedianInPlace(sizes[1]) / stat.MedianInPlace(sizes[0])
	noise := stat.MedianInPlace(diffs[1]) / stat.MedianInPlace(diffs[0])
	if ratio > 1.15 && noise > 1 {
		return min(samebits.Log(noise)/samebits.Log(ratio), 1)
	}
	return 0
}

// Weighted is a residual times the roots of the days' weights.
func Weighted(r, root []float64) []float64 {
	out := make([]float64, len(r))
	for d, w := range root {
		out[d] = r[d] * w
	}
	return out
}
