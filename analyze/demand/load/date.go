package load

import (
	"math"
	"slices"

	"rowen/ingest/samebits"
)

// timer looks for a pump's fixed start after a group: the interval of the day
// in which the load rises by at least half of the block's height, and stays up
// for an hour.
//
// Out: the clock time of the start, on how many days, of how many.
func (s *Scene) timer(sh *Shape) (start string, days, of int) {
	r := s.Fine
	if r == nil {
		return "", 0, 0
	}
	perHour := 60 / r.step
	rise := float32(0.5 * slices.Max(sh.Delta[:]))
	var starts []float64
	for d := max(s.afterLo, 0); d < min(s.afterHi, s.Days.N()); d++ {
		if !s.Days.Whole(d) {
			continue
		}
		of++
		lo, hi := s.Calendar.Day(d)
		off := int(s.Calendar.Start - r.start)
		if at := longRise(r.kw, (lo+off)*perHour, (hi+off)*perHour, perHour, rise); at >= 0 {
			_, slot := r.slotOf(at)
			starts = append(starts, float64(slot))
		}
	}
	slot, days := r.usualStart(starts)
	return r.clockOf(slot), days, of
}

// longRise is the interval of the sharpest rise whose next hour stands above
// the hour before by at least rise throughout; -1: none.
func longRise(kw []float32, lo, hi, perHour int, rise float32) int {
	best, top := -1, rise
	for i := max(lo, perHour); i < hi && i+1+perHour < len(kw); i++ {
		up := kw[i+1] - kw[i-1] // a switch within interval i shows in full after it
		if !(up > top) {
			continue
		}
		low, high := float32(math.Inf(1)), float32(math.Inf(-1))
		for k := range perHour {
			low, high = min(low, kw[i+1+k]), max(high, kw[i-1-k])
		}
		if low-kw[i-1] >= rise && high < low {
			best, top = i, up
		}
	}
	return best
}

// firstRectangle dates a car by its rectangles: the day from which they come at
// the rate after, having come at the rate before, by the most likely change of
// a Poisson process within 45 days of the group's day:
//
//	L(d) = n(before d)·ln λ0 + n(from d on)·ln λ1 - λ0·(d - lo) - λ1·(hi - d)
//
// Out: the day of the first rectangle of the car; the first day on which it
// may as well have stood there uncharged (L within ln 10 of the best).
// Refuses: fewer than 4 in 30 days, or a rate before of over a quarter of it.
// Source: likelihood of a change of a Poisson rate (from memory).
func (s *Scene) firstRectangle(car *marks) (day, low int, ok bool) {
	if car.month < rectanglesAMonth || car.monthBefore > quietBefore*car.month {
		return 0, 0, false
	}
	lo, hi := max(s.Group.Day-45, 0), min(s.Group.Day+46, s.Days.N())
	count := make([]float64, hi-lo)
	for _, p := range s.Fine.pulses {
		if d := int(p.day); d >= lo && d < hi && p.kw >= rectangleKW && p.minutes >= rectangleMinutes && math.Abs(float64(p.kw)/car.kw-1) <= sameHeight {
			count[d-lo]++
		}
	}
	before, after := max(car.monthBefore, 0.1)/30, car.month/30 // one in ten months: our choice for none
	gain := samebits.Log(after / before)
	best, at := math.Inf(-1), -1
	likely := make([]float64, len(count))
	l := 0.0
	for d := len(count) - 1; d >= 0; d-- {
		l += float64(gain*count[d]) - (after - before)
		likely[d] = l
		if count[d] > 0 && l > best {
			best, at = l, d
		}
	}
	if at < 0 || best <= 0 {
		return 0, 0, false
	}
	first := at
	for first > 0 && likely[first-1] > best-math.Ln10 {
		first--
	}
	return lo + at, lo + first, true
}
