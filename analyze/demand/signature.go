package demand

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/analyze/stat"
)

// shape is how a change lies over the hours of the day.
type shape struct {
	known  bool
	before [24]float64 // mean kWh by local hour
	delta  [24]float64 // after less before
	paired bool        // days of one season held against the same season a year before

	// Sessions: hours that stand out from what those hours used before.
	sessionDays  float64 // share of the days after with a session, less the share before
	sessionKWh   float64 // energy a session day above the usual
	sessionKW    float64 // median height of a session hour
	sessionShare float64 // of the change's energy that lies in sessions
	sessionHours float64 // mean length
	nightShare   float64 // of the rise that lies between 18 and 7 o'clock
	flatShare    float64 // the fourth smallest rise of an hour over the mean rise: 1 = all hours alike
	block        int     // hours of the day that carry nine tenths of the rise
	regularity   float64 // share of the days after on which the block's hours are all up
	dayBlock     bool    // the block lies between 7 and 20 o'clock
	likeBefore   float64 // correlation of the change with the shape before
	baseRise     float64 // rise of the nightly minimum, kWh an hour
}

// daysAround are the days before and after a group that may be compared: up
// to the neighbouring groups, a year at most, a few days left out on each side
// of the change.
func (s *site) daysAround(k int) (beforeLo, beforeHi, afterLo, afterHi int) {
	g := s.groups[k]
	beforeLo, afterHi = 0, s.n
	if k > 0 {
		beforeLo = s.groups[k-1].day
	}
	if k+1 < len(s.groups) {
		afterHi = s.groups[k+1].day
	}
	beforeHi, afterLo = g.day-2, g.day+2
	afterHi = min(afterHi, afterLo+365)
	return beforeLo, beforeHi, afterLo, afterHi
}

// shapeOf holds the hours after a group against the hours before it.
//
// Pairs of days 52 weeks apart are taken where there are at least 28 of them,
// else the 60 days on either side.
// Refuses: daily data, or fewer than 14 days on a side.
func (s *site) shapeOf(k int) shape {
	var sh shape
	if s.in.Series == nil || s.in.Series.StepMinutes >= 1440 || s.basis.wh == nil {
		return sh
	}
	beforeLo, beforeHi, afterLo, afterHi := s.daysAround(k)
	on := s.column(s.groups[k].main()) // only days on which the load could show
	var before, after []int
	for d := max(afterLo, 0); d < afterHi; d++ {
		b := d - 364
		if on[d] > 0 && s.whole(d) && b >= beforeLo && b < beforeHi && s.whole(b) {
			before, after = append(before, b), append(after, d)
		}
	}
	sh.paired = len(after) >= minSegmentDays
	if !sh.paired {
		before, after = before[:0], after[:0]
		for d := max(beforeLo, beforeHi-120); d < beforeHi; d++ {
			if s.whole(d) && (on[d] > 0 || beforeHi-d < 60) {
				before = append(before, d)
			}
		}
		for d := afterLo; d < min(afterHi, afterLo+120); d++ {
			if s.whole(d) && on[d] > 0 {
				after = append(after, d)
			}
		}
	}
	if len(before) < 14 || len(after) < 14 {
		return sh
	}
	sh.known = true
	b, a := s.byHour(before), s.byHour(after)
	sum, rise, night := 0.0, 0.0, 0.0
	for h := range 24 {
		mb, ma := stat.Mean(b[h]), stat.Mean(a[h])
		sh.before[h], sh.delta[h] = mb, ma-mb
		sum += sh.delta[h]
		if sh.delta[h] > 0 {
			rise += sh.delta[h]
			if h >= 18 || h < 7 {
				night += sh.delta[h]
			}
		}
	}
	if rise > 0 {
		sh.nightShare = night / rise
	}
	if sum > 0 {
		rises := sh.delta
		slices.Sort(rises[:])
		sh.flatShare = 24 * rises[3] / sum
	}
	sh.likeBefore = correlation(sh.before[:], sh.delta[:])
	sh.baseRise = s.nightMinimum(after) - s.nightMinimum(before)
	s.sessions(&sh, b, a, sum)
	s.timedBlock(&sh, b, a)
	return sh
}

// whole tells whether a day has all its hours measured.
func (s *site) whole(d int) bool { return s.counted[d] && s.share[d] > 0.99 }

// byHour lists the use of the days hour by hour, kWh, in the order of the
// days. An hour that a clock change repeats is averaged, one it skips is the
// hour before's.
func (s *site) byHour(days []int) [24][]float64 {
	var out [24][]float64
	flat := make([]float64, 24*len(days))
	for h := range out {
		out[h] = flat[h*len(days) : (h+1)*len(days)]
	}
	for k, d := range days {
		row := s.dayHours(d)
		for h := range out {
			out[h][k] = row[h]
		}
	}
	return out
}

// dayHours is one day by the hours of the clock, kWh; NaN: missing.
func (s *site) dayHours(d int) [24]float64 {
	var v [24]float64
	var c [24]uint8
	for i := s.cal.dayStart[d]; i < s.cal.dayStart[d+1]; i++ {
		h := s.cal.hod[i]
		v[h] += s.basis.wh[i] / 1000
		c[h]++
	}
	for h := range v {
		switch {
		case c[h] > 1:
			v[h] /= float64(c[h])
		case c[h] == 0 && h > 0:
			v[h] = v[h-1]
		case c[h] == 0:
			v[h] = math.NaN()
		}
	}
	return v
}

// nightMinimum is the median over the days of the third lowest hour.
func (s *site) nightMinimum(days []int) float64 {
	lows := make([]float64, 0, len(days))
	for _, d := range days {
		v := s.dayHours(d)
		slices.Sort(v[:])
		lows = append(lows, v[2])
	}
	return stat.MedianInPlace(lows)
}

// sessionRiseKW is how far above the usual (the 95th percentile of that hour
// before) an hour must be to belong to a session: below the slowest charging
// at home (1.3 kW, section 8.4 of the method). Our choice.
const sessionRiseKW = 0.9

// sessions looks for charging: hours that stand far above what those hours
// used before.
func (s *site) sessions(sh *shape, b, a [24][]float64, sum float64) {
	limit, usual := [24]float64{}, [24]float64{}
	for h := range 24 {
		limit[h] = stat.Quantile(b[h], 0.95) + sessionRiseKW
		usual[h] = stat.Median(b[h])
	}
	count := func(v [24][]float64) (share, energy, hours float64, heights []float64) {
		n := len(v[0])
		days := 0
		for k := range n {
			on := 0
			for h := range 24 {
				if v[h][k] > limit[h] {
					on++
					energy += v[h][k] - usual[h]
					heights = append(heights, v[h][k]-usual[h])
				}
			}
			if on > 0 {
				days++
				hours += float64(on)
			}
		}
		share = float64(days) / float64(n)
		energy /= float64(n)
		if days > 0 {
			hours /= float64(days)
		}
		return share, energy, hours, heights
	}
	shareB, energyB, _, _ := count(b)
	shareA, energyA, hours, heights := count(a)
	sh.sessionDays = shareA - shareB
	sh.sessionHours = hours
	if len(heights) > 0 {
		sh.sessionKW = stat.MedianInPlace(heights)
	}
	if shareA > 0 {
		sh.sessionKWh = energyA / shareA
	}
	if sum > 0 {
		sh.sessionShare = (energyA - energyB) / sum
	}
}

// timedBlock looks for a load on a fixed timer: a few hours of the day that
// carry nine tenths of the rise, and are up nearly every day.
func (s *site) timedBlock(sh *shape, b, a [24][]float64) {
	order := make([]int, 24)
	for h := range order {
		order[h] = h
	}
	slices.SortStableFunc(order, func(x, y int) int {
		switch {
		case sh.delta[x] > sh.delta[y]:
			return -1
		case sh.delta[x] < sh.delta[y]:
			return 1
		}
		return x - y
	})
	rise := 0.0
	for _, d := range sh.delta {
		rise += max(d, 0)
	}
	if rise <= 0 {
		return
	}
	got := 0.0
	for _, h := range order {
		if got >= 0.9*rise {
			break
		}
		got += max(sh.delta[h], 0)
		sh.block++
	}
	hours := order[:sh.block]
	core, daytime := 0, 0
	up := make([]int, len(a[0]))
	for _, h := range hours {
		if h >= 7 && h < 20 {
			daytime++
		}
		if sh.delta[h] < 0.5*sh.delta[order[0]] {
			continue // an edge of the block
		}
		core++
		base := stat.Quantile(b[h], 0.25)
		for k, v := range a[h] {
			if v > base+0.6*sh.delta[h] {
				up[k]++
			}
		}
	}
	all := 0
	for _, u := range up {
		if u >= core {
			all++
		}
	}
	sh.regularity = float64(all) / float64(len(up))
	sh.dayBlock = float64(daytime) >= 0.8*float64(sh.block)
}

func correlation(x, y []float64) float64 {
	mx, my := stat.Mean(x), stat.Mean(y)
	xy, xx, yy := 0.0, 0.0, 0.0
	for i := range x {
		xy += (x[i] - mx) * (y[i] - my)
		xx += (x[i] - mx) * (x[i] - mx)
		yy += (y[i] - my) * (y[i] - my)
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// yearly are a group's energies over a normal year by answer, kWh.
func (s *site) yearly(g group) (base, cold, heat, summer float64) {
	for _, p := range g.parts {
		e := p.beta * s.normalYearSum(s.column(p))
		switch p.what {
		case toCold:
			cold += e
		case toHeat:
			heat += e
		case toSummer:
			summer += e
		default:
			base += e
		}
	}
	return base, cold, heat, summer
}

// yearlySD is the standard deviation of a group's yearly energy: of Σ βk·Sk
// with Sk the normal year's sum of its column, under noise of the long-run
// variance.
func (s *site) yearlySD(g group) float64 {
	sum := make([]float64, s.model.n)
	first := len(s.place) - len(s.changes)
	for k, c := range s.changes {
		for _, p := range g.parts {
			if p.day == c.day && p.col == c.col && s.place[first+k] >= 0 {
				axpy(sum, s.normalYearSum(s.column(c)), s.model.weights(s.place[first+k], nil))
			}
		}
	}
	return math.Sqrt(dot(sum, sum) * s.longRunVariance(s.weighted(s.fit.resid)))
}

// verdict is the probable cause of a group, with its score.
type verdict struct {
	kind, detail string
	score        float64
	because      string
}

// name weighs the signatures of section 8.4 of the method (common practice)
// against a group's answer to weather and its shape over the day. The scores
// are ours: products of how far each mark is met; hourly data halve the
// confidence of what quarter hours would show.
func (s *site) name(k int, sh shape) (verdict, marks) {
	base, cold, heat, summer := s.yearly(s.groups[k])
	total := base + cold + heat + summer
	use := s.meanUse() * 365.25
	best := verdict{kind: KindOther, score: 0.3, because: "use changed for good and no known pattern fits"}
	consider := func(v verdict) {
		if v.score > best.score {
			best = v
		}
	}
	if total < 0 {
		detail := "use_fell"
		says := fmt.Sprintf("use fell by %.0f kWh a year", -total)
		if sh.known && sh.likeBefore > 0.5 {
			detail, says = "moved_out", says+" in all hours alike, as when someone moves out"
		}
		return verdict{KindDeparture, detail, ramp(-total/use, 0.05, 0.25)*0.5 + 0.5, says}, marks{}
	}
	fine, car, ok := s.byRectangles(k, sh, total)
	if ok {
		return fine, car
	}
	coldShare, heatShare, baseShare := max(cold, 0)/total, max(heat+summer, 0)/total, max(base, 0)/total
	consider(verdict{KindHeatPump, "", ramp(coldShare, 0.3, 0.6) * ramp(cold, 500, 1500),
		fmt.Sprintf("%.0f kWh a year more that follow the cold", cold)})
	consider(verdict{KindCooling, "", ramp(heatShare, 0.3, 0.6) * ramp(heat, 150, 500),
		fmt.Sprintf("%.0f kWh a year more that follow the heat", heat)})
	if sh.known {
		doubt := 1.0
		if car.known && sh.sessionKW >= rectangleKW && car.month-car.monthBefore < max(rectanglesAMonth/2, 0.2*30*sh.sessionDays) {
			doubt = 0.25 // charging this fast would show its rectangles
		}
		consider(verdict{KindEV, "", doubt * ramp(baseShare, 0.4, 0.7) * ramp(sh.sessionDays, 0.08, 0.25) *
			ramp(sh.sessionShare, 0.3, 0.6) * (0.55 + 0.45*ramp(sh.nightShare, 0.3, 0.6)), // a car at a solar home may charge at noon
			fmt.Sprintf("blocks of %.1f kW for %.1f hours on %.0f %% of the days, %.0f %% of it between 18 and 7 o'clock",
				sh.sessionKW, sh.sessionHours, 100*sh.sessionDays, 100*sh.nightShare)})
		daytime := 0.0
		if sh.dayBlock {
			daytime = 1
		}
		consider(verdict{KindPoolPump, "", ramp(sh.regularity, 0.5, 0.8) * daytime * ramp(float64(14-sh.block), 0, 3),
			fmt.Sprintf("a block of %d hours in the day that is on nearly every day", sh.block)})
		consider(verdict{KindBaseload, "", ramp(baseShare, 0.5, 0.8) * ramp(sh.flatShare, 0.3, 0.6) * ramp(24*sh.baseRise*365/total, 0.3, 0.6),
			fmt.Sprintf("the nightly minimum rose by %.0f W and all hours with it", 1000*sh.baseRise)})
		consider(verdict{KindOther, "household_grown", 0.8 * ramp(baseShare, 0.4, 0.7) * ramp(sh.likeBefore, 0.4, 0.8),
			"use rose in all hours in the shape it had before, as when a household grows"})
	}
	if best.kind == KindPoolPump {
		if start, days, of := s.timer(k, sh); days >= timerDays {
			best.because += fmt.Sprintf(", and starts at %s, give or take one interval, on %d of %d days", start, days, of)
			best.score = max(best.score, ramp(float64(days)/float64(of), 0.3, 0.6))
		}
	}
	return best, car
}

// ramp rises from 0 at lo to 1 at hi.
func ramp(x, lo, hi float64) float64 { return min(max((x-lo)/(hi-lo), 0), 1) }

var kindWords = map[string]string{
	KindEV: "an electric car charging at home", KindHeatPump: "a heat pump or other electric space heating",
	KindCooling: "new or more air conditioning", KindPoolPump: "a pool pump on a timer",
	KindWaterHeating: "electric water heating", KindBaseload: "a load that runs all the time",
	KindDeparture: "someone moving out, or a load that left", KindOther: "a lasting change of the household",
}

// events names the groups.
func (s *site) events() []Event {
	out := make([]Event, 0, len(s.groups))
	for k, g := range s.groups {
		sh := s.shapeOf(k)
		v, car := s.name(k, sh)
		base, cold, heat, summer := s.yearly(g)
		e := Event{
			On: s.localDate(g.day), OnLow: s.localDate(g.low), OnHigh: s.localDate(g.top),
			Kind: v.kind, Detail: v.detail, Score: v.score, KWhYr: base + cold + heat + summer, Live: true,
		}
		e.profile = s.profileOf(k, sh)
		if v.kind == KindEV {
			if day, low, ok := s.firstRectangle(k, car); ok {
				e.On, e.OnLow, e.OnHigh = s.localDate(day), s.localDate(low), s.localDate(day)
				e.profile.day = day
			}
		}
		since := e.On.Format("2006-01-02")
		if s.basis.name == BasisBills {
			low, high := s.billsAround(g)
			e.OnLow, e.OnHigh = s.localDate(low), s.localDate(high)
			since += ", as far as bills tell"
		}
		e.Says = fmt.Sprintf("Since about %s: pattern consistent with %s (%s).", since, kindWords[v.kind], v.because)
		half := 1.645 * s.yearlySD(g)
		e.KWhYrLow, e.KWhYrHigh = e.KWhYr-half, e.KWhYr+half
		out = append(out, e)
	}
	return out
}

// localDate is a day's date at local midnight, or the first instant that day has.
func (s *site) localDate(d int) time.Time {
	y, m, day := s.cal.date(d).Date()
	loc := s.in.Location
	if loc == nil {
		loc = time.UTC
	}
	return time.Date(y, m, day, 0, 0, 0, 0, loc)
}
