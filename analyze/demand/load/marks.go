package load

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// marks are what the pulses of one kind say about a change: the days after it
// held against the days before.
type marks struct {
	known        bool
	month        float64 // pulses in 30 days after
	monthBefore  float64
	days         float64 // share of the days after with one
	aDay         float64 // pulses on a day that has any
	kw           float64 // median height
	spread       float64 // robust sd of the heights over the median
	minutes      float64 // median
	kwhDay       float64 // energy a day after less before
	energySpread float64 // robust sd over the median
	sameStart    float64 // share of the days after with one that starts at the usual slot, give or take one
	startDays    int     // and how many days
	start        int     // the usual slot
	hotHours     float64 // share of the pulses that rise between 11 and 18 o'clock
	cool, warm   float64 // pulses a day in the half year around midwinter and in the other; NaN: fewer than 30 such days after
}

// count is what marks are made of: the pulses before and after.
type count struct {
	before, energyBefore               float64
	heights, minutes, energies, starts []float64
	energyAfter, hot                   float64
	cool, warm                         float64
	perDay                             map[int32]int
}

// marksOf measures the pulses that keep lets through around the group, at the
// height that is new.
func (s *Scene) marksOf(keep func(pulse) bool) marks {
	var m marks
	beforeLo, beforeHi := max(s.beforeLo, s.beforeHi-365, 0), s.beforeHi
	afterLo, afterHi := max(s.afterLo, 0), s.afterHi
	daysBefore, daysAfter := s.wholeDays(beforeLo, beforeHi), s.wholeDays(afterLo, afterHi)
	if s.Fine == nil || daysBefore < 14 || daysAfter < 14 {
		return m
	}
	m.known = true
	keep = s.atNewHeight(keep)
	c := count{perDay: map[int32]int{}}
	for _, p := range s.Fine.pulses {
		d := int(p.day)
		switch {
		case d >= s.Days.N() || !s.Days.Whole(d) || !keep(p):
		case d >= beforeLo && d < beforeHi:
			c.before++
			c.energyBefore += float64(p.kwh)
		case d >= afterLo && d < afterHi:
			s.after(&c, p)
		}
	}
	m.monthBefore = 30 * c.before / float64(daysBefore)
	if len(c.heights) == 0 {
		return m
	}
	m.hotHours = c.hot / float64(len(c.heights))
	m.month = 30 * float64(len(c.heights)) / float64(daysAfter)
	m.days = float64(len(c.perDay)) / float64(daysAfter)
	m.aDay = float64(len(c.heights)) / float64(len(c.perDay))
	m.kwhDay = c.energyAfter/float64(daysAfter) - c.energyBefore/float64(daysBefore)
	m.kw, m.minutes = stat.Median(c.heights), stat.Median(c.minutes)
	m.spread = 1.4826 * stat.MAD(c.heights) / m.kw
	m.energySpread = 1.4826 * stat.MAD(c.energies) / math.Max(stat.Median(c.energies), 1e-9)
	m.start, m.startDays = s.Fine.usualStart(c.starts)
	m.sameStart = float64(m.startDays) / float64(daysAfter)
	m.cool, m.warm = s.bySeason(&c, afterLo, afterHi)
	return m
}

// after counts one pulse of the days after.
func (s *Scene) after(c *count, p pulse) {
	c.heights, c.minutes = append(c.heights, float64(p.kw)), append(c.minutes, float64(p.minutes))
	c.energies, c.starts = append(c.energies, float64(p.kwh)), append(c.starts, float64(p.slot))
	c.energyAfter += float64(p.kwh)
	c.perDay[p.day]++
	if minute := int(p.slot) * s.Fine.step; minute >= 11*60 && minute < 18*60 {
		c.hot++
	}
	if s.coolHalf(int(p.day)) {
		c.cool++
	} else {
		c.warm++
	}
}

// bySeason gives the pulses a day in the two halves of the year; NaN: fewer
// than 30 such days.
func (s *Scene) bySeason(c *count, lo, hi int) (cool, warm float64) {
	var coolDays, warmDays float64
	for d := lo; d < hi; d++ {
		if s.Days.Whole(d) && s.coolHalf(d) {
			coolDays++
		} else if s.Days.Whole(d) {
			warmDays++
		}
	}
	cool, warm = math.NaN(), math.NaN()
	if coolDays >= 30 {
		cool = c.cool / coolDays
	}
	if warmDays >= 30 {
		warm = c.warm / warmDays
	}
	return cool, warm
}

// sameHeight is how far heights of one load lie apart: the level's 10 % and
// half as much for the household under it.
const sameHeight = 0.15

// atNewHeight narrows keep to the pulses of the height that the days after a
// group have and the days before had not: an oven or a water heater that was
// always there has its own. It is the height with the most energy a day more.
func (s *Scene) atNewHeight(keep func(pulse) bool) func(pulse) bool {
	beforeLo, beforeHi, afterLo, afterHi := s.beforeLo, s.beforeHi, s.afterLo, s.afterHi
	beforeLo = max(beforeLo, beforeHi-365)
	const bins = 96 // by 5 %, from burstKW
	var more [bins + 2]float64
	bin := func(kw float32) int { return min(int(samebits.Log(float64(kw)/burstKW)/0.05), bins-1) + 1 }
	for _, p := range s.Fine.pulses {
		switch d := int(p.day); {
		case d >= s.Days.N() || !keep(p):
		case d >= beforeLo && d < beforeHi:
			more[bin(p.kw)] -= float64(p.kwh) / float64(max(beforeHi-beforeLo, 1))
		case d >= afterLo && d < afterHi:
			more[bin(p.kw)] += float64(p.kwh) / float64(max(afterHi-afterLo, 1))
		}
	}
	best, top := -1, 0.0
	for b := 1; b <= bins; b++ {
		// of sums that are alike, since one height fills three of them, the middle one
		if v := more[b-1] + more[b] + more[b+1]; v > top || v == top && best > 0 && more[b] > more[best] {
			best, top = b, v
		}
	}
	if best < 0 {
		return func(pulse) bool { return false }
	}
	height := burstKW * samebits.Exp(0.05*(float64(best)-0.5))
	return func(p pulse) bool { return keep(p) && math.Abs(float64(p.kw)/height-1) <= sameHeight }
}

// usualStart is the slot of the day at which most start, give or take one, and
// how many do.
func (r *Fine) usualStart(starts []float64) (slot, days int) {
	slots := 24 * 60 / r.step
	count := make([]int, slots)
	for _, v := range starts {
		count[int(v)%slots]++
	}
	for k := range count {
		c := count[(k+slots-1)%slots] + count[k] + count[(k+1)%slots]
		if c > days || (c == days && count[k] > count[slot]) {
			slot, days = k, c
		}
	}
	return slot, days
}

func (s *Scene) wholeDays(lo, hi int) int {
	k := 0
	for d := max(lo, 0); d < min(hi, s.Days.N()); d++ {
		if s.Days.Whole(d) {
			k++
		}
	}
	return k
}

// coolHalf tells the half of the year around midwinter.
func (s *Scene) coolHalf(d int) bool { return s.Days.Winter(d) > 0 }
