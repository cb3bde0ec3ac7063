package demand

import (
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// monthUse is one calendar month's use: energy over its valid days.
type monthUse struct {
	year, month int
	energy      float64
	valid, days int
}

// matchedMonths is growth by like months of two years.
type matchedMonths struct {
	pairs                     int
	growthPct, lowPct, higPct float64 // a year
	medianPct                 float64 // of the months' own growths
}

// minMatched months are needed for a growth (section 7.5 of the method).
const minMatched = 6

// matchMonths compares months with the same months one year before:
//
//	r_m = ln((E1/d1) / (E0/d0)), growth = exp(mean r) - 1
//	interval: mean ± t(level, n-1)·sd/√n
//
// In:      months in order, each once.
// Refuses: false under 6 pairs. A month counts with at least 90 % of its days.
// Edges:   with more than two years every pair of neighbouring years counts;
// the pairs that share a month are not independent, so n is the number of
// distinct calendar months paired.
// Source:  section 7.5 of the method (common practice), computed check.
func matchMonths(months []monthUse, level float64) (matchedMonths, bool) {
	byKey := map[int]monthUse{}
	for _, m := range months {
		byKey[m.year*12+m.month] = m
	}
	var r []float64
	seen := map[int]bool{}
	for _, m := range months {
		prev, ok := byKey[(m.year-1)*12+m.month]
		if !ok || !m.usable() || !prev.usable() {
			continue
		}
		r = append(r, samebits.Log((m.energy/float64(m.valid))/(prev.energy/float64(prev.valid))))
		seen[m.month] = true
	}
	if len(r) < minMatched {
		return matchedMonths{}, false
	}
	mean, sd := stat.Mean(r), stat.SD(r)
	n := float64(len(seen))
	half := stat.StudentQuantile((1+level)/2, n-1) * sd / math.Sqrt(n)
	pct := func(v float64) float64 { return 100 * (samebits.Exp(v) - 1) }
	return matchedMonths{
		pairs: len(r), growthPct: pct(mean), lowPct: pct(mean - half), higPct: pct(mean + half),
		medianPct: pct(stat.Median(r)),
	}, true
}

func (m monthUse) usable() bool {
	return m.energy > 0 && float64(m.valid) >= shareForSum*float64(m.days)
}

// monthsWithoutEvents are the months' sums less what the events added.
func monthsWithoutEvents(s *change.Story) []monthUse {
	var out []monthUse
	for d := 0; d < s.Days.N(); d++ {
		y, m, _ := s.Days.Date(d).Date()
		if k := len(out); k == 0 || out[k-1].year != y || out[k-1].month != int(m) {
			out = append(out, monthUse{year: y, month: int(m), days: daysIn(y, int(m))})
		}
		if s.Days.Counted[d] && s.Days.Share[d] >= shareForSum {
			t := &out[len(out)-1]
			t.energy += s.Days.KWh[d] - s.Fit.EventDay[d]
			t.valid++
		}
	}
	return out
}
