// Package fit explains a household's daily consumption: columns for level,
// weekday, weather, season and drift, steps in any of them, and the least
// squares that weighs them. Its functions take values and return values; the
// only memory that they share is a Workspace that the caller passes in.
package fit

import (
	"math"
	"time"

	"rowen/ingest/samebits"
)

// Days is a household's consumption by local day, and which of the days count.
// Days that do not count stay in place, so that a row is a day.
type Days struct {
	First   int         // number of day 0: days since 1970-01-01
	KWh     []float64   // NaN: too little of the day was read
	Share   []float64   // of the day's hours that were read
	Counted []bool      // takes part in the regressions
	Absent  []bool      // a long absence: excluded
	Count   int         // days that count
	Targets [][]float64 // what is watched by day; the first is KWh

	Gross   bool // what the array made for own consumption is in it
	Monthly bool // taken from bills: the days of a bill are one reading
	South   bool // south of the equator
}

// N is the number of days.
func (d *Days) N() int { return len(d.KWh) }

// Until is the first n days.
func (d *Days) Until(n int) *Days {
	out := *d
	out.KWh, out.Share, out.Counted, out.Absent = d.KWh[:n], d.Share[:n], d.Counted[:n], d.Absent[:n]
	out.Targets = make([][]float64, len(d.Targets))
	for t := range d.Targets {
		out.Targets[t] = d.Targets[t][:n]
	}
	out.Recount()
	return &out
}

// Recount counts the days that count.
func (d *Days) Recount() {
	d.Count = 0
	for _, on := range d.Counted {
		if on {
			d.Count++
		}
	}
}

// Span is from the first day that counts to the last.
func (d *Days) Span() int {
	first, last := -1, -1
	for k, on := range d.Counted {
		if on {
			if first < 0 {
				first = k
			}
			last = k
		}
	}
	if first < 0 {
		return 0
	}
	return last - first + 1
}

// MeanKWh is the mean consumption of the days that count.
func (d *Days) MeanKWh() float64 {
	sum := 0.0
	for k, on := range d.Counted {
		if on {
			sum += d.KWh[k]
		}
	}
	return sum / math.Max(float64(d.Count), 1)
}

// Present lists the values of the days that count, in order.
func (d *Days) Present(v []float64) []float64 {
	out := make([]float64, 0, d.Count)
	for k, on := range d.Counted {
		if on {
			out = append(out, v[k])
		}
	}
	return out
}

// Date is a day's date at midnight UTC.
func (d *Days) Date(day int) time.Time {
	return time.Unix(int64(d.First+day)*86400, 0).UTC()
}

// Angle is where in the solar year a day lies, in radians.
func (d *Days) Angle(day int) float64 { return angle(d.First + day) }

func angle(dayNumber int) float64 { return 2 * math.Pi * float64(dayNumber) / 365.2425 }

// Winter is 1 in the middle of the cold half of the year, -1 in the middle of
// the warm half: the cosine from the middle of January, or of July south of the
// equator.
func (d *Days) Winter(day int) float64 {
	c := samebits.Cos(angle(d.First + day - 17))
	if d.South {
		c = -c
	}
	return c
}

// Whole tells whether a day counts and has all its hours.
func (d *Days) Whole(day int) bool { return d.Counted[day] && d.Share[day] > 0.99 }

// mostly tells whether at least 90 % of the days that count have a value.
func (d *Days) mostly(has func(day int) bool) bool {
	have := 0
	for k, on := range d.Counted {
		if on && has(k) {
			have++
		}
	}
	return d.Count > 0 && float64(have) >= 0.9*float64(d.Count)
}

// weekday of a local day number, 0 = Sunday; 1970-01-01 was a Thursday.
func weekday(dayNumber int) int { return ((dayNumber+4)%7 + 7) % 7 }

// Resize gives a slice of n, out of the same memory where it is large enough.
func Resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
