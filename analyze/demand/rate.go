package demand

import (
	"math"
	"slices"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/pulse"
	"rowen/ingest"
)

// limits of a change in the rate of pulses: what it must score, and the energy a
// year that it must add or take, before it is said.
type limits struct{ score, kWhYr float64 }

// Measured on real homes with real charging sessions and on generated fleets (our
// choices): arrivals at the search's own limits, save those that growing use may
// have made, whose date is wide or whose like were there before, and those by day
// where cooling may be all that came; departures only where a small car's energy
// left, since habits fade more often than they form.
var (
	clearArrival = limits{2, 200}
	dimArrival   = limits{6, 600}
	dayArrival   = limits{8, 300}
	departure    = limits{4, 1000}
	never        = limits{math.Inf(1), math.Inf(1)}
)

// A date wider than wideDays, or more than usedToCome of the rate there before,
// is what growth and a hard winter look like (our choices, on false arrivals of
// generated fleets: ten of eleven are one or the other, of 85 real cars five).
const (
	wideDays   = 35
	usedToCome = 0.5
)

// Where one season may be all that came, a car is told by what it takes at a time
// and by when (our choices): storage and panel heaters begin each autumn and take
// less than carKWh (half of the false events of generated homes were such; it costs two
// of 480 real cars); of one real home's summer more than byDay begins by day, and no
// other home with cooling was at hand.
const (
	carKWh = 8
	byDay  = 0.4
)

func limitsOf(c *pulse.Change) limits {
	switch {
	case c.OneSeason && c.EachKWh < carKWh:
		return never
	case c.Left:
		return departure
	case c.OneSeason && c.DayShare > byDay:
		return dayArrival
	case c.Top-c.Low > wideDays || c.BeforePerWeek > usedToCome*c.PerWeek:
		return dimArrival
	}
	return clearArrival
}

// rates are the regular loads of some kW that began or ended, found by how often
// they run; none on bills, on days alone, or where no interval's consumption is
// known.
func (h *household) rates() []pulse.Change {
	v := h.intervals()
	if v == nil {
		return nil
	}
	now := h.ratesUntil(v, v.Days(), pulse.Came, pulse.Left)
	if len(now) == 0 {
		return nil
	}
	// A change of the other direction is never the same one.
	var same []pulse.Direction
	for _, a := range now {
		same = append(same, pulse.Direction(a.Left))
	}
	return steady(now, h.ratesUntil(v, v.Days()-monthDays, same...), func() []pulse.Change { return h.ratesUntil(v, v.Days()-2*monthDays, same...) })
}

// steady leaves at its old date what the last month has moved elsewhere and the two
// months before agree on: a date moves a month later, and not for one month's weather
// (of 667 events a month apart 17 moved, 25 without).
func steady(now, last []pulse.Change, before func() []pulse.Change) []pulse.Change {
	for i := range now {
		k := slices.IndexFunc(last, func(e pulse.Change) bool { return movedFrom(&now[i], &e) })
		if k >= 0 && slices.ContainsFunc(before(), func(e pulse.Change) bool { return apart(&last[k], &e) <= monthDays }) {
			now[i] = last[k]
		}
	}
	return now
}

// ratesUntil is what the first days tell.
func (h *household) ratesUntil(v *pulse.Intervals, days int, directions ...pulse.Direction) []pulse.Change {
	return slices.DeleteFunc(pulse.Find(v.Until(max(days, 0)), directions...), func(c pulse.Change) bool {
		least := limitsOf(&c)
		return !(c.Score > least.score && c.KWhYr >= least.kWhYr && c.Day < h.days.N())
	})
}

// Dates within a month are one; within half a year, one change at two dates; further
// apart, two changes (our choices).
const (
	monthDays = 31
	halfYear  = 182
)

// movedFrom tells that a change is one that an earlier month end had at another date.
func movedFrom(now, then *pulse.Change) bool {
	d := apart(now, then)
	return d > monthDays && d <= halfYear
}

// apart is the days between two changes; of another direction they are none of
// each other.
func apart(a, b *pulse.Change) int {
	if a.Left != b.Left {
		return math.MaxInt
	}
	return max(a.Day-b.Day, b.Day-a.Day)
}

// intervals lays the finest consumption out by whole local days: gross, or of a
// net meter its import alone. An hour that a clock change repeats is read once,
// one that it skips is missing.
func (h *household) intervals() *pulse.Intervals {
	if h.name == BasisBills || h.onlyDaily() {
		return nil
	}
	perHour, offset := 1, 0
	at := func(k int) float64 { return h.wh[k] }
	n := len(h.wh)
	if !h.gross {
		if h.in.Series == nil || h.in.Series.Wh[ingest.Import] == nil {
			return nil
		}
		imported := h.in.Series.Wh[ingest.Import]
		n, at = len(imported), func(k int) float64 { return float64(imported[k]) }
	} else if f := h.fineSeries(); f != nil {
		if fine := h.fineWh(f); fine != nil {
			perHour, offset = 60/f.StepMinutes, int(h.calendar.Start-f.Start)
			n, at = len(fine), func(k int) float64 { return float64(fine[k]) }
		}
	}
	c := h.calendar
	days := min(c.Days(), h.days.N())
	v := &pulse.Intervals{PerDay: 24 * perHour, FirstDay: c.DayNumber(0), KW: make([]float64, days*24*perHour)}
	for i := range v.KW {
		v.KW[i] = math.NaN()
	}
	hourOf := c.HourOfDay()
	for d := range days {
		lo, hi := c.Day(d)
		for i := lo; i < hi; i++ {
			slot := (d*24 + int(hourOf[i])) * perHour
			for q := range perHour {
				if k := (i+offset)*perHour + q; k >= 0 && k < n {
					v.KW[slot+q] = at(k) * float64(perHour) / 1000
				}
			}
		}
	}
	if w := h.weather(); w.DayC != nil {
		v.Cold, v.Hot = degrees(w.DayC, days)
	}
	return v
}

// fineSeries are the readings finer than an hour that a pulse can be seen in.
func (h *household) fineSeries() *ingest.Fine {
	if h.in.Series == nil || h.in.Series.Fine == nil {
		return nil
	}
	f := h.in.Series.Fine
	if f.StepMinutes != 15 && f.StepMinutes != 30 {
		return nil
	}
	return f
}

// degrees are the degrees by day below and above which homes heat and cool
// (15 and 20 °C: common practice).
func degrees(dayC []float64, days int) (cold, hot []float64) {
	cold, hot = make([]float64, days), make([]float64, days)
	for d := range days {
		cold[d], hot[d] = math.NaN(), math.NaN()
		if d < len(dayC) {
			cold[d], hot[d] = math.Max(15-dayC[d], 0), math.Max(dayC[d]-20, 0)
		}
	}
	return cold, hot
}

// nearDays: a change in the days' sums this close to a change in the rate, in the
// same direction, is the same change (our choice: the month in which two dates of
// one event may differ, and half of one).
const nearDays = 45

// sameChange tells that the days' sums and the rate of pulses saw one change.
func sameChange(a *pulse.Change, g *change.Group, c *fit.Columns) bool {
	return g.Low-nearDays <= a.Top && a.Low <= g.Top+nearDays && (g.Yearly(c).Total() < 0) == a.Left
}

// unseen are the changes in the rate that the days' sums do not show.
func unseen(rates []pulse.Change, groups []change.Group, c *fit.Columns) []pulse.Change {
	return slices.DeleteFunc(slices.Clone(rates), func(a pulse.Change) bool {
		return slices.ContainsFunc(groups, func(g change.Group) bool { return sameChange(&a, &g, c) })
	})
}

// knownSteps are changes in the rate as steps of the days' level, which the search for
// steps then neither moves nor drops.
func knownSteps(rates []pulse.Change, columns *fit.Columns) change.Steps {
	var out change.Steps
	for column := range columns.Answers {
		if columns.Answers[column].What != fit.ToNothing {
			continue
		}
		for _, a := range rates {
			out = append(out, change.Step{Step: fit.Step{Day: a.Day, Column: column}, What: fit.ToNothing, Known: true, Low: a.Low, Top: a.Top})
		}
		break
	}
	return out
}
