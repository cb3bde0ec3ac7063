package change

import (
	"math"
	"slices"

	"rowen/analyze/demand/fit"
)

// Group is steps that came together: one event.
type Group struct {
	Day, Low, Top int
	Parts         Steps
}

// groups joins the steps that came together; those that add up to too little
// are dropped.
func groups(c *fit.Columns, steps Steps) []Group {
	var out []Group
	for _, s := range steps {
		if g := sameHeating(c, out, s); g != nil {
			g.Parts = append(g.Parts, s)
			continue
		}
		if k := len(out); k > 0 {
			g := &out[k-1]
			other := s.What != g.Parts[0].What
			if s.Day-g.Day <= sameChangeDays || (s.Low <= g.Top && other && s.Day-g.Day <= 90) || (other && s.Day-g.Day <= 45) {
				g.Parts = append(g.Parts, s)
				if s.Gain > g.strongestBefore() {
					g.Day = s.Day
				}
				g.Low, g.Top = min(g.Low, s.Low), max(g.Top, s.Top)
				continue
			}
		}
		out = append(out, Group{Day: s.Day, Low: s.Low, Top: s.Top, Parts: Steps{s}})
	}
	return slices.DeleteFunc(out, func(g Group) bool {
		return math.Abs(g.Yearly(c).Total()) < minEventKWhYr && !slices.ContainsFunc(g.Parts, func(p Step) bool { return p.Known })
	})
}

// sameHeating is the group whose heating load a further step in the answer to
// cold belongs to: one that comes within a year of it and is smaller corrects
// the shape that the load was given, as when a mild autumn and a hard winter
// follow each other. Nobody buys a second heat pump in their first winter. What
// falls again is no such correction.
func sameHeating(c *fit.Columns, groups []Group, s Step) *Group {
	if s.What != fit.ToCold || s.Beta < 0 {
		return nil
	}
	for k := range groups {
		g := &groups[k]
		for _, p := range g.Parts {
			if p.What == fit.ToCold && p.Beta > 0 && s.Day-p.Day < 365 && math.Abs(yearly(c, s)) < yearly(c, p) {
				return g
			}
		}
	}
	return nil
}

func (g *Group) strongestBefore() float64 {
	best := 0.0
	for _, p := range g.Parts[:len(g.Parts)-1] {
		best = max(best, p.Gain)
	}
	return best
}

// Main is the step of the most gain among those that came together.
func (g *Group) Main() Step {
	best := g.Parts[0]
	for _, p := range g.Parts[1:] {
		if p.Gain > best.Gain {
			best = p
		}
	}
	return best
}

// Doubtful tells that no part of the group is clear any more.
func (g *Group) Doubtful() bool {
	return !slices.ContainsFunc(g.Parts, func(p Step) bool { return !p.Doubtful })
}

// longSleep is how long the range of a date must be for the load to have slept
// through a season; a column sleeps where its mean over the days around is under
// asleep of its mean over the year. Our choices.
const (
	longSleep  = 62
	asleep     = 0.5
	aroundDays = 10
)

// Date is the day to say. A load that follows the weather sleeps through a mild
// season, and any day of it explains as much, as do the last days before it: then
// the day on which the load wakes is said, which does not move with every month's
// readings.
func (g *Group) Date(c *fit.Columns) int {
	main := g.Main()
	if g.Top-g.Low < longSleep || (main.What != fit.ToCold && main.What != fit.ToHeat) {
		return g.Day
	}
	a := &c.Answers[main.Column]
	sleeps := func(day int) bool {
		lo, hi, sum := max(day-aroundDays, 0), min(day+aroundDays+1, len(a.X)), 0.0
		for _, v := range a.X[lo:hi] {
			sum += v
		}
		return sum/float64(hi-lo) < asleep*a.Year/365.25
	}
	wakes, longest, run := g.Day, 0, 0
	for k := g.Low; k <= g.Top; k++ {
		if sleeps(k) {
			run++
			continue
		}
		if run > longest {
			wakes, longest = k, run
		}
		run = 0
	}
	return max(wakes, g.Day)
}

// SeenAfter is how many years' worth of what its main step follows have been
// read since the group came.
func (g *Group) SeenAfter(c *fit.Columns, d *fit.Days) float64 {
	main := g.Main()
	return seasonsAfter(d, &c.Answers[main.Column], main.Day)
}

// Energy is what a group uses over a normal year by answer, kWh.
type Energy struct{ Level, Cold, Heat, Summer float64 }

// Total is all of it.
func (e Energy) Total() float64 { return e.Level + e.Cold + e.Heat + e.Summer }

// Yearly is the group's energy over a normal year.
func (g *Group) Yearly(c *fit.Columns) Energy {
	var e Energy
	for _, p := range g.Parts {
		kwh := yearly(c, p)
		switch p.What {
		case fit.ToCold:
			e.Cold += kwh
		case fit.ToHeat:
			e.Heat += kwh
		case fit.ToSummer:
			e.Summer += kwh
		default:
			e.Level += kwh
		}
	}
	return e
}

// yearlySD is the standard deviation of a group's yearly energy: of Σ βk·Sk
// with Sk the normal year's sum of its column, under noise of the long-run
// variance.
func (s *Story) yearlySD(design *fit.Design, g *Group) float64 {
	var sum []float64
	for k, step := range s.Steps {
		place := design.StepPlace(k)
		for _, p := range g.Parts {
			if p.Day == step.Day && p.Column == step.Column && place >= 0 {
				w := design.Weights(place, nil)
				if sum == nil {
					sum = make([]float64, len(w))
				}
				fit.AXPY(sum, s.Columns.Answers[step.Column].Year, w)
			}
		}
	}
	return math.Sqrt(fit.Dot(sum, sum) * fit.LongRunVariance(s.Days, fit.Weighted(s.Fit.Resid, s.Root)))
}
