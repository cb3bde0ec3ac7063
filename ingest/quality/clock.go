package quality

import (
	"math"
	"slices"

	"rowen/ingest"
)

// Night production: more than 1 % of the rating [CP] (or of the highest hour).
// Where a fifth of all energy comes at night, our choice, it is no production
// meter, or its clock is off by many hours.
const (
	nightShare  = 0.01
	nightRefuse = 0.20
)

// night looks for production while the sun is down.
func night(c *checker) {
	k := ingest.Production
	if c.sun == nil || !c.hourly() || !c.has(k, days14) || c.refused(k) {
		return
	}
	limit := nightShare * c.level[k].max
	if r := c.rating(); r > 0 {
		limit = nightShare * r
	}
	n, first, last, energy, all := 0, 0, 0, 0.0, 0.0
	for h, x := range c.s.Wh[k] {
		if !(x > 0) || c.estimated(h) {
			continue
		}
		all += x
		if x > limit && c.sun.night(h) {
			if n == 0 {
				first = h
			}
			n, last, energy = n+1, h, energy+x
		}
	}
	if n == 0 {
		return
	}
	consequence := ingest.KeepWithCaveat
	if energy > nightRefuse*all {
		consequence = ingest.RefuseChannel
	}
	c.say(k, consequence, part{first, last + 1, n}, "production is above %.0f Wh in %d hours of night, %.1f %% of its energy, the first on %s", limit, n, 100*energy/all, c.date(first))
}

// dayMiddles are, for each day of production, how many hours after solar noon
// the middle between its first and its last productive hour lies. Even an array
// that looks east makes a little from sunrise to sunset, so the middle hardly
// depends on where it looks, and any clock moves it whole.
//
// centre is the same for the middle of the energy, which does depend on the
// array, but is finer than hours: it shows jumps.
type dayMiddles struct {
	day            []int
	middle, centre []float64
}

// dayMiddles are worked out once.
func (c *checker) dayMiddles() *dayMiddles {
	if c.middles == nil {
		c.middles = middlesOf(c)
	}
	return c.middles
}

func middlesOf(c *checker) *dayMiddles {
	m := &dayMiddles{}
	v := c.s.Wh[ingest.Production]
	threshold := 0.01 * c.level[ingest.Production].max // our choice: above an inverter's noise
	first, last, peak, now := -1, -1, 0.0, -1
	firstFrom, lastFrom, half, energy, moment := 0.0, 0.0, 0.0, 0.0, 0.0
	end := func() {
		// A dull day's edges are lost in the threshold; a day cut by a gap has
		// no middle.
		if first >= 0 && peak > 20*threshold && float64(last-first+1) > 1.2*half {
			m.day = append(m.day, now)
			m.middle = append(m.middle, (firstFrom+lastFrom+1)/2)
			m.centre = append(m.centre, moment/energy)
		}
	}
	for h, x := range v {
		d, from, hf := c.sun.around(h)
		if d != now {
			if now >= 0 {
				end()
			}
			now, first, peak, half, energy, moment = d, -1, 0, hf, 0, 0
		}
		if x > threshold {
			if first < 0 {
				first, firstFrom = h, from
			}
			last, lastFrom = h, from
			peak = math.Max(peak, x)
			energy, moment = energy+x, moment+float64(x*(from+0.5))
		}
	}
	end()
	return m
}

// shiftedHours is how far the middle of the days may lie from solar noon: hours
// are resolved to half an hour, and hills and trees take some of one side.
const shiftedHours = 0.75

// clockShift compares the middle of the productive day with solar noon.
func clockShift(c *checker) {
	k := ingest.Production
	if c.sun == nil || !c.hourly() || !c.has(k, days14) || c.refused(k) {
		return
	}
	m := c.dayMiddles()
	if len(m.day) < 20 {
		return
	}
	d := median(m.middle)
	if math.Abs(d) < shiftedHours {
		return
	}
	l := c.level[k]
	way, mend := "late", "stamps at the end of the interval declared as its start, or a clock ahead"
	if d < 0 {
		way, mend = "early", "stamps at the start declared as the end, or a clock behind"
	}
	consequence := ingest.KeepWithCaveat
	if math.Abs(d) > 2.5 {
		consequence = ingest.RefuseChannel
		mend = "the zone of the stamps is wrong"
	}
	c.say(k, consequence, part{l.first, l.last + 1, l.present}, "the middle of the productive day is %.1f hours %s against the sun (median of %d days): %s; check time.zone and time.stamp", math.Abs(d), way, len(m.day), mend)
}

// clockChanges compares the three weeks before and after each clock change of
// the site's zone: a file in true time does not jump.
func clockChanges(c *checker) {
	k := ingest.Production
	if c.sun == nil || c.site.Location == nil || !c.hourly() || !c.has(k, 60*24) || c.refused(k) {
		return
	}
	m := c.dayMiddles()
	first := int64(c.s.Start-ingest.Hour(c.sun.offset)) * 3600
	jumps, changes, sum := 0, 0, 0.0
	for _, change := range ingest.ClockChanges(c.site.Location, c.s.Start, c.s.End()) {
		d := int((change.At.Unix() - first) / 86400)
		a, b := window(m.day, m.centre, d-21, d-1), window(m.day, m.centre, d+1, d+21)
		if len(a) < 7 || len(b) < 7 {
			continue
		}
		changes++
		// The jump in units of the clock change, positive where the file's
		// time goes with the clock.
		jump := (median(b) - median(a)) / (change.After - change.Before).Hours()
		if math.Abs(jump) > 0.6 {
			jumps++
			sum += jump
		}
	}
	if jumps == 0 || jumps < (changes+1)/2 {
		return
	}
	l := c.level[k]
	mend := "the stamps go with summer time but are read as if they did not: state a zone with summer time in time.zone (site, or an IANA zone)"
	if sum < 0 {
		mend = "the stamps keep standard time all year but are read as civil time: state the fixed zone in time.zone"
	}
	c.say(k, ingest.KeepWithCaveat, part{l.first, l.last + 1, l.present}, "production jumps by an hour against the sun at %d of %d clock changes: %s", jumps, changes, mend)
}

// window gives the values of the days from a to b.
func window(day []int, v []float64, a, b int) []float64 {
	i, _ := slices.BinarySearch(day, a)
	j, _ := slices.BinarySearch(day, b+1)
	return v[i:j]
}

func median(v []float64) float64 { return quantile(v, 0.5) }
