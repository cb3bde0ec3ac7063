package readings

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// Exports of portals as people have them, and the mapping that a person would
// write; every doubt must be in the notes.
func TestPropose(t *testing.T) {
	many := func(line func(i int) string, n int) string {
		var b strings.Builder
		for i := range n {
			b.WriteString(line(i) + "\n")
		}
		return b.String()
	}
	clock := func(i int) string { return []string{"00", "15", "30", "45"}[i%4] }
	two := func(i int) string { return string(rune('0'+i/10)) + string(rune('0'+i%10)) }
	for _, c := range []struct {
		name, file, text string
		want             Mapping
		notes            []string
	}{
		{"the contract's", "a.csv", "site_id,start,production_wh,import_wh\n" + many(func(i int) string {
			return "A,2026-03-01T" + two(i/4) + ":" + clock(i) + ":00Z," + two(i%7) + ".5," + two(i%5)
		}, 40), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "site_id"}, Time: Time{Column: "start", Format: "rfc3339"},
			Channels: []Channel{{Channel: ingest.Production, Column: "production_wh", Unit: "Wh"}, {Channel: ingest.Import, Column: "import_wh", Unit: "Wh"}},
		}, []string{"confirm time.stamp"}},
		{"semicolons, decimal commas, day first, power, a preamble", "b.csv", "Report of March\n\nTime;PV power (kW);Consumption (kW)\n" + many(func(i int) string {
			return two(i/4+10) + ".03.2026 12:" + clock(i) + ";" + two(i%7) + ",25;0,5" + two(i%9)
		}, 40), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", Delimiter: ";", Decimal: ",", HeaderLine: 3, SiteID: SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`},
			Time:     Time{Column: "Time", Format: "02.01.2006 15:04", Zone: "site"},
			Channels: []Channel{{Channel: ingest.Production, Column: "PV power (kW)", Unit: "kW", Quantity: "power"}, {Channel: ingest.Consumption, Column: "Consumption (kW)", Unit: "kW", Quantity: "power"}},
		}, []string{"carry no offset", "confirm site_id"}},
		{"day first, since the rows would else lie months apart", "c.csv", "end time,export kwh\n" + many(func(i int) string { return "0" + string(rune('1'+i/4)) + "/05/2026 10:" + clock(i) + ",0." + two(i%9) }, 30), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`}, Time: Time{Column: "end time", Format: "02/01/2006 15:04", Zone: "site", Stamp: "end"},
			Channels: []Channel{{Channel: ingest.Export, Column: "export kwh", Unit: "kWh"}},
		}, []string{"ends of the intervals"}},
		{"month first by a day above twelve", "d.csv", "time,use_kwh\n" + many(func(i int) string { return "05/" + two(i/4+11) + "/2026 10:" + clock(i) + ",0." + two(i%9) }, 30), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`}, Time: Time{Column: "time", Format: "01/02/2006 15:04", Zone: "site"},
			Channels: []Channel{{Channel: ingest.Consumption, Column: "use_kwh", Unit: "kWh"}},
		}, []string{"carry no offset"}},
		{"a counter by unix time", "e.csv", "meter_id,timestamp,import_kwh\n" + many(func(i int) string { return "M1,17723232" + two(i) + ",10" + two(i) + ".5" }, 40), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "meter_id"}, Time: Time{Column: "timestamp", Format: "unix"},
			Channels: []Channel{{Channel: ingest.Import, Column: "import_kwh", Unit: "kWh", Quantity: "counter"}},
		}, []string{"never falls"}},
		{"a column a site", "f.csv", "time,H1,H2,H3\n" + many(func(i int) string { return "2026-03-01T" + two(i%24) + ":00Z,1." + two(i%9) + ",2,3" }, 24), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", Layout: "wide", Time: Time{Column: "time", Format: "rfc3339"},
			Channels: []Channel{{Channel: ingest.Consumption, Unit: "kWh"}},
		}, []string{"each may be a site (3 of them", "kWh is proposed"}},
		{"date and time of day apart", "g.csv", "Date,Time,Solar (Wh)\n" + many(func(i int) string { return "2026-03-" + two(i/4+1) + ",10:" + clock(i) + "," + two(i%9) }, 30), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`}, Time: Time{Column: "Date", TimeColumn: "Time", Format: "rfc3339", Zone: "site"},
			Channels: []Channel{{Channel: ingest.Production, Column: "Solar (Wh)", Unit: "Wh"}},
		}, nil},
		{"another language, a site column, decimal commas", "h.csv", "Anlage;Datum;Uhrzeit;Erzeugung (kWh);Verbrauch (kWh)\n" + many(func(i int) string {
			return "7" + two(i/20) + ";" + two(i/4%28+1) + ".03.2026;10:" + clock(i) + ";0," + two(i%7) + ";0,2" + two(i%9)
		}, 40), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", Delimiter: ";", Decimal: ",", SiteID: SiteID{Column: "Anlage"},
			Time:     Time{Column: "Datum", TimeColumn: "Uhrzeit", Format: "02.01.2006 15:04", Zone: "site"},
			Channels: []Channel{{Channel: ingest.Production, Column: "Erzeugung (kWh)", Unit: "kWh"}, {Channel: ingest.Consumption, Column: "Verbrauch (kWh)", Unit: "kWh"}},
		}, []string{"carry no offset"}},
		{"several sites and channels side by side", "i.tsv", "timestamp\thome_17_pv_W\thome_17_load_W\thome_28_pv_W\thome_28_load_W\n" + many(func(i int) string {
			return "17723232" + two(i) + "\t" + two(i%7) + "\t3" + two(i%5) + "\t0\t110"
		}, 30), Mapping{
			Glob: "readings/**/*.tsv", Format: "csv", Layout: "wide", Delimiter: "\t", Time: Time{Column: "timestamp", Format: "unix"},
			Channels: []Channel{
				{Channel: ingest.Production, Header: "^home_(?P<site_id>.+)_pv_W$", Unit: "W", Quantity: "power"},
				{Channel: ingest.Consumption, Header: "^home_(?P<site_id>.+)_load_W$", Unit: "W", Quantity: "power"},
			},
		}, []string{"confirm the patterns"}},
		{"a counter by its name", "j.csv", "meter,read_at,import_total_kwh,export_total_kwh\nM1,2026-03-01T00:00:00Z,15023.113,8801.002\nM1,2026-03-01T01:00:00Z,15023.553,8801.002\n", Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "meter"}, Time: Time{Column: "read_at", Format: "rfc3339"},
			Channels: []Channel{{Channel: ingest.Import, Column: "import_total_kwh", Unit: "kWh", Quantity: "counter"}, {Channel: ingest.Export, Column: "export_total_kwh", Unit: "kWh", Quantity: "counter"}},
		}, []string{"never falls"}},
		{"net by its name", "k.csv", "\"Home ID\",\"Interval Start (local)\",\"Interval End (local)\",\"Net Usage (kWh)\"\n" + many(func(i int) string {
			return "\"H-1\",\"03/" + two(i%28+1) + "/2026 1:00 AM\",\"03/" + two(i%28+1) + "/2026 2:00 AM\",\"0." + two(i%9) + "\""
		}, 28), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "Home ID"}, Time: Time{Column: "Interval Start (local)", Format: "1/2/2006 3:04 PM", Zone: "site", EndColumn: "Interval End (local)"},
			Channels: []Channel{{Channel: ingest.Import, Net: true, Column: "Net Usage (kWh)", Unit: "kWh"}},
		}, []string{"confirm it and its sign"}},
		{"net by its values", "l.csv", "house,time,usage_kwh\n" + many(func(i int) string {
			return "7,2026-03-" + two(i%28+1) + "T00:00Z," + []string{"-", ""}[i%2] + "0." + two(i%9)
		}, 28), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "house"}, Time: Time{Column: "time", Format: "rfc3339"},
			Channels: []Channel{{Channel: ingest.Import, Net: true, Column: "usage_kwh", Unit: "kWh"}},
		}, []string{"below nothing at times"}},
		{"counting down from nothing", "m.csv", "site,time,export_wh\n" + many(func(i int) string {
			return "S,2026-03-" + two(i%28+1) + "T00:00Z,-1" + two(i%9)
		}, 28), Mapping{
			Glob: "readings/**/*.csv", Format: "csv", SiteID: SiteID{Column: "site"}, Time: Time{Column: "time", Format: "rfc3339"},
			Channels: []Channel{{Channel: ingest.Export, Column: "export_wh", Unit: "Wh", Sign: -1}},
		}, []string{"sign -1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), c.file)
			if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
				t.Fatal(err)
			}
			p, err := Propose(path)
			if err != nil {
				t.Fatal(err)
			}
			got, notes := p.Mapping, p.Notes
			for _, q := range p.Questions {
				notes = append(notes, "ask "+q.Key+": "+q.Says)
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Error(d)
			}
			for _, n := range c.notes {
				if !strings.Contains(strings.Join(notes, "\n"), n) {
					t.Errorf("no note says %q: %q", n, notes)
				}
			}
			if err := got.Check(); err != nil {
				t.Errorf("what is proposed is no mapping: %v", err)
			}
			// What is proposed reads the sample without a row set aside.
			f, err := Prepare(filepath.Dir(path), c.file, got, Limits{})
			if err != nil {
				t.Fatal(err)
			}
			if r := gather(t, f, false); len(r.Rejects) > 0 || len(r.Rows) == 0 {
				t.Errorf("%d rows, rejects %v", len(r.Rows), r.Rejects)
			}
		})
	}
}

// The real exports get a mapping that reads them, or notes that say why not.
func TestProposeRealFiles(t *testing.T) {
	p, err := Propose(outside.Data(t, "konstanz-home4", "household_data_60min_residential4.csv"))
	if m := p.Mapping; err != nil || m.Time.Column != "utc_timestamp" || len(m.Channels) != 3 || m.Channels[0].Quantity != "counter" {
		t.Errorf("%+v %v", p, err)
	}
	if _, err = Propose(outside.Data(t, "fontana-5homes", "home_01.csv")); err == nil || !strings.Contains(err.Error(), "time.start and time.step") {
		t.Errorf("%v", err)
	}
	p, err = Propose(outside.Data(t, "nem12", "Example_NEM12_month_solar.csv"))
	if err != nil || p.Mapping.Format != "nem12" {
		t.Errorf("%+v %v", p, err)
	}
	p, err = Propose(outside.Data(t, "greenbutton-espi", "TestGBDataHourlyNineDaysBinnedDaily.xml"))
	if err != nil || p.Mapping.Format != "green_button" {
		t.Errorf("%+v %v", p, err)
	}
	if _, err := Propose(filepath.Join(t.TempDir(), "none.csv")); err == nil {
		t.Error("a file that is not there has a proposal")
	}
}

// Every violation of a mapping is said at once, with its key.
func TestMappingCheck(t *testing.T) {
	m := Mapping{Layout: "tall", Decimal: ",", Delimiter: ",", SiteID: SiteID{File: "("}, Time: Time{Zone: "Mars/Base", Stamp: "middle", Start: "x", Step: "7m", Format: "02.01.2006 15:04 MST"},
		Channels: []Channel{{Channel: ingest.Import, Unit: "kW"}, {Channel: ingest.Import, Sign: 2, SpreadGap: "soon"}}}
	err := m.Check()
	if err == nil {
		t.Fatal("no violation")
	}
	for _, want := range []string{"glob is missing", `layout "tall"`, "delimiter and decimal", "site_id.file", "Mars/Base", `time.stamp "middle"`, `time.step "7m"`, "MST", "quantity energy does not go with unit kW", "mapped twice", "sign 2", "spread_gap"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not said in:\n%v", want, err)
		}
	}
	for _, m := range Default() {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
	}
}
