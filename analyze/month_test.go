package analyze

import (
	"testing"
	"time"

	"rowen/ingest"
)

func TestLastCompleteMonth(t *testing.T) {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		end  string // local, exclusive
		want string
	}{
		{"2026-11-01T00:00", "2026-10"}, // to the last hour
		{"2026-10-31T23:00", "2026-10"}, // the last hour is missing
		{"2026-10-31T01:00", "2026-10"}, // reaches into the last day
		{"2026-10-31T00:00", "2026-09"}, // the last day is missing
		{"2026-11-17T05:00", "2026-10"},
		{"2027-01-01T00:00", "2026-12"},
	} {
		at, err := time.ParseInLocation("2006-01-02T15:04", tc.end, denver)
		if err != nil {
			t.Fatal(err)
		}
		if got := lastCompleteMonth(ingest.HourOf(at), denver).String(); got != tc.want {
			t.Errorf("readings up to %s complete %s, want %s", tc.end, got, tc.want)
		}
	}
}

// The window of a year with both clock changes has the hours of its days: 365 or
// 366 times 24, since the two changes cancel.
func TestWindow(t *testing.T) {
	denver, _ := time.LoadLocation("America/Denver")
	for _, tc := range []struct {
		month string
		hours int
	}{{"2026-10", 8760}, {"2024-12", 8784}, {"2025-01", 8784}, {"2025-03", 8760}} {
		m, err := ParseMonth(tc.month)
		if err != nil {
			t.Fatal(err)
		}
		w := m.window(denver)
		if w.N != tc.hours {
			t.Errorf("%s: %d hours, want %d", tc.month, w.N, tc.hours)
		}
		if first := w.Start.Time().In(denver); first.Day() != 1 || first.Hour() != 0 {
			t.Errorf("%s begins at %s", tc.month, first)
		}
	}
}

func TestCommonMonth(t *testing.T) {
	oct, sep, far := Month{2026, time.October}, Month{2026, time.September}, Month{2031, time.January}
	if got := commonMonth([]Month{oct, sep, oct, far, oct}); got != oct {
		t.Errorf("got %s", got)
	}
	if got := commonMonth([]Month{far, sep, sep}); got != sep {
		t.Errorf("one clock in the future moved the month to %s", got)
	}
	if !commonMonth(nil).IsZero() {
		t.Error("no sites, no month")
	}
}
