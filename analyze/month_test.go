package analyze

import (
	"math"
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
	kolkata, err := time.LoadLocation("Asia/Kolkata")
	if err != nil {
		t.Fatal(err)
	}
	// Half an hour off UTC: the first hour that begins in the month.
	w := Month{2026, time.October}.window(kolkata)
	if first := w.Start.Time().In(kolkata).Format("2006-01-02T15:04"); first != "2025-11-01T00:30" || w.N != 8760 {
		t.Errorf("at 5:30 east the year has %d hours from %s on", w.N, first)
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

// By hand: 3 + 2 kWh made, of which 3 kWh under a known sky against 4 kWh
// expected: the index is 0.75, and 5 kWh stand against 5/0.75.
func TestExpectedOf(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		name             string
		made, expected   []float64
		wantKWh, wantIdx float64
	}{
		{"one hour's sky is not known", []float64{1000, 2000, 2000}, []float64{2000, 2000, nan}, 5 / 0.75, 0.75},
		{"most of the sky is not known", []float64{1000, 2000, 2000}, []float64{2000, nan, nan}, nan, nan},
		{"an hour was not read", []float64{1000, nan}, []float64{2000, 2000}, 2, 0.5},
		{"dead", []float64{0, 0}, []float64{2000, 1000}, 3, 0},
		{"a dark month", []float64{0, 0}, []float64{0, 0}, nan, nan},
	} {
		total := 0.0
		for _, v := range tc.made {
			if !math.IsNaN(v) {
				total += v / 1000
			}
		}
		kWh, idx := expectedOf(total, tc.made, tc.expected)
		same := func(a, b float64) bool { return math.Abs(a-b) < 1e-12 || (math.IsNaN(a) && math.IsNaN(b)) }
		if !same(kWh, tc.wantKWh) || !same(idx, tc.wantIdx) {
			t.Errorf("%s: %g kWh, index %g; want %g, %g", tc.name, kWh, idx, tc.wantKWh, tc.wantIdx)
		}
	}
}
