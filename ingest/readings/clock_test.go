package readings

import (
	"strings"
	"testing"
	"time"

	"rowen/scripts/outside"
)

// The forms of ISO 8601 that the check file lists, and some that are none.
func TestISO(t *testing.T) {
	for _, row := range outside.Rows(t, "13_iso8601.csv") {
		want, err := time.Parse(time.RFC3339, row["utc"])
		if err != nil {
			t.Fatal(err)
		}
		got, offset, ok := parseISO([]byte(row["text"]))
		if !ok || !offset || got != want.Unix() {
			t.Errorf("%s: %d %v %v, want %d", row["text"], got, offset, ok, want.Unix())
		}
	}
	for _, c := range []struct {
		text   string
		clock  string
		offset bool
	}{
		{"2024-07-01", "2024-07-01T00:00:00Z", false},
		{"2024-07-01 05:00", "2024-07-01T05:00:00Z", false},
		{"2024-07-01T05", "2024-07-01T05:00:00Z", false},
		{"2015-10-04T03:00:00+0200", "2015-10-04T01:00:00Z", true},
		{"2024-07-01T12:00:00.250Z", "2024-07-01T12:00:00Z", true},
		{"2020-366T00:00Z", "2020-12-31T00:00:00Z", true},
		{"2020-W53-7T00:00Z", "2021-01-03T00:00:00Z", true}, // ISO week calendar: 2020 has 53 weeks
		{"2024-02-29T00:00Z", "2024-02-29T00:00:00Z", true},
	} {
		want, _ := time.Parse(time.RFC3339, c.clock)
		got, offset, ok := parseISO([]byte(c.text))
		if !ok || offset != c.offset || got != want.Unix() {
			t.Errorf("%s: %d %v %v, want %d %v", c.text, got, offset, ok, want.Unix(), c.offset)
		}
	}
	for _, text := range []string{
		"", "2024", "2024-13-01", "2023-02-29T00:00Z", "2024-07-01T24:01Z", "2024-07-01T25:00Z", "2024-07-01T12:60Z", "2024-07-01T12:00:60Z",
		"2024-07-01T12:00:00X", "2024-07-01T12:00:00+7", "2023-366T00:00Z", "2021-W53-1T00:00Z", "01/02/2024", "2024-07-01T12:00:00Z ", "2024-07-01T12:00.Z", "1969-12-31T23:00:00Z", "2024-07-0112:00",
	} {
		if got, _, ok := parseISO([]byte(text)); ok {
			t.Errorf("%q is read as %v", text, time.Unix(got, 0).UTC())
		}
	}
}

// Every date from 1970 to 2200 against package time.
func TestDaysFromCivil(t *testing.T) {
	d := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := int64(0); d.Year() < 2200; n, d = n+1, d.AddDate(0, 0, 1) {
		if got := daysFromCivil(int64(d.Year()), int64(d.Month()), int64(d.Day())); got != n {
			t.Fatalf("%v: %d, want %d", d, got, n)
		}
		y, w := d.ISOWeek()
		monday := weekOne(int64(y)) + int64(w-1)*7
		if weekday := (int64(d.Weekday()) + 6) % 7; monday+weekday != n {
			t.Fatalf("%v: week %d of %d begins on day %d", d, w, y, monday)
		}
	}
}

func TestStampFormats(t *testing.T) {
	at := func(s string) int64 {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.Unix()
	}
	for _, c := range []struct {
		time   Time
		text   string
		want   int64
		civil  bool
		refuse bool
	}{
		{Time{Format: "rfc3339"}, "2026-10-31T13:00:00-06:00", at("2026-10-31T19:00:00Z"), false, false},
		{Time{Format: "rfc3339"}, "2026-10-31T13:00:00", 0, false, true}, // no offset, no zone
		{Time{Format: "rfc3339", Zone: "site"}, "2026-10-31T13:00:00", at("2026-10-31T13:00:00Z"), true, false},
		{Time{Format: "rfc3339", Zone: "UTC"}, "2026-10-31T13:00:00", at("2026-10-31T13:00:00Z"), false, false},
		{Time{Format: "rfc3339", Zone: "site"}, "2026-10-31T13:00:00Z", at("2026-10-31T13:00:00Z"), false, false},
		{Time{Format: "unix"}, "1710057600", 1710057600, false, false},
		{Time{Format: "unix"}, "1710057600000", 0, false, true},
		{Time{Format: "unix_ms"}, "1710057600000", 1710057600, false, false},
		{Time{Format: "02.01.2006 15:04"}, "31.10.2026 13:00", at("2026-10-31T13:00:00Z"), true, false},
		{Time{Format: "02.01.2006 15:04"}, "31.10.2026 24:00", at("2026-11-01T00:00:00Z"), true, false},
		{Time{Format: "02.01.2006 15:04"}, "31.13.2026 13:00", 0, false, true},
		{Time{Format: "1/2/2006 3:04 PM"}, "10/31/2026 1:00 PM", at("2026-10-31T13:00:00Z"), true, false},
		{Time{Format: "2006-01-02 15:04 -0700"}, "2026-10-31 13:00 -0600", at("2026-10-31T19:00:00Z"), false, false},
	} {
		clock := newClock(c.time)
		got, civil, reason := clock.parse([]byte(c.text))
		if (reason != "") != c.refuse || !c.refuse && (got != c.want || civil != c.civil) {
			t.Errorf("%+v %q: %d %v %q, want %d %v", c.time, c.text, got, civil, reason, c.want, c.civil)
		}
	}
}

// FuzzLayout: what the fast layouts read, time.Parse reads alike.
func FuzzLayout(f *testing.F) {
	layouts := []string{"2006-01-02 15:04:05", "02.01.2006 15:04", "1/2/2006 15:04", "2006/01/02 15:04", "20060102"}
	for i, s := range []string{"2026-10-31 13:00:00", "31.10.2026 13:00", "1/2/2026 9:05", "2024/02/29 00:00", "20260230", "29.02.2023 00:00", "12/31/2026 24:00"} {
		f.Add(i, s)
	}
	f.Fuzz(func(t *testing.T, i int, s string) {
		layout := layouts[(i%len(layouts)+len(layouts))%len(layouts)]
		got, ok := parseFast(compileLayout(layout), []byte(s))
		if !ok {
			return
		}
		want, err := time.Parse(layout, s)
		if err != nil || want.Unix() != got {
			t.Errorf("%s %q: %d, time.Parse gives %v %v", layout, s, got, want.Unix(), err)
		}
	})
}

// FuzzISO: what RFC 3339 reads, the ISO reader reads alike.
func FuzzISO(f *testing.F) {
	for _, s := range []string{"2024-07-01T12:00:00Z", "2024-07-01T05:00:00-07:00", "2024-02-29T23:59:59+05:30", "2024-12-31T24:00:00Z", "2024-W27-1T12:00:00Z", "20240701T120000Z"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, offset, ok := parseISO([]byte(s))
		want, err := time.Parse(time.RFC3339, s)
		// Package time also takes an hour of one digit and an offset of 24 hours or of 60
		// minutes, which RFC 3339 does not.
		lax := strings.HasSuffix(s, ":60") || len(s) > 6 && (s[len(s)-6:len(s)-3] == "+24" || s[len(s)-6:len(s)-3] == "-24")
		if err == nil && !lax && len(s) > 13 && s[13] == ':' && want.Unix() >= minUnix && want.Unix() < maxUnix && want.Nanosecond() == 0 {
			if !ok || !offset || got != want.Unix() {
				t.Errorf("%q: %d %v %v, want %d", s, got, offset, ok, want.Unix())
			}
		}
	})
}
