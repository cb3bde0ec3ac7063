package change

import (
	"math"

	"rowen/analyze/demand/fit"
)

// daysAround is where a step in a column may lie: between four weeks of days
// for a level, ten days for an answer to weather (section 7.2 asks for ten days
// with degree days), on either side.
func daysAround(d *fit.Days, a *fit.Column) (lo, hi int) {
	need := MinSegmentDays
	if a.What == fit.ToCold || a.What == fit.ToHeat {
		need = fit.MinDegreeDayDays
	}
	n := d.N()
	lo, hi = n, 0
	k := 0
	for i := 0; i < n; i++ {
		if d.Counted[i] && a.X[i] > 0 {
			if k++; k == need {
				lo = i + 1
				break
			}
		}
	}
	k = 0
	for i := n - 1; i >= 0; i-- {
		if d.Counted[i] && a.X[i] > 0 {
			if k++; k == need {
				hi = i + 1
				break
			}
		}
	}
	return lo, hi
}

// wellSeenShare of a year's worth of a column must lie behind a step: what is
// seen of an air conditioner in a few mild weeks must not be spun out to a
// summer. Before it must lie a third of a season: a spring in which nobody has
// switched on yet is no household without; and as much of a summer behind it,
// since its last warm weeks are no summer either. Where the fleet tells the season
// most of a summer must lie before: how a household answers to it is not known
// until then. Our choices.
const (
	wellSeenShare   = 0.10
	seenPart        = 1. / 3
	seenPartByFleet = 0.75
)

func wellSeen(d *fit.Days, a *fit.Column, byFleet bool) (from, to int) {
	n := d.N()
	if a.What == fit.ToNothing {
		return 0, n
	}
	need := seenPart * a.Year
	if byFleet && (a.What == fit.ToHeat || a.What == fit.ToSummer) {
		need = seenPartByFleet * a.Year
	}
	sum := 0.0
	for from = 0; from < n && sum < need; from++ {
		if d.Counted[from] {
			sum += a.X[from]
		}
	}
	need, sum = wellSeenShare*a.Year, 0
	if a.What == fit.ToHeat {
		need = seenPart * a.Year
	}
	for to = n; to > 0 && sum < need; to-- {
		if d.Counted[to-1] {
			sum += a.X[to-1]
		}
	}
	return from, to
}

// seasonsBefore is how many years' worth of a column lie before a day.
func seasonsBefore(d *fit.Days, a *fit.Column, day int) float64 {
	sum := 0.0
	for i := range day {
		if d.Counted[i] {
			sum += a.X[i]
		}
	}
	return sum / math.Max(a.Year, 1e-12)
}

// seasonsAfter is how many years' worth of a column lie from a day on.
func seasonsAfter(d *fit.Days, a *fit.Column, day int) float64 {
	sum := 0.0
	for i := day; i < d.N(); i++ {
		if d.Counted[i] {
			sum += a.X[i]
		}
	}
	return sum / math.Max(a.Year, 1e-12)
}
