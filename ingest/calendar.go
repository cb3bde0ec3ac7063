package ingest

import (
	"slices"
	"time"
)

// Calendar lays a span of UTC hours over a site's civil clock. It is made once
// for a site's readings and passed along, so that every stage cuts days and
// months at the same hours.
//
// An hour belongs to the local date that its start lies in. So a day has 23 or
// 25 hours where the clock changes, and in zones off by half an hour the hour
// that holds midnight ends the old day.
//
// Edges:  the first and the last day or month may be cut short; a clock put back
// over midnight does not reopen the day before; a date that a zone skipped is a
// day without hours, so that days follow one another without holes.
// Source: methods.md section 13; IANA zone data as package time carries them.
// Cost:   one pass over the hours, one zone look-up per clock change.
type Calendar struct {
	Start    Hour
	N        int            // hours
	Location *time.Location // never nil

	firstDay  int           // the first day's number: days since 1970-01-01
	dayStart  []int32       // each day's first hour, and N at the end
	hourOfDay []uint8       // by hour
	changes   []ClockChange // of the offset within the span
	offset    int64         // in force at Start, seconds east of UTC
}

// ClockChange is one change of a zone's offset.
type ClockChange struct {
	At            time.Time // the first instant of the new offset
	Before, After time.Duration
}

// NewCalendar lays n hours from start over a zone's clock; nil: UTC.
func NewCalendar(loc *time.Location, start Hour, n int) *Calendar {
	c := &Calendar{}
	c.Lay(loc, start, n)
	return c
}

// Lay lays the calendar anew and reuses its memory.
func (c *Calendar) Lay(loc *time.Location, start Hour, n int) {
	if loc == nil {
		loc = time.UTC
	}
	c.Start, c.N, c.Location = start, n, loc
	first := int64(start) * 3600
	c.offset, _ = zoneAt(loc, first)
	c.firstDay = int(floorDiv(first+c.offset, daySeconds))
	c.changes = appendClockChanges(c.changes[:0], loc, start, start+Hour(n))
	c.dayStart = c.dayStart[:0]
	c.hourOfDay = slices.Grow(c.hourOfDay[:0], n)[:n]
	at, offset := 0, c.offset
	for _, ch := range c.changes {
		to := min(n, int(HourFrom(ch.At)-start))
		c.layHours(at, to, offset)
		at, offset = to, int64(ch.After/time.Second)
	}
	c.layHours(at, n, offset)
	c.dayStart = append(c.dayStart, int32(n))
}

// layHours lays the hours from lo to hi, which have one offset.
func (c *Calendar) layHours(lo, hi int, offset int64) {
	local := (int64(c.Start)+int64(lo))*3600 + offset
	day := floorDiv(local, daySeconds)
	hour := uint8((local - day*daySeconds) / 3600)
	for i := lo; i < hi; i++ {
		for c.firstDay+len(c.dayStart) <= int(day) {
			c.dayStart = append(c.dayStart, int32(i))
		}
		c.hourOfDay[i] = hour
		if hour++; hour == 24 {
			day, hour = day+1, 0
		}
	}
}

// ClockChanges lists the changes of a zone's offset after the beginning of the
// hour from and before that of the hour to.
//
// Cost:   one zone look-up per change.
func ClockChanges(loc *time.Location, from, to Hour) []ClockChange {
	return appendClockChanges(nil, loc, from, to)
}

func appendClockChanges(changes []ClockChange, loc *time.Location, from, to Hour) []ClockChange {
	if loc == nil {
		return changes
	}
	offset, until := zoneAt(loc, int64(from)*3600)
	for until < int64(to)*3600 {
		next, end := zoneAt(loc, until)
		if next != offset {
			changes = append(changes, ClockChange{time.Unix(until, 0).In(loc), seconds(offset), seconds(next)})
		}
		offset, until = next, end
	}
	return changes
}

const daySeconds = 86400

func seconds(s int64) time.Duration { return time.Duration(s) * time.Second }

// zoneAt gives the offset in force at an instant, and a later instant that it
// holds up to.
//
// Edges: beyond the years of a zone's table package time works the bounds out
// from a rule and is a day short in leap years: on 2040-12-31 they end before
// the instant asked for. Then the offset is good for an hour and asked again.
func zoneAt(loc *time.Location, unix int64) (offset, until int64) {
	t := time.Unix(unix, 0).In(loc)
	_, off := t.Zone()
	_, end := t.ZoneBounds()
	switch {
	case end.IsZero():
		until = 1 << 62
	case end.Unix() <= unix:
		until = unix + 3600
	default:
		until = end.Unix()
	}
	return int64(off), until
}

// Days is the number of local days, those cut short included.
func (c *Calendar) Days() int { return len(c.dayStart) - 1 }

// Day gives the hours of day d, as indexes from Start, hi exclusive.
func (c *Calendar) Day(d int) (lo, hi int) { return int(c.dayStart[d]), int(c.dayStart[d+1]) }

// DayNumber counts day d's date in days since 1970-01-01.
func (c *Calendar) DayNumber(d int) int { return c.firstDay + d }

// Date is the date of day d, at midnight of UTC.
func (c *Calendar) Date(d int) time.Time {
	return time.Unix(int64(c.firstDay+d)*daySeconds, 0).UTC()
}

// DayBegin is the first instant of day d's date on the site's clock.
func (c *Calendar) DayBegin(d int) time.Time {
	y, m, day := c.Date(d).Date()
	return DateBegin(c.Location, y, m, day)
}

// DayDue is how many hours day d has, also where the span cuts it short.
func (c *Calendar) DayDue(d int) int {
	return int(HourFrom(c.DayBegin(d+1)) - HourFrom(c.DayBegin(d)))
}

// DayOf is the day that an hour falls on: -1 before the span, Days() after it.
func (c *Calendar) DayOf(h Hour) int {
	if h < c.Start {
		return -1
	}
	d, _ := slices.BinarySearch(c.dayStart, int32(h-c.Start)+1) // first day that begins later
	return d - 1
}

// HourOfDay gives the clock's hour, 0 to 23, by hour of the span. It is not to
// be changed.
func (c *Calendar) HourOfDay() []uint8 { return c.hourOfDay }

// MinuteOfDay is where hour i begins on the clock, in minutes from midnight.
func (c *Calendar) MinuteOfDay(i int) int {
	local := (int64(c.Start)+int64(i))*3600 + c.offsetAt(i)
	return int(floorMod(local, daySeconds) / 60)
}

// Local is the beginning of hour i on the site's clock.
func (c *Calendar) Local(i int) time.Time { return (c.Start + Hour(i)).Time().In(c.Location) }

func (c *Calendar) offsetAt(i int) int64 {
	unix := (int64(c.Start) + int64(i)) * 3600
	offset := c.offset
	for _, ch := range c.changes {
		if ch.At.Unix() > unix {
			break
		}
		offset = int64(ch.After / time.Second)
	}
	return offset
}

// CalendarMonth is a month of the calendar.
type CalendarMonth struct {
	First  time.Time // the first instant of its first day on the site's clock
	Lo, Hi int       // its hours within the span, as indexes from Start
	Due    int       // its hours in all
}

// Months lists the months that the span touches, oldest first.
func (c *Calendar) Months() []CalendarMonth {
	var ms []CalendarMonth
	for d := 0; d < c.Days(); {
		y, m, _ := c.Date(d).Date()
		first, next := DateBegin(c.Location, y, m, 1), DateBegin(c.Location, y, m+1, 1)
		lo, _ := c.Day(d)
		for d < c.Days() && c.Date(d).Month() == m {
			d++
		}
		ms = append(ms, CalendarMonth{first, lo, int(c.dayStart[d]), int(HourFrom(next) - HourFrom(first))})
	}
	return ms
}

// DateBegin is the first instant of a date on a zone's clock; month and day may
// lie outside their usual ranges, as in time.Date.
//
// Edges: where midnight does not exist the date begins at the clock change;
// where it occurs twice, at the first; a date that the zone skipped begins where
// the next one does.
func DateBegin(loc *time.Location, year int, month time.Month, day int) time.Time {
	if loc == nil {
		loc = time.UTC
	}
	midnight := time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix()
	// Offsets are within a day of UTC, so the date's first instant lies within a
	// day of midnight as UTC has it, and at most one change of offset with it.
	before, until := zoneAt(loc, midnight-daySeconds)
	unix := midnight - before
	for until <= unix {
		after, end := zoneAt(loc, until)
		unix = max(until, midnight-after)
		until = end
	}
	return time.Unix(unix, 0).In(loc)
}

// HourFrom is the first hour that begins at or after t.
func HourFrom(t time.Time) Hour { return Hour(-floorDiv(-t.Unix(), 3600)) }

func floorMod(a, b int64) int64 { return a - b*floorDiv(a, b) }
