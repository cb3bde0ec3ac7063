package quality

import (
	"math"
	"slices"
	"strings"

	"rowen/ingest"
)

// The consumption channel may be something else, for some months or for all of
// them: the production or the export meter, the net meter, or the import. Each
// rule judges a month by itself. Months that fail are left out; where they are
// most of the months that can be judged, the whole channel is refused.

// monthRule judges one month: bad tells that the channel is something else.
type monthRule func(m ingest.CalendarMonth) (judged, bad bool)

// judgeMonths applies a rule to the months of the consumption and says what
// becomes of them: what names the channel, as in "a production meter".
func judgeMonths(c *checker, rule monthRule, what, shows string) {
	k := ingest.Consumption
	if c.sun == nil || !c.hourly() || !c.has(k, days14) || c.refused(k) {
		return
	}
	cal := ingest.NewCalendar(c.site.Location, c.s.Start, c.s.Len())
	var bad []ingest.CalendarMonth
	judged := 0
	for _, m := range cal.Months() {
		is, fails := rule(m)
		if is {
			judged++
		}
		if is && fails {
			bad = append(bad, m)
		}
	}
	if len(bad) == 0 {
		return
	}
	l := c.level[k]
	if 2*len(bad) > judged {
		c.say(k, ingest.RefuseChannel, part{l.first, l.last + 1, l.present}, "in %d of %d months %s: the channel is %s; the channel is not used", len(bad), judged, shows, what)
		return
	}
	var hours []int
	for _, m := range bad {
		hours = append(hours, c.known(k, m.Lo, m.Hi)...)
	}
	c.leaveOut(k, hours, "in %d of %d months (%s) %s: the channel is %s then; these months are left out", len(bad), judged, monthNames(bad), shows, what)
}

// known lists the hours from lo to hi that have a value.
func (c *checker) known(k ingest.Channel, lo, hi int) []int {
	var hours []int
	for h := lo; h < hi; h++ {
		if x := c.s.Wh[k][h]; x == x {
			hours = append(hours, h)
		}
	}
	return hours
}

// monthNames lists months as 2026-03; long lists by their first and last.
func monthNames(ms []ingest.CalendarMonth) string {
	var names []string
	for _, m := range ms {
		names = append(names, m.First.Format("2006-01"))
	}
	if n := len(names); n > 4 {
		names = []string{names[0], "to", names[n-1]}
		return strings.Join(names, " ")
	}
	return strings.Join(names, ", ")
}

// A month is judged on enough hours of night and of day (our choice), and no
// household uses less by night than darkShare of what it uses by day.
const (
	monthNights = 60
	monthDays   = 60
	darkShare   = 0.01
)

// isProduction: a consumption channel that reads nothing at night is the meter of
// the array, or of its export.
func isProduction(c *checker) {
	judgeMonths(c, func(m ingest.CalendarMonth) (judged, bad bool) {
		var night, day float64
		nights, days := 0, 0
		for h := m.Lo; h < m.Hi; h++ {
			switch x := c.s.Wh[ingest.Consumption][h]; {
			case x != x:
			case c.sun.night(h):
				night += math.Abs(x)
				nights++
			default:
				day += math.Abs(x)
				days++
			}
		}
		judged = nights >= monthNights && days >= monthDays && day > 0
		return judged, judged && night/float64(nights) <= darkShare*day/float64(days)
	}, "a production or export meter", "consumption reads nothing at night and its energy by day")
}

// Limits of a net meter, our choice: by an hour of production consumption falls
// by netSlope of it or more, which explains netShare of its changes or more, over
// netHours hours around noon.
const (
	netSlope = -0.5
	netShare = 0.5
	netHours = 40
)

// isNet: consumption that falls by what production rises is what is left of it
// behind the array: the net meter, or the import.
//
// The least-squares slope of consumption on production over the hours within two
// hours of solar noon is about -1 for a net meter, and near 0 for a household's
// own consumption.
func isNet(c *checker) {
	p := c.s.Wh[ingest.Production]
	if p == nil || c.refused(ingest.Production) {
		return
	}
	judgeMonths(c, func(m ingest.CalendarMonth) (judged, bad bool) {
		v := c.s.Wh[ingest.Consumption]
		var x, y []float64
		for h := m.Lo; h < m.Hi; h++ {
			if _, from, _ := c.sun.around(h); math.Abs(from+0.5) <= 2 && p[h] == p[h] && v[h] == v[h] {
				x, y = append(x, p[h]), append(y, v[h])
			}
		}
		slope, share := regress(x, y)
		judged = len(x) >= netHours
		return judged, judged && slope <= netSlope && share >= netShare
	}, "the net meter: map it to import, or with net", "consumption falls by what production rises")
}

// regress gives the least-squares slope of y on x and the share of the variance
// that it explains; nothing where one of them does not vary.
func regress(x, y []float64) (slope, share float64) {
	var mx, my, sxx, sxy, syy float64
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(x))
	}
	for i := range x {
		sxx += float64((x[i] - mx) * (x[i] - mx))
		sxy += float64((x[i] - mx) * (y[i] - my))
		syy += float64((y[i] - my) * (y[i] - my))
	}
	if sxx == 0 || syy == 0 {
		return 0, 0
	}
	return sxy / sxx, sxy * sxy / (sxx * syy)
}

// A channel stops at zero while the array exports where clippedShare of the
// sunny hours, and clippedNight of the others at most, read nothingWh or less.
// Sunny hours are those with sunnyShare of the array's most, or for want of its
// meter the four around noon. Our choices.
const (
	clippedShare = 0.4
	clippedNight = 0.02
	sunnyShare   = 0.4
	sunnyHours   = 20
	nothingWh    = 2
)

// isImport: consumption at zero under a strong sun and never in the dark is what
// the household draws from the grid.
func isImport(c *checker) {
	p := c.s.Wh[ingest.Production]
	if c.refused(ingest.Production) || !c.has(ingest.Production, days14) {
		p = nil
	}
	top := 0.0
	if p != nil {
		top = quantileOf(c.sorted(ingest.Production), 0.99)
	}
	judgeMonths(c, func(m ingest.CalendarMonth) (judged, bad bool) {
		sunny, none, dark, darkNone := 0, 0, 0, 0
		for h := m.Lo; h < m.Hi; h++ {
			x := c.s.Wh[ingest.Consumption][h]
			if x != x {
				continue
			}
			_, from, _ := c.sun.around(h)
			bright := math.Abs(from+0.5) <= 2
			if p != nil {
				bright = p[h] >= sunnyShare*top
			}
			switch {
			case bright && x <= nothingWh:
				none++
				sunny++
			case bright:
				sunny++
			case c.sun.night(h) && x <= nothingWh:
				darkNone++
				dark++
			case c.sun.night(h):
				dark++
			}
		}
		judged = sunny >= sunnyHours && dark >= monthNights
		return judged, judged && float64(none) >= clippedShare*float64(sunny) && float64(darkNone) <= clippedNight*float64(dark)
	}, "the import", "consumption reads zero while the sun is strong and never at night")
}

// Days on end of next to nothing: nearZeroDays of nearZeroWh an hour at most,
// which is a twentieth of the channel's median and less. Our choices: a house
// with its refrigerator off still draws more.
const (
	nearZeroHours = 3 * 24
	nearZeroWh    = 10
	nearZeroShare = 0.05
)

// nearZero leaves out days on end of next to nothing, where no other meter says
// that nothing was used. Where production, import and export say so the house was
// off, and the zeros stand.
func nearZero(c *checker) {
	k := ingest.Consumption
	if c.refused(k) || !c.hourly() || !c.has(k, days14) {
		return
	}
	v := c.s.Wh[k]
	limit := math.Min(nearZeroWh, nearZeroShare*quantileOf(c.sorted(k), 0.5))
	var hours []int
	stretches, off := 0, 0
	for a := 0; a < len(v); a++ {
		b := a
		for b < len(v) && v[b] <= limit {
			b++
		}
		if b-a < nearZeroHours {
			a = b
			continue
		}
		if houseOff(c, a, b) {
			off += b - a
		} else {
			stretches++
			hours = append(hours, c.known(k, a, b)...)
		}
		a = b
	}
	if len(hours) > 0 {
		c.leaveOut(k, hours, "consumption is %.0f Wh an hour or less for days on end %s, %d hours in all, the first on %s: a dead meter, or nobody home and all off; they are left out", limit, ingest.Times(stretches), len(hours), c.date(hours[0]))
	}
	if off > 0 {
		c.say(k, ingest.KeepWithCaveat, part{c.level[k].first, c.level[k].last + 1, off}, "consumption is next to nothing for days on end, %d hours in all, and so say production, import and export: the house was off", off)
	}
}

// houseOff tells whether production + import - export says as well that next to
// nothing was used from a to b.
func houseOff(c *checker, a, b int) bool {
	w := &c.s.Wh
	if w[ingest.Production] == nil || w[ingest.Import] == nil || w[ingest.Export] == nil {
		return false
	}
	sum, n := 0.0, 0
	for h := a; h < b; h++ {
		if x := w[ingest.Production][h] + w[ingest.Import][h] - w[ingest.Export][h]; x == x {
			sum, n = sum+x, n+1
		}
	}
	return 2*n >= b-a && math.Abs(sum) <= 2*nearZeroWh*float64(n)
}

// Of readings rounded to more than coarseWh a zero may be a little. A month with
// zeroShare of its hours at exactly nothing is no month of a household. Our
// choices.
const (
	coarseWh       = 20
	zeroShare      = 0.1
	zeroMonthLeast = 10 * 24
)

// zeroHours judges hours of exactly nothing: months with many are left out, a few
// stand as the meter has them, and both are said. Where the readings are coarse,
// or the house was off, zeros stand.
func zeroHours(c *checker) {
	k := ingest.Consumption
	if c.refused(k) || !c.has(k, days14) || !slices.Contains(c.s.Wh[k], 0) {
		return
	}
	coarse := !(quantum(c.s.Wh[k]) <= coarseWh)
	var out, kept []int
	var bad []ingest.CalendarMonth
	for _, m := range ingest.NewCalendar(c.site.Location, c.s.Start, c.s.Len()).Months() {
		known := c.known(k, m.Lo, m.Hi)
		var zeros []int
		for _, h := range known {
			if c.s.Wh[k][h] == 0 && !houseOff(c, h, h+1) {
				zeros = append(zeros, h)
			}
		}
		if !coarse && len(known) >= zeroMonthLeast && float64(len(zeros)) > zeroShare*float64(len(known)) {
			out, bad = append(out, known...), append(bad, m)
		} else {
			kept = append(kept, zeros...)
		}
	}
	if len(out) > 0 {
		c.leaveOut(k, out, "consumption is exactly nothing in more than %.0f %% of the hours of %s: these months are left out", 100*zeroShare, monthNames(bad))
	}
	if len(kept) > 0 {
		c.say(k, ingest.KeepWithCaveat, part{kept[0], kept[len(kept)-1] + 1, len(kept)}, "consumption is exactly nothing in %d of %d hours, the first on %s, where a household always uses something; they stand as the meter has them", len(kept), c.level[k].present, c.date(kept[0]))
	}
}
