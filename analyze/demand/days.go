package demand

import (
	"math"

	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

// Shares of a day's hours that must be there (section 13 of the method, after
// CalTRACK 2.2): for a sum, and for a regression, where the day is scaled up.
const (
	shareForSum        = 0.9
	shareForRegression = 0.5
)

// daysOf lays hours of consumption out by day.
func daysOf(b basis, c *ingest.Calendar, south bool) *fit.Days {
	kwh, share := daySums(c, b.wh)
	d := &fit.Days{First: c.DayNumber(0), KWh: kwh, Share: share, Gross: b.gross, South: south,
		Counted: make([]bool, len(kwh)), Absent: make([]bool, len(kwh))}
	for k := range kwh {
		kwh[k] /= 1000
		d.Counted[k] = !math.IsNaN(kwh[k]) && (kwh[k] > 0 || !b.gross)
	}
	d.Targets = [][]float64{kwh}
	d.Recount()
	return d
}

// daySums adds hours to local days.
//
// Out:   the day's total, scaled by 24 x mean where hours are missing; the
// share of its hours that are there. NaN below shareForRegression.
// Edges: a day of 23 or 25 hours is held against its own length; a first or
// last day that the series cuts short counts as 24 hours long.
func daySums(c *ingest.Calendar, wh []float64) (sum, share []float64) {
	n := c.Days()
	sum, share = make([]float64, n), make([]float64, n)
	for d := range n {
		lo, hi := c.Day(d)
		length := float64(hi - lo)
		if d == 0 || d == n-1 {
			length = max(length, 24)
		}
		s, k := 0.0, 0
		for _, v := range wh[lo:hi] {
			if !math.IsNaN(v) {
				s += v
				k++
			}
		}
		sum[d] = math.NaN()
		if length > 0 {
			share[d] = float64(k) / length
		}
		if share[d] >= shareForRegression {
			sum[d] = s / float64(k) * length
		}
	}
	return sum, share
}

// dayMeans averages hours over local days where at least half are there.
func dayMeans(c *ingest.Calendar, v []float64) []float64 {
	mean := make([]float64, c.Days())
	for d := range mean {
		lo, hi := c.Day(d)
		s, k := 0.0, 0
		for _, x := range v[lo:hi] {
			if !math.IsNaN(x) {
				s += x
				k++
			}
		}
		mean[d] = math.NaN()
		if 2*k >= hi-lo && k > 0 {
			mean[d] = s / float64(k)
		}
	}
	return mean
}

// weather is what is known of the weather on the household's days; of bills'
// days no temperatures are.
func (h *household) weather() fit.Weather {
	w := fit.Weather{Signal: h.in.Season}
	if h.in.TempC != nil && h.name != BasisBills {
		w.HourC, w.DayC, w.DayHours = h.in.TempC, dayMeans(h.calendar, h.in.TempC), h.calendar.Day
	}
	return w
}

func floorDiv(a, m int64) int64 {
	q := a / m
	if a%m != 0 && (a < 0) != (m < 0) {
		q--
	}
	return q
}
