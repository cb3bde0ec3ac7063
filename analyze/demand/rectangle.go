package demand

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// Marks of loads in readings of 15 minutes or finer (section 8.4 of the
// method, common practice): a car's rectangle rises by at least 2.8 kW in one
// interval, lasts at least 45 minutes, keeps its level to 10 % and comes at
// least 4 times in 30 days; a water heater's burst lasts 10 to 60 minutes at a
// constant height, or its block stands at one hour of a controlled load with
// its energy within 30 %; a pump's timer starts within one interval on at
// least 20 days.
const (
	finestMinutes     = 15
	rectangleKW       = 2.8
	rectangleMinutes  = 45
	rectangleLevel    = 0.10
	rectanglesAMonth  = 4
	burstKW           = 1.8
	burstMinutes      = 60
	blockEnergySpread = 0.30
	timerDays         = 20
	waterMostKW       = 5.5 // the largest element
	householdShare    = 0.3 // our choice
)

// pulse is one rectangle of load: it rises in one interval, keeps its level,
// and falls again.
type pulse struct {
	day     int32 // of the readings
	slot    int16 // of the day that it rises in
	minutes float32
	kw      float32 // height over what was there before
	kwh     float32
}

// rectangles are the fine readings on the site's calendar.
type rectangles struct {
	read   bool
	kw     []float32 // by interval; NaN: missing
	start  ingest.Hour
	step   int // minutes
	pulses []pulse
}

// readFine brings the finer readings of what counts as use to 15 minutes (or
// their own step where 15 is no multiple of it) and lists their pulses. It is
// done once, and only where something is to be named.
//
// Refuses: no finer readings, steps over 15 minutes, net use (the array's
// output is in it).
// Cost:    one pass over the readings.
func (s *site) readFine() *rectangles {
	r := &s.rects
	if r.read {
		return r
	}
	r.read = true
	f := s.in.Series.Fine
	if f == nil || f.StepMinutes <= 0 || f.StepMinutes > finestMinutes || 60%f.StepMinutes != 0 || !s.basis.gross {
		return r
	}
	use := s.fineUse(f)
	if use == nil {
		return r
	}
	r.start, r.step = f.Start, f.StepMinutes
	together := 1
	if finestMinutes%r.step == 0 {
		together = finestMinutes / r.step
	}
	r.step *= together
	scale := 60 / float32(r.step) / 1000
	r.kw = use[:len(use)/together]
	for i := range r.kw {
		sum := float32(0)
		for _, v := range use[i*together : (i+1)*together] {
			sum += v
		}
		r.kw[i] = sum * scale
	}
	s.findPulses(r)
	return r
}

// fineUse is the use by native interval, Wh, on the basis chosen; nil: a
// channel of it has no finer readings.
func (s *site) fineUse(f *ingest.Fine) []float32 {
	if s.basis.name == BasisMeter {
		return slices.Clone(f.Wh[ingest.Consumption])
	}
	production, imported, exported := f.Wh[ingest.Production], f.Wh[ingest.Import], f.Wh[ingest.Export]
	if production == nil || imported == nil || exported == nil {
		return nil
	}
	out := make([]float32, min(len(production), len(imported), len(exported)))
	for i := range out {
		out[i] = production[i] + imported[i] - exported[i]
	}
	return out
}

// findPulses lists what rises by burstKW in one interval, keeps its level to
// 10 % and falls again.
//
// A switch within an interval divides its rise over two: the first then counts
// for its share. The 10 % are the load's own: the household under it may go
// down to nothing or up to twice what it was, by householdShare of the load at
// most, and may lift a quarter of the intervals further.
func (s *site) findPulses(r *rectangles) {
	p, n := r.kw, len(r.kw)
	longest := 16 * 60 / r.step // above that it is a base load
	for i := 1; i+2 < n; i++ {
		before := p[i-1]
		if !(p[i+1]-before >= burstKW && p[i]-before > 0.1*burstKW) && !(p[i]-before >= burstKW) {
			continue
		}
		from := i // of the plateau
		if p[i+1] > p[i]*(1+rectangleLevel) {
			from = i + 1
		}
		level, over := float64(p[from]), 0
		if !(level-float64(before) >= burstKW) {
			continue
		}
		to := from + 1
		for ; to < n && to-from <= longest; to++ {
			v, height := float64(p[to]), level-float64(before)
			under := math.Min(float64(before), householdShare*height)
			if !(v >= level-rectangleLevel*height-under) {
				break // sinks, or is missing
			}
			if v > level+rectangleLevel*height+under {
				over++
				continue
			}
			level += (v - level) / float64(to-from+1-over)
		}
		height := level - float64(before)
		last := to // first interval after the last that is part of it
		if to+1 < n && p[to+1] < p[to] {
			last = to + 1
		}
		if to >= n || last >= n || to-from > longest || 4*over > to-from || !(float64(p[last]) <= level-0.6*height) {
			continue
		}
		kwh, minutes := 0.0, float64(to-from)
		for k := i; k < last; k++ {
			v := math.Min(float64(p[k])-float64(before), height)
			kwh += v * float64(r.step) / 60
			if k < from || k >= to {
				minutes += math.Max(v, 0) / height
			}
		}
		if at, slot := s.slotOf(r, i); at >= 0 && (s.swapped == nil || !s.swapped[at]) {
			r.pulses = append(r.pulses, pulse{day: int32(at), slot: int16(slot), minutes: float32(minutes * float64(r.step)), kw: float32(height), kwh: float32(kwh)})
		}
		i = to - 1
	}
}

// slotOf is the day and the interval of the day by the site's clock.
func (s *site) slotOf(r *rectangles, i int) (day, slot int) {
	perHour := 60 / r.step
	hour := int(r.start-s.cal.start) + i/perHour
	if hour < 0 || hour >= s.cal.hours {
		return -1, 0
	}
	return s.cal.dayOf(s.cal.start + ingest.Hour(hour)), int(s.cal.hod[hour])*perHour + i%perHour
}

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

// marksOf measures the pulses that keep lets through around group k, at the
// height that is new.
func (s *site) marksOf(k int, keep func(pulse) bool) marks {
	var m marks
	r := s.readFine()
	keep = s.atNewHeight(k, keep)
	beforeLo, beforeHi, afterLo, afterHi := s.daysAround(k)
	beforeLo, afterLo = max(beforeLo, beforeHi-365, 0), max(afterLo, 0)
	daysBefore, daysAfter := s.wholeDays(beforeLo, beforeHi), s.wholeDays(afterLo, afterHi)
	if r.kw == nil || daysBefore < 14 || daysAfter < 14 {
		return m
	}
	m.known = true
	var heights, minutes, energies, starts []float64
	energyBefore, energyAfter, before := 0.0, 0.0, 0.0
	var cool, warm, coolDays, warmDays float64
	perDay := map[int32]int{}
	for _, p := range r.pulses {
		d := int(p.day)
		if d >= s.n || !s.whole(d) || !keep(p) {
			continue
		}
		switch {
		case d >= beforeLo && d < beforeHi:
			before++
			energyBefore += float64(p.kwh)
		case d >= afterLo && d < afterHi:
			heights, minutes = append(heights, float64(p.kw)), append(minutes, float64(p.minutes))
			energies, starts = append(energies, float64(p.kwh)), append(starts, float64(p.slot))
			energyAfter += float64(p.kwh)
			perDay[p.day]++
			if minute := int(p.slot) * r.step; minute >= 11*60 && minute < 18*60 {
				m.hotHours++
			}
			if s.coolHalf(d) {
				cool++
			} else {
				warm++
			}
		}
	}
	m.monthBefore = 30 * before / float64(daysBefore)
	if len(heights) == 0 {
		return m
	}
	m.hotHours /= float64(len(heights))
	m.month = 30 * float64(len(heights)) / float64(daysAfter)
	m.days = float64(len(perDay)) / float64(daysAfter)
	m.aDay = float64(len(heights)) / float64(len(perDay))
	m.kwhDay = energyAfter/float64(daysAfter) - energyBefore/float64(daysBefore)
	m.kw, m.minutes = stat.Median(heights), stat.Median(minutes)
	m.spread = 1.4826 * stat.MAD(heights) / m.kw
	m.energySpread = 1.4826 * stat.MAD(energies) / math.Max(stat.Median(energies), 1e-9)
	m.start, m.startDays = s.usualStart(r, starts)
	m.sameStart = float64(m.startDays) / float64(daysAfter)
	for d := afterLo; d < afterHi; d++ {
		if s.whole(d) && s.coolHalf(d) {
			coolDays++
		} else if s.whole(d) {
			warmDays++
		}
	}
	m.cool, m.warm = math.NaN(), math.NaN()
	if coolDays >= 30 {
		m.cool = cool / coolDays
	}
	if warmDays >= 30 {
		m.warm = warm / warmDays
	}
	return m
}

// sameHeight is how far heights of one load lie apart: the level's 10 % and
// half as much for the household under it.
const sameHeight = 0.15

// atNewHeight narrows keep to the pulses of the height that the days after a
// group have and the days before had not: an oven or a water heater that was
// always there has its own. It is the height with the most energy a day more.
func (s *site) atNewHeight(k int, keep func(pulse) bool) func(pulse) bool {
	beforeLo, beforeHi, afterLo, afterHi := s.daysAround(k)
	beforeLo = max(beforeLo, beforeHi-365)
	const bins = 96 // by 5 %, from burstKW
	var more [bins + 2]float64
	bin := func(kw float32) int { return min(int(math.Log(float64(kw)/burstKW)/0.05), bins-1) + 1 }
	for _, p := range s.rects.pulses {
		switch d := int(p.day); {
		case d >= s.n || !keep(p):
		case d >= beforeLo && d < beforeHi:
			more[bin(p.kw)] -= float64(p.kwh) / float64(max(beforeHi-beforeLo, 1))
		case d >= afterLo && d < afterHi:
			more[bin(p.kw)] += float64(p.kwh) / float64(max(afterHi-afterLo, 1))
		}
	}
	best, top := -1, 0.0
	for b := 1; b <= bins; b++ {
		if v := more[b-1] + more[b] + more[b+1]; v > top {
			best, top = b, v
		}
	}
	if best < 0 {
		return func(pulse) bool { return false }
	}
	height := burstKW * math.Exp(0.05*(float64(best)-0.5))
	return func(p pulse) bool { return keep(p) && math.Abs(float64(p.kw)/height-1) <= sameHeight }
}

// usualStart is the slot of the day at which most start, give or take one, and
// how many do.
func (s *site) usualStart(r *rectangles, starts []float64) (slot, days int) {
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

func (s *site) wholeDays(lo, hi int) int {
	k := 0
	for d := max(lo, 0); d < min(hi, s.n); d++ {
		if s.whole(d) {
			k++
		}
	}
	return k
}

// coolHalf tells the half of the year around midwinter.
func (s *site) coolHalf(d int) bool {
	cold := math.Cos(yearAngle(s.cal.firstDay+d-17)) > 0
	return cold == (s.in.LatitudeDeg >= 0)
}

// fineShare of a change's energy that rectangles must carry before they alone
// name it; under a quarter of the rate before, they came with it. Our choices.
const (
	fineShare   = 0.6
	quietBefore = 0.25
)

// carShape tells a car's rectangles from an air conditioner's runs, a heater's
// and a water heater's: one or two a day, of one height, in cool months as in
// warm ones, longer than bursts where they come every day. 0 to 1.
func (m *marks) carShape() float64 {
	if !m.known || m.month < rectanglesAMonth || m.monthBefore > 0.5*m.month {
		return 0
	}
	score := ramp(3.5-m.aDay, 0.5, 1.5) * ramp(0.25-m.spread, 0, 0.10)
	if lo, hi := min(m.cool, m.warm), max(m.cool, m.warm); !math.IsNaN(lo) {
		score *= ramp(lo/hi, 0.15, 0.35)
	} else if math.IsNaN(m.cool) && m.hotHours > 0.5 {
		score *= 0.25 // an air conditioner that never rests looks like it until autumn
	} else {
		score *= 0.8 // one season says nothing of the other
	}
	if m.days > 0.7 {
		score *= 0.5 + 0.5*ramp(m.minutes, burstMinutes, 1.5*burstMinutes)
	}
	return score
}

// byRectangles names a group from finer readings; ok tells that they name it
// by themselves.
//
// Out: the verdict and, for a car, the marks to date it by.
func (s *site) byRectangles(k int, sh shape, total float64) (v verdict, car marks, ok bool) {
	day := total / 365.25
	if sum := stat.Mean(sh.delta[:]) * 24; sh.known && sum > 0 {
		day = sum
	}
	if s.in.Series == nil || day <= 0 {
		return v, car, false
	}
	car = s.marksOf(k, func(p pulse) bool { return p.kw >= rectangleKW && p.minutes >= rectangleMinutes })
	if !car.known {
		return v, car, false
	}
	water := s.marksOf(k, func(p pulse) bool {
		return p.kw >= burstKW && p.kw <= waterMostKW && p.minutes <= burstMinutes+float32(s.rects.step)
	})
	carries := func(m marks) float64 { return ramp(m.kwhDay/day, 0.3, fineShare) }
	if score := s.burstScore(&water) * carries(water); score >= 0.5 {
		return verdict{KindWaterHeating, "bursts", score,
			fmt.Sprintf("bursts of %.1f kW for about %.0f minutes, always of one height, on %.0f %% of the days", water.kw, water.minutes, 100*water.days)}, car, true
	}
	block := s.marksOf(k, func(p pulse) bool { return p.kw >= burstKW && p.kw <= waterMostKW })
	if score := s.blockScore(&block) * carries(block); score >= 0.5 {
		return verdict{KindWaterHeating, "controlled_load", score,
			fmt.Sprintf("one block of %.1f kW a day, from about %s on %d days, of like energy", block.kw, s.clockOf(block.start), block.startDays)}, car, true
	}
	if score := car.carShape() * carries(car); score >= 0.5 {
		return verdict{KindEV, "", score,
			fmt.Sprintf("rectangles of %.1f kW for about %.1f hours, %.0f in 30 days against %.0f before, that rise within one interval and keep their level to 10 %%",
				car.kw, car.minutes/60, car.month, car.monthBefore)}, car, true
	}
	return v, car, false
}

// burstScore: constant height, at least as many as days, most days.
func (s *site) burstScore(m *marks) float64 {
	if !m.known || m.monthBefore > 0.5*m.month {
		return 0
	}
	return ramp(m.days, 0.5, 0.75) * ramp(0.25-m.spread, 0, 0.10)
}

// blockScore: one block at the same start nearly every day between evening and
// morning, its energy within 30 %.
func (s *site) blockScore(m *marks) float64 {
	hour := m.start * s.rects.step / 60
	if !m.known || m.monthBefore > 0.5*m.month || (hour >= 7 && hour < 20) || m.startDays < timerDays {
		return 0
	}
	return ramp(m.sameStart, 0.6, 0.85) * ramp(0.25-m.spread, 0, 0.10) * ramp(1.5*blockEnergySpread-m.energySpread, 0, 0.5*blockEnergySpread)
}

func (s *site) clockOf(slot int) string {
	m := slot * s.rects.step
	return fmt.Sprintf("%02d:%02d", m/60, m%60)
}

// timer looks for a pump's fixed start after a group: the interval of the day
// in which the load rises by at least half of the block's height, and stays up
// for an hour.
//
// Out: the clock time of the start, on how many days, of how many.
func (s *site) timer(k int, sh shape) (start string, days, of int) {
	r := s.readFine()
	if r.kw == nil {
		return "", 0, 0
	}
	perHour := 60 / r.step
	rise := float32(0.5 * slices.Max(sh.delta[:]))
	_, _, afterLo, afterHi := s.daysAround(k)
	var starts []float64
	for d := max(afterLo, 0); d < min(afterHi, s.n); d++ {
		if !s.whole(d) {
			continue
		}
		of++
		lo := (int(s.cal.dayStart[d]) + int(s.cal.start-r.start)) * perHour
		hi := (int(s.cal.dayStart[d+1]) + int(s.cal.start-r.start)) * perHour
		if at := longRise(r.kw, lo, hi, perHour, rise); at >= 0 {
			_, slot := s.slotOf(r, at)
			starts = append(starts, float64(slot))
		}
	}
	slot, days := s.usualStart(r, starts)
	return s.clockOf(slot), days, of
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
func (s *site) firstRectangle(k int, car marks) (day, low int, ok bool) {
	if car.month < rectanglesAMonth || car.monthBefore > quietBefore*car.month {
		return 0, 0, false
	}
	g := s.groups[k]
	lo, hi := max(g.day-45, 0), min(g.day+46, s.n)
	count := make([]float64, hi-lo)
	for _, p := range s.rects.pulses {
		if d := int(p.day); d >= lo && d < hi && p.kw >= rectangleKW && p.minutes >= rectangleMinutes && math.Abs(float64(p.kw)/car.kw-1) <= sameHeight {
			count[d-lo]++
		}
	}
	before, after := max(car.monthBefore, 0.1)/30, car.month/30 // one in ten months: our choice for none
	gain := math.Log(after / before)
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
