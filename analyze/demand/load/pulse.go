package load

import (
	"math"

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

// Fine are the readings finer than an hour on the site's calendar.
type Fine struct {
	kw       []float32 // by interval; NaN: missing
	start    ingest.Hour
	step     int // minutes
	pulses   []pulse
	calendar *ingest.Calendar
}

// ReadFine brings the finer readings f, of which use is what counts as
// consumption in Wh, to 15 minutes (or leaves that step where 15 is no multiple of it) and
// lists their pulses but for those of the days in leaveOut. use is overwritten.
//
// Refuses: nil where the steps are over 15 minutes.
// Cost:    one pass over the readings.
func ReadFine(c *ingest.Calendar, f *ingest.Fine, use []float32) *Fine {
	stepMinutes := f.StepMinutes
	if use == nil || stepMinutes <= 0 || stepMinutes > finestMinutes || 60%stepMinutes != 0 {
		return nil
	}
	together := 1
	if finestMinutes%stepMinutes == 0 {
		together = finestMinutes / stepMinutes
	}
	r := &Fine{start: f.Start, step: stepMinutes * together, calendar: c}
	scale := 60 / float32(r.step) / 1000
	r.kw = use[:len(use)/together]
	for i := range r.kw {
		sum := float32(0)
		for _, v := range use[i*together : (i+1)*together] {
			sum += v
		}
		r.kw[i] = sum * scale
	}
	r.findPulses()
	return r
}

// findPulses lists what rises by burstKW in one interval, keeps its level to
// 10 % and falls again.
func (r *Fine) findPulses() {
	p := r.kw
	for i := 1; i+2 < len(p); i++ {
		before := p[i-1]
		if !(p[i+1]-before >= burstKW && p[i]-before > 0.1*burstKW) && !(p[i]-before >= burstKW) {
			continue
		}
		got, to := r.pulseAt(i)
		if to == 0 {
			continue
		}
		if at, slot := r.slotOf(i); at >= 0 {
			got.day, got.slot = int32(at), int16(slot)
			r.pulses = append(r.pulses, got)
		}
		i = to - 1
	}
}

// pulseAt measures the pulse that rises in interval i; to is where its plateau
// ends, 0: there is none.
//
// A switch within an interval divides its rise over two: the first then counts
// for its share. The 10 % are the load's own: the household under it may go
// down to nothing or up to twice what it was, by householdShare of the load at
// most, and may lift a quarter of the intervals further.
func (r *Fine) pulseAt(i int) (got pulse, to int) {
	p, n, before := r.kw, len(r.kw), r.kw[i-1]
	longest := 16 * 60 / r.step // above that it is a base load
	from := i                   // of the plateau
	if p[i+1] > p[i]*(1+rectangleLevel) {
		from = i + 1
	}
	level, over := float64(p[from]), 0
	if !(level-float64(before) >= burstKW) {
		return got, 0
	}
	to = from + 1
	for ; to < n && to-from <= longest; to++ {
		v, height := float64(p[to]), level-float64(before)
		under := math.Min(float64(before), householdShare*height)
		if !(v >= level-float64(rectangleLevel*height)-under) {
			break // sinks, or is missing
		}
		if v > level+float64(rectangleLevel*height)+under {
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
	if to >= n || last >= n || to-from > longest || 4*over > to-from || !(float64(p[last]) <= level-float64(0.6*height)) {
		return got, 0
	}
	kwh, minutes := 0.0, float64(to-from)
	for k := i; k < last; k++ {
		v := math.Min(float64(p[k])-float64(before), height)
		kwh += v * float64(r.step) / 60
		if k < from || k >= to {
			minutes += math.Max(v, 0) / height
		}
	}
	return pulse{minutes: float32(minutes * float64(r.step)), kw: float32(height), kwh: float32(kwh)}, to
}

// slotOf is the day and the interval of the day by the site's clock.
func (r *Fine) slotOf(i int) (day, slot int) {
	perHour := 60 / r.step
	hour := int(r.start-r.calendar.Start) + i/perHour
	if hour < 0 || hour >= r.calendar.N {
		return -1, 0
	}
	return r.calendar.DayOf(r.calendar.Start + ingest.Hour(hour)), int(r.calendar.HourOfDay()[hour])*perHour + i%perHour
}

// LevelPerWeek counts the pulses a week of at least kWh that keep their level for
// rectangleMinutes, before a day of the readings and from it on.
func (r *Fine) LevelPerWeek(kWh float64, day int) (before, after float64) {
	for _, p := range r.pulses {
		switch {
		case float64(p.kwh) < kWh || p.minutes < rectangleMinutes:
		case int(p.day) < day:
			before++
		default:
			after++
		}
	}
	days := r.calendar.Days()
	return 7 * before / math.Max(float64(day), 1), 7 * after / math.Max(float64(days-day), 1)
}
