package quality

import (
	"math"
	"slices"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// slots gives a channel at the readings' own step, and how many make an hour;
// worked out once.
func (c *checker) slots(k ingest.Channel) (v []float64, per int) {
	f := c.s.Fine
	if f == nil || f.Wh[k] == nil || f.Start != c.s.Start || len(f.Wh[k]) != len(c.s.Wh[k])*60/f.StepMinutes {
		return c.s.Wh[k], 1
	}
	if l := &c.level[k]; !l.slots {
		l.slots = true
		v = slices.Grow(c.slot[k][:0], len(f.Wh[k]))[:len(f.Wh[k])]
		for i, x := range f.Wh[k] {
			v[i] = float64(x)
		}
		c.slot[k] = v
	}
	return c.slot[k], 60 / f.StepMinutes
}

// line is a run of readings on one straight line.
type line struct {
	lo, hi int     // slots, hi exclusive
	rise   float64 // from one slot to the next
}

// lines finds the runs of at least n readings that lie on a straight line to
// within tol, without the runs of nothing.
//
// The slopes that pass each further reading within tol of the line from the
// run's first one form a narrowing interval; the run ends where it is empty.
//
// Most readings are on no line: three lie on one only where the middle one is
// within 2 tol of its neighbors' mean, with room for rounding. All threes of a
// line of n do, so the last three that a line from i on must have are asked
// first, and then those before: where one is bent, no line begins at or before it.
//
// Cost: O(slots), mostly one question in n-2 of them; n is at least 3.
func lines(v []float64, tol, most float64, n int) []line {
	var found []line
	room := float64(4*tol) + float64(1e-9*most)
	straight := -1 // up to here the threes from i on are known to be straight
	for i := 0; i+n <= len(v); {
		if v[i] == 0 && v[i+1] == 0 {
			i++
			continue
		}
		known, last := max(straight, i-1), i+n-3
		bent := last
		for bent > known && math.Abs(v[bent]-float64(2*v[bent+1])+v[bent+2]) <= room {
			bent--
		}
		if straight = max(straight, last); bent > known {
			i = bent + 1 // also where one of the three is missing
			continue
		}
		low, high := math.Inf(-1), math.Inf(1)
		j := i + 1
		for ; j < len(v) && v[j] == v[j]; j++ {
			d := float64(j - i)
			a, b := max(low, (v[j]-tol-v[i])/d), min(high, (v[j]+tol-v[i])/d)
			if a > b {
				break
			}
			low, high = a, b
		}
		if j-i >= n {
			found = append(found, line{i, j, (v[j-1] - v[i]) / float64(j-1-i)})
			i = j
		} else {
			i++
		}
	}
	return found
}

// largest is the most of all values, whatever their sign.
func largest(v []float64) (most float64) {
	for _, x := range v {
		if x = math.Abs(x); x > most {
			most = x
		}
	}
	return most
}

// manySteps: readings whose range has so many steps of their rounding are finely
// resolved (our choice).
const manySteps = 200

// roundedTo is what readings are rounded to. NaN: they never differ, or so
// coarsely that equal and evenly spaced ones mean nothing.
func (c *checker) roundedTo(k ingest.Channel, v []float64, per int) float64 {
	if l := &c.level[k]; l.quantum == 0 {
		l.quantum, l.largest = quantum(v), largest(v)
	}
	q := c.level[k].quantum
	if q > c.level[k].max/float64(per)/manySteps {
		return math.NaN()
	}
	return q
}

// quantum is the least difference between neighbors that is not nothing; NaN:
// they never differ.
func quantum(v []float64) float64 {
	least := math.NaN()
	for i := 1; i < len(v); i++ {
		if d := math.Abs(v[i] - v[i-1]); d > 0 && !(d >= least) && d > 1e-6*math.Abs(v[i]) {
			least = d
		}
	}
	return least
}

// Limits of stuck and interpolated readings. Four equal hours of production by
// day are common practice [CP], and six finer readings over an hour at least; a
// household's hours can be alike at night, so twelve hours there, our choice.
// A reading of fewQuanta steps of its rounding or less is coarse, not stuck.
const (
	stuckSlots = 6
	fewQuanta  = 20
)

var stuckHours = [ingest.NumChannels]int{4, 12, 12, 4}

// stuckLeast is how many equal readings are stuck.
func stuckLeast(k ingest.Channel, per int) int {
	switch {
	case per == 1:
		return stuckHours[k]
	case k == ingest.Production || k == ingest.Export:
		return max(stuckSlots, per)
	}
	return stuckHours[k] * per
}

// stuck leaves out stretches of one value. Flat tops are no fault of the meter:
// an inverter at its limit, or one that is held down. So production that stays
// at one value is stuck only where the day goes on above it, or night falls.
// Channels of few distinct values are coarse rather than stuck.
func stuck(c *checker) {
	if !c.hourly() {
		return
	}
	for k := range ingest.NumChannels {
		v, per := c.slots(k)
		q := c.roundedTo(k, v, per)
		if q != q {
			continue
		}
		var out []line
		for _, l := range lines(v, 0.5*q, c.level[k].largest, stuckLeast(k, per)) {
			level := v[l.lo]
			if math.Abs(v[l.hi-1]-level) > 0.5*q || level < fewQuanta*q || c.estimated(l.lo/per) {
				continue
			}
			if (k == ingest.Production || k == ingest.Export) && !below(c, v, l, per) {
				continue
			}
			out = append(out, l)
		}
		if hours := hoursOf(out, per); len(hours) > 0 {
			c.leaveOut(k, hours, "%s stays at one value %s, %d hours in all, the first on %s; they are left out", k, ingest.Times(len(out)), len(hours), c.date(hours[0]))
		}
	}
}

// Readings this far above a flat stretch say that it is no limit, and so does
// its lasting for more hours than a limit binds in a day (our choices).
const (
	aboveTop   = 1.03
	longestTop = 12
)

// below tells whether a flat stretch lies clearly below the readings around it,
// or goes on into the night, as no limit would.
func below(c *checker, v []float64, l line, per int) bool {
	level := v[l.lo]
	if r := c.site.RatedACWatts; r > 0 && level*float64(per) >= 0.95*r {
		return false
	}
	if l.hi-l.lo > longestTop*per || throughNight(c, l, per) {
		return true
	}
	reach := 6 * per
	for i := max(0, l.lo-reach); i < min(len(v), l.hi+reach); i++ {
		if v[i] > aboveTop*level {
			return true
		}
	}
	return false
}

// throughNight tells whether a stretch has hours of night in it.
func throughNight(c *checker, l line, per int) bool {
	for h := (l.lo + per - 1) / per; c.sun != nil && h < l.hi/per; h++ {
		if c.sun.night(h) {
			return true
		}
	}
	return false
}

// interpolated leaves out stretches that lie on a sloping straight line.
//
// No array follows a line: between two readings T hours apart even a clear
// morning, where its output bends least, leaves the chord by
//
//	0.2 P (w T/2)^3 / 6        w = 2 pi/24 per hour, P the most on the stretch
//
// so a stretch counts where that is six steps of rounding and more, or where
// it runs through the night. A household's readings jump by s from one to the
// next but one; that n of them lie on a line by chance has the odds
//
//	(2 tol / s)^(n-2)
//
// which must be below one in 10^13. Both bounds are our own.
func interpolated(c *checker) {
	if !c.hourly() {
		return
	}
	for k := range ingest.NumChannels {
		v, per := c.slots(k)
		q := c.roundedTo(k, v, per)
		if q != q {
			continue
		}
		tol := 0.75 * q
		least := 5
		if per > 1 {
			least = 8
		}
		jump := math.NaN() // worked out where it is needed
		var out []line
		for _, l := range lines(v, tol, c.level[k].largest, least) {
			if flat := math.Abs(l.rise)*float64(l.hi-l.lo) <= 3*q; flat || c.estimated(l.lo/per) {
				continue
			}
			if k != ingest.Production && jump != jump {
				jump = bend(v)
			}
			if k == ingest.Production && bends(c, v, l, per, q) || k != ingest.Production && unlikely(l, tol, jump) {
				out = append(out, l)
			}
		}
		if hours := hoursOf(out, per); len(hours) > 0 {
			c.leaveOut(k, hours, "%s runs on a straight line %s, %d hours in all, the first on %s: filled in between two readings, not read; they are left out", k, ingest.Times(len(out)), len(hours), c.date(hours[0]))
		}
	}
}

// bends tells whether an array's output would have left the line.
func bends(c *checker, v []float64, l line, per int, q float64) bool {
	if throughNight(c, l, per) {
		return true
	}
	angle := math.Pi / 24 * float64(l.hi-1-l.lo) / float64(per)
	return max(v[l.lo], v[l.hi-1])*angle*angle*angle/30 >= 6*q
}

func unlikely(l line, tol, jump float64) bool {
	return jump > 2*tol && float64(l.hi-l.lo-2)*samebits.Log(jump/(2*tol)) > 30
}

// bend is the median of how far a reading lies from the middle of its
// neighbors, doubled; runs of nothing apart.
func bend(v []float64) float64 {
	x := make([]float64, 0, len(v)/3)
	for i := 1; i+1 < len(v); i += 3 {
		if d := math.Abs(v[i-1] - 2*v[i] + v[i+1]); d == d && (v[i-1] != 0 || v[i+1] != 0) {
			x = append(x, d)
		}
	}
	if len(x) == 0 {
		return 0
	}
	return nth(x, len(x)/2)
}

// hoursOf lists the hours that lines touch, in order, each once.
func hoursOf(ls []line, per int) []int {
	var hours []int
	for _, l := range ls {
		for h := l.lo / per; h <= (l.hi-1)/per; h++ {
			if len(hours) == 0 || hours[len(hours)-1] < h {
				hours = append(hours, h)
			}
		}
	}
	return hours
}

// An hour beside a gap holds the gap's energy where it is at least lumpTimes what
// that hour of the day is used to, more than on any day around, and about what it
// and the gap's hours together are used to (our choices).
const (
	lumpTimes   = 3
	lumpDays    = 14 // on either side, for what an hour is used to
	lumpLeast   = 0.4
	lumpMost    = 2.5
	lumpMinDays = 5
)

// lumps leaves out hours that hold the energy of a gap of two hours or more: the
// first after it, or the last before it where an export closes with what followed.
func lumps(c *checker) {
	if !c.hourly() {
		return
	}
	for k, v := range c.s.Wh {
		ch := ingest.Channel(k)
		if !c.has(ch, days14) {
			continue
		}
		var hours []int
		for a := c.level[k].first + 1; a <= c.level[k].last; a++ {
			b := a
			for v[b] != v[b] { // ends at the channel's last hour at the latest
				b++
			}
			if b-a >= 2 {
				for _, h := range [...]int{a - 1, b} {
					if isLump(v, h, a, b) {
						hours = append(hours, h)
					}
				}
			}
			a = b
		}
		if len(hours) > 0 {
			hours = slices.Compact(hours) // one hour between two gaps
			c.leaveOut(ch, hours, "%s holds the energy of a gap in the hour beside it %s, the first on %s: left out", ch, ingest.Times(len(hours)), c.date(hours[0]))
		}
	}
}

// isLump tells whether hour h holds the energy of the gap from a to b beside it.
func isLump(v []float64, h, a, b int) bool {
	usual, most := usualWh(v, h)
	if !(v[h] > lumpTimes*usual && v[h] > most) {
		return false
	}
	for i := a; i < b; i++ {
		wh, _ := usualWh(v, i)
		usual += wh
	}
	return v[h] >= lumpLeast*usual && v[h] <= lumpMost*usual
}

// usualWh is the median of the same hour of the day on the days around, and the
// most of them; NaN: too few are known.
func usualWh(v []float64, h int) (median, most float64) {
	var x []float64
	for d := -lumpDays; d <= lumpDays; d++ {
		if at := h + 24*d; d != 0 && at >= 0 && at < len(v) && v[at] == v[at] {
			x = append(x, v[at])
		}
	}
	if len(x) < lumpMinDays {
		return math.NaN(), math.NaN()
	}
	slices.Sort(x)
	return x[len(x)/2], x[len(x)-1]
}
