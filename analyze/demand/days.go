package demand

import (
	"math"
	"time"

	"rowen/ingest"
)

// calendar lays a run of UTC hours over the site's civil clock. An hour
// belongs to the local day that its start lies in, so a day of a clock change
// has 23 or 25 hours, and one whose midnight does not exist begins later.
type calendar struct {
	start    ingest.Hour
	hours    int
	firstDay int     // local day number of day 0: days since 1970-01-01
	dayStart []int32 // first hour of each day, and hours at the end
	hod      []uint8 // local hour of the day, 0 to 23
}

// newCalendar maps n hours from start.
//
// Out:   days in order without holes; the first and the last may be cut short.
// Edges: a clock put back over midnight does not reopen the day before it.
// Cost:  O(n), one zone look-up a clock change.
func newCalendar(start ingest.Hour, n int, loc *time.Location, c *calendar) {
	if loc == nil {
		loc = time.UTC
	}
	c.start, c.hours = start, n
	c.dayStart = c.dayStart[:0]
	c.hod = resize(c.hod, n)
	last := math.MinInt
	var until, offset int64
	until = math.MinInt64
	for i := range n {
		unix := int64(start+ingest.Hour(i)) * 3600
		if unix >= until {
			t := time.Unix(unix, 0).In(loc)
			_, off := t.Zone()
			offset = int64(off)
			if _, end := t.ZoneBounds(); end.IsZero() {
				until = math.MaxInt64
			} else {
				until = end.Unix()
			}
		}
		local := unix + offset
		day := int(floorDiv(local, 86400))
		c.hod[i] = uint8((local - int64(day)*86400) / 3600)
		if day > last {
			if last == math.MinInt {
				c.firstDay = day
			}
			// A zone that skipped a date (a date line crossed) leaves an empty day.
			for d := max(last+1, c.firstDay); d <= day; d++ {
				c.dayStart = append(c.dayStart, int32(i))
			}
			last = day
		}
	}
	c.dayStart = append(c.dayStart, int32(n))
}

func (c *calendar) days() int { return len(c.dayStart) - 1 }

// date is the local date of a day, at midnight UTC.
func (c *calendar) date(day int) time.Time {
	return time.Unix(int64(c.firstDay+day)*86400, 0).UTC()
}

// dayOf is the day that a UTC hour falls on; -1 or days() outside.
func (c *calendar) dayOf(h ingest.Hour) int {
	i := int32(h - c.start)
	if i < 0 {
		return -1
	}
	lo, hi := 0, c.days()
	for lo < hi {
		mid := (lo + hi) / 2
		if c.dayStart[mid+1] <= i {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// weekday of a local day number, 0 = Sunday; 1970-01-01 was a Thursday.
func weekday(dayNumber int) int { return int(floorDiv64(int64(dayNumber)+4, 7)) }

func floorDiv64(a, m int64) int64 { return ((a % m) + m) % m }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

// yearAngle is where in the solar year a local day number lies, in radians.
func yearAngle(dayNumber int) float64 {
	return 2 * math.Pi * float64(dayNumber) / 365.2425
}

func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// Shares of a day's hours that must be there (section 13 of the method, after
// CalTRACK 2.2): for a sum, and for a regression, where the day is scaled up.
const (
	shareForSum        = 0.9
	shareForRegression = 0.5
)

// daySums adds hours to local days.
//
// Out:   the day's total, scaled by 24 x mean where hours are missing; the
// share of its hours that are there. NaN below shareForRegression.
// Edges: a day of 23 or 25 hours is held against its own length; a first or
// last day that the series cuts short counts as 24 hours long.
func daySums(c *calendar, wh []float64, sum, share []float64) ([]float64, []float64) {
	n := c.days()
	sum, share = resize(sum, n), resize(share, n)
	for d := range n {
		lo, hi := c.dayStart[d], c.dayStart[d+1]
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
		share[d] = 0
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
func dayMeans(c *calendar, v []float64, mean []float64) []float64 {
	n := c.days()
	mean = resize(mean, n)
	for d := range n {
		s, k := 0.0, 0
		for _, x := range v[c.dayStart[d]:c.dayStart[d+1]] {
			if !math.IsNaN(x) {
				s += x
				k++
			}
		}
		mean[d] = math.NaN()
		if 2*k >= int(c.dayStart[d+1]-c.dayStart[d]) && k > 0 {
			mean[d] = s / float64(k)
		}
	}
	return mean
}
