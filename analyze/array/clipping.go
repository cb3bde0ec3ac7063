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

// findClipping finds output held at the inverters' limit and what it costs.
func findClipping(v view) (say said) {
	limit := v.model.LimitW(v.Series.End())
	if math.IsInf(limit, 1) {
		return say
	}
	from := v.lastYear()
	days, cost, due := 0, 0.0, 0.0
	h := v.Sun
	for d := from; d < len(v.day); d++ {
		run, best := 0, 0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			e := v.expected[i]
			if !(e > 0) {
				run = 0
				continue
			}
			due += e
			if v.wh[i] >= clipTop*limit && v.wh[i] <= 1.02*limit {
				run++
				best = max(best, run)
			} else {
				run = 0
			}
			if e >= 0.9*limit {
				cost += max(0, float64(v.factorAt(d)*v.model.Free(h, i, v.k[i], v.tempC[i]))-e)
			}
		}
		if best >= clipRun {
			days++
		}
	}
	if days < clipDays || due <= 0 || cost < clipMinCost*due {
		return say
	}
	say.faults = append(say.faults, Fault{Code: Clipping, Live: true, LossPct: 100 * cost / due, KWhYr: cost / 1000 * yearShare(len(v.day)-from), Confidence: 0.9,
		Says: fmt.Sprintf("output stood at the inverters' limit of %.1f kW on %d days of the last year", limit/1000, days)})
	return say
}

// yearShare carries a sum over some days to a year.
func yearShare(days int) float64 {
	if days <= 0 {
		return 0
	}
	return max(1, 365.25/float64(days))
}
