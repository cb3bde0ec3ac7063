package quality

import (
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// gaps tells the hours that are missing between a channel's first and last.
func gaps(c *checker) {
	for k, v := range c.s.Wh {
		l := c.level[k]
		if l.present == 0 {
			continue
		}
		missing, longest, longestAt, run := 0, 0, 0, 0
		for h := l.first; h <= l.last; h++ {
			if v[h] == v[h] {
				run = 0
				continue
			}
			missing++
			if run++; run > longest {
				longest, longestAt = run, h-run+1
			}
		}
		if missing > 0 {
			span := l.last - l.first + 1
			c.say(ingest.Channel(k), ingest.KeepWithCaveat, part{l.first, l.last + 1, missing},
				"%s is missing in %d of %d hours (%.1f %%), at most %d in a row, from %s on",
				ingest.Channel(k), missing, span, 100*float64(missing)/float64(span), longest, c.date(longestAt))
		}
	}
}

// signs: production, import and export are never negative. A channel that
// mostly is has the wrong sign; a little of it is an inverter's own use at
// night, or noise. A negative gross consumption is a meter that misses a
// source, or a transformer turned round.
func signs(c *checker) {
	for k := range ingest.NumChannels {
		l := c.level[k]
		positive := l.sum - l.negativeSum
		switch {
		case l.present == 0:
		case -l.negativeSum > positive && 2*l.negative > nonZero(c.s.Wh[k]) && l.present >= 24:
			c.say(k, ingest.RefuseChannel, part{l.first, l.last + 1, l.negative},
				"%s is negative in %d of %d hours, %.0f kWh against %.0f kWh positive: state sign: -1 in the mapping", k, l.negative, l.present, l.negativeSum/1000, positive/1000)
		case strayNegatives(c, k):
		case -l.negativeSum > 0.001*positive:
			c.say(k, ingest.KeepWithCaveat, part{l.first, l.last + 1, l.negative},
				"%s is below nothing in %d of %d hours, %.1f kWh in all", k, l.negative, l.present, l.negativeSum/1000)
		}
	}
}

// strayW is the negative power beyond which a few hours are stray readings, and
// not an inverter's own use or noise (our choice). Of production it is a fiftieth
// of the rating where that is more.
const strayW = 50

// strayNegatives leaves a few hours with negative readings out: codes for "no
// value", and glitches.
func strayNegatives(c *checker, k ingest.Channel) bool {
	limit := float64(strayW)
	if k == ingest.Production {
		limit = math.Max(limit, 0.02*c.rating())
	}
	hours, most := c.hoursBeyond(k, -1, limit)
	if len(hours) == 0 || len(hours) >= fewHours {
		return false
	}
	c.leaveOut(k, hours, "%s is below nothing in %d of %d hours, down to -%.1f kW, the first on %s; they are left out", k, len(hours), c.level[k].present, most/1000, c.date(hours[0]))
	return true
}

// hoursBeyond lists the hours in which a reading, times sign, is a power above
// limit, with the most that there is.
func (c *checker) hoursBeyond(k ingest.Channel, sign, limitW float64) (hours []int, mostW float64) {
	v, per := c.slots(k)
	scale := sign * float64(per)
	for i, x := range v {
		if w := x * scale; w > limitW {
			mostW = math.Max(mostW, w)
			if h := i / per; len(hours) == 0 || hours[len(hours)-1] != h {
				hours = append(hours, h)
			}
		}
	}
	return hours, mostW
}

func nonZero(v []float64) (n int) {
	for _, x := range v {
		if x == x && x != 0 {
			n++
		}
	}
	return n
}

// rating is the array's AC rating where known, else its DC rating, in W.
func (c *checker) rating() float64 {
	if c.site.RatedACWatts > 0 {
		return c.site.RatedACWatts
	}
	return c.site.RatedDCWatts
}

// A production that tops the rating by more than twice, or never reaches a
// fiftieth of it in two months, is in another unit; limits are our choice, far
// from any weather.
const (
	unitTooHigh  = 2.0
	unitTooLow   = 0.02
	unitMinHours = 60 * 24
)

// units compares production with the array's rating, and use with what a
// household or a small business can draw.
func units(c *checker) {
	for _, use := range [...]ingest.Channel{ingest.Consumption, ingest.Import} {
		useLevel(c, use)
	}
	k := ingest.Production
	l := c.level[k]
	rated := c.rating()
	if rated <= 0 || !c.has(k, days14) || !c.hourly() {
		return
	}
	top := quantileOf(c.sorted(k), 0.995)
	ratio := top / rated
	perHour := 60 / float64(max(c.s.StepMinutes, 1))
	switch {
	case ratio > unitTooHigh:
		why := "check its unit and the register's capacity"
		switch {
		case ratio > 300:
			why = "it looks like Wh taken for kWh: check its unit"
		case perHour > 1 && ratio > perHour*0.5 && ratio < perHour*1.3:
			why = "it looks like a mean power taken for the interval's energy: state quantity: power"
		}
		c.say(k, ingest.RefuseChannel, part{l.first, l.last + 1, l.present}, "production reaches %.1f kW where the array is rated %.1f kW: %s", top/1000, rated/1000, why)
	case ratio < unitTooLow && top > 0 && l.present >= unitMinHours:
		c.say(k, ingest.RefuseChannel, part{l.first, l.last + 1, l.present},
			"production never passes %.3f kW where the array is rated %.1f kW: it looks like kWh taken for Wh, or nearly all of the array is off; check its unit", top/1000, rated/1000)
	}
}

// A site that draws less than 10 W or more than 50 kW on average is rare enough
// to ask; the limits are our choice.
const (
	meanUseLowWh  = 10
	meanUseHighWh = 50e3
)

// useLevel looks for a use that is a thousand times off.
func useLevel(c *checker, k ingest.Channel) {
	l := c.level[k]
	if !c.has(k, days14) {
		return
	}
	switch mean := l.sum / float64(l.present); {
	case mean > meanUseHighWh:
		c.say(k, ingest.KeepWithCaveat, part{l.first, l.last + 1, l.present}, "%s is %.0f kW on average: Wh may have been taken for kWh; check its unit", k, mean/1000)
	case mean < meanUseLowWh && mean > 0 && k == ingest.Consumption:
		c.say(k, ingest.KeepWithCaveat, part{l.first, l.last + 1, l.present}, "%s is %.2f W on average: kWh may have been taken for Wh; check its unit", k, mean)
	}
}

// What an array can give at most: 1.1 times its inverters' rating and 2 % [CP],
// 1.3 times its modules' rating at standard conditions [CP], whichever is less.
const (
	mostOfAC = 1.1 * 1.02
	mostOfDC = 1.3
)

// Stray readings lie far above the rest: hours that come within nearMost of the
// limit, and beyond twice as many as those above it by nearHours, are an array
// that is larger than the register has it (our choices).
const (
	nearMost  = 0.92
	nearHours = 12
)

// impossible looks for power that the array cannot give, at the readings' own
// step.
func impossible(c *checker) {
	k := ingest.Production
	limit, says := math.Inf(1), ""
	if r := c.site.RatedACWatts; r > 0 {
		limit, says = mostOfAC*r, fmt.Sprintf("inverters of %.1f kW", r/1000)
	}
	if r := c.site.RatedDCWatts; r > 0 && mostOfDC*r < limit {
		limit, says = mostOfDC*r, fmt.Sprintf("modules of %.1f kW", r/1000)
	}
	if math.IsInf(limit, 1) || !c.hourly() || c.refused(k) {
		return
	}
	hours, most := c.hoursBeyond(k, 1, limit)
	near, _ := c.hoursBeyond(k, 1, nearMost*limit)
	switch n := len(hours); {
	case n == 0:
	case n < fewHours && len(near) < 2*n+nearHours: // many would be a register that knows too few modules or inverters
		c.leaveOut(k, hours, "production is above what %s can give in %d of %d hours, up to %.1f kW, the first on %s; they are left out", says, n, len(c.s.Wh[k]), most/1000, c.date(hours[0]))
	default:
		c.say(k, ingest.KeepWithCaveat, part{hours[0], hours[n-1] + 1, n}, "production is above what %s can give in %d of %d hours, up to %.1f kW, the first on %s", says, n, len(c.s.Wh[k]), most/1000, c.date(hours[0]))
	}
}

// refused tells whether an earlier rule has already refused a channel.
func (c *checker) refused(k ingest.Channel) bool {
	return slices.ContainsFunc(c.found, func(q ingest.Quality) bool { return q.Channel == k && q.Consequence == ingest.RefuseChannel })
}

func (c *checker) estimated(h int) bool { return c.s.Estimated != nil && c.s.Estimated[h] }

// deadHours of exactly nothing say that a meter is dead or the house is off:
// three days, our choice.
const deadHours = 72

// dead looks for days of exactly nothing: no household and no grid meter of
// one without an array reads that, and production only where it is out.
func dead(c *checker) {
	for k, v := range c.s.Wh {
		ch := ingest.Channel(k)
		if c.level[k].present == 0 || ch == ingest.Export {
			continue
		}
		longest, at, total := 0, 0, 0
		for h := 0; h < len(v); {
			j := h
			for j < len(v) && v[j] == 0 {
				j++
			}
			if n := j - h; n >= deadHours {
				total += n
				if n > longest {
					longest, at = n, h
				}
			}
			h = max(j, h+1)
		}
		if total > 0 {
			c.say(ch, ingest.KeepWithCaveat, part{at, at + longest, total}, "%s is exactly zero for %d hours from %s on, %d hours in such stretches: %s",
				ch, longest, c.date(at), total, deadBecause(ch))
		}
	}
}

// deadBecause is what a meter that reads exactly nothing may mean.
func deadBecause(ch ingest.Channel) string {
	if ch == ingest.Production {
		return "the array was off, snow lay on it, or its meter was dead"
	}
	return "a dead meter, or nobody home and all off"
}

// fewHours is how many hours may be left out as impossible: more are no stray
// readings but a household, or a register, that is otherwise (our choice).
const fewHours = 48

// spikes are hours above the third quartile plus twenty times the distance of
// the quartiles: far beyond the three that are common practice [CP], which real
// households pass every winter.
func spikes(c *checker) {
	if !c.hourly() {
		return
	}
	for _, k := range [...]ingest.Channel{ingest.Production, ingest.Consumption, ingest.Import, ingest.Export} {
		if !c.has(k, days14) || (k == ingest.Production && c.rating() > 0) { // a known rating judges production better
			continue
		}
		x := c.sorted(k)
		q1, q3 := quantileOf(x, 0.25), quantileOf(x, 0.75)
		limit := math.Max(q3+float64(20*(q3-q1)), 20e3)
		var hours []int
		most := 0.0
		for h, x := range c.s.Wh[k] {
			if x > limit {
				hours, most = append(hours, h), math.Max(most, x)
			}
		}
		if n := len(hours); n > 0 && n < fewHours {
			c.leaveOut(k, hours, "%s is above %.0f kWh in %d of %d hours, up to %.0f kWh, where most are below %.1f kWh, the first on %s; they are left out", k, limit/1000, n, len(c.s.Wh[k]), most/1000, q3/1000, c.date(hours[0]))
		}
	}
}

// longRecord is from how many values on every seventh is enough for a quantile:
// it meets every hour of the day, and the limits below lie far from the
// quantiles they are taken from (our choice).
const longRecord = 8760

// sorted gives a channel's values in ascending order, worked out once.
func (c *checker) sorted(k ingest.Channel) []float64 {
	if l := &c.level[k]; l.sorted == nil {
		l.sorted = sorted(c.s.Wh[k])
	}
	return c.level[k].sorted
}

// quantile of the values that are there, type 7; NaN for none.
func quantile(v []float64, q float64) float64 { return quantileOf(sorted(v), q) }

// sorted gives what is known of a channel, or of every seventh hour of a long
// one, in ascending order.
func sorted(v []float64) []float64 {
	stride := 1
	if len(v) >= longRecord {
		stride = 7
	}
	x := make([]float64, 0, len(v)/stride+1)
	for h := 0; h < len(v); h += stride {
		if v[h] == v[h] {
			x = append(x, v[h])
		}
	}
	slices.Sort(x)
	return x
}

func quantileOf(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	at := float64(q * float64(len(x)-1))
	i := int(at)
	if i+1 >= len(x) {
		return x[len(x)-1]
	}
	return x[i] + float64((at-float64(i))*(x[i+1]-x[i]))
}

// nth is what x[n] would be if x, which holds no NaN, were sorted; x is put in
// another order. Each round keeps the side of a middle value that n is on
// (Hoare 1961).
func nth(x []float64, n int) float64 {
	for len(x) > 12 {
		a, b, c := x[0], x[len(x)/2], x[len(x)-1]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := 0, len(x)-1
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case n <= j:
			x = x[:j+1]
		case n >= i:
			x, n = x[i:], n-i
		default:
			return pivot
		}
	}
	slices.Sort(x)
	return x[n]
}

// dailyOnly says that the hours are shares of a day.
func dailyOnly(c *checker) {
	if !c.hourly() {
		n := c.s.Len()
		c.say(ingest.NumChannels, ingest.KeepWithCaveat, part{0, n, n}, "only daily sums are known: nothing is known of hours, of self-consumption or of a time-of-use tariff")
	}
}
