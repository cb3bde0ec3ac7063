package demo

import (
	"math"
	"math/rand/v2"
)

// house is a household's use of electricity, the part that no event adds.
type house struct {
	baseKW         float64
	shape          [2][48]float64 // lighting, plugs, people; mean kW by half hour on weekdays and weekends
	dayVar         float64        // sd of a day's departure, share
	flicker        float64        // sd of a step's departure, share
	wander         float64        // sd of a month's departure, share
	cookKWh        float64        // a day
	waterKWh       float64        // a day; 0: not electric
	washPerWeek    float64
	coolKWperK     float64
	coolMaxKW      float64
	coolAboveC     float64
	heatKWperK     float64
	heatMaxKW      float64
	heatBelowC     float64
	growth         float64 // share a year, of all of the above
	vacationsPerYr float64
	winterLighting float64 // share by which the evening is larger in mid-winter
}

// event is a change of the load on the timeline.
type event struct {
	kind    string
	id      uint64 // its stream
	on, off int    // steps; off = the timeline's end: it lasts

	kW         float64 // charging power, pump, base load
	kWhYr      float64 // ev: by design
	daysWeek   float64 // ev
	startHour  float64 // ev, pump
	hours      float64 // pump
	seasonFrom int     // pump: months
	seasonTo   int
	perK       float64 // heat pump, cooling: kW/K
	belowC     float64
	factor     float64 // departure, tenants, other: on the household's own use
	wash       int     // tenants: shift of the day by half hours
}

// scales tells whether the event changes the household's own use, rather than
// adding a load beside it.
func (e *event) scales() bool {
	switch e.kind {
	case "departure", "tenants", "absence", "other":
		return true
	}
	return false
}

// loads is scratch for a household's simulation.
type loads struct {
	kW   []float64 // by step
	away []bool    // by day
}

// use fills l.kW with the household's mean power by step, from the first to
// the last day given, for the events given. Every part draws from its own
// stream, so that leaving one out moves nothing else.
func (l *loads) use(r *region, s *site, events []event) {
	if cap(l.kW) < r.tl.n {
		l.kW = make([]float64, r.tl.n)
	}
	l.kW = l.kW[:r.tl.n]
	l.goAway(r, s, events)
	l.household(r, s, events)
	for i := range events {
		if !events[i].scales() {
			l.add(r, s, &events[i])
		}
	}
}

// goAway marks the days of vacations and long absences.
func (l *loads) goAway(r *region, s *site, events []event) {
	if cap(l.away) < len(r.days) {
		l.away = make([]bool, len(r.days))
	}
	l.away = l.away[:len(r.days)]
	for i := range l.away {
		l.away[i] = false
	}
	rnd := stream(s.seed, 41)
	for i := 0; i < len(r.days); {
		gap := rnd.ExpFloat64() * 365 / math.Max(s.house.vacationsPerYr, 0.01)
		n := 4 + rnd.IntN(11)
		// People leave in summer and at the turn of the year sooner than else.
		i += int(gap)
		if i < len(r.days) && season(r.days[i].month)%2 == 1 && rnd.Float64() < 0.5 {
			continue
		}
		for k := i; k < min(i+n, len(r.days)); k++ {
			l.away[k] = true
		}
		i += n
	}
	for e := range events {
		if events[e].kind == "absence" {
			for d := range r.days {
				if st := r.days[d].start; st >= events[e].on && st < events[e].off {
					l.away[d] = true
				}
			}
		}
	}
}

// today is what one day's use hangs on.
type today struct {
	*day
	occupancy float64
	own       float64 // of the household's own use, by events
	coolShare float64
	shift     int // half hours
	growth    float64
	draw      [10]float64
}

// household is the use that no event adds.
func (l *loads) household(r *region, s *site, events []event) {
	h, tl := &s.house, r.tl
	dayRnd, stepRnd := stream(s.seed, 42), stream(s.seed, 43)
	mood, wander := 0.0, 0.0
	activity := wave{keep: math.Exp(-float64(tl.dtMinutes) / 75)} // what people are at lasts about an hour
	activity.fresh = math.Sqrt(1 - float64(activity.keep*activity.keep))
	growStep := math.Log1p(h.growth) / (365.25 * 24 * float64(tl.perHour))
	for di := range r.days {
		d := today{day: &r.days[di]}
		// Days resemble the day before, and over some weeks a household drifts
		// about its level; both as in the real homes that the tests compare with.
		mood = float64(0.4*mood) + float64(0.9165*h.dayVar*dayRnd.NormFloat64())
		wander = float64(0.96*wander) + float64(0.28*h.wander*dayRnd.NormFloat64())
		d.occupancy = math.Exp(mood + wander)
		for i := range d.draw {
			d.draw[i] = dayRnd.Float64()
		}
		d.own, d.coolShare, d.shift = changesOn(d.start, events)
		if l.away[di] {
			d.occupancy, d.own, d.coolShare = 0.12, 1, 0.25
		}
		d.growth = math.Exp(growStep * float64(d.start))
		l.people(r, h, &d, &activity, stepRnd)
		if !l.away[di] {
			l.appliances(r, h, &d)
		}
	}
}

// wave is a process that keeps a share of its value from step to step.
type wave struct{ keep, fresh, value float64 }

func (w *wave) next(rnd *rand.Rand) float64 {
	w.value = float64(w.keep*w.value) + float64(w.fresh*rnd.NormFloat64())
	return w.value
}

// changesOn is what the events that scale the household make of a day.
func changesOn(start int, events []event) (own, coolShare float64, shift int) {
	own, coolShare = 1, 1
	for e := range events {
		ev := &events[e]
		if start < ev.on || start >= ev.off {
			continue
		}
		switch ev.kind {
		case "departure", "other":
			own *= ev.factor
			coolShare *= 0.5 + float64(ev.factor/2)
		case "tenants":
			own *= ev.factor
			shift = ev.wash
		}
	}
	return own, coolShare, shift
}

// people fills a day with lighting, plugs, the base load, cooling and heating.
func (l *loads) people(r *region, h *house, d *today, activity *wave, rnd *rand.Rand) {
	wk := 0
	if d.weekend {
		wk = 1
	}
	winter := math.Max(0, math.Cos(2*math.Pi*float64(d.dayOfYear-1)/365.25))
	for i := range d.n {
		st := d.start + i
		half := (r.halfHour(d.day, i) + 48 - d.shift) % 48
		jitter := activity.next(rnd)
		f := 1 + float64(h.flicker*jitter)
		if f < 0.15 {
			f = 0.15
		}
		p := h.shape[wk][half] * d.occupancy * d.own * f
		if half >= 33 && half < 46 {
			p *= 1 + float64(h.winterLighting*winter)
		}
		p += float64(h.baseKW * (0.5 + float64(0.5*math.Min(d.own, 1.2))) * (1 + float64(0.04*jitter)))
		if lag := float64(r.lagC[st]); lag > h.coolAboveC && h.coolKWperK > 0 {
			p += float64(math.Min(h.coolKWperK*(lag-h.coolAboveC)*(1+float64(0.3*jitter)), h.coolMaxKW) * d.coolShare)
		} else if lag < h.heatBelowC && h.heatKWperK > 0 {
			p += float64(math.Min(h.heatKWperK*(h.heatBelowC-lag)*(1+float64(0.15*jitter)), h.heatMaxKW) * (0.4 + float64(0.6*d.coolShare)))
		}
		l.kW[st] = math.Max(0.02, p) * d.growth
	}
}

// appliances adds a day's cooking, hot water and washing.
func (l *loads) appliances(r *region, h *house, d *today) {
	draw, own, grow := &d.draw, d.own, d.growth
	if h.cookKWh > 0 {
		l.block(r, d.day, 17.2+float64(2.2*draw[0]), 1.6+float64(1.2*draw[1]), h.cookKWh*own*(0.5+draw[2])*grow)
	}
	water := h.waterKWh * (1 + float64(0.12*math.Cos(2*math.Pi*float64(d.dayOfYear-30)/365.25)))
	if water > 0 {
		l.block(r, d.day, 5.8+float64(2.2*draw[3]), 4.5, water*0.55*own*(0.7+float64(0.6*draw[4]))*grow)
		l.block(r, d.day, 18.5+float64(3*draw[5]), 4.5, water*0.45*own*(0.7+float64(0.6*draw[6]))*grow)
	}
	if draw[7] < h.washPerWeek/7 {
		l.block(r, d.day, 8+float64(11*draw[8]), 1.1+float64(2*draw[9]), 2.4*own*grow)
	}
}

// halfHour is the half hour of the local day that a day's step lies in.
func (r *region) halfHour(d *day, i int) int {
	if d.regular {
		return i / max(r.tl.perHour/2, 1)
	}
	// The two days a year that are 23 or 25 hours long, and cut ends:
	// ask the calendar.
	return r.localMinutes(d.start+i) / 30
}

// localMinutes is the local clock, minutes after midnight, at a step.
func (r *region) localMinutes(step int) int {
	t := timeOf(r.tl, step).In(r.loc)
	return t.Hour()*60 + t.Minute()
}

// block adds an appliance that draws kW from a local hour on until its energy
// is spent.
func (l *loads) block(r *region, d *day, hour, kW, kWh float64) {
	i := d.start + int(hour*float64(r.tl.perHour))
	step := kW / float64(r.tl.perHour)
	for ; kWh > 0 && i < len(l.kW); i++ {
		e := math.Min(kWh, step)
		l.kW[i] += float64(e * float64(r.tl.perHour))
		kWh -= e
	}
}

// add adds a load that stands beside the household's own. It draws for every
// day, on or not, so that an earlier start has the same days.
func (l *loads) add(r *region, s *site, ev *event) {
	rnd := stream(s.seed, 50, ev.id)
	perHour := float64(r.tl.perHour)
	for di := range r.days {
		d := &r.days[di]
		u, v, w := rnd.Float64(), rnd.NormFloat64(), rnd.NormFloat64()
		if d.start < ev.on || d.start >= ev.off {
			continue
		}
		away := l.away[di]
		switch ev.kind {
		case "ev_charging":
			if away || u >= ev.daysWeek/7 {
				continue
			}
			kWh := ev.kWhYr / (ev.daysWeek * 365.25 / 7) * math.Max(0.25, 1+float64(0.3*w))
			l.block(r, d, clamp(ev.startHour+float64(0.5*v), 0, 23.9), ev.kW, kWh)
		case "pool_pump":
			if m := int(d.month); m < ev.seasonFrom || m > ev.seasonTo {
				continue
			}
			l.block(r, d, ev.startHour, ev.kW, ev.kW*ev.hours)
		case "baseload":
			for i := d.start; i < d.start+d.n; i++ {
				l.kW[i] += ev.kW
			}
		case "cooling":
			share := 1.0
			if away {
				share = 0.25
			}
			for i := d.start; i < d.start+d.n; i++ {
				if x := float64(r.lagC[i]) - ev.belowC; x > 0 {
					l.kW[i] += float64(math.Min(ev.perK*x, ev.kW) * share)
				}
			}
		case "heat_pump":
			share := 1.0
			if away {
				share = 0.6
			}
			for i := d.start; i < d.start+d.n; i++ {
				if x := ev.belowC - float64(r.lagC[i]); x > 0 {
					// The colder, the less heat a kWh brings; below -6 °C the backup helps.
					p := float64(ev.perK * x * (1 + float64(0.012*math.Max(0, 7-float64(r.lagC[i])))))
					if r.lagC[i] < -6 {
						p += float64(0.25 * (-6 - float64(r.lagC[i])))
					}
					hour := float64(i-d.start) / perHour
					if hour >= 5 && hour < 9 {
						p *= 1.25
					} else if hour >= 22 || hour < 5 {
						p *= 0.85
					}
					l.kW[i] += float64(math.Min(p, ev.kW) * share)
				}
			}
		}
	}
}

// newShape draws the day of a household: a low night, a morning, an evening,
// and how many are at home over the day.
func newShape(rnd *rand.Rand, meanKW float64) (shape [2][48]float64) {
	morning, evening := 6.3+float64(1.5*rnd.Float64()), 18.3+2*float64(rnd.Float64())
	home := 0.25 + float64(0.6*rnd.Float64())
	for wk := range shape {
		m, hm := morning, home
		if wk == 1 {
			m, hm = morning+1.2, math.Min(1, home+0.3)
		}
		sum := 0.0
		for i := range shape[wk] {
			h := float64((float64(i) + 0.5) / 2)
			bump := func(at, width float64) float64 { return math.Exp(-(h - at) * (h - at) / (2 * width * width)) }
			v := 0.18 + float64(0.75*bump(m, 1.2)) + float64(1.5*bump(evening, 2.2)) + float64(0.75*hm*bump(13, 3.5))
			shape[wk][i] = v
			sum += v
		}
		scale := meanKW * 48 / sum
		if wk == 1 {
			scale *= 1.08
		}
		for i := range shape[wk] {
			shape[wk][i] *= scale
		}
	}
	return shape
}

// estimateKWhYr is roughly what the household uses a year, for sizing its array.
func (h *house) estimateKWhYr(r *region) float64 {
	mean := 0.0
	for wk := range h.shape {
		for _, v := range h.shape[wk] {
			mean += v / 96
		}
	}
	kWh := float64((h.baseKW+mean)*8766) + float64((h.cookKWh+h.waterKWh)*365) + float64(h.washPerWeek*52*2.4)
	kWh += float64(h.coolKWperK*r.coolKh) + float64(h.heatKWperK*r.heatKh)
	return kWh
}
