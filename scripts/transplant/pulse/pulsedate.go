package pulse

import (
	"math"
	"slices"
)

// dated is when pulses came, and what they are like.
type dated struct {
	day, low, top    int
	kw               float64
	fromHour, toHour int
	rate, before     float64 // new pulses a week, and like ones before
	after            float64 // new pulses in all
	weeks            int     // weeks with one, after
	height           span    // of the pulses whose energy is counted
}

// Marks of a pulse: height by 12 % and start by three hours.
const (
	markHeights = 26
	markHours   = 8
	numMarks    = markHeights * markHours
	markStep    = 0.12
)

func markOf(p run) int {
	h := min(max(int(math.Log(float64(p.kw)/pulseKW)/markStep), 0), markHeights-1)
	return h*markHours + min(int(p.hour)/3, markHours-1)
}

// The rate of new pulses is not one rate: people are away, drive less, charge
// elsewhere, and use a new car more as time goes on. A week's rate is the usual
// one times one of usage, with these chances. Our choice.
var (
	usage       = [...]float64{0.05, 0.25, 0.6, 1, 1.6}
	usageChance = [...]float64{0.12, 0.20, 0.25, 0.25, 0.18}
)

const (
	mostOdds  = 4.0  // log odds that one pulse may give: any may be something else
	markPrior = 0.03 // pulses expected of every mark, whatever was seen
	likeNew   = 1.0  // log odds from which a pulse counts as like the new ones
)

// date finds the day from which the pulses came:
//
//	G(k) = Σ weeks w from k on  ln Σ_g P(g) · Π pulses (1 + g·u_m/b_m) · exp(-g·U·days/7)
//
// with b_m and u_m the old and the new weekly rate of a pulse's mark m (height
// and start hour), U their sum. A mark tells a car from a home's own loads far
// better than a cell does, and the mixture over g lets use grow from a slow
// start. Marks and date are found in turns, begun from the cell's best week.
func (c *counting) date(from *scanned) dated {
	d := dated{day: from.week * 7}
	var m marking
	factor := c.seasonFactor(from)
	var likely []float64
	for range 3 {
		m = c.marksAround(d.day, from)
		likely = c.likelihood(&m, factor)
		best := 2 * 7
		for k := best; k < len(likely)-7*weeksAfter/2; k++ {
			if likely[k] > likely[best] {
				best = k
			}
		}
		was := d.day
		d.day = best
		if was == best {
			break
		}
	}
	d.low, d.top = rangeWithin(likely, d.day)
	c.describe(&d, &m)
	return d
}

// marking is how likely a pulse of each mark is new.
type marking struct {
	odds [numMarks]float64 // ln(1 + u/b)
	up   float64           // new pulses a week, of the marks that tell
}

// marksAround compares the marks of the pulses from day on with those before.
func (c *counting) marksAround(day int, from *scanned) marking {
	var before, after [numMarks]float64
	wb, wa := 0.0, 0.0
	for d, on := range c.seen {
		if on && d < day-7 {
			wb += 1. / 7
		} else if on && d >= day {
			wa += 1. / 7
		}
	}
	for _, p := range c.pulses {
		switch d := int(p.day); {
		case !c.seen[d] || p.kwh < dayKWhMean:
		case d < day-7:
			before[markOf(p)]++
		case d >= day:
			after[markOf(p)]++
		}
	}
	before, after = smooth(before), smooth(after)
	var m marking
	for k := range m.odds {
		b := (before[k] + markPrior) / (wb + 1)
		if u := after[k]/math.Max(wa, 1) - b; u > b {
			m.odds[k] = math.Min(math.Log1p(u/b), mostOdds)
			m.up += u
		}
	}
	return m
}

// smooth spreads a mark's pulses over its neighbors in height and hour.
func smooth(x [numMarks]float64) (out [numMarks]float64) {
	for k, n := range x {
		if n == 0 {
			continue
		}
		h, s := k/markHours, k%markHours
		for _, i := range [...]int{-1, 0, 1} {
			for _, j := range [...]int{-1, 0, 1} {
				w := n / 4 / float64((1+i*i)*(1+j*j))
				at := min(max(h+i, 0), markHeights-1)
				out[at*markHours+(s+j+markHours)%markHours] += w
			}
		}
	}
	return out
}

// seasonFactor is the season of the cell's own pulses by week, about 1: a
// winter's pulses before a car are less of a surprise.
func (c *counting) seasonFactor(from *scanned) []float64 {
	var without [columns]float64
	for j := range stepAt {
		without[j] = math.Max(from.sum()/math.Max(c.total[0], 1e-9), 1e-3) / 2
	}
	_, theta := c.stepped(&from.tally, from.week, &without, 2*fineRounds)
	out, sum, n := make([]float64, c.weeks), 0.0, 0
	for i := range out {
		if e := c.x[i][0]; e > 0 {
			out[i] = (c.rate(&theta, i, c.weeks) + 0.02*e) / e
			sum += out[i]
			n++
		}
	}
	for i := range out {
		out[i] = math.Min(math.Max(out[i]*float64(n)/math.Max(sum, 1e-9), 0.5), 4)
	}
	return out
}

// likelihood is G by day.
func (c *counting) likelihood(m *marking, factor []float64) []float64 {
	n := len(c.seen)
	g := make([]float64, n+7)
	days := 0 // seen of the seven from d on
	var terms [len(usage)][]float64
	for k := range terms {
		terms[k] = make([]float64, n+1)
	}
	for _, p := range c.pulses {
		odds := m.odds[markOf(p)]
		if odds == 0 || !c.seen[p.day] || p.kwh < dayKWhMean {
			continue
		}
		f := factor[min(int(p.day)/7, c.weeks-1)]
		u := math.Expm1(odds) / f
		for k, use := range usage {
			terms[k][p.day] += math.Log1p(use * u)
		}
	}
	var week [len(usage)]float64
	for d := n - 1; d >= 0; d-- {
		if c.seen[d] {
			days++
		}
		for k := range week {
			week[k] += terms[k][d]
			if d+7 < n {
				week[k] -= terms[k][d+7]
			}
		}
		if d+7 < n && c.seen[d+7] {
			days--
		}
		most, sum := math.Inf(-1), 0.0
		var l [len(usage)]float64
		for k, use := range usage {
			l[k] = week[k] - use*m.up*float64(days)/7
			most = math.Max(most, l[k])
		}
		for k := range l {
			sum += usageChance[k] * math.Exp(l[k]-most)
		}
		g[d] = g[d+7] + most + math.Log(sum)
	}
	return g[:n]
}

// rangeWithin is the days that hold 90 % of the likelihood.
func rangeWithin(likely []float64, day int) (low, top int) {
	weight := make([]float64, len(likely))
	sum := 0.0
	for d, l := range likely {
		weight[d] = math.Exp((l - likely[day]) / 1.5) // weeks are not quite independent: our choice
		sum += weight[d]
	}
	low, top = 0, len(likely)-1
	for s := weight[low]; s < 0.05*sum && low < day; s += weight[low] {
		low++
	}
	for s := weight[top]; s < 0.05*sum && top > day; s += weight[top] {
		top--
	}
	return low, top
}

// describe says what the new pulses are like.
func (c *counting) describe(d *dated, m *marking) {
	var kws []float64
	var byHour [24]float64
	before, wb, wa := 0.0, 0.0, 0.0
	for k, on := range c.seen {
		if on && k < d.day {
			wb += 1. / 7
		} else if on {
			wa += 1. / 7
		}
	}
	lastWeek := -1
	for _, p := range c.pulses {
		if m.odds[markOf(p)] < likeNew || !c.seen[p.day] || p.kwh < dayKWhMean {
			continue
		}
		if int(p.day) < d.day {
			before++
			continue
		}
		d.after++
		kws = append(kws, float64(p.kw))
		byHour[int(p.hour)%24]++
		if w := int(p.day) / 7; w != lastWeek {
			d.weeks++
			lastWeek = w
		}
	}
	d.before, d.rate = before/math.Max(wb, 1), d.after/math.Max(wa, 1)-before/math.Max(wb, 1)
	if len(kws) == 0 {
		return
	}
	slices.Sort(kws)
	d.kw = kws[len(kws)/2]
	d.height = span{float32(0.75 * kws[len(kws)/10]), 99}
	d.fromHour, d.toHour = usualHours(byHour)
}

// usualHours is the shortest stretch of the clock that most (70 %) start in.
func usualHours(n [24]float64) (from, to int) {
	all := 0.0
	for _, x := range n {
		all += x
	}
	for length := 1; length < 24; length++ {
		best, at := -1.0, 0
		for h := range n {
			s := 0.0
			for k := range length {
				s += n[(h+k)%24]
			}
			if s > best {
				best, at = s, h
			}
		}
		if best >= 0.7*all {
			return at, (at + length) % 24
		}
	}
	return 0, 24
}

// energy is the new pulses' energy over a year, the season off, short ones taken
// in.
func (c *counting) energy(d dated) (kwhYr, low, high float64) {
	y := tally{n: make([]float64, c.weeks)}
	for _, p := range c.pulses {
		if w := int(p.day) / 7; w < c.weeks && c.seen[p.day] && p.kwh >= dayKWhMean && d.height.holds(p.kw) {
			y.n[w] += float64(p.kwh)
		}
	}
	y.index()
	t := min(max((d.day+3)/7, 1), c.weeks-1)
	var without [columns]float64
	for j := range stepAt {
		without[j] = math.Max(sumOf(y.n)/math.Max(c.total[0], 1e-9), 1e-3) / 2
	}
	_, theta := c.stepped(&y, t, &without, 3*fineRounds)
	week := theta[stepAt]
	// Weekly sums vary about their mean; neighboring weeks are alike, which the
	// sums over four weeks show.
	sd := week * 0.05
	chi := 0.0
	for i := t; i < c.weeks; i++ {
		e := y.n[i] - c.rate(&theta, i, t)
		chi += e * e
	}
	if k := float64(c.weeks - t); k > 2 {
		sd = math.Hypot(sd, math.Sqrt(2*chi/k/k)) // twice: our choice for weeks that are alike
	}
	const year = 365.25 / 7
	return week * year, (week - 1.645*sd) * year, (week + 1.645*sd) * year
}

func sumOf(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}
