package array

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/sky"
)

// Rules of clipping, section 4.2 (common practice).
const (
	clipDays    = 10    // days on which the top recurs
	clipRun     = 2     // hours in a row at it, where no flat top shows
	clipTop     = 0.985 // of the limit: hourly means of a clipped top
	clipOver    = 1.02  // of it, at the most
	clipMinCost = 0.005 // of the year, where no flat top shows (our choice)
	clipMonths  = 3     // in which a flat top stands, where the register gives no limit (our choice)
)

// findClipping finds output held at the inverters' limit and what it costs: at
// the registered limit, or where the register gives none at a flat top of the
// output's own.
func findClipping(v view, found said) (say said) {
	from := v.lastYear()
	limit := v.model.LimitW(v.Series.End())
	flat := sky.FlatTop(v.wh[v.first(from):])
	known := !math.IsInf(limit, 1)
	if !known && (flat != flat || found.has(Curtailment)) {
		return say
	}
	isFlat := flat == flat && (!known || flat >= clipTop*limit && flat <= clipOver*limit)
	if !known {
		limit = flat
	}
	c := clippedSince(&v, from, limit, isFlat)
	if c.days < clipDays || c.due <= 0 || !isFlat && c.cost < clipMinCost*c.due || !known && len(c.months) < clipMonths {
		return say
	}
	whose := "the inverters' limit"
	if !known {
		whose = "one level, as if at a limit that the register does not know,"
	}
	say.faults = append(say.faults, Fault{Code: Clipping, Live: true, LossPct: 100 * c.cost / c.due, KWhYr: c.cost / 1000 * yearShare(len(v.day)-from), Confidence: 0.9,
		Says: fmt.Sprintf("output stood at %s of %.1f kW on %d days of the last year", whose, limit/1000, c.days)})
	return say
}

// clipped is what a limit did.
type clipped struct {
	days      int
	months    map[time.Month]bool
	cost, due float64
}

// clippedSince counts the days from one on with output at a limit; where a flat
// top shows, single hours count.
func clippedSince(v *view, from int, limit float64, flat bool) clipped {
	c := clipped{months: map[time.Month]bool{}}
	run := clipRun
	if flat {
		run = 1
	}
	for d := from; d < len(v.day); d++ {
		n, best := 0, 0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			e := v.expected[i]
			if v.wh[i] >= clipTop*limit && v.wh[i] <= clipOver*limit {
				n++
				best = max(best, n)
			} else {
				n = 0
			}
			if !(e > 0) {
				continue
			}
			c.due += e
			if e >= 0.9*limit {
				c.cost += max(0, float64(v.factorAt(d)*v.model.Free(v.Sun, i, v.k[i], v.tempC[i]))-min(e, limit))
			}
		}
		if best >= run {
			c.days++
			c.months[v.midnight(d).Month()] = true
		}
	}
	return c
}

// yearShare carries a sum over some days to a year.
func yearShare(days int) float64 {
	if days <= 0 {
		return 0
	}
	return max(1, 365.25/float64(days))
}
