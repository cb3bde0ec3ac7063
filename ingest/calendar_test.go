package ingest_test

import (
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// Days as another language's zone library gives them. Lord Howe's day of 24.5
// hours has the 25 whole hours that begin in it.
func TestLocalDaysAgainstCheckValues(t *testing.T) {
	for _, r := range outside.Rows(t, "13_local_days.csv") {
		begin, err := time.Parse("2006-01-02T15:04Z", r["utc_start"])
		if err != nil {
			t.Fatal(err)
		}
		end, err := time.Parse("2006-01-02T15:04Z", r["utc_end"])
		if err != nil {
			t.Fatal(err)
		}
		date, err := time.Parse(time.DateOnly, r["local_date"])
		if err != nil {
			t.Fatal(err)
		}
		c := ingest.NewCalendar(zone(t, r["iana_zone"]), ingest.HourOf(begin)-72, 144+48)
		d := int(date.Unix()/86400) - c.DayNumber(0)
		if !c.Date(d).Equal(date) {
			t.Errorf("%s: day %d is %v, want %v", r["iana_zone"], d, c.Date(d), date)
		}
		if !c.DayBegin(d).Equal(begin) || !c.DayBegin(d+1).Equal(end) {
			t.Errorf("%s %s: from %v to %v, want %v to %v", r["iana_zone"], r["local_date"], c.DayBegin(d), c.DayBegin(d+1), begin, end)
		}
		lo, hi := c.Day(d)
		if first := c.Start + ingest.Hour(lo); first != ingest.HourFrom(begin) {
			t.Errorf("%s %s: first hour %v, want the first from %v on", r["iana_zone"], r["local_date"], first.Time(), begin)
		}
		want := int(ingest.HourFrom(end) - ingest.HourFrom(begin))
		if hi-lo != want || c.DayDue(d) != want {
			t.Errorf("%s %s: %d hours, %d due, want %d", r["iana_zone"], r["local_date"], hi-lo, c.DayDue(d), want)
		}
		if hours := r.Num(t, "hours"); hours == float64(int(hours)) && want != int(hours) {
			t.Errorf("%s %s: %d hours, want %v", r["iana_zone"], r["local_date"], want, hours)
		}
	}
}

// An hour that the clock skips is there no time, one that it repeats twice.
func TestClockHoursAgainstCheckValues(t *testing.T) {
	for _, r := range outside.Rows(t, "13_local_to_utc.csv") {
		wall, err := time.Parse("2006-01-02T15:04:05", r["local_wall_time"])
		if err != nil {
			t.Fatal(err)
		}
		var want, got []ingest.Hour
		for _, column := range []string{"utc_first", "utc_second_if_ambiguous"} {
			if at, err := time.Parse(time.RFC3339, r[column]); err == nil {
				want = append(want, ingest.HourOf(at))
			}
		}
		c := ingest.NewCalendar(zone(t, r["iana_zone"]), ingest.HourOf(wall)-36, 72)
		lo, hi := c.Day(int(wall.Unix()/86400) - c.DayNumber(0))
		for i := lo; i < hi; i++ {
			if int(c.HourOfDay()[i]) == wall.Hour() {
				got = append(got, c.Start+ingest.Hour(i))
			}
		}
		if len(got) != len(want) {
			t.Errorf("%s %s (%s): %d hours, want %d", r["iana_zone"], r["local_wall_time"], r["kind"], len(got), len(want))
			continue
		}
		for k := range got {
			if got[k] != want[k] {
				t.Errorf("%s %s: hour %d is %v, want %v", r["iana_zone"], r["local_wall_time"], k, got[k].Time(), want[k].Time())
			}
		}
	}
}

// spans are zones and stretches where clocks do something odd.
var spans = []struct {
	zone, from string
	hours      int
}{
	{"UTC", "1970-01-01T00", 1000},
	{"Europe/Berlin", "2023-12-30T05", 24 * 800},
	{"America/Santiago", "2025-03-01T00", 24 * 300},    // midnight skipped, and the hour before it repeated
	{"America/Havana", "2025-10-01T00", 24 * 60},       // midnight twice
	{"Australia/Lord_Howe", "2025-03-01T00", 24 * 300}, // half an hour
	{"Asia/Kathmandu", "2025-01-01T00", 24 * 40},       // 5:45 east
	{"America/St_Johns", "2006-10-01T00", 24 * 400},    // changed at 00:01
	{"Pacific/Apia", "2011-12-20T00", 24 * 30},         // skipped a date
	{"Pacific/Kwajalein", "1993-08-10T00", 24 * 30},    // likewise
	{"Africa/Casablanca", "2025-01-01T00", 24 * 400},
	{"Antarctica/Troll", "2025-01-01T00", 24 * 400},
	{"America/Denver", "2040-06-01T00", 24 * 400}, // package time's bounds stop on 2040-12-31
	{"Europe/Berlin", "2190-01-01T00", 24 * 300},
}

// TestCalendarAgainstPlainClock holds the calendar against package time's own
// reading of every single hour.
func TestCalendarAgainstPlainClock(t *testing.T) {
	for _, s := range spans {
		loc := zone(t, s.zone)
		at, err := time.Parse("2006-01-02T15", s.from)
		if err != nil {
			t.Fatal(err)
		}
		c := ingest.NewCalendar(loc, ingest.HourOf(at), s.hours)
		latest := -1 << 62
		for i := range c.N {
			local := (c.Start + ingest.Hour(i)).Time().In(loc)
			y, m, d := local.Date()
			number := int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
			latest = max(latest, number) // a clock put back does not reopen the day before
			day := c.DayOf(c.Start + ingest.Hour(i))
			if got := c.DayNumber(day); got != latest {
				t.Fatalf("%s %v: day %d, want %d", s.zone, local, got, latest)
			}
			if lo, hi := c.Day(day); i < lo || i >= hi {
				t.Fatalf("%s %v: hour %d is not within its day's %d to %d", s.zone, local, i, lo, hi)
			}
			if got := int(c.HourOfDay()[i]); got != local.Hour() {
				t.Fatalf("%s %v: hour of day %d", s.zone, local, got)
			}
			if got := c.MinuteOfDay(i); got != local.Hour()*60+local.Minute() {
				t.Fatalf("%s %v: minute of day %d", s.zone, local, got)
			}
			if !c.Local(i).Equal(local) {
				t.Fatalf("%s: hour %d is %v, want %v", s.zone, i, c.Local(i), local)
			}
		}
		if c.DayOf(c.Start-1) != -1 || c.DayOf(c.Start+ingest.Hour(c.N)) != c.Days() {
			t.Errorf("%s: hours outside have a day", s.zone)
		}
		checkMonths(t, s.zone, c)
		checkChanges(t, s.zone, c)
		for d := range c.Days() {
			checkDayBegin(t, s.zone, c, d)
		}
	}
}

// checkMonths: the months share out the hours, each has those of its own name.
func checkMonths(t *testing.T, name string, c *ingest.Calendar) {
	t.Helper()
	at := 0
	for k, m := range c.Months() {
		if m.Lo != at {
			t.Errorf("%s: month %v begins at hour %d, want %d", name, m.First, m.Lo, at)
		}
		at = m.Hi
		middle := c.Local((m.Lo + m.Hi) / 2)
		if m.Hi > m.Lo && (middle.Month() != m.First.Month() || middle.Year() != m.First.Year()) {
			t.Errorf("%s: month of %v holds %v", name, m.First, middle)
		}
		if whole := k > 0 && m.Hi < c.N; whole && m.Due != m.Hi-m.Lo || m.Due < m.Hi-m.Lo {
			t.Errorf("%s: month %v has %d hours, %d due", name, m.First, m.Hi-m.Lo, m.Due)
		}
	}
	if at != c.N {
		t.Errorf("%s: the months end at hour %d, want %d", name, at, c.N)
	}
}

// checkDayBegin looks for a date's first instant minute by minute.
func checkDayBegin(t *testing.T, name string, c *ingest.Calendar, d int) {
	t.Helper()
	got := c.DayBegin(d)
	want := c.Date(d)
	y, m, day := got.Date()
	if date := time.Date(y, m, day, 0, 0, 0, 0, time.UTC); date.Before(want) || date.After(want) && c.DayDue(d) > 0 {
		t.Errorf("%s: %v is said to begin at %v", name, want, got)
	}
	for back := 1; back <= 26*60; back++ {
		y, m, day := got.Add(-time.Duration(back) * time.Minute).Date()
		if date := time.Date(y, m, day, 0, 0, 0, 0, time.UTC); !date.Before(want) {
			t.Errorf("%s: %v is said to begin at %v and was there %d minutes before", name, want, got, back)
			return
		}
	}
}

// checkChanges counts the hours whose offset is not that of the hour before.
func checkChanges(t *testing.T, name string, c *ingest.Calendar) {
	t.Helper()
	var at []int
	for i := 1; i < c.N; i++ {
		_, before := c.Local(i - 1).Zone()
		if _, after := c.Local(i).Zone(); before != after {
			at = append(at, i)
		}
	}
	changes := ingest.ClockChanges(c.Location, c.Start, c.Start+ingest.Hour(c.N)-1)
	if len(changes) != len(at) {
		t.Errorf("%s: %d clock changes, want %d", name, len(changes), len(at))
		return
	}
	for k, ch := range changes {
		if got := int(ingest.HourFrom(ch.At) - c.Start); got != at[k] {
			t.Errorf("%s: clock change %d at hour %d, want %d", name, k, got, at[k])
		}
		if _, after := ch.At.Zone(); time.Duration(after)*time.Second != ch.After || ch.Before == ch.After {
			t.Errorf("%s: clock change at %v from %v to %v", name, ch.At, ch.Before, ch.After)
		}
	}
}

func TestCalendarOfNothing(t *testing.T) {
	var c ingest.Calendar
	c.Lay(zone(t, "Europe/Berlin"), 480000, 24*100)
	c.Lay(nil, 480000, 0)
	if c.Days() != 0 || len(c.Months()) != 0 || c.Location != time.UTC {
		t.Errorf("no hours have %d days, %d months", c.Days(), len(c.Months()))
	}
}

func BenchmarkCalendar(b *testing.B) {
	loc := zone(b, "America/Denver")
	var c ingest.Calendar
	for range b.N {
		c.Lay(loc, 480000, 30*730)
	}
}
