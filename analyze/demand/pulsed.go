package demand

import (
	"fmt"
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
)

// stepOf is the change in the rate that a group of steps was begun with; nil: the
// days' sums found it.
func stepOf(rates []pulse.Change, g *change.Group) *pulse.Change {
	for k := range rates {
		for _, part := range g.Parts {
			if part.Known && part.Day == rates[k].Day {
				return &rates[k]
			}
		}
	}
	return nil
}

// arrivalNear is the arrival of pulses that a group found by the days' sums is as
// well; nil: none.
func arrivalNear(rates []pulse.Change, g *change.Group, c *fit.Columns) *pulse.Change {
	for k := range rates {
		if !rates[k].Left && sameChange(&rates[k], g, c) {
			return &rates[k]
		}
	}
	return nil
}

// eventsOfRates are the events of a home whose days are too few for their sums to
// tell any.
func (h *household) eventsOfRates(rates []pulse.Change) []Event {
	if len(rates) == 0 {
		return nil
	}
	out, fine := make([]Event, len(rates)), h.fine()
	for k := range rates {
		v := ofPulses(load.Verdict{Kind: KindOther}, &rates[k], fine)
		out[k] = Event{Kind: v.Kind, Detail: v.Detail, Score: v.Score, Live: true}
		h.dateByRate(&out[k], &rates[k], 0)
		out[k].Says = says(&out[k], "", &v)
	}
	return out
}

// dateByRate dates and sizes an event by its pulses; half is the least half width
// of the energy's interval.
func (h *household) dateByRate(e *Event, a *pulse.Change, half float64) {
	e.On, e.OnLow, e.OnHigh = h.calendar.DayBegin(a.Day), h.calendar.DayBegin(a.Low), h.calendar.DayBegin(a.Top)
	e.KWhYr = a.KWhYr
	if a.Left {
		e.KWhYr = -a.KWhYr
	}
	half = math.Max(half, pulseEnergyHalf*a.KWhYr)
	e.KWhYrLow, e.KWhYrHigh = e.KWhYr-half, e.KWhYr+half
}

// ofPulses is what pulses that began are taken for: a car's charging, which
// keeps its level where readings are fine enough to show it. What the shape over
// the day already names otherwise keeps its name. Pulses that ended are a load
// that left.
func ofPulses(v load.Verdict, a *pulse.Change, fine *load.Fine) load.Verdict {
	if a.Left {
		if v.Kind == KindDeparture {
			return v
		}
		return load.Verdict{Kind: KindDeparture, Detail: "use_fell", Score: scoreOfRate(a.Score),
			Because: fmt.Sprintf("loads of %.1f kW and more ended: about %.0f a week before, %.0f since", a.MinKW, a.BeforePerWeek+a.PerWeek, a.BeforePerWeek)}
	}
	if v.Kind != KindOther && v.Kind != KindDeparture && v.Kind != KindBaseload {
		return v
	}
	began := "began"
	if a.BeforePerWeek > 0.1*a.PerWeek {
		began = "began or grew"
	}
	says := fmt.Sprintf("loads of %.1f kW and more %s: about %.0f a week, %.0f before", a.MinKW, began, a.BeforePerWeek+a.PerWeek, a.BeforePerWeek)
	if fine != nil && a.EachKWh < carKWh {
		if before, after := fine.LevelPerWeek(a.MinKWh, a.Day); after-before < levelShare*a.PerWeek {
			return load.Verdict{Kind: KindOther, Detail: "regular_load", Score: scoreOfRate(a.Score), Because: says + ", at a level that does not hold"}
		}
	}
	return load.Verdict{Kind: KindEV, Score: scoreOfRate(a.Score), Because: says}
}

// levelShare of a car's sessions, where they are as small as a kitchen's, keep their
// level in readings of 15 minutes: the rest runs under other loads. Our choice: at a
// quarter an invented kitchen whose load jumps passed for a car, at a half it does not,
// and of 62 real cars that were found one went unnamed.
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
