package demand

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
	"rowen/ingest"
)

// sureRate is the score from which a change in the rate of pulses is taken for
// an arrival whatever the days' sums say: above the search's own limit, since
// generated homes rise more often than real ones (our choice; between 2 and 5 the
// search loses 5 of 85 cars on the homes that it was measured on).
const sureRate = 4

// leastArrivalKWh a year is what an arrival adds at the least: a household's
// habits shift by less (our choice, on generated homes of two seeds).
const leastArrivalKWh = 600

// arrivals are the regular loads of some kW that began, found by how often they
// run; none on bills, on days alone, or where no interval's consumption is known.
func (h *household) arrivals() []pulse.Change {
	v := h.intervals()
	if v == nil {
		return nil
	}
	var out []pulse.Change
	for _, c := range pulse.Find(v, pulse.Came) {
		if c.Score > sureRate && c.KWhYr >= leastArrivalKWh && c.Day < h.days.N() {
			out = append(out, c)
		}
	}
	return out
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

// nearDays: a change in the days' sums this close to an arrival is the same
// change, and the days' answer to weather and hours says better what it is (our
// choice: the month in which two dates of one event may differ, and half of one).
const nearDays = 45

// unseen are the arrivals that the days' sums do not show.
func unseen(arrivals []pulse.Change, groups []change.Group) []pulse.Change {
	return slices.DeleteFunc(arrivals, func(a pulse.Change) bool {
		return slices.ContainsFunc(groups, func(g change.Group) bool { return g.Low-nearDays <= a.Top && a.Low <= g.Top+nearDays })
	})
}

// knownSteps are the arrivals as steps of the days' level, which the search for
// steps then neither moves nor drops.
func knownSteps(arrivals []pulse.Change, columns *fit.Columns) change.Steps {
	var out change.Steps
	for column := range columns.Answers {
		if columns.Answers[column].What != fit.ToNothing {
			continue
		}
		for _, a := range arrivals {
			out = append(out, change.Step{Step: fit.Step{Day: a.Day, Column: column}, What: fit.ToNothing, Known: true, Low: a.Low, Top: a.Top})
		}
		break
	}
	return out
}

// arrivalOf is the arrival that a group of steps holds; nil: none.
func arrivalOf(arrivals []pulse.Change, g *change.Group) *pulse.Change {
	for k := range arrivals {
		for _, part := range g.Parts {
			if part.Known && part.Day == arrivals[k].Day {
				return &arrivals[k]
			}
		}
	}
	return nil
}

// ofPulses is what pulses that began are taken for: a car's charging, which
// keeps its level where readings are fine enough to show it. What the shape over
// the day already names otherwise keeps its name.
func ofPulses(v load.Verdict, a *pulse.Change, fine *load.Fine) load.Verdict {
	if v.Kind != KindOther && v.Kind != KindDeparture && v.Kind != KindBaseload {
		return v
	}
	began := "began"
	if a.BeforePerWeek > 0.1*a.PerWeek {
		began = "began or grew"
	}
	says := fmt.Sprintf("loads of %.1f kW and more %s: about %.0f a week, %.0f before", a.MinKW, began, a.BeforePerWeek+a.PerWeek, a.BeforePerWeek)
	if fine != nil {
		if before, after := fine.LevelPerWeek(a.MinKWh, a.Day); after-before < levelShare*a.PerWeek {
			return load.Verdict{Kind: KindOther, Detail: "regular_load", Score: scoreOfRate(a.Score), Because: says + ", at a level that does not hold"}
		}
	}
	return load.Verdict{Kind: KindEV, Score: scoreOfRate(a.Score), Because: says}
}

// levelShare of a car's sessions keep their level in readings of 15 minutes: the
// rest runs under other loads. Our choice: at a quarter an invented kitchen whose
// load jumps passed for a car, at a half it does not, and of 62 real cars that
// were found one went unnamed.
const levelShare = 0.5

// scoreOfRate: 0.6 at 2, 0.8 at 5, 0.95 at 10 (our choice, not calibrated).
func scoreOfRate(score float64) float64 {
	switch {
	case score >= 10:
		return 0.95
	case score >= 5:
		return 0.8 + 0.15*(score-5)/5
	}
	return 0.6 + 0.2*math.Max(score-2, 0)/3
}

// pulseEnergyHalf is the least half width of the 90 % interval of a regular
// load's yearly energy, as a share of it: the search was off by 8 % in the median
// on real homes with known cars, and 2.4 times that holds nine in ten of normal
// errors.
const pulseEnergyHalf = 0.2
