package readings

import (
	"bytes"
	"strings"
	"time"
)

// clock reads the stamps of one column.
type clock struct {
	format     string // rfc3339, unix, unix_ms or a Go layout
	offsetOnly bool   // a stamp without an offset has no clock to go by
	civil      bool   // a stamp without an offset is on the file's own clock; else on UTC
	fast       []layoutPart
	hasOffset  bool // the layout carries the offset
}

func newClock(t Time) clock {
	c := clock{format: t.Format}
	c.civil = t.Zone != "UTC"
	switch t.Format {
	case "rfc3339":
		c.offsetOnly = t.Zone == ""
	case "unix", "unix_ms":
		c.civil = false
	default:
		c.hasOffset = layoutHasOffset(t.Format)
		c.fast = compileLayout(t.Format)
	}
	return c
}

// parse reads one stamp. civil: t is the file's own clock read as if it were
// UTC. A reason other than "" refuses the field.
func (c *clock) parse(field []byte) (t int64, civil bool, reason string) {
	f := trimBlanks(field)
	if len(f) == 0 {
		return 0, false, "stamp is blank"
	}
	switch c.format {
	case "rfc3339":
		t, offset, ok := parseISO(f)
		if !ok {
			return 0, false, "stamp must be RFC 3339, for example 2026-10-31T13:00:00-06:00: state time.format in the mapping"
		}
		if !offset && c.offsetOnly {
			return 0, false, "stamp has no offset from UTC: state time.zone in the mapping"
		}
		return t, !offset && c.civil, ""
	case "unix", "unix_ms":
		return c.parseUnix(f)
	}
	if c.fast != nil {
		if t, ok := parseFast(c.fast, f); ok {
			return t, c.civil, ""
		}
	}
	return c.parseLayout(f)
}

func (c *clock) parseUnix(f []byte) (int64, bool, string) {
	perUnit := int64(1000)
	if c.format == "unix_ms" {
		perUnit = 1
	}
	v, reason := parseMilli(f, '.', perUnit)
	if reason != "" || v == Missing {
		return 0, false, "stamp must be seconds since 1970 (format unix) or milliseconds (unix_ms)"
	}
	t := floorDiv(v, 1000)
	if t < minUnix || t >= maxUnix {
		return 0, false, "stamp lies outside the years 1970 to 2200: check time.format (unix or unix_ms)"
	}
	return t, false, ""
}

func (c *clock) parseLayout(f []byte) (int64, bool, string) {
	at, err := time.Parse(c.format, string(f))
	if err != nil && bytes.Contains(f, []byte("24:00")) {
		at, err = time.Parse(c.format, strings.Replace(string(f), "24:00", "00:00", 1))
		at = at.AddDate(0, 0, 1)
	}
	if err != nil {
		return 0, false, "stamp must read as " + c.format
	}
	t := at.Unix()
	if t < minUnix || t >= maxUnix {
		return 0, false, "stamp lies outside the years 1970 to 2200"
	}
	return t, !c.hasOffset && c.civil, ""
}

const (
	minUnix = 0
	maxUnix = 7258118400 // 2200-01-01
)

// parseISO reads ISO 8601 in its calendar, ordinal and week forms, extended or
// basic, with 24:00 as the end of the day. offset: it carried one (or Z) and t
// is UTC; else t is the clock it shows.
//
// Source: ISO 8601-1:2019; 24:00 by the 2004 edition and Amendment 1:2022.
func parseISO(f []byte) (t int64, offset, ok bool) {
	s := isoText{f}
	days, ok := s.date()
	if !ok {
		return 0, false, false
	}
	var sec int64
	if len(s.rest) > 0 {
		if c := s.rest[0]; c != 'T' && c != 't' && c != ' ' {
			return 0, false, false
		}
		s.rest = s.rest[1:]
		if sec, ok = s.timeOfDay(); !ok {
			return 0, false, false
		}
	}
	t = days*86400 + sec
	if len(s.rest) > 0 {
		o, ok := s.offset()
		if !ok || len(s.rest) > 0 {
			return 0, false, false
		}
		t -= o
		offset = true
	}
	return t, offset, t >= minUnix && t < maxUnix
}

type isoText struct{ rest []byte }

// digits takes exactly n digits.
func (s *isoText) digits(n int) (int64, bool) {
	if len(s.rest) < n {
		return 0, false
	}
	var v int64
	for _, c := range s.rest[:n] {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int64(c-'0')
	}
	s.rest = s.rest[n:]
	return v, true
}

// take takes the byte c where it comes next.
func (s *isoText) take(c byte) bool {
	if len(s.rest) > 0 && s.rest[0] == c {
		s.rest = s.rest[1:]
		return true
	}
	return false
}

// run counts the digits that come next.
func (s *isoText) run() int {
	n := 0
	for n < len(s.rest) && s.rest[n] >= '0' && s.rest[n] <= '9' {
		n++
	}
	return n
}

// date takes a date and gives its days since 1970-01-01.
func (s *isoText) date() (int64, bool) {
	run := s.run()
	y, ok := s.digits(4)
	if !ok {
		return 0, false
	}
	dash := s.take('-')
	if s.take('W') {
		w, ok1 := s.digits(2)
		if dash && !s.take('-') {
			return 0, false
		}
		d, ok2 := s.digits(1)
		if !ok1 || !ok2 || w < 1 || w > weeksIn(y) || d < 1 || d > 7 {
			return 0, false
		}
		return weekOne(y) + (w-1)*7 + d - 1, true
	}
	if (dash && s.run() == 3) || (!dash && run == 7) {
		d, _ := s.digits(3)
		if d < 1 || d > daysFromCivil(y+1, 1, 1)-daysFromCivil(y, 1, 1) {
			return 0, false
		}
		return daysFromCivil(y, 1, 1) + d - 1, true
	}
	m, ok1 := s.digits(2)
	if dash && !s.take('-') {
		return 0, false
	}
	d, ok2 := s.digits(2)
	if !ok1 || !ok2 || !validDate(y, m, d) {
		return 0, false
	}
	return daysFromCivil(y, m, d), true
}

// timeOfDay takes hh, hh:mm or hh:mm:ss with a fraction that is cut off.
func (s *isoText) timeOfDay() (int64, bool) {
	h, ok := s.digits(2)
	if !ok {
		return 0, false
	}
	var m, sec int64
	colon := s.take(':')
	if colon || s.run() >= 2 {
		if m, ok = s.digits(2); !ok {
			return 0, false
		}
		if colon == s.take(':') && (colon || s.run() >= 2) {
			if sec, ok = s.digits(2); !ok {
				return 0, false
			}
			if s.take('.') || s.take(',') {
				n := s.run()
				if n == 0 {
					return 0, false
				}
				s.rest = s.rest[n:]
			}
		}
	}
	if h > 24 || m > 59 || sec > 59 || h == 24 && (m > 0 || sec > 0) {
		return 0, false
	}
	return h*3600 + m*60 + sec, true
}

// offset takes Z, +hh, +hhmm or +hh:mm.
func (s *isoText) offset() (int64, bool) {
	if s.take('Z') || s.take('z') {
		return 0, true
	}
	sign := int64(1)
	if s.take('-') {
		sign = -1
	} else if !s.take('+') {
		return 0, false
	}
	h, ok := s.digits(2)
	if !ok {
		return 0, false
	}
	var m int64
	if s.take(':') || len(s.rest) > 0 {
		if m, ok = s.digits(2); !ok {
			return 0, false
		}
	}
	if h > 23 || m > 59 {
		return 0, false
	}
	return sign * (h*3600 + m*60), true
}

// daysFromCivil counts the days from 1970-01-01 to a date of the Gregorian
// calendar.
//
// Source: the era arithmetic that C++20's calendar is specified by (from
// memory); held against package time in a test.
func daysFromCivil(y, m, d int64) int64 {
	if m <= 2 {
		y--
	}
	era := floorDiv(y, 400)
	yoe := y - era*400
	mp := (m + 9) % 12
	doy := (153*mp+2)/5 + d - 1
	doe := yoe*365 + yoe/4 - yoe/100 + doy
	return era*146097 + doe - 719468
}

func validDate(y, m, d int64) bool {
	if m < 1 || m > 12 || d < 1 || d > 31 {
		return false
	}
	return d <= 28 || d <= daysInMonth(y, m)
}

func daysInMonth(y, m int64) int64 {
	if m == 12 {
		return 31
	}
	return daysFromCivil(y, m+1, 1) - daysFromCivil(y, m, 1)
}

// weekOne gives the Monday of ISO week 1: the week with 4 January.
func weekOne(y int64) int64 {
	jan4 := daysFromCivil(y, 1, 4)
	return jan4 - floorMod(jan4+3, 7) // 1970-01-01 was a Thursday
}

func weeksIn(y int64) int64 { return (weekOne(y+1) - weekOne(y)) / 7 }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

func floorMod(a, b int64) int64 { return a - floorDiv(a, b)*b }
