// Package change finds where a household's consumption changed for good: steps
// in its level or in its answer to the weather, and long absences.
package change

import (
	"cmp"
	"slices"

	"rowen/analyze/demand/fit"
	"rowen/ingest/samebits"
)

// Step is a lasting step in one column of the household's consumption.
type Step struct {
	fit.Step
	What     fit.Answer
	Gain     float64 // what it takes off the sum of squares, in units of the long-run variance
	Low, Top int     // days that the step may as well lie on
	Known    bool    // other evidence found and dated it: it is neither moved nor dropped
	Doubtful bool    // it was clear at an earlier month end, and is not now
}

// Steps are what changed, by day.
type Steps []Step

// Fit lists the steps as a fit takes them.
func (s Steps) Fit() []fit.Step {
	out := make([]fit.Step, len(s))
	for k := range s {
		out[k] = s[k].Step
	}
	return out
}

// byDay sorts the steps.
func (s Steps) byDay() Steps {
	slices.SortFunc(s, func(a, b Step) int { return cmp.Or(a.Day-b.Day, a.Column-b.Column) })
	return s
}

// sized gives the steps with the coefficients of a fit.
func (s Steps) sized(beta []float64) Steps {
	out := make(Steps, len(s))
	for k := range s {
		out[k] = s[k]
		out[k].Beta = beta[k]
	}
	return out
}

// Limits of what counts as an event (sections 8.1, 8.2 and 8.4 of the
// method): the penalty of a change point is 3·σ²·ln n, segments are at least
// 28 days, a level step is at least 2 kWh a day and 10 % of the consumption, a
// heating slope at least 0.5 kWh a K·day. The least yearly energy is our choice.
const (
	PenaltyFactor  = 3.0
	MinSegmentDays = 28
	minStepKWhDay  = 2.0
	minStepShare   = 0.10
	minHeatSlope   = 0.3
	minEventKWhYr  = 400.0
	maxSteps       = 6
	sameChangeDays = 24 // steps this close are one event
)

// maxEventTimes the household's consumption is more than any load adds: a few
// odd weeks spun out to a year, as when a meter goes wrong. Our choice.
const maxEventTimes = 1.5

// penalty is what a step must take off the sum of squares.
func penalty(d *fit.Days) float64 {
	return PenaltyFactor * samebits.Log(float64(max(d.Count, 2)))
}

// yearly is a step's energy over a normal year, kWh.
func yearly(c *fit.Columns, s Step) float64 { return float64(s.Beta * c.Answers[s.Column].Year) }

// IsBlind tells that a step in the day's consumption may as well be the season:
// no thermometer and one round of the seasons, or two that are not whole where
// the fleet says nothing of them either.
func IsBlind(c *fit.Columns, d *fit.Days) bool {
	return c.Method != fit.MethodDegreeDays && d.Span() < c.MinDriftDays()
}
