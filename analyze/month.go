package analyze

import (
	"fmt"
	"slices"
	"time"

	"rowen/ingest"
)

// Month is a calendar month.
type Month struct {
	Year  int
	Month time.Month
}

// ParseMonth reads a month as 2026-10.
func ParseMonth(s string) (Month, error) {
	t, err := time.Parse("2006-01", s)
	if err != nil {
		return Month{}, fmt.Errorf("reading month %q: must be written as 2026-10", s)
	}
	return Month{t.Year(), t.Month()}, nil
}

func (m Month) String() string { return fmt.Sprintf("%04d-%02d", m.Year, int(m.Month)) }

// IsZero tells whether the month is not set.
func (m Month) IsZero() bool { return m == Month{} }

// add is the month so many months later.
func (m Month) add(months int) Month {
	t := time.Date(m.Year, m.Month+time.Month(months), 1, 0, 0, 0, 0, time.UTC)
	return Month{t.Year(), t.Month()}
}

// End is the first instant of the next month on a civil clock.
func (m Month) End(loc *time.Location) time.Time {
	return ingest.DateBegin(loc, m.Year, m.Month+1, 1)
}

// window is the twelve months up to and including m on a civil clock: the hours
// that begin in them.
func (m Month) window(loc *time.Location) ingest.Window {
	from := ingest.HourFrom(ingest.DateBegin(loc, m.Year-1, m.Month+1, 1))
	to := ingest.HourFrom(m.End(loc))
	return ingest.Window{Start: from, N: int(to - from)}
}

// lastCompleteMonth is the last month that readings up to end complete: they
// must reach into its last day, an hour that is missing at the very end does not
// cost the month.
func lastCompleteMonth(end ingest.Hour, loc *time.Location) Month {
	t := (end + 23).Time().In(loc)
	prev := time.Date(t.Year(), t.Month()-1, 1, 0, 0, 0, 0, loc)
	return Month{prev.Year(), prev.Month()}
}

// Reach is how far the readings of a fleet's sites go.
type Reach struct{ First, Last []Month }

// Add takes in one site's readings.
func (r *Reach) Add(s *ingest.Series, loc *time.Location) {
	from := s.Start.Time().In(loc)
	r.First = append(r.First, Month{from.Year(), from.Month()})
	r.Last = append(r.Last, lastCompleteMonth(s.End(), loc))
}

// Join takes in what another one took in.
func (r *Reach) Join(o Reach) {
	r.First, r.Last = append(r.First, o.First...), append(r.Last, o.Last...)
}

// Complete is the latest month that at least half of the sites complete.
func (r *Reach) Complete() Month { return commonMonth(r.Last) }

// Outside says what a report month lacks that the readings of most sites do not
// reach; "": they do.
func (r *Reach) Outside(m Month) string {
	first, last := commonMonth(r.First), r.Complete()
	switch {
	case m.IsZero() || last.IsZero():
		return ""
	case m.After(last):
		return fmt.Sprintf("the report month %s is not complete in the readings: those of most sites end with %s", m, last)
	case first.After(m):
		return fmt.Sprintf("the report month %s lies before the readings: those of most sites begin in %s", m, first)
	}
	return ""
}

// MonthOf is the month of a day, by its own clock.
func MonthOf(t time.Time) Month { return Month{t.Year(), t.Month()} }

// After tells whether a month comes after another.
func (m Month) After(o Month) bool { return m.Year > o.Year || m.Year == o.Year && m.Month > o.Month }

// commonMonth is the latest month that at least half of the sites complete: a
// single clock in the future cannot move it.
func commonMonth(ms []Month) Month {
	if len(ms) == 0 {
		return Month{}
	}
	slices.SortFunc(ms, func(a, b Month) int {
		if a.Year != b.Year {
			return a.Year - b.Year
		}
		return int(a.Month) - int(b.Month)
	})
	return ms[len(ms)/2]
}
