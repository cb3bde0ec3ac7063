package ledger

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// hoursOf writes hours of one site, 100 Wh each, from a date on.
func hoursOf(from string, n int) string {
	at, err := time.Parse(time.DateOnly, from)
	if err != nil {
		panic(err)
	}
	var b strings.Builder
	for h := range n {
		fmt.Fprintf(&b, "A,%s,100\n", at.Add(time.Duration(h)*time.Hour).Format(time.RFC3339))
	}
	return b.String()
}

// A few rows of 1970 or 2030, and one stamped after its file was written, leave a
// site's record as it is without them, and are said. What is no stray stays: two
// days after a long outage, and a file whose time was lost.
func TestStrayStamps(t *testing.T) {
	const header = "site_id,start,production_wh\n"
	record := hoursOf("2025-03-01", 24*60)
	for _, tc := range []struct {
		name    string
		rows    string
		written string // the file's time
		first   string
		hours   int
		said    int
	}{
		{"clean", "", "", "2025-03-01", 24 * 60, 0},
		{"one row of 1970 and one of 2030", "A,1970-01-01T05:00:00Z,7\nA,2030-06-01T05:00:00Z,7\n", "", "2025-03-01", 24 * 60, 1},
		{"one row of 2041, where the clock's rules are worked out", "A,2041-07-01T05:00:00Z,7\n", "", "2025-03-01", 24 * 60, 1},
		{"a day after the file was written", "A,2025-05-10T05:00:00Z,7\n", "2025-05-02", "2025-03-01", 24 * 60, 1},
		{"within a day of it", "A,2025-05-02T23:00:00Z,7\n", "2025-05-02", "2025-03-01", 24 * 63, 0},
		{"two days after an outage of a hundred", hoursOf("2025-08-10", 48), "", "2025-03-01", 24 * 164, 0},
		{"a day and a half after an outage of a hundred", hoursOf("2025-08-10", 36), "", "2025-03-01", 24 * 60, 1},
		{"a file whose time was lost", "", "1980-01-01", "2025-03-01", 24 * 60, 0},
	} {
		dir := fleetDir(t, map[string]string{"readings/a.csv": header + record + tc.rows})
		if tc.written != "" {
			at, err := time.Parse(time.DateOnly, tc.written)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Chtimes(filepath.Join(dir, "readings", "a.csv"), at, at); err != nil {
				t.Fatal(err)
			}
		} else if err := os.Chtimes(filepath.Join(dir, "readings", "a.csv"), time.Now(), time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)); err != nil {
			t.Fatal(err)
		}
		series, _ := readAll(t, dir, nil, nil, Options{})
		s := series["A"]
		said := 0
		for _, q := range s.Quality {
			if q.Code == "stray_stamp" {
				said++
			}
		}
		if got := s.Start.Time().Format(time.DateOnly); got != tc.first || s.Len() != tc.hours || said != tc.said {
			t.Errorf("%s: %d hours from %s on, said %d times; want %d from %s, %d", tc.name, s.Len(), got, said, tc.hours, tc.first, tc.said)
		}
		if x := s.Wh[ingest.Production][0]; x != 100 {
			t.Errorf("%s: the first hour is %g Wh", tc.name, x)
		}
	}
}
