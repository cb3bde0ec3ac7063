// Package pulse looks for regular loads that came or left, a car above all, by the
// weekly count of their pulses. It is measured here against the judgement and not
// asked by it yet: of the cars that it reports too many are dated wrongly.
package pulse

import (
	"math"
	"slices"
)

// Intervals are a household's readings as power by interval of the local day.
type Intervals struct {
	PerDay   int       // intervals a day: 24, 48 or 96
	FirstDay int       // day number of the first day: days since 1970-01-01
	KW       []float64 // PerDay a day, whole days; NaN: missing

	// Cold and Hot are degrees below and above what a home needs no heating and
	// cooling at, by day; nil: no thermometer, and the calendar stands in.
	Cold, Hot []float64
}

func (v *Intervals) days() int { return len(v.KW) / v.PerDay }

// Arrival is regular pulses that began, or, where Left is set, that ended: a car
// that charges, a water heater, a pump. A pulse is a run of intervals above what
// the same hours of the day usually have.
type Arrival struct {
	Left           bool
	Day, Low, Top  int     // first day with (Left: without) them, and its 90 % range
	KW             float64 // usual height
	KWhYr          float64 // energy a year, the season off
	KWhYrLow       float64 // and its 90 % range
	KWhYrHigh      float64
	FromHour       int // most pulses start from FromHour to ToHour, round the clock
	ToHour         int
	PerWeek        float64 // pulses a week that are new
	BeforePerWeek  float64 // like pulses a week without them
	LogOdds        float64 // for a change against none, the tries paid for
	Confidence     float64 // 0 to 1
	Evidence       int     // weeks that show it by themselves
	Doubtful       bool    // was clear at an earlier month end, is not quite now
	SeasonStraddle bool    // fewer than 120 days on one side: a season's edge may look like it
}

// Limits of the search. The first five are of the reference measurement on real
// homes with real charging sessions (cars of 1.4 to 11 kW; 434 windows without a
// car); the rest are our choices, checked by the transplants of scripts/transplant.
const (
	pulseKW       = 1.2   // a run stands this far above the baseline: under the smallest charger
	minPulses     = 6     // in a cell
	weeksBefore   = 4     // least evidence on either side
	weeksAfter    = 8     //
	sayOdds       = 2.0   // log odds needed to say it
	minArrivalKWh = 200.0 // a year: without new energy it is a shift of habits
	leftOdds      = 5.0   // and to say that it left: fewer leave than come
	mostBefore    = 0.35  // like pulses before, as a share of the new ones: above, it was there and grew
	dayKWhMean    = 1.5   // a pulse below this much energy does not count towards the year
)

// Arrivals looks for regular pulses that began or ended.
//
//	c_i ~ Poisson(λ_i), λ_i = e_i·(a + season_i + d·1[i ≥ t]) by week i
//
// in cells of height, energy and start hour; the date that gains most over no
// date, less ln(cells/3 · dates) for the tries, is said above sayOdds.
//
// In:      whole local days of gross consumption, or of a net meter's import.
// Out:     at most one that came and one that left, by day.
// Refuses: fewer than 12 weeks; steps over an hour (PerDay < 24).
// Edges:   missing intervals end a pulse; days read below 90 % do not count.
// Source:  Poisson change point with an additive seasonal rate, fitted by
// multiplicative updates (Lee and Seung 2001, from memory); cells, baseline and
// limits after a measurement on real homes.
// Cost:    see BenchmarkArrivals.
func Arrivals(v *Intervals) []Arrival {
	if v.PerDay < 24 || v.days()/7 < weeksBefore+weeksAfter {
		return nil
	}
	p := findPulses(v)
	if len(p) < minPulses {
		return nil
	}
	var out []Arrival
	came := newCounting(v, p, false)
	if a, ok := came.search(sayOdds); ok {
		out = append(out, a)
	}
	left := newCounting(v, p, true)
	if a, ok := left.search(leftOdds); ok {
		out = append(out, a)
	}
	slices.SortStableFunc(out, func(a, b Arrival) int { return a.Day - b.Day })
	return out
}

// search looks for one change in one direction of time.
func (c *counting) search(odds float64) (Arrival, bool) {
	kept := c.look(odds)
	if len(kept) == 0 {
		return Arrival{}, false
	}
	best := &kept[0]
	for k := range kept {
		if kept[k].gain > best.gain {
			best = &kept[k]
		}
	}
	a := Arrival{Left: c.mirrored, LogOdds: best.gain - c.tries}
	if a.LogOdds <= odds {
		return a, false
	}
	d := c.date(best)
	if d.after < minPulses || d.before > mostBefore*d.rate {
		return a, false
	}
	a.Day, a.Low, a.Top = d.day, d.low, d.top
	a.KW, a.FromHour, a.ToHour = d.kw, d.fromHour, d.toHour
	a.PerWeek, a.BeforePerWeek, a.Evidence = d.rate, d.before, d.weeks
	a.KWhYr, a.KWhYrLow, a.KWhYrHigh = c.energy(d)
	if a.KWhYr < minArrivalKWh {
		return a, false
	}
	a.Confidence = confidence(a.LogOdds)
	n := len(c.seen)
	a.SeasonStraddle = d.day < 120 || n-d.day < 120
	if c.mirrored {
		a.Day, a.Low, a.Top = n-d.day, n-d.top, n-d.low
	}
	return a, true
}

// confidence rises from 0.6 at log odds of 2 over 0.8 at 5 to 0.95 at 10: our
// choice.
func confidence(odds float64) float64 {
	switch {
	case odds < 5:
		return math.Max(0.6+(odds-2)/3*0.2, 0.5)
	case odds < 10:
		return 0.8 + (odds-5)/5*0.15
	}
	return math.Min(0.95+(odds-10)/100, 0.99)
}
