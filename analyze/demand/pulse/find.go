package pulse

import "slices"

// Direction is which change Find looks for.
type Direction bool

// Pulses came, or left.
const (
	Came Direction = false
	Left Direction = true
)

// Find looks for regular pulses that began or ended.
//
//	c_i ~ Poisson(λ_i), λ_i = e_i·(a + season_i + d·1[i ≥ t]) by week i
//
// in cells of height, energy and start hour; the date that gains most over no
// date, less ln(cells/3 · dates) for the tries, is said above sayScore.
//
// In:      whole local days of gross consumption, or of a net meter's import.
// Out:     at most one that came and one that left, by day.
// Refuses: fewer than 12 weeks; steps over an hour (PerDay < 24).
// Edges:   missing intervals end a pulse; days read below 90 % do not count.
// Source:  Poisson change point with an additive seasonal rate, fitted by
// multiplicative updates (Lee and Seung 2001, from memory); cells, baseline and
// limits after a measurement on real homes.
// Cost:    see BenchmarkFind; half for one direction.
func Find(v *Intervals, directions ...Direction) []Change {
	if v.PerDay < 24 || v.Days()/7 < weeksBefore+weeksAfter {
		return nil
	}
	runs := findRuns(v)
	if len(runs) < minPulses {
		return nil
	}
	days := v.calendar()
	var out []Change
	for _, left := range directions {
		if a, ok := newCounting(days, runs, bool(left)).search(); ok {
			out = append(out, a)
		}
	}
	slices.SortStableFunc(out, func(a, b Change) int { return a.Day - b.Day })
	return out
}

// search looks for one change in one direction of time.
func (c *counting) search() (Change, bool) {
	kept := c.look()
	if len(kept) == 0 {
		return Change{}, false
	}
	best := c.best(kept)
	a := Change{Left: c.mirrored, Score: best.gain() - c.tries}
	if a.Score <= sayScore {
		return a, false
	}
	w := c.earliest(kept, best)
	if a.KWhYr = c.energy(w); a.KWhYr < minKWhYr {
		return a, false
	}
	theta := c.fitted(&w.tally, w.week)
	a.Day, a.Low, a.Top = c.date(w, &theta)
	a.PerWeek, a.BeforePerWeek = c.perWeek(&theta)
	a.EachKWh, a.DayShare = c.each(w.cell, a.Day)
	a.OneSeason = c.oneSeason(w.week)
	a.MinKW, a.MaxKW, a.MinKWh = w.height.lo, w.height.hi, w.cell.energy
	a.FromHour, a.ToHour = int(w.window.lo), int(w.window.hi)%24
	if n := len(c.seen); c.mirrored {
		a.Day, a.Low, a.Top = n-a.Day, n-a.Top, n-a.Low
	}
	return a, true
}
