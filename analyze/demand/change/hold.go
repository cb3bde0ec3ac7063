package change

import "rowen/analyze/demand/fit"

// A step that was clear at one of the last heldEnds month ends is held as
// doubtful while it still pays heldShare of the penalty, so that what was said
// does not vanish and come back with every month. Our choices, after the events
// of generated homes at successive month ends.
const (
	heldShare = 0.6
	heldEnds  = 4
	endDays   = 30
	heldDays  = 31 // how far its date may have lain
	mostHeld  = 2
)

// hold adds the steps that were clear before and are doubtful now.
func (s *Story) hold(w *fit.Workspace) (held bool) {
	for range mostHeld {
		p := s.problem(s.Fit.After(s.problem(fit.Start{}), DriftPrior))
		now := newSearch(w, p, s.Steps)
		now.penalty *= heldShare
		now.design.With(s.Steps.Fit(), -1)
		if _, ok := now.best(); !ok {
			return held // nothing is anywhere near
		}
		step, ok := s.clearBefore(w, p)
		if !ok {
			return held
		}
		now = newSearch(w, p, s.Steps)
		now.penalty *= heldShare
		now.only(step)
		now.design.With(s.Steps.Fit(), -1)
		if step, ok = now.best(); !ok {
			return held
		}
		step.Doubtful = true
		s.Steps = append(s.Steps, step)
		held = true
		s.refit(w, DriftSpread, 1)
	}
	return held
}

// clearBefore is the step that paid the whole penalty at one of the earlier
// month ends, the latest first, beside the other steps that had come by then.
func (s *Story) clearBefore(w *fit.Workspace, p fit.Problem) (Step, bool) {
	for end := 1; end <= heldEnds; end++ {
		n := s.Days.N() - end*endDays
		if n < fit.MinDaysForWeather {
			break
		}
		columns := s.Columns.Until(n)
		then := newSearch(w, fit.Problem{Days: s.Days.Until(n), Columns: &columns, Root: s.Root[:n],
			Start: fit.Start{Base: p.Start.Base[:n], DriftRow: p.Start.DriftRow}}, s.Steps)
		var before Steps
		for _, other := range s.Steps {
			if other.Day < n-MinSegmentDays {
				before = append(before, other)
			}
		}
		then.design.With(before.Fit(), -1)
		if step, ok := then.best(); ok {
			return step, true
		}
	}
	return Step{}, false
}

// only narrows a search to the answer of a step and the days around it.
func (s *search) only(step Step) {
	for k := range s.ranges {
		r := &s.ranges[k]
		if s.p.Columns.Answers[k].What != step.What {
			r.lo, r.hi = 0, 0
			continue
		}
		r.lo, r.hi = max(r.lo, step.Day-heldDays), min(r.hi, step.Day+heldDays+1)
	}
}
