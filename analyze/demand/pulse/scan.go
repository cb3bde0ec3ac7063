package pulse

import (
	"cmp"
	"math"
	"slices"
)

// scanned is a cell whose dates were looked at with the season.
type scanned struct {
	cell
	gains []float64 // by week; 0 where not looked at
}

// gainAt is what a step at week t gains over none, in units of the counts'
// own dispersion.
func (c *counting) gainAt(n *tally, t int, without *[columns]float64, l0 float64, rounds int) float64 {
	l, theta := c.stepped(n, t, without, rounds)
	if !(l > l0) {
		return 0
	}
	return (l - l0) / math.Max(1, c.dispersion(n, &theta, t))
}

// scan tries every so manyeth week from lo up to hi, then every week around the
// two best.
func (c *counting) scan(k *tally, lo, hi, every int, gains []float64) {
	without := c.plainStart(k)
	l0 := c.settle(k, c.weeks, &without, 2*fineRounds)
	for t := lo; t < hi; t += every {
		gains[t] = c.gainAt(k, t, &without, l0, coarseRounds)
	}
	done := -1
	for range 2 {
		best := -1
		for t := lo; t < hi; t += every {
			if t != done && (best < 0 || gains[t] > gains[best]) {
				best = t
			}
		}
		if best < 0 {
			break
		}
		done = best
		for t := max(lo, best-every+1); t < min(hi, best+every); t++ {
			gains[t] = c.gainAt(k, t, &without, l0, fineRounds)
		}
	}
}

// look scans the most promising cells.
func (c *counting) look() []scanned {
	cells := c.cells()
	slices.SortStableFunc(cells, func(a, b cell) int { return cmp.Compare(b.plain, a.plain) })
	cells = cells[:min(len(cells), closeLook)]
	flat := make([]float64, len(cells)*c.hi)
	out := make([]scanned, len(cells))
	for i := range cells {
		cells[i].index(c.x)
		out[i] = scanned{cells[i], flat[i*c.hi : (i+1)*c.hi]}
		c.scan(&out[i].tally, c.lo, c.hi, coarseWeeks, out[i].gains)
	}
	return out
}

// top is the first of the largest values.
func top(v []float64) int {
	best := 0
	for i, x := range v {
		if x > v[best] {
			best = i
		}
	}
	return best
}

// when is a week in one cell.
type when struct {
	*scanned
	week int
}

func (w when) gain() float64 { return w.gains[w.week] }

// best is the cell and week of the largest gain.
func (c *counting) best(kept []scanned) when {
	b := when{week: -1}
	for k := range kept {
		if t := top(kept[k].gains); b.week < 0 || kept[k].gains[t] > b.gain() {
			b = when{&kept[k], max(t, c.lo)}
		}
	}
	return b
}

// earliest is the first week, in any of the cells, that gains as much as the best
// but for early: people charge more as time goes on, so that the most gain is
// late more often than early.
func (c *counting) earliest(kept []scanned, b when) when {
	e := b
	for k := range kept {
		for t := c.lo; t < e.week-2; t++ {
			if kept[k].gains[t] >= b.gain()-early {
				e = when{&kept[k], t}
				break
			}
		}
	}
	if e.week == b.week {
		return b
	}
	gains := make([]float64, c.hi)
	lo, hi := max(c.lo, e.week-2), min(c.hi, e.week+3)
	c.scan(&e.tally, lo, hi, 1, gains)
	e.week = lo + top(gains[lo:hi])
	return e
}
