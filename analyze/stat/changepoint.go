package stat

import (
	"math"
	"slices"

	"rowen/ingest/samebits"
)

// NoiseSD estimates the noise of a series that may hold steps.
//
//	sd = 1.4826 MAD(x[i+1]-x[i]) / sqrt 2
//
//	In:      values in order of time, equally spaced; a difference with a NaN
//	         is skipped.
//	Refuses: no difference gives NaN.
//	Source:  methods 8.1 (common practice).
func NoiseSD(x []float64) float64 {
	d := make([]float64, 0, len(x))
	for i := 1; i < len(x); i++ {
		d = append(d, x[i]-x[i-1])
	}
	return MADScale * MAD(d) / math.Sqrt2
}

// Lag1 is the lag-1 autocorrelation of the values present; pairs with a NaN
// are skipped.
//
//	Refuses: fewer than three pairs, or no spread, give NaN.
func Lag1(x []float64) float64 {
	m, num, den, n := Mean(x), 0.0, 0.0, 0
	for i, v := range x {
		if v != v {
			continue
		}
		den += float64((v - m) * (v - m))
		if i > 0 && x[i-1] == x[i-1] {
			num += float64((v - m) * (x[i-1] - m))
			n++
		}
	}
	if n < 3 || den == 0 {
		return math.NaN()
	}
	return num / den
}

// StepPenalty is the price of a change point for OptimalPartition and PELT.
//
//	beta = factor sd^2 ln n (1+phi)/(1-phi)
//
//	In:      factor 2 (SIC for a shift of the mean), 3 (safer, the default of
//	         the judgement), 10 (large steps only); phi the lag-1
//	         autocorrelation of the residual, held within 0..0.95.
//	Source:  methods 8.1 and 8.2; the factor for autocorrelation is a
//	         long-run variance argument (from memory).
func StepPenalty(factor, sd float64, n int, phi float64) float64 {
	if phi != phi || phi < 0 {
		phi = 0
	}
	phi = min(phi, 0.95)
	return factor * sd * sd * samebits.Log(float64(n)) * (1 + phi) / (1 - phi)
}

// PELT is OptimalPartition with pruning: a start s that is beaten by more than
// the penalty at t can never win again.
//
// With a least segment m the pruning at t may act only from t+m on: before
// that, t itself is no start yet, and dropping s could lose the optimum.
//
//	Source: Killick, Fearnhead, Eckley, JASA 107 (2012) 1590 (published).
//	Cost:   O(n) where change points are many, O(n^2) where there are none.
func PELT(x []float64, penalty float64, minLength int) []int {
	return partition(x, penalty, minLength, true)
}

func partition(x []float64, penalty float64, minLength int, prune bool) []int {
	n, m := len(x), max(minLength, 1)
	if n < 2*m {
		return nil
	}
	cost := newSegmentCost(x)
	best := make([]float64, n+1) // F
	last := make([]int, n+1)     // where the last segment of the best split of x[:t] starts
	best[0] = -penalty
	starts := make([]int, 0, n)
	deadAt := make([]int, n+1) // from which t on a start is dropped; 0: alive
	for t := m; t <= n; t++ {
		// x[:s] must itself be splittable: s = 0 or s >= m.
		if s := t - m; s == 0 || s >= m {
			starts = append(starts, s)
		}
		best[t] = math.Inf(1)
		alive := starts[:0]
		for _, s := range starts {
			if prune && deadAt[s] != 0 && t >= deadAt[s] {
				continue
			}
			alive = append(alive, s)
			if c := best[s] + cost.of(s, t) + penalty; c < best[t] {
				best[t], last[t] = c, s
			}
		}
		starts = alive
		if prune {
			for _, s := range starts {
				if deadAt[s] == 0 && best[s]+cost.of(s, t) > best[t] {
					deadAt[s] = t + m
				}
			}
		}
	}
	var points []int
	for t := last[n]; t > 0; t = last[t] {
		points = append(points, t)
	}
	slices.Reverse(points)
	return points
}

// PartitionCost is the sum of the squared deviations from the segments' means
// and of the penalties.
func PartitionCost(x []float64, points []int, penalty float64) float64 {
	cost, sum, from := newSegmentCost(x), penalty*float64(len(points)), 0
	for _, k := range append(slices.Clone(points), len(x)) {
		sum += cost.of(from, k)
		from = k
	}
	return sum
}

// segmentCost gives the squared deviation of any stretch in constant time, by
// running sums of x and x^2 less the series' mean (else they cancel).
type segmentCost struct{ sum, square []float64 }

func newSegmentCost(x []float64) segmentCost {
	c := segmentCost{make([]float64, len(x)+1), make([]float64, len(x)+1)}
	mean := Mean(x)
	for i, v := range x {
		c.sum[i+1] = c.sum[i] + (v - mean)
		c.square[i+1] = c.square[i] + float64((v-mean)*(v-mean))
	}
	return c
}

func (c segmentCost) of(from, to int) float64 {
	s := c.sum[to] - c.sum[from]
	return max(c.square[to]-c.square[from]-s*s/float64(to-from), 0)
}
