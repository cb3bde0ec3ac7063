package tariff

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	minutesPerDay = 24 * 60
	allMonths     = 1<<13 - 2 // bits 1 to 12
	allDays       = 1<<8 - 1  // bits 0 (sunday) to 6, and holidayBit
	holidayBit    = 1 << 7
	weekendBits   = 1<<time.Saturday | 1<<time.Sunday
)

// rule prices the civil hours that it matches.
type rule struct {
	name   string
	months uint16
	days   uint8
	spans  [][2]int // minutes of the day, to exclusive; nil: all
	price  float64
}

// civil is a moment of the site's own clock, as far as tariffs look at it.
type civil struct {
	month  time.Month
	days   uint8 // the bits of days that this date answers to
	minute int
}

func (r *rule) matches(c civil) bool {
	if r.months>>c.month&1 == 0 || r.days&c.days == 0 {
		return false
	}
	if r.spans == nil {
		return true
	}
	for _, s := range r.spans {
		if s[0] < s[1] && c.minute >= s[0] && c.minute < s[1] ||
			s[0] > s[1] && (c.minute >= s[0] || c.minute < s[1]) {
			return true
		}
	}
	return false
}

// first is the index of the first rule that matches; -1: none.
func first(rules []rule, c civil) int {
	return slices.IndexFunc(rules, func(r rule) bool { return r.matches(c) })
}

// holidays are dates that are no weekdays: exact ones by year, month, day, and
// yearly ones by month and day (year 0).
type holidays map[[3]int]bool

func (h holidays) has(t time.Time) bool {
	y, m, d := t.Date()
	return h[[3]int{y, int(m), d}] || h[[3]int{0, int(m), d}]
}

// dayBits of a date: its weekday, or as a holiday holidayBit (and its weekday
// too where that is a Saturday or a Sunday).
func (h holidays) dayBits(t time.Time) uint8 {
	bit := uint8(1) << t.Weekday()
	if h.has(t) {
		return holidayBit | bit&weekendBits
	}
	return bit
}

func parseHolidays(dates []string, errs *violations) holidays {
	h := holidays{}
	for i, s := range dates {
		if t, err := time.Parse("2006-01-02", s); err == nil {
			h[[3]int{t.Year(), int(t.Month()), t.Day()}] = true
		} else if t, err := time.Parse("2006-01-02", "2000-"+s); err == nil {
			h[[3]int{0, int(t.Month()), t.Day()}] = true
		} else {
			errs.add("holiday %d: %q is no date; write 2026-12-25, or 12-25 for every year", i+1, s)
		}
	}
	return h
}

func parseMonths(months []int) (uint16, error) {
	if len(months) == 0 {
		return allMonths, nil
	}
	var mask uint16
	for _, m := range months {
		if m < 1 || m > 12 {
			return 0, fmt.Errorf("month %d must be 1 to 12", m)
		}
		mask |= 1 << m
	}
	return mask, nil
}

var dayNames = map[string]uint8{
	"all":     allDays,
	"weekday": 1<<time.Monday | 1<<time.Tuesday | 1<<time.Wednesday | 1<<time.Thursday | 1<<time.Friday,
	"weekend": weekendBits | holidayBit,
	"holiday": holidayBit,
	"sun":     1 << time.Sunday, "mon": 1 << time.Monday, "tue": 1 << time.Tuesday, "wed": 1 << time.Wednesday,
	"thu": 1 << time.Thursday, "fri": 1 << time.Friday, "sat": 1 << time.Saturday,
}

func parseDays(s string) (uint8, error) {
	if strings.TrimSpace(s) == "" {
		return allDays, nil
	}
	var mask uint8
	for part := range strings.SplitSeq(s, ",") {
		bits, ok := dayNames[strings.TrimSpace(part)]
		if !ok {
			return 0, fmt.Errorf("days %q must be weekday, weekend, holiday or mon to sun, several with commas", s)
		}
		mask |= bits
	}
	return mask, nil
}

func parseHours(s string) ([][2]int, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var spans [][2]int
	for part := range strings.SplitSeq(s, ",") {
		from, to, ok := strings.Cut(part, "-")
		a, okA := parseMinute(from)
		b, okB := parseMinute(to)
		if !ok || !okA || !okB || a == minutesPerDay {
			return nil, fmt.Errorf(`hours %q must look like "16-21", "22-6" or "16:30-21:00"`, s)
		}
		if a == b {
			return nil, fmt.Errorf(`hours %q: from and to are the same; write "0-24" for the whole day`, s)
		}
		spans = append(spans, [2]int{a, b % minutesPerDay})
		if b == minutesPerDay {
			spans[len(spans)-1][1] = minutesPerDay
		}
	}
	if len(spans) > 24 {
		return nil, fmt.Errorf("hours: %d spans must be at most 24", len(spans))
	}
	return spans, nil
}

func parseMinute(s string) (int, bool) {
	hour, minute, found := strings.Cut(strings.TrimSpace(s), ":")
	h, err := strconv.Atoi(hour)
	if err != nil || h < 0 || h > 24 {
		return 0, false
	}
	m := 0
	if found {
		if m, err = strconv.Atoi(minute); err != nil || m < 0 || m > 59 || len(minute) != 2 {
			return 0, false
		}
	}
	return h*60 + m, h*60+m <= minutesPerDay
}

// hole finds the first civil moment of a year that no rule matches: month by
// month, weekday by weekday and then the holiday, at midnight and wherever a
// rule begins or ends.
func hole(rules []rule, withHolidays bool) (says string, found bool) {
	marks := []int{0}
	for _, r := range rules {
		for _, s := range r.spans {
			marks = append(marks, s[0], s[1]%minutesPerDay)
		}
	}
	slices.Sort(marks)
	marks = slices.Compact(marks)
	kinds := []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}
	if withHolidays {
		kinds = append(kinds, "holiday")
	}
	for month := time.January; month <= time.December; month++ {
		for i, kind := range kinds {
			bits := uint8(1) << ((i + 1) % 7)
			if kind == "holiday" {
				bits = holidayBit
			}
			for _, minute := range marks {
				if first(rules, civil{month, bits, minute}) < 0 {
					return fmt.Sprintf("%s, %s, %02d:%02d", month, kind, minute/60, minute%60), true
				}
			}
		}
	}
	return "", false
}
