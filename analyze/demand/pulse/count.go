package pulse

import (
	"math"
	"time"

	"rowen/ingest/samebits"
)

// counting is the pulses by week, in one direction of time: mirrored, the last
// day is the first, and what leaves comes.
type counting struct {
	mirrored bool
	runs     []run
	seen     []bool // by day: read enough to count
	weeks    int
	turn     []float64          // by week: 1 in the middle of the northern winter, -1 half a year later
	x        [][columns]float64 // by week: exposure, season, and room for the step
	total    [columns]float64   // sums of x
	behind   []float64          // exposure from a week on
	lo, hi   int                // weeks that a step may lie on: lo ≤ t < hi
	tries    float64
}

// columns of a week's rate: exposure, four of the season, the step.
const (
	columns = 6
	stepAt  = columns - 1
	seasons = columns - 2
)

// newCounting lays runs out by week.
func newCounting(v *Intervals, runs []run, mirrored bool) *counting {
	n := v.Days()
	c := &counting{mirrored: mirrored, runs: runs, seen: make([]bool, n), weeks: n / 7}
	at := func(d int) int { return d }
	if mirrored {
		at = func(d int) int { return n - 1 - d }
		c.runs = make([]run, len(runs))
		for k, r := range runs {
			r.day = int32(n-1) - r.day
			c.runs[len(runs)-1-k] = r
		}
	}
	for d := range n {
		read := 0
		for _, x := range v.KW[d*v.PerDay : (d+1)*v.PerDay] {
			if x == x {
				read++
			}
		}
		c.seen[at(d)] = 10*read > 9*v.PerDay
	}
	season := v.seasonColumns()
	c.turn = make([]float64, c.weeks)
	for i := range c.turn {
		c.turn[i] = v.turn(at(7*i + 3))
	}
	c.x, c.behind = make([][columns]float64, c.weeks), make([]float64, c.weeks+1)
	for i := range c.x {
		for d := 7 * i; d < 7*i+7; d++ {
			if c.seen[d] {
				c.x[i][0]++
				for j, s := range season[at(d)] {
					c.x[i][1+j] += s
				}
			}
		}
		for j := range stepAt {
			c.x[i][j] /= 7
			c.total[j] += c.x[i][j]
		}
	}
	for i := c.weeks - 1; i >= 0; i-- {
		c.behind[i] = c.behind[i+1] + c.x[i][0]
	}
	c.lo, c.hi = weeksBefore, c.weeks-weeksAfter+1
	c.tries = samebits.Log(float64(numCells) / 3 * float64(c.hi-c.lo)) // a third: neighboring cells say the same
	return c
}

// seasonColumns are a winter and a summer, each broad and narrow, 0 to 1: by
// the thermometer where there is one, else by the calendar. Both halves stand in
// the model, so the hemisphere does not matter.
func (v *Intervals) seasonColumns() [][seasons]float64 {
	out := make([][seasons]float64, v.Days())
	most := func(x []float64) float64 {
		m := 1.0
		for _, t := range x {
			if t > m {
				m = t
			}
		}
		return m
	}
	coldest, hottest := most(v.Cold), most(v.Hot)
	for d := range out {
		u := v.turn(d)
		w, s := max(0, u), max(0, -u)
		if v.Cold != nil && v.Cold[d] == v.Cold[d] {
			w, s = v.Cold[d]/coldest, v.Hot[d]/hottest
		}
		out[d] = [seasons]float64{w, w * w * w, s, s * s * s}
	}
	return out
}

// turn is where a day stands in the year: 1 on 20 January, -1 half a year later.
func (v *Intervals) turn(d int) float64 {
	yearDay := time.Unix(int64(v.FirstDay+d)*86400, 0).UTC().YearDay()
	return samebits.Cos(2 * math.Pi * float64(yearDay-20) / 365.25)
}

// seasonCost is what a season as strong as the mean rate costs, in log odds: the
// prior of a rate that hardly follows the seasons. Without it a season that was
// read once explains a car that came between two of them. Measured on real cars: 2
// finds more of them, and more that are none.
const seasonCost = 1

// rounds of the multiplicative updates: converged enough (all dates at 25
// rounds found no more cars).
const (
	coarseWeeks  = 3
	coarseRounds = 12
	fineRounds   = 25
)

// tally is the counts of one cell by week, with the weeks that have any.
type tally struct {
	n   []float64
	any []int32
}

func (t *tally) index() {
	t.any = t.any[:0]
	for i, n := range t.n {
		if n > 0 {
			t.any = append(t.any, int32(i))
		}
	}
}

func (t *tally) sum() float64 {
	s := 0.0
	for _, n := range t.n {
		s += n
	}
	return s
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
			total[j] += seasonCost * c.behind[0] / math.Max(n.sum(), 1e-9)
		}
	}
	first := 0
	for first < len(n.any) && int(n.any[first]) < t {
		first++
	}
	for range rounds {
		var s [columns]float64
		for k, i := range n.any {
			x := &c.x[i]
			rate := float64(x[0]*theta[0]) + float64(x[1]*theta[1]) + float64(x[2]*theta[2]) + float64(x[3]*theta[3]) + float64(x[4]*theta[4]) + 1e-9
			if k >= first {
				rate += float64(x[0] * theta[stepAt])
			}
			r := n.n[i] / rate
			for j := range stepAt {
				s[j] += float64(r * x[j])
			}
			if k >= first {
				s[stepAt] += float64(r * x[0])
			}
		}
		for j := range theta {
			if total[j] <= 0 {
				theta[j] = 0
				continue
			}
			theta[j] *= s[j] / total[j]
		}
	}
	l := 0.0
	for _, i := range n.any {
		l += float64(n.n[i] * samebits.Log(c.rate(theta, int(i), t)))
	}
	for j := range theta {
		l -= float64(theta[j] * total[j])
	}
	return l
}

// rate is a week's expected pulses.
func (c *counting) rate(theta *[columns]float64, i, t int) float64 {
	x := &c.x[i]
	rate := 1e-9
	for j := range stepAt {
		rate += float64(x[j] * theta[j])
	}
	if i >= t {
		rate += float64(x[0] * theta[stepAt])
	}
	return rate
}

// plainStart is the start of a fit that nothing is known of.
func (c *counting) plainStart(n *tally) (theta [columns]float64) {
	for j := range stepAt {
		theta[j] = math.Max(n.sum()/math.Max(c.total[0], 1e-9), 1e-3) / 2
	}
	return theta
}

// stepped fits a step at week t, begun from the fit without one.
func (c *counting) stepped(n *tally, t int, without *[columns]float64, rounds int) (l float64, theta [columns]float64) {
	before, after := 0.0, 0.0
	for _, i := range n.any {
		if int(i) < t {
			before += n.n[i]
		} else {
			after += n.n[i]
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

// dispersion is Pearson's chi-square a degree of freedom of sums over group
// weeks: spells of heat or cold last weeks, and their counts are no news.
func (c *counting) dispersion(n *tally, theta *[columns]float64, t, group int) float64 {
	chi, k := 0.0, 0
	for a := 0; a+group <= c.weeks; a += group {
		sum, rate, read := 0.0, 0.0, 0.0
		for i := a; i < a+group; i++ {
			sum += n.n[i]
			rate += c.rate(theta, i, t)
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
