package change

import (
	"math"
	"slices"

	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
)

// How far a household drifts a year, events apart: DriftPrior is used only
// to tell steps from drift, DriftSpread where both are known. Our choices.
const (
	DriftPrior  = 0.02
	DriftSpread = 0.04
)

// Story is what a household's days say together: which of them count, what
// explains them, and what changed. A value that nothing changes afterwards.
type Story struct {
	Days    *fit.Days
	Columns fit.Columns
	Root    []float64 // roots of the days' weights
	Fit     fit.Fit
	Steps   Steps
	Groups  []Group
	SDKWhYr []float64 // standard deviation of each group's yearly energy
}

func (s *Story) problem(start fit.Start) fit.Problem {
	return fit.Problem{Days: s.Days, Columns: &s.Columns, Root: s.Root, Start: start}
}

// Tell cleans the days of weather and weekday, finds what changed beside what is
// known of it, and fits the whole.
func Tell(w *fit.Workspace, d *fit.Days, c fit.Columns, known Steps) Story {
	s := Story{Days: d, Columns: c, Root: fit.Equal(d.N()), Steps: known}
	quiet := Liveliness(d)
	s.Fit, _ = fit.Solve(w, s.problem(fit.FirstStart(d)), s.Steps.Fit())
	s.Root = fit.Weigh(s.problem(fit.Start{}), &s.Fit)
	s.refit(w, DriftPrior, 1)
	s.Steps = s.Steps.sized(s.Fit.Beta)
	if without, found := Absences(s.problem(fit.Start{}), &s.Fit, s.Steps, quiet); found {
		s.Days = without
		s.refit(w, DriftPrior, 1)
	}
	s.find(w)
	s.refit(w, DriftSpread, 3)
	if len(s.Steps) > 0 {
		// With the steps known, the household's own weather is another, and
		// absences show that were hidden.
		clean := make([]float64, d.N())
		for k := range clean {
			clean[k] = d.KWh[k] - s.Fit.EventDay[k]
		}
		s.Columns = s.Columns.Refit(s.Days, clean)
		s.dropNeedless(w)
		s.refit(w, DriftSpread, 3)
		s.Root = fit.Weigh(s.problem(fit.Start{}), &s.Fit)
		s.Days, _ = Absences(s.problem(fit.Start{}), &s.Fit, s.Steps, quiet)
		s.find(w)
		s.dropNeedless(w)
		s.refit(w, DriftSpread, 3)
	}
	held := s.hold(w)
	kept, dropped := s.confirmed()
	if held || dropped {
		s.Steps = kept.byDay()
		s.refit(w, DriftSpread, 2)
	}
	design := s.refit(w, DriftSpread, 1)
	s.Groups = groups(&s.Columns, s.Steps)
	for k := range s.Groups {
		s.SDKWhYr = append(s.SDKWhYr, s.yearlySD(design, &s.Groups[k]))
	}
	return s
}

// refit fits base, drift and steps together, from the fit before; several
// times, since the drift's column is the base.
func (s *Story) refit(w *fit.Workspace, spread float64, rounds int) *fit.Design {
	f, design := fit.Iterate(w, s.problem(fit.Start{}), s.Steps.Fit(), s.Fit, spread, rounds)
	s.Fit, s.Steps = f, s.Steps.sized(f.Beta)
	return design
}

func (s *Story) find(w *fit.Workspace) {
	p := s.problem(fit.Start{})
	p.Start = s.Fit.After(p, DriftPrior)
	s.Steps = Find(w, p, s.Steps)
}

// dropNeedless takes heating or cooling out of the household before its steps
// where a step explains as much without: most who buy an air conditioner had
// none. A step that hardly any season lies before always explains as much, and
// says nothing of the household before.
func (s *Story) dropNeedless(w *fit.Workspace) {
	p := s.problem(fit.Start{})
	p.Start = s.Fit.After(p, DriftPrior)
	needless := func(what fit.Answer, without fit.Columns) bool {
		if !slices.ContainsFunc(s.Steps, func(c Step) bool {
			a := &s.Columns.Answers[c.Column]
			return c.What == what && c.Beta > 0 && seasonsBefore(s.Days, a, c.Day) >= seenPart
		}) {
			return false
		}
		p.Columns = &s.Columns
		with := fit.Build(w, p, s.Steps.Fit())
		had, lr := with.SumOfSquares(), max(fit.LongRunVariance(s.Days, with.Resid(0)[:s.Days.N()]), 1e-12)
		p.Columns = &without
		return (fit.Build(w, p, s.Steps.Fit()).SumOfSquares()-had)/lr <= penalty(s.Days)
	}
	if c := s.Columns; c.HasHeat {
		c.HasHeat = false
		s.Columns.HasHeat = !needless(fit.ToCold, c)
	}
	if c := s.Columns; c.HasCool {
		c.HasCool = false
		s.Columns.HasCool = !needless(fit.ToHeat, c)
	}
}

// Growth is the design of the story's fit with a drift that no prior holds.
func (s *Story) Growth(w *fit.Workspace) *fit.Design {
	return fit.Build(w, s.problem(fit.Start{Base: s.Fit.Base}), s.Steps.Fit())
}

// LongRunVariance is the residual's, by day as it stands.
func (s *Story) LongRunVariance() float64 { return fit.LongRunVariance(s.Days, s.Fit.Resid) }

// Luck is what a day of normal weather would have used more than the day did.
func (s *Story) Luck(d int) float64 {
	v := (s.Fit.BaseNormal[d] - s.Fit.Base[d]) * s.Fit.Drifted(d)
	for _, c := range s.Steps {
		if a := &s.Columns.Answers[c.Column]; d >= c.Day {
			v += float64(c.Beta * (a.Normal[d] - a.X[d]))
		}
	}
	return v
}

// Unexplained are the level shifts that PELT still sees in the residual, by
// weeks from its start: weeks of at least four days that count, each their mean.
// A week is as fine as a caveat needs, and far cheaper than days.
func (s *Story) Unexplained() []int {
	var weeks []float64
	for lo := 0; lo+7 <= s.Days.N(); lo += 7 {
		sum, days := 0.0, 0
		for d := lo; d < lo+7; d++ {
			if s.Days.Counted[d] {
				sum += float64(s.Fit.Resid[d] * s.Root[d])
				days++
			}
		}
		if days >= 4 {
			weeks = append(weeks, sum/float64(days))
		}
	}
	if len(weeks) < 3 {
		return nil
	}
	penalty := stat.StepPenalty(PenaltyFactor, stat.NoiseSD(weeks), len(weeks), stat.Lag1(weeks))
	return stat.PELT(weeks, penalty, MinSegmentDays/7)
}

// NoiseByDay is the residual's sd by day: of the stretch between the groups
// that the day lies in.
func (s *Story) NoiseByDay() []float64 {
	out := make([]float64, s.Days.N())
	from := 0
	for k := 0; k <= len(s.Groups); k++ {
		to := len(out)
		if k < len(s.Groups) {
			to = s.Groups[k].Day
		}
		sum, days := 0.0, 0
		for d := from; d < to; d++ {
			if s.Days.Counted[d] {
				v := s.Fit.Resid[d] * s.Root[d]
				sum += float64(v * v)
				days++
			}
		}
		sd := math.Sqrt(sum / math.Max(float64(days), 1))
		for d := from; d < to; d++ {
			out[d] = max(sd, 1e-9)
		}
		from = to
	}
	return out
}
