package quality

import (
	"math"

	"rowen/ingest"
)

// An inverter wakes and goes to sleep under a low sun: up to sleepyHours from
// sunrise or sunset, at less than sleepyShare of the most that the array gives
// (our choices).
const (
	sleepyHours = 2.0
	sleepyShare = 0.10
)

// nightRows finds exports of production that have rows only while the inverter
// is awake: between two days read, with the sun down, production is zero and
// not missing. The low light between sunset and sleep, or waking and sunrise,
// counts likewise where the readings beside it are already next to nothing.
//
// Edges: a gap of a day or more stays a gap, its nights as well; of a gap that
// begins or ends in full light only the hours of night are zero.
func nightRows(c *checker) {
	k := ingest.Production
	if c.sun == nil || !c.hourly() || c.level[k].present == 0 {
		return
	}
	v, per := c.slots(k)
	n := nights{c, v, per, math.NaN()}
	var hours []int
	for a := 1; a < len(v); a++ {
		if v[a] == v[a] || v[a-1] != v[a-1] {
			continue
		}
		b := a + 1
		for b < len(v) && v[b] != v[b] {
			b++
		}
		if b == len(v) || b-a >= 24*per {
			continue
		}
		if n.low != n.low { // the most that the array gives, whatever a stray reading says
			n.low = sleepyShare * quantileOf(c.sorted(k), 0.99) / float64(per)
		}
		hours = n.asleep(hours, a, b)
	}
	if len(hours) > 0 {
		c.change(k, ingest.CountAsZero, hours, "production has no readings in %d hours of night between days that were read: they count as zero", len(hours))
	}
}

// nights are a production's slots, to be searched for hours in which the
// inverter slept.
type nights struct {
	c   *checker
	v   []float64
	per int     // slots of an hour
	low float64 // what an inverter gives at most before it falls asleep; NaN: not worked out yet
}

// asleep adds the hours of a gap of slots, from a to b, in which the inverter
// slept.
func (n *nights) asleep(hours []int, a, b int) []int {
	c, v, per, low := n.c, n.v, n.per, n.low
	down := func(i int) bool { // the sun is below the horizon for half of the slot and more
		_, from, half := c.sun.at(float64(i) / float64(per))
		return math.Abs(from+0.5/float64(per)) >= half
	}
	first, last := -1, -1
	for i := a; i < b; i++ {
		if down(i) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return hours
	}
	lo, hi := first, last+1
	sleepy := int(sleepyHours * float64(per))
	if first-a <= sleepy && v[a-1] <= low {
		lo = a
	}
	if b-hi <= sleepy && v[b] <= low {
		hi = b
	}
	// An hour counts where nothing of it stays missing.
	for h := lo / per; h <= (hi-1)/per; h++ {
		whole := math.IsNaN(c.s.Wh[ingest.Production][h])
		for i := h * per; i < (h+1)*per; i++ {
			whole = whole && (v[i] == v[i] || i >= lo && i < hi)
		}
		if whole {
			hours = append(hours, h)
		}
	}
	return hours
}
