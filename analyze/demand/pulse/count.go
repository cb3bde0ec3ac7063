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
	rates    []float64 // by week, to be used again
}

// columns of a week's rate: exposure, four of the season, the step.
const (
	columns = 6
	stepAt  = columns - 1
	seasons = columns - 2
)

// calendar is what the days tell whichever way time runs.
type calendar struct {
	seen   []bool // read enough to count
	season [][seasons]float64
	turn   []float64
}

func (v *Intervals) calendar() *calendar {
	c := &calendar{seen: make([]bool, v.Days()), turn: make([]float64, v.Days())}
	for d := range c.seen {
		read := 0
		for _, x := range v.KW[d*v.PerDay : (d+1)*v.PerDay] {
			if x == x {
				read++
			}
		}
		c.seen[d] = 10*read > 9*v.PerDay
		c.turn[d] = v.turn(d)
	}
	c.season = v.seasonColumns(c.turn)
	return c
}

// newCounting lays runs out by week.
func newCounting(days *calendar, runs []run, mirrored bool) *counting {
	n := len(days.seen)
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
	for d, seen := range days.seen {
		c.seen[at(d)] = seen
	}
	c.turn, c.rates = make([]float64, c.weeks), make([]float64, c.weeks)
	for i := range c.turn {
		c.turn[i] = days.turn[at(7*i+3)]
	}
	c.x, c.behind = make([][columns]float64, c.weeks), make([]float64, c.weeks+1)
	for i := range c.x {
		for d := 7 * i; d < 7*i+7; d++ {
			if c.seen[d] {
				c.x[i][0]++
				for j, s := range days.season[at(d)] {
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
func (v *Intervals) seasonColumns(turn []float64) [][seasons]float64 {
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
		u := turn[d]
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
