package ledger

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
	"rowen/ingest/readings"
	"rowen/scripts/outside"
)

func mustZone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// hours writes a series' channel as "first hour: v v . v", a point for missing.
func hours(s ingest.Series, c ingest.Channel) string {
	if s.Wh[c] == nil {
		return ""
	}
	var b strings.Builder
	b.WriteString(s.Start.Time().Format("2006-01-02T15") + ":")
	for _, v := range s.Wh[c] {
		if math.IsNaN(v) {
			b.WriteString(" .")
		} else {
			fmt.Fprintf(&b, " %g", v)
		}
	}
	return b.String()
}

func codes(s ingest.Series) string {
	var list []string
	for _, q := range s.Quality {
		list = append(list, q.Code)
	}
	return strings.Join(list, " ")
}

// one maps one channel of a file of one site.
func one(c readings.Channel, t readings.Time) readings.Mapping {
	return readings.Mapping{Glob: "readings/**/*.csv", SiteID: readings.SiteID{Value: "A"}, Time: t, Channels: []readings.Channel{c}}
}

func lines(l ...string) string { return strings.Join(l, "\n") + "\n" }

// Each clause of a mapping on a file small enough to work out by hand.
func TestMappingClauses(t *testing.T) {
	denver := []Site{{ID: "A", Location: mustZone(t, "America/Denver"), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
	consumption := readings.Channel{Channel: ingest.Consumption, Column: "v"}
	with := func(unit, quantity string, sign int) readings.Channel {
		c := consumption
		c.Unit, c.Quantity, c.Sign = unit, quantity, sign
		return c
	}
	for _, c := range []struct {
		name    string
		mapping readings.Mapping
		text    string
		want    string // of consumption
		codes   string
		aside   int64
	}{
		{"kWh", one(with("kWh", "energy", 1), readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,0.25", "2026-03-01T00:30Z,0.5", "2026-03-01T01:00Z,1", "2026-03-01T01:30Z,2"),
			"2026-03-01T00: 750 3000", "", 0},
		{"mean power in kW", one(with("kW", "power", 1), readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,1", "2026-03-01T00:15Z,2", "2026-03-01T00:30Z,3", "2026-03-01T00:45Z,4", "2026-03-01T01:00Z,4"),
			"2026-03-01T00: 2500 .", "", 0},
		{"power in W that is no whole milli-Wh", one(with("W", "power", 1), readings.Time{Column: "t", Step: "5m"}),
			lines("t,v", "2026-03-01T00:00Z,100", "2026-03-01T00:05Z,100", "2026-03-01T00:10Z,100"), // 8.333 Wh each
			"2026-03-01T00: .", "", 0},
		{"sign", one(with("Wh", "energy", -1), readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,-5", "2026-03-01T01:00Z,-6"),
			"2026-03-01T00: 5 6", "", 0},
		{"stamps at the end", one(consumption, readings.Time{Column: "t", Stamp: "end"}),
			lines("t,v", "2026-03-01T00:30Z,1", "2026-03-01T01:00Z,2", "2026-03-01T01:30Z,3", "2026-03-01T02:00Z,4"),
			"2026-03-01T00: 3 7", "", 0},
		{"24:00 at the end of the day", one(consumption, readings.Time{Column: "t", Stamp: "end", Format: "02.01.2006 15:04", Zone: "UTC"}),
			lines("t,v", "01.03.2026 23:00,1", "01.03.2026 24:00,2", "02.03.2026 01:00,3"),
			"2026-03-01T22: 1 2 3", "", 0},
		{"unix seconds", one(consumption, readings.Time{Column: "t", Format: "unix"}),
			lines("t,v", "1772323200,1", "1772326800,2"),
			"2026-03-01T00: 1 2", "", 0},
		{"decimal comma and semicolon", func() readings.Mapping {
			m := one(with("kWh", "energy", 1), readings.Time{Column: "t"})
			m.Decimal = ","
			return m
		}(),
			lines("t;v", "2026-03-01T00:00Z;0,25", "2026-03-01T01:00Z;1,5"),
			"2026-03-01T00: 250 1500", "", 0},
		{"no stamps, a stated start and step", one(consumption, readings.Time{Start: "2026-03-01T00:00:00Z", Step: "30m"}),
			lines("v", "1", "2", "3", "", "5", "6"),
			"2026-03-01T00: 3 . 11", "gap", 0},
		{"date and time of day apart", one(consumption, readings.Time{Column: "d", TimeColumn: "c", Format: "2006-01-02 15:04", Zone: "UTC"}),
			lines("d,c,v", "2026-03-01,00:00,1", "2026-03-01,01:00,2"),
			"2026-03-01T00: 1 2", "", 0},
		{"the header further down", func() readings.Mapping {
			m := one(consumption, readings.Time{Column: "t"})
			m.HeaderLine = 3
			return m
		}(),
			lines("Export of a portal", "", "t,v", "2026-03-01T00:00Z,1", "2026-03-01T01:00Z,2"),
			"2026-03-01T00: 1 2", "", 0},
		{"a step that changes inside the file", one(consumption, readings.Time{Column: "t"}),
			lines("t,v", "2026-02-28T15:00Z,1", "2026-02-28T16:00Z,2", "2026-02-28T17:00Z,3", "2026-02-28T18:00Z,4", "2026-02-28T19:00Z,5", "2026-02-28T20:00Z,6", "2026-02-28T21:00Z,7", "2026-02-28T22:00Z,8", "2026-02-28T23:00Z,9", "2026-03-01T00:00Z,1", "2026-03-01T01:00Z,2", "2026-03-01T02:00Z,3", "2026-03-01T03:00Z,4", "2026-03-01T03:15Z,4", "2026-03-01T03:30Z,4", "2026-03-01T03:45Z,4", "2026-03-01T04:00Z,4", "2026-03-01T04:15Z,5", "2026-03-01T04:30Z,6", "2026-03-01T04:45Z,7"),
			"2026-02-28T15: 1 2 3 4 5 6 7 8 9 1 2 3 16 22", "step_change", 0},
		{"a missing row is a gap, no longer step", one(consumption, readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,1", "2026-03-01T00:15Z,1", "2026-03-01T00:45Z,1", "2026-03-01T01:00Z,1", "2026-03-01T01:15Z,1", "2026-03-01T01:30Z,1", "2026-03-01T01:45Z,1"),
			"2026-03-01T00: . 4", "", 0},
		{"daily sums of the site's own days", one(consumption, readings.Time{Column: "t", Format: "2006-01-02", Step: "1d"}),
			lines("t,v", "2026-03-07,24", "2026-03-08,46", "2026-03-09,48"),
			// Denver: the 8th has 23 hours.
			"2026-03-07T07:" + strings.Repeat(" 1", 24) + strings.Repeat(" 2", 23) + strings.Repeat(" 2", 24), "daily_only", 0},
		{"the same stamp twice, alike", one(consumption, readings.Time{Column: "t", Step: "1h"}),
			lines("t,v", "2026-03-01T00:00Z,1", "2026-03-01T00:00Z,1", "2026-03-01T01:00Z,2"),
			"2026-03-01T00: 1 2", "", 0},
		{"the same stamp twice, different: the later line", one(consumption, readings.Time{Column: "t", Step: "1h"}),
			lines("t,v", "2026-03-01T00:00Z,1", "2026-03-01T01:00Z,2", "2026-03-01T00:00Z,7"),
			"2026-03-01T00: 7 2", "repeated_stamp_differs", 0},
		{"stamps a few seconds off", one(consumption, readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00:03Z,1", "2026-03-01T00:59:58Z,2", "2026-03-01T02:00:01Z,3"),
			"2026-03-01T00: 1 2 3", "", 0},
		{"an interval that divides no hour", one(consumption, readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,1", "2026-03-01T00:07Z,1", "2026-03-01T00:14Z,1"),
			"", "", 3},
		{"one row and no step", one(consumption, readings.Time{Column: "t"}),
			lines("t,v", "2026-03-01T00:00Z,1"),
			"", "step_unknown", 0},
		{"hours that begin at half past", one(consumption, readings.Time{Column: "t", Step: "1h"}),
			lines("t,v", "2026-03-01T00:30Z,10", "2026-03-01T01:30Z,20", "2026-03-01T02:30Z,30"),
			"2026-03-01T00: . 15 25 .", "interval_cut", 0},
		{"stated hours that overlap each other", one(consumption, readings.Time{Column: "t", Step: "1h"}),
			lines("t,v", "2026-03-01T00:30Z,10", "2026-03-01T01:15Z,20", "2026-03-01T02:30Z,30"),
			// As many rows as hours, but no hour is told whole.
			"2026-03-01T00: . . . .", "step_overlap interval_cut", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, rep := readAll(t, fleetDir(t, map[string]string{"readings/A.csv": c.text}), denver, []readings.Mapping{c.mapping}, Options{})
			if h := hours(got["A"], ingest.Consumption); h != c.want {
				t.Errorf("got  %s\nwant %s\nrejects %v", h, c.want, rep.Rejects)
			}
			if q := codes(got["A"]); q != c.codes {
				t.Errorf("quality %q, want %q", q, c.codes)
			}
			if rep.Rows.SetAside != c.aside {
				t.Errorf("%d set aside, want %d: %v", rep.Rows.SetAside, c.aside, rep.Rejects)
			}
			for _, r := range rep.Rejects {
				if r.Line < 2 || r.Reason == "" {
					t.Errorf("reject without a line or a reason: %+v", r)
				}
			}
		})
	}
}

// A wide table, and sites named by files.
func TestLayouts(t *testing.T) {
	wide := readings.Mapping{Glob: "readings/wide/*.csv", Layout: "wide", Time: readings.Time{Column: "t"}, SiteID: readings.SiteID{Header: `^(?P<site_id>.+)_kwh$`},
		Channels: []readings.Channel{{Channel: ingest.Production, Unit: "kWh"}}}
	named := readings.Mapping{Glob: "readings/named/**/*.csv", Time: readings.Time{Column: "t"}, SiteID: readings.SiteID{File: `(?P<site_id>[^_/]+)_[^/]*$`},
		Channels: []readings.Channel{{Channel: ingest.Production, Column: "v"}}}
	dir := fleetDir(t, map[string]string{
		"readings/wide/a.csv":         lines("t,A_kwh,note,B_kwh", "2026-03-01T00:00Z,1,x,2", "2026-03-01T01:00Z,1.5,x,bad", "2026-03-01T02:00Z,,x,4"),
		"readings/named/x/C_2026.csv": lines("t,v", "2026-03-01T00:00Z,7", "2026-03-01T01:00Z,8"),
		"readings/other.txt":          "left",
	})
	got, rep := readAll(t, dir, nil, []readings.Mapping{wide, named}, Options{})
	want := map[string]string{"A": "2026-03-01T00: 1000 1500 .", "B": "2026-03-01T00: 2000 . 4000", "C": "2026-03-01T00: 7 8"}
	for id, w := range want {
		if h := hours(got[id], ingest.Production); h != w {
			t.Errorf("%s: %s, want %s", id, h, w)
		}
	}
	if rep.Rows != (Rows{Read: 8, Kept: 7, SetAside: 1}) || rep.Rejects[0].Line != 3 || rep.Rejects[0].Column != "B_kwh" || rep.Rejects[0].SiteID != "B" {
		t.Errorf("rows %+v, rejects %+v", rep.Rows, rep.Rejects)
	}
	if n := strings.Join(rep.Notes, "; "); !strings.Contains(n, "readings/other.txt") || !strings.Contains(n, "columns kept out: note") {
		t.Errorf("notes %q", n)
	}
}

// A wide table of several channels: each finds its own columns, and the cells of
// one site and stamp come together.
func TestWideWithSeveralChannels(t *testing.T) {
	m := readings.Mapping{Glob: "readings/*.csv", Layout: "wide", Time: readings.Time{Column: "t"}, Channels: []readings.Channel{
		{Channel: ingest.Production, Header: `^(?P<site_id>.+)_pv$`, Unit: "kWh"},
		{Channel: ingest.Import, Net: true, Header: `^(?P<site_id>.+)_net$`, Unit: "Wh"},
	}}
	dir := fleetDir(t, map[string]string{
		"readings/a.csv": lines("t,A_pv,A_net,B_net,temp,B_pv", "2026-03-01T00:00Z,1,-5,7,20,2", "2026-03-01T01:00Z,1.5,6,,21,bad", "2026-03-01T02:00Z,,8,9,22,4"),
	})
	got, rep := readAll(t, dir, nil, []readings.Mapping{m}, Options{})
	for _, w := range []struct {
		site string
		c    ingest.Channel
		want string
	}{
		{"A", ingest.Production, "1000 1500 ."}, {"A", ingest.Import, "0 6 8"}, {"A", ingest.Export, "5 0 0"},
		{"B", ingest.Production, "2000 . 4000"}, {"B", ingest.Import, "7 . 9"}, {"B", ingest.Export, "0 . 0"},
	} {
		if h := hours(got[w.site], w.c); h != "2026-03-01T00: "+w.want {
			t.Errorf("%s %s: %s, want %s", w.site, w.c, h, w.want)
		}
	}
	if rep.Rows.Read != 12 || rep.Rows.Kept != 11 || rep.Rows.SetAside != 1 || rep.Rejects[0].Column != "B_pv" || rep.Rejects[0].SiteID != "B" {
		t.Errorf("rows %+v, rejects %+v", rep.Rows, rep.Rejects)
	}
	if n := strings.Join(rep.Notes, "; "); !strings.Contains(n, "columns kept out: temp") {
		t.Errorf("notes %q", n)
	}
}

// The instants of the check file, through the whole way: a stamp that the
// clock never shows is set aside, one that it shows twice is resolved by the
// file's order.
func TestCivilClockCheckValues(t *testing.T) {
	for _, row := range outside.Rows(t, "13_local_to_utc.csv") {
		c := civil{loc: mustZone(t, row["iana_zone"])}
		wall, err := time.Parse("2006-01-02T15:04:05", row["local_wall_time"])
		if err != nil {
			t.Fatal(err)
		}
		first, second, n := c.utc(wall.Unix())
		var got []string
		for _, u := range []int64{first, second}[:n] {
			got = append(got, time.Unix(u, 0).UTC().Format(time.RFC3339))
		}
		var want []string
		for _, s := range []string{row["utc_first"], row["utc_second_if_ambiguous"]} {
			if s != "" {
				want = append(want, s)
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s %s: %s", row["iana_zone"], row["local_wall_time"], d)
		}
	}
}

// Against brute force: of every quarter hour of some years, in zones with odd
// changes, exactly the instants whose clock shows it.
func TestCivilClockBruteForce(t *testing.T) {
	for _, zone := range []string{"America/Denver", "Europe/London", "Australia/Lord_Howe", "America/Santiago", "Asia/Kolkata", "Africa/Casablanca", "America/St_Johns"} {
		loc := mustZone(t, zone)
		shown := map[int64][]int64{}
		from, to := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).Unix(), time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
		for u := from; u < to; u += 900 {
			_, o := time.Unix(u, 0).In(loc).Zone()
			shown[u+int64(o)] = append(shown[u+int64(o)], u)
		}
		c := civil{loc: loc}
		for w := from + 86400; w < to-86400; w += 900 {
			first, second, n := c.utc(w)
			want := shown[w]
			if n != len(want) || n > 0 && first != want[0] || n > 1 && second != want[1] {
				t.Fatalf("%s at %v: %d %d %d, want %v", zone, time.Unix(w, 0).UTC(), first, second, n, want)
			}
		}
	}
}

// The days of the check file written by the civil clock in quarter hours, in
// the file's order and newest first, come out as its UTC hours.
func TestLocalDays(t *testing.T) {
	for _, row := range outside.Rows(t, "13_local_days.csv") {
		loc := mustZone(t, row["iana_zone"])
		start, err1 := time.Parse("2006-01-02T15:04Z", row["utc_start"])
		end, err2 := time.Parse("2006-01-02T15:04Z", row["utc_end"])
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		var rows []string
		total := 0.0
		for at := start; at.Before(end); at = at.Add(15 * time.Minute) {
			v := float64(len(rows) + 1)
			total += v
			rows = append(rows, fmt.Sprintf("%s,%g", at.In(loc).Format("2006-01-02 15:04"), v))
		}
		if len(rows) != int(row.Num(t, "intervals_of_15min")) {
			t.Fatalf("%v: %d rows", row, len(rows))
		}
		backward := make([]string, len(rows))
		for i, r := range rows {
			backward[len(rows)-1-i] = r
		}
		m := one(readings.Channel{Channel: ingest.Consumption, Column: "v"}, readings.Time{Column: "t", Format: "2006-01-02 15:04"})
		sites := []Site{{ID: "A", Location: loc, LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
		var first ingest.Series
		for i, order := range [][]string{rows, backward} {
			got, rep := readAll(t, fleetDir(t, map[string]string{"readings/A.csv": "t,v\n" + strings.Join(order, "\n") + "\n"}), sites, []readings.Mapping{m}, Options{})
			s := got["A"]
			if rep.Rows.SetAside != 0 || rep.Rows.Repeated != 0 {
				t.Errorf("%s %s: rows %+v %v", row["iana_zone"], row["local_date"], rep.Rows, rep.Rejects)
			}
			sum, n := 0.0, 0
			for _, v := range s.Fine.Wh[ingest.Consumption] {
				if v == v {
					sum += float64(v)
					n++
				}
			}
			if sum != total || n != len(rows) {
				t.Errorf("%s %s: %g in %d intervals, want %g in %d", row["iana_zone"], row["local_date"], sum, n, total, len(rows))
			}
			// The first interval of the day is the first instant of the date.
			k := int(start.Unix()-int64(s.Start)*3600) / 900
			if got := s.Fine.Wh[ingest.Consumption][k]; got != 1 {
				t.Errorf("%s %s: the first interval is %g", row["iana_zone"], row["local_date"], got)
			}
			if i == 0 {
				first = s
			} else if d := cmp.Diff(first, s, exactSeries); d != "" {
				t.Errorf("%s %s newest first: %s", row["iana_zone"], row["local_date"], d)
			}
		}
	}
}

// Hours around a clock change, one of the repeated hour missing, and stamps in
// the hour that does not exist.
func TestClockChangeEdges(t *testing.T) {
	site := []Site{{ID: "A", Location: mustZone(t, "America/Los_Angeles"), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
	m := one(readings.Channel{Channel: ingest.Consumption, Column: "v"}, readings.Time{Column: "t", Format: "2006-01-02 15:04", Step: "1h"})
	got, _ := readAll(t, fleetDir(t, map[string]string{"readings/A.csv": lines("t,v", "2024-11-03 00:00,1", "2024-11-03 01:00,2", "2024-11-03 02:00,4")}), site, []readings.Mapping{m}, Options{})
	if h := hours(got["A"], ingest.Consumption); h != "2024-11-03T07: 1 2 . 4" {
		t.Errorf("one of the two hours: %s", h)
	}
	if c := codes(got["A"]); c != "clock_hour_once gap" {
		t.Errorf("quality %q", c)
	}
	got, rep := readAll(t, fleetDir(t, map[string]string{"readings/A.csv": lines("t,v", "2024-03-10 01:00,1", "2024-03-10 02:00,2", "2024-03-10 03:00,3")}), site, []readings.Mapping{m}, Options{})
	if h := hours(got["A"], ingest.Consumption); h != "2024-03-10T09: 1 3" {
		t.Errorf("the hour that is not: %s", h)
	}
	if rep.Rows.SetAside != 1 || rep.Rejects[0].Line != 3 || !strings.Contains(rep.Rejects[0].Reason, "does not exist in America/Los_Angeles") {
		t.Errorf("rejects %+v", rep.Rejects)
	}
}

// Counters: gaps short and long, a reset, a roll-over, and a file boundary that
// loses nothing.
func TestCounters(t *testing.T) {
	counter := func(roll float64, gap string) []readings.Mapping {
		return []readings.Mapping{one(readings.Channel{Channel: ingest.Import, Column: "v", Unit: "kWh", Quantity: "counter", RollOver: roll, SpreadGap: gap}, readings.Time{Column: "t"})}
	}
	stamps := func(values ...string) string {
		out := []string{"t,v"}
		for i, v := range values {
			if v != "-" {
				out = append(out, fmt.Sprintf("2026-03-01T%02d:00Z,%s", i, v))
			}
		}
		return lines(out...)
	}
	for _, c := range []struct {
		name     string
		mappings []readings.Mapping
		files    map[string]string
		want     string
		codes    string
		est      string
	}{
		{"steady", counter(0, ""), map[string]string{"readings/1.csv": stamps("100", "101", "101.5", "104")}, "2026-03-01T00: 1000 500 2500 .", "", ""},
		{"two files", counter(0, ""), map[string]string{"readings/1.csv": stamps("100", "101", "102"), "readings/2.csv": stamps("-", "-", "-", "105", "106", "107")}, "2026-03-01T00: 1000 1000 3000 1000 1000 .", "", ""},
		{"blanks spread", counter(0, ""), map[string]string{"readings/1.csv": stamps("100", "101", "", "", "107", "108")}, "2026-03-01T00: 1000 2000 2000 2000 1000 .", "counter_gap_spread", "0 1 1 1 0 0"},
		{"blanks kept out", counter(0, "0"), map[string]string{"readings/1.csv": stamps("100", "101", "", "", "107", "108")}, "2026-03-01T00: 1000 . . . 1000 .", "counter_gap_out gap", ""},
		{"a long gap kept out", counter(0, "2h"), map[string]string{"readings/1.csv": stamps("100", "101", "102", "-", "-", "-", "108", "109", "110")}, "2026-03-01T00: 1000 1000 . . . . 1000 1000 .", "counter_gap_out gap", ""},
		{"reset", counter(0, ""), map[string]string{"readings/1.csv": stamps("100", "101", "0.5", "2")}, "2026-03-01T00: 1000 . 1500 .", "counter_reset gap", ""},
		{"roll-over", counter(1000, ""), map[string]string{"readings/1.csv": stamps("998", "999", "1", "2")}, "2026-03-01T00: 1000 2000 1000 .", "counter_rolled_over", ""},
		{"a drop from low is no roll-over", counter(1000, ""), map[string]string{"readings/1.csv": stamps("98", "99", "1", "2")}, "2026-03-01T00: 1000 . 1000 .", "counter_reset gap", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _ := readAll(t, fleetDir(t, c.files), nil, c.mappings, Options{})
			s := got["A"]
			if h := hours(s, ingest.Import); h != c.want {
				t.Errorf("got  %s\nwant %s", h, c.want)
			}
			if q := codes(s); q != c.codes {
				t.Errorf("quality %q, want %q", q, c.codes)
			}
			var est []string
			for _, e := range s.Estimated {
				est = append(est, map[bool]string{true: "1", false: "0"}[e])
			}
			if e := strings.Join(est, " "); e != c.est {
				t.Errorf("estimated %q, want %q", e, c.est)
			}
		})
	}
}

// Files that tell the same hours: the later name wins, numbers in names as
// numbers, and the rest of both stays.
func TestLaterExportWins(t *testing.T) {
	hour := func(from int, values ...int) string {
		out := []string{"site_id,start,import_wh"}
		for i, v := range values {
			out = append(out, fmt.Sprintf("A,2026-03-01T%02d:00Z,%d", from+i, v))
		}
		return lines(out...)
	}
	quarter := lines("site_id,start,import_wh", "A,2026-03-01T01:00Z,1", "A,2026-03-01T01:15Z,1", "A,2026-03-01T01:30Z,1", "A,2026-03-01T01:45Z,2")
	for _, c := range []struct {
		name  string
		files map[string]string
		want  string
		codes string
	}{
		{"differs", map[string]string{"readings/export-9.csv": hour(0, 1, 2, 3), "readings/export-10.csv": hour(1, 20, 3, 4)}, "2026-03-01T00: 1 20 3 4", "repeated_stamp repeated_stamp_differs"},
		{"finer later", map[string]string{"readings/1.csv": hour(0, 1, 2, 3), "readings/2.csv": quarter}, "2026-03-01T00: 1 5 3", "step_overlap step_change"},
		{"coarser later, over all of the finer", map[string]string{"readings/2.csv": hour(1, 50, 60), "readings/1.csv": quarter + lines("A,2026-03-01T02:00Z,1", "A,2026-03-01T02:15Z,1", "A,2026-03-01T02:30Z,1", "A,2026-03-01T02:45Z,2")}, "2026-03-01T01: 50 60", "step_overlap step_change"},
		{"coarser later", map[string]string{"readings/2.csv": hour(0, 1, 2, 3), "readings/1.csv": quarter}, "2026-03-01T00: 1 2 3", "step_overlap step_change"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _ := readAll(t, fleetDir(t, c.files), nil, nil, Options{})
			if h := hours(got["A"], ingest.Import); h != c.want {
				t.Errorf("got %s, want %s", h, c.want)
			}
			if q := codes(got["A"]); q != c.codes {
				t.Errorf("quality %q, want %q", q, c.codes)
			}
		})
	}
}

// Rows of one meter dealt out among files, in each of which the step cannot be
// seen or seems longer, come out as from one file.
func TestFilesThatShareRows(t *testing.T) {
	for _, step := range []int{15, 60} {
		rows := invented(2, 6, step)
		want := expected(rows, step)
		for _, n := range []int{2, 3, 4} {
			files := map[string]string{}
			for k := range n {
				var part []meterRow
				for i := k; i < len(rows); i += n {
					part = append(part, rows[i])
				}
				files[fmt.Sprintf("readings/%d.csv", k)] = text(part, contractColumns, 1, 1)
			}
			got, rep := readAll(t, fleetDir(t, files), nil, nil, Options{})
			if d := cmp.Diff(want, got, sameSeries); d != "" {
				t.Errorf("%d minutes in %d files: %s", step, n, d)
			}
			if rep.Rows.SetAside != 0 {
				t.Errorf("%d minutes in %d files: %+v", step, n, rep.Rows)
			}
		}
	}
}

// A file a day, with one value a site: only together do they tell the step; and
// so for stamps at the end, and for a mean power.
func TestOneRowAFile(t *testing.T) {
	sites := []Site{{ID: "A", Location: time.UTC, LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
	for _, c := range []struct {
		unit, quantity, stamp string
		want                  string
	}{
		{"kWh", "energy", "start", "2026-03-01T00:" + strings.Repeat(" 1000", 24) + strings.Repeat(" 2000", 24) + strings.Repeat(" 3000", 24)},
		{"kWh", "energy", "end", "2026-02-28T00:" + strings.Repeat(" 1000", 24) + strings.Repeat(" 2000", 24) + strings.Repeat(" 3000", 24)},
		{"kW", "power", "start", "2026-03-01T00:" + strings.Repeat(" 24000", 24) + strings.Repeat(" 48000", 24) + strings.Repeat(" 72000", 24)},
	} {
		m := one(readings.Channel{Channel: ingest.Import, Column: "v", Unit: c.unit, Quantity: c.quantity}, readings.Time{Column: "t", Format: "2006-01-02", Stamp: c.stamp})
		files := map[string]string{}
		for i, v := range []string{"24", "48", "72"} {
			files[fmt.Sprintf("readings/%d.csv", i)] = lines("t,v", fmt.Sprintf("2026-03-%02d,%s", i+1, v))
		}
		got, _ := readAll(t, fleetDir(t, files), sites, []readings.Mapping{m}, Options{})
		if h := hours(got["A"], ingest.Import); h != c.want {
			t.Errorf("%s %s: %s", c.quantity, c.stamp, h)
		}
	}
}

// The shares of an interval that is cut add up to it to the milli-Wh, whatever
// it is and however it is cut.
func TestSharesAddUp(t *testing.T) {
	m := one(readings.Channel{Channel: ingest.Import, Column: "v"}, readings.Time{Column: "t", Format: "2006-01-02", Step: "1d"})
	for _, zone := range []string{"America/Denver", "Asia/Kolkata", "Australia/Lord_Howe"} {
		sites := []Site{{ID: "A", Location: mustZone(t, zone), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
		file, total := []string{"t,v"}, 0.0
		for i := range 365 {
			v := float64(1+i*7919%1000) + float64(i%7)/1000
			total += v
			file = append(file, fmt.Sprintf("%s,%.3f", time.Date(2025, 1, 1+i, 0, 0, 0, 0, time.UTC).Format("2006-01-02"), v))
		}
		got, _ := readAll(t, fleetDir(t, map[string]string{"readings/A.csv": lines(file...)}), sites, []readings.Mapping{m}, Options{})
		sum := 0.0
		for _, v := range got["A"].Wh[ingest.Import] {
			if v == v {
				sum += v
			}
		}
		// A zone of half hours cuts the first and the last hour.
		if zone == "America/Denver" && math.Abs(sum-total) > 1e-6 {
			t.Errorf("%s: %.6f Wh, want %.6f", zone, sum, total)
		}
		if math.Abs(sum-total) > 50 {
			t.Errorf("%s: %.6f Wh, want about %.6f", zone, sum, total)
		}
	}
}

// A file a day over a clock change: the day of 23 hours is one.
func TestOneRowAFileOverAClockChange(t *testing.T) {
	sites := []Site{{ID: "A", Location: mustZone(t, "America/Denver"), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
	m := one(readings.Channel{Channel: ingest.Import, Column: "v"}, readings.Time{Column: "t", Format: "2006-01-02"})
	files := map[string]string{}
	for i, v := range []string{"24", "46", "72"} {
		files[fmt.Sprintf("readings/%d.csv", i)] = lines("t,v", fmt.Sprintf("2026-03-%02d,%s", 7+i, v))
	}
	got, _ := readAll(t, fleetDir(t, files), sites, []readings.Mapping{m}, Options{})
	want := "2026-03-07T07:" + strings.Repeat(" 1", 24) + strings.Repeat(" 2", 23) + strings.Repeat(" 3", 24)
	if h := hours(got["A"], ingest.Import); h != want {
		t.Errorf("got  %s\nwant %s", h, want)
	}
}
