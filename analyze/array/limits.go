package array

import (
	"fmt"
	"math"
)

// Rules of clipping, section 4.2 (common practice).
const (
	clipDays    = 10    // days on which the top recurs
	clipRun     = 2     // hours in a row at it
	clipTop     = 0.985 // of the limit: hourly means of a clipped top
	clipMinCost = 0.005 // of the year: cheaper clipping is not worth a word (our choice)
)

// findLimits finds output held at the inverters' limit and what it costs.
func (s *study) findLimits() {
	limit := s.model.LimitW(s.in.Series.End())
	if math.IsInf(limit, 1) {
		return
	}
	from := s.lastYear()
	days, cost, due := 0, 0.0, 0.0
	h := s.in.Sun
	for d := from; d < len(s.day); d++ {
		run, best := 0, 0
		for i := s.days[d]; i < s.days[d+1]; i++ {
			e := s.out.ExpectedWh[i]
			if !(e > 0) {
				run = 0
				continue
			}
			due += e
			if s.wh[i] >= clipTop*limit && s.wh[i] <= 1.02*limit {
				run++
				best = max(best, run)
			} else {
				run = 0
			}
			if e >= 0.9*limit {
				cost += max(0, s.factorAt(d)*s.model.Free(h, i, s.k[i], s.temp[i])-e)
			}
		}
		if best >= clipRun {
			days++
		}
	}
	if days < clipDays || due <= 0 || cost < clipMinCost*due {
		return
	}
	s.out.Faults = append(s.out.Faults, Fault{Code: Clipping, Live: true, LossPct: 100 * cost / due, KWhYr: cost / 1000 * yearShare(len(s.day)-from), Confidence: 0.9,
		Says: fmt.Sprintf("output stood at the inverters' limit of %.1f kW on %d days of the last year", limit/1000, days)})
}

// yearShare carries a sum over some days to a year.
func yearShare(days int) float64 {
	if days <= 0 {
		return 0
	}
	return max(1, 365.25/float64(days))
}
