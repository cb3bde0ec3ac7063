package pulse

import (
	"math"

	"rowen/ingest/samebits"
)

// fitted are the rates with a step at a week, fitted well.
func (c *counting) fitted(n *tally, week int) [columns]float64 {
	without := c.plainStart(n)
	_, theta := c.stepped(n, week, &without, 3*fineRounds)
	return theta
}

// date refines a week to the day, the rates held:
//
//	G(k) = Σ seen days j ≥ k  c_j·ln(1 + up/b_j) - up
//
// and gives the days whose G is within nearDay of the best.
func (c *counting) date(w when, theta *[columns]float64) (day, low, high int) {
	n := len(c.seen)
	up := math.Max(theta[stepAt], 0.1) / 7
	count := make([]float64, n)
	for k := range c.runs {
		if w.cell.holds(&c.runs[k]) {
			count[c.runs[k].day]++
		}
	}
	gain := make([]float64, n+1)
	for d := n - 1; d >= 0; d-- {
		gain[d] = gain[d+1]
		if c.seen[d] {
			i := min(d/7, c.weeks-1)
			b := math.Max(c.rate(theta, i, c.weeks)/math.Max(c.x[i][0], 1e-9), 0.02) / 7
			gain[d] += float64(count[d]*samebits.Log1p(up/b)) - up
		}
	}
	lo, hi := max(0, w.week*7-dayBack), min(n, w.week*7+dayAhead)
	day = lo + top(gain[lo:hi])
	low, high = day, day
	for d := lo; d < hi; d++ {
		if gain[d] >= gain[day]-nearDay {
			low, high = min(low, d), max(high, d)
		}
	}
	return day, low, high
}

// Pulses that count towards the energy of a change: like those that told it, and
// shorter ones.
const (
	energyHeight = 0.75 // of the cell's lower height
	energyKWh    = 1.5
)

// energy is the new pulses' energy over a year, the season off.
func (c *counting) energy(w when) float64 {
	y := tally{n: make([]float64, c.weeks)}
	for _, r := range c.runs {
		if i := int(r.day) / 7; i < c.weeks && c.seen[r.day] && r.kwh >= energyKWh && r.kw >= energyHeight*w.height.lo {
			y.n[i] += r.kwh
		}
	}
	y.index(c.x)
	theta := c.fitted(&y, w.week)
	return theta[stepAt] / 7 * 365.25
}

// each is the mean energy of a cell's pulses from a day on, and the share of them
// that begin between 8 and 17 o'clock.
func (c *counting) each(k cell, day int) (kWh, byDay float64) {
	kwh, n, light := 0.0, 0.0, 0.0
	for i := range c.runs {
		if r := &c.runs[i]; int(r.day) >= day && c.seen[r.day] && k.holds(r) {
			kwh, n = kwh+r.kwh, n+1
			if r.hour >= 8 && r.hour < 17 {
				light++
			}
		}
	}
	return kwh / math.Max(n, 1), light / math.Max(n, 1)
}

// Weeks of a season are those of a turn beyond seasonTurn (four months), and half of
// them make it known on one side of a date (our choices).
const (
	seasonTurn  = 0.5
	seasonWeeks = 9
)

// oneSeason tells that a season's load may be all that came on a week: heating,
// where no winter was read before it and no summer since, or cooling, the other way
// round.
func (c *counting) oneSeason(week int) bool {
	var winter, summer [2]float64 // weeks read before and since
	for i, u := range c.turn {
		side := 0
		if i >= week {
			side = 1
		}
		switch {
		case u > seasonTurn:
			winter[side] += c.x[i][0]
		case u < -seasonTurn:
			summer[side] += c.x[i][0]
		}
	}
	return max(winter[0], summer[1]) < seasonWeeks || max(summer[0], winter[1]) < seasonWeeks
}

// perWeek is how many of a cell's pulses a week came, and how many there were
// without them in the yearly mean.
func (c *counting) perWeek(theta *[columns]float64) (came, before float64) {
	sum, read := 0.0, 0.0
	for i := range c.weeks {
		sum += c.rate(theta, i, c.weeks)
		read += c.x[i][0]
	}
	return theta[stepAt], sum / math.Max(read, 1)
}
