package change

import (
	"math"
	"slices"

	"rowen/analyze/demand/fit"
)

// Find selects the steps one by one, each time the one that explains most, then
// moves each to its best place with the others in. It begins with those given.
//
// Source: the penalty and the segments of PELT (Killick, Fearnhead, Eckley
// 2012); the search over typed steps is ours, since a heating slope that
// appears is no shift of a mean.
func Find(w *fit.Workspace, p fit.Problem, from Steps) Steps {
	s := newSearch(w, p, from)
	steps := s.relocate(slices.Clone(from))
	// A step that relocate drops may be found again: the rounds are bounded.
	for round := 0; round < 2*maxSteps && len(steps) < maxSteps; round++ {
		s.design.With(steps.Fit(), -1)
		c, ok := s.best()
		if !ok {
			break
		}
		had := len(steps)
		steps = s.relocate(append(steps, c))
		if len(steps) <= had {
			break // what came in pushed another out: no more to be had this way
		}
	}
	return steps.byDay()
}

// search is one search for steps.
type search struct {
	p       fit.Problem
	design  *fit.Design
	penalty float64
	blind   bool
	use     float64                 // mean consumption a day
	ranges  []stepRange             // by column
	taken   []int                   // days of known steps of the level
	beta    [][]float64             // coefficient by target and day, of the column in hand
	left    []float64               // what is new in it
	lr      [fit.MaxTargets]float64 // long-run variance by target
}

// stepRange is where a step in a column may lie.
type stepRange struct {
	lo, hi           int // enough days on either side
	seenFrom, seenTo int // enough of the column on either side
}

func newSearch(w *fit.Workspace, p fit.Problem, steps Steps) *search {
	s := &search{p: p, design: fit.Build(w, p, nil), penalty: penalty(p.Days), blind: IsBlind(p.Columns, p.Days), use: p.Days.MeanKWh()}
	n := p.Days.N() + 1
	flat := make([]float64, n*(len(p.Days.Targets)+1))
	s.left = flat[:n]
	for t := range p.Days.Targets {
		s.beta = append(s.beta, flat[(t+1)*n:(t+2)*n])
	}
	for k := range p.Columns.Answers {
		a := &p.Columns.Answers[k]
		lo, hi := daysAround(p.Days, a)
		from, to := wellSeen(p.Days, a, p.Columns.Method == fit.MethodSeason)
		s.ranges = append(s.ranges, stepRange{lo, hi, from, to})
	}
	for _, step := range steps {
		if step.Known && step.What == fit.ToNothing {
			s.taken = append(s.taken, step.Day)
		}
	}
	return s
}

// relocate moves each step to its best place given the others, and drops what
// no longer pays.
func (s *search) relocate(steps Steps) Steps {
	for range 2 {
		moved := false
		for k := 0; k < len(steps); k++ {
			if steps[k].Known {
				continue
			}
			s.design.With(steps.Fit(), k)
			old := steps[k]
			c, ok := s.best()
			if !ok {
				steps = slices.Delete(steps, k, k+1)
				k--
				moved = true
				continue
			}
			if c.Day != old.Day || c.Column != old.Column {
				moved = true
			}
			steps[k] = c
		}
		if !moved || len(steps) < 2 {
			break
		}
	}
	return steps
}

// isTaken keeps a level from being found again beside one that is known.
func (s *search) isTaken(a *fit.Column, day int) bool {
	return a.What == fit.ToNothing && slices.ContainsFunc(s.taken, func(known int) bool {
		return max(known-day, day-known) <= sameChangeDays
	})
}

// Heating as large as a heat pump's least (section 8.4 of the method) may come
// in the first weeks of the first season or the last of the last one: in the
// day's consumption and in a witness it then needs heatPumpGain of the penalty,
// both. What is smaller is a home that switches on late in a mild autumn, which
// without a thermometer nothing tells from a load that came. The shares are our
// choices, checked by the false events on generated fleets.
const (
	heatPumpKWhYr  = 2000.0
	heatPumpGain   = 0.7
	seenColdBefore = 0.03 // of a year's heating, before it
	seenColdAfter  = 0.05 // and after it
)

// A step that a sharper target sees clearly needs less from the day's
// consumption: our choice, checked by the false events on generated fleets.
const (
	weakGain     = 6.0
	witnessTimes = 2.0 // times the penalty
)

// best scans every column over every day: the best step is the one with the
// most gain in the day's consumption and in the target that sees it best,
// together. Among the columns of one answer the day's consumption alone decides
// (a peak knows the hot days only), among the answers both.
func (s *search) best() (Step, bool) {
	n := s.p.Days.N()
	for t := range s.p.Days.Targets {
		s.lr[t] = max(fit.LongRunVariance(s.p.Days, s.design.Resid(t)[:n]), 1e-12)
	}
	var found [fit.NumAnswers]Step
	var sums [fit.NumAnswers]float64
	for col := range s.p.Columns.Answers {
		a := &s.p.Columns.Answers[col]
		if s.blind && a.What != fit.ToNothing {
			continue
		}
		s.design.Scan(s.design.Masked(a.X), s.beta, s.left)
		if top, sum, ok := s.bestOf(col); ok && top.Gain > found[a.What].Gain {
			found[a.What], sums[a.What] = top, sum
		}
	}
	best := 0
	for k := range sums {
		if sums[k] > sums[best] {
			best = k
		}
	}
	return found[best], sums[best] > 0
}

// bestOf is the best step in the column just scanned, and its gains together.
func (s *search) bestOf(col int) (Step, float64, bool) {
	a, r := &s.p.Columns.Answers[col], s.ranges[col]
	top, topSum := Step{Step: fit.Step{Day: -1}}, 0.0
	for d := r.lo; d < r.hi; d++ {
		own, witness := s.gains(d)
		if own+witness <= topSum || !s.p.Days.Counted[d] || s.isTaken(a, d) {
			continue
		}
		if s.pays(a, r, d, own, witness) {
			top, topSum = Step{Step: fit.Step{Day: d, Column: col}, What: a.What, Gain: own}, own+witness
		}
	}
	if top.Day < 0 {
		return top, 0, false
	}
	top.Beta = s.beta[0][top.Day]
	if !s.bigEnough(top, topSum-top.Gain > witnessTimes*s.penalty) {
		return top, 0, false
	}
	top.Low, top.Top = s.rangeOf(top, topSum)
	// Before it the home without the load may never have been seen.
	return top, topSum, top.Day >= r.seenFrom || top.Low > 0
}

// pays tells whether a step on a day gains enough.
func (s *search) pays(a *fit.Column, r stepRange, d int, own, witness float64) bool {
	seen := d >= r.seenFrom && d < r.seenTo
	return (seen && own > s.penalty && !s.blind) || (seen && own > weakGain && witness > witnessTimes*s.penalty) ||
		(a.What == fit.ToCold && s.beta[0][d]*a.Year >= heatPumpKWhYr && min(own, witness) > heatPumpGain*s.penalty &&
			(d >= r.seenFrom || s.p.Columns.Method == fit.MethodDegreeDays) && seasonsBefore(s.p.Days, a, d) > seenColdBefore &&
			seasonsAfter(s.p.Days, a, d) > seenColdAfter)
}

// gains are a step's gain in the day's consumption and in the sharper target
// that gains most and moves the same way, in long-run variances.
func (s *search) gains(d int) (own, witness float64) {
	left := s.left[d]
	if left == 0 {
		return 0, 0
	}
	b := s.beta[0][d]
	own = b * b * left / s.lr[0]
	for t := 1; t < len(s.beta); t++ {
		if v := s.beta[t][d]; v*b > 0 {
			witness = max(witness, v*v*left/s.lr[t])
		}
	}
	return own, witness
}

// sleepShare of a year's energy may pass before a load is seen; without a
// thermometer the season's first weeks are mild or cold by chance, and the
// shape that stands in knows no more of them than sleepShareBlind. Our choices.
const (
	sleepShare      = 0.04
	sleepShareBlind = 0.15
)

// rangeOf is the days whose gain is within 2.71 long-run variances of the best:
// the 90 % point of χ² with one degree of freedom.
func (s *search) rangeOf(c Step, sum float64) (int, int) {
	r, counted := s.ranges[c.Column], s.p.Days.Counted
	near := func(d int) bool {
		own, witness := s.gains(d)
		return own+witness > sum-2.71 || !counted[d]
	}
	low, top := c.Day, c.Day
	for low-1 >= r.lo && near(low-1) {
		low--
	}
	for top+1 < r.hi && near(top+1) {
		top++
	}
	// A load that follows the weather sleeps until its season, and its
	// balance point is known to a few K only: what it would have used in the
	// days before may be too little to see.
	if a := &s.p.Columns.Answers[c.Column]; c.What != fit.ToNothing {
		share := sleepShare
		if s.p.Columns.Method != fit.MethodDegreeDays {
			share = sleepShareBlind
		}
		asleep := share * a.Year
		for sum := 0.0; low > 0 && sum+a.X[low-1] <= asleep; low-- {
			sum += a.X[low-1]
		}
		for sum := 0.0; top+1 < len(counted) && sum+a.X[top] <= asleep; top++ {
			sum += a.X[top]
		}
	}
	return low, top
}

// bigEnough holds a step against the least size of an event; one that a sharper
// target sees clearly may be a smaller share of the consumption.
func (s *search) bigEnough(c Step, seen bool) bool {
	year := math.Abs(yearly(s.p.Columns, c))
	if year < minEventKWhYr || year > maxEventTimes*365.25*s.use {
		return false
	}
	switch c.What {
	case fit.ToNothing:
		return math.Abs(c.Beta) >= minStepKWhDay && (seen || math.Abs(c.Beta) >= minStepShare*s.use)
	case fit.ToSummer:
		return math.Abs(c.Beta) >= minStepKWhDay
	case fit.ToHeat:
		// One summer may be answered otherwise than the ones before, as when it
		// is hot: what has lived through no second one must be a share of the
		// year's consumption that counts as a step.
		return seasonsAfter(s.p.Days, &s.p.Columns.Answers[c.Column], c.Day) >= 1.5 || year >= minStepShare*365.25*s.use
	case fit.ToCold:
		return s.p.Columns.Method != fit.MethodDegreeDays || math.Abs(c.Beta) >= minHeatSlope
	}
	return true
}
