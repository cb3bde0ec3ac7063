package pulse

import (
	"math"

	"rowen/ingest/samebits"
)

// rounds of the multiplicative updates: converged enough (all dates at 25
// rounds found no more cars).
const (
	coarseWeeks  = 3
	coarseRounds = 12
	fineRounds   = 25
)

// tally is the counts of one cell by week, with the weeks that have any.
type tally struct {
	n    []float64
	all  float64   // their sum
	some []counted // the weeks with pulses, in order
}

// counted is a week with pulses: settling goes over them a thousand times, so that
// they lie one after the other.
type counted struct {
	week int
	n    float64
	x    [stepAt]float64
}

// index finds the weeks with pulses; x is by week.
func (t *tally) index(x [][columns]float64) {
	t.all, t.some = 0, make([]counted, 0, len(x))
	for i, n := range t.n {
		if t.all += n; n > 0 {
			t.some = append(t.some, counted{i, n, [stepAt]float64(x[i][:])})
		}
	}
}

// from is the first of the weeks with pulses that is t or later.
func (t *tally) from(week int) int {
	first := 0
	for first < len(t.some) && t.some[first].week < week {
		first++
	}
	return first
}

// settle fits the rates by multiplicative updates
//
//	θ_j ← θ_j · (Σ_i c_i·x_ij/λ_i) / Σ_i x_ij, λ = x·θ
//
// with the step from week t on, and gives the log likelihood less seasonCost·θ_j
// over the mean rate for each season (Σ_i x_ij grows by as much). They never leave
// θ ≥ 0 and need no step size. Only weeks with pulses enter the sums.
func (c *counting) settle(n *tally, t int, theta *[columns]float64, rounds int) float64 {
	total := c.total
	total[stepAt] = c.behind[min(t, c.weeks)]
	for j := 1; j < stepAt; j++ {
		if total[j] > 0 {
			total[j] += seasonCost * c.behind[0] / math.Max(n.all, 1e-9)
		}
	}
	first := n.from(t)
	before, since := n.some[:first], n.some[first:]
	for range rounds {
		s := update(before, since, theta)
		for j := range theta {
			if total[j] <= 0 {
				theta[j] = 0
				continue
			}
			theta[j] *= s[j] / total[j]
		}
	}
	l := 0.0
	for k := range n.some {
		w := &n.some[k]
		l += float64(w.n * samebits.Log(rateOf(&w.x, theta, k >= first)))
	}
	for j := range theta {
		l -= float64(theta[j] * total[j])
	}
	return l
}

// update gives Σ_i c_i·x_ij/λ_i. The sums and the rates stay in registers: half of
// the whole search's time went by here.
func update(before, since []counted, theta *[columns]float64) [columns]float64 {
	t0, t1, t2, t3, t4, step := theta[0], theta[1], theta[2], theta[3], theta[4], theta[stepAt]
	var s0, s1, s2, s3, s4, up float64
	for k := range before {
		w := &before[k]
		r := w.n / (float64(w.x[0]*t0) + float64(w.x[1]*t1) + float64(w.x[2]*t2) + float64(w.x[3]*t3) + float64(w.x[4]*t4) + 1e-9)
		s0 += float64(r * w.x[0])
		s1 += float64(r * w.x[1])
		s2 += float64(r * w.x[2])
		s3 += float64(r * w.x[3])
		s4 += float64(r * w.x[4])
	}
	for k := range since {
		w := &since[k]
		r := w.n / (float64(w.x[0]*t0) + float64(w.x[1]*t1) + float64(w.x[2]*t2) + float64(w.x[3]*t3) + float64(w.x[4]*t4) + 1e-9 + float64(w.x[0]*step))
		rx := float64(r * w.x[0])
		s0 += rx
		up += rx
		s1 += float64(r * w.x[1])
		s2 += float64(r * w.x[2])
		s3 += float64(r * w.x[3])
		s4 += float64(r * w.x[4])
	}
	return [columns]float64{s0, s1, s2, s3, s4, up}
}

// rateOf is a week's expected pulses.
func rateOf(x *[stepAt]float64, theta *[columns]float64, stepped bool) float64 {
	rate := 1e-9 + float64(x[0]*theta[0]) + float64(x[1]*theta[1]) + float64(x[2]*theta[2]) + float64(x[3]*theta[3]) + float64(x[4]*theta[4])
	if stepped {
		rate += float64(x[0] * theta[stepAt])
	}
	return rate
}

// rate is a week's expected pulses.
func (c *counting) rate(theta *[columns]float64, i, t int) float64 {
	return rateOf((*[stepAt]float64)(c.x[i][:stepAt]), theta, i >= t)
}

// plainStart is the start of a fit that nothing is known of.
func (c *counting) plainStart(n *tally) (theta [columns]float64) {
	for j := range stepAt {
		theta[j] = math.Max(n.all/math.Max(c.total[0], 1e-9), 1e-3) / 2
	}
	return theta
}

// stepped fits a step at week t, begun from the fit without one.
func (c *counting) stepped(n *tally, t int, without *[columns]float64, rounds int) (l float64, theta [columns]float64) {
	before, after := 0.0, 0.0
	for k := range n.some {
		if w := &n.some[k]; w.week < t {
			before += w.n
		} else {
			after += w.n
		}
	}
	eb, ea := c.behind[0]-c.behind[t], c.behind[t]
	if ea < 1 || eb < 1 {
		return math.Inf(-1), theta
	}
	all := (before + after) / (ea + eb)
	for j := range stepAt {
		theta[j] = math.Max(without[j]*0.5, float64(0.02*all)+1e-4)
	}
	theta[stepAt] = math.Max(after/ea-0.5*before/eb, 0.1*all) + 1e-4
	return c.settle(n, t, &theta, rounds), theta
}

// dispersion is Pearson's chi-square a degree of freedom of sums over a week and
// over four, the larger: spells of heat or cold last weeks, and their counts are no
// news.
func (c *counting) dispersion(n *tally, theta *[columns]float64, t int) float64 {
	for i := range c.rates {
		c.rates[i] = c.rate(theta, i, t)
	}
	return math.Max(c.chi(n, 1), c.chi(n, 4))
}

// chi is the dispersion of sums over group weeks.
func (c *counting) chi(n *tally, group int) float64 {
	chi, k := 0.0, 0
	for a := 0; a+group <= c.weeks; a += group {
		sum, rate, read := 0.0, 0.0, 0.0
		for i := a; i < a+group; i++ {
			sum += n.n[i]
			rate += c.rates[i]
			read += c.x[i][0]
		}
		if read > 0.5*float64(group) {
			chi += (sum - rate) * (sum - rate) / (rate + 0.5)
			k++
		}
	}
	if k <= 2 {
		return 1
	}
	return chi / float64(k-2)
}
