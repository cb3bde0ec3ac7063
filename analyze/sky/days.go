package sky

import (
	"time"

	"rowen/ingest"
)

// Days cuts hours into days of the site's own calendar: Days[d] is the first
// hour of day d, Days[len-1] is n. The first and the last day may be cut short.
//
// In:      the zone, first hour and number of hours.
// Edges:   days of 23 and 25 hours; in zones off by half an hour the hour that holds midnight belongs to the day that it starts in.
// Cost:    one zone lookup a clock change.
func Days(loc *time.Location, start ingest.Hour, n int) []int {
	if loc == nil {
		loc = time.UTC
	}
	days := make([]int, 0, n/24+3)
	last := int64(-1 << 62)
	var until int64
	var offset int64
	for i := 0; i < n; i++ {
		unix := (int64(start) + int64(i)) * 3600
		if i == 0 || unix >= until {
			offset, until = zone(loc, unix)
		}
		day := (unix + offset) / 86400
		if day != last {
			days = append(days, i)
			last = day
		}
	}
	return append(days, n)
}

// zone gives the offset at an instant and the instant that it holds to.
func zone(loc *time.Location, unix int64) (offset, until int64) {
	t := time.Unix(unix, 0).In(loc)
	_, off := t.Zone()
	_, end := t.ZoneBounds()
	if end.IsZero() {
		return int64(off), 1 << 62
	}
	return int64(off), end.Unix()
}
