package readings

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// The shapes of 24 real exports. The values are read off the files by eye: the
// first rows that hold something, as stamp, channel and milli-Wh (or milli-W). A
// file that does not say what it measures must be asked about.
var shapes = []struct {
	file string
	ask  []string // the keys that must be asked; none: the mapping is whole
	has  []string // rows, as gather shows them: "time civil channel=value"
	rows int      // 0: not counted
	out  int      // rows set aside
}{
	{"be_15min_long_registers_en.csv", nil, []string{"1697933700 import=173000 export=0", "1697934600 import=162000 export=0"}, 0, 0},
	{"be_15min_long_registers_nl.csv", nil, nil, 0, 0},
	{"nl_hourly_long_two_directions.csv", nil, []string{"1712959200 import=639000", "1712962800 import=827000"}, 290, 0},
	{"nl_hourly_two_tariffs_offset.csv", nil, []string{"1704063600 import=196000 export=0", "1704067200 import=224000 export=0"}, 279, 0},
	{"nl_register_readings_daily_descending.csv", nil, []string{"1690934400 import=1698000000 export=2330000000"}, 103, 0},    // 874+824, 1608+722 kWh
	{"nl_register_readings_daily_mixed_quotes.csv", nil, []string{"1706140800 import=2825000000 export=136000000"}, 71, 0},    // 1367+1458, 39+97
	{"nl_daily_thousands_dot_decimal_comma_total_row.csv", nil, []string{"1388620800 import=17086000 export=268000"}, 365, 1}, // 5.240+11.846, 0.268; the total row is out
	{"inverter_5min_multi_header_nan.csv", nil, []string{"1751241600 production=41919016000"}, 391, 0},                        // a counter in Wh
	{"inverter_daily_counter_multi_header_nan.csv", nil, []string{"1585094400 production=10805000 import=0"}, 251, 0},         //
	{"pt_15min_sheet_as_csv.csv", nil, []string{"1726186500 consumption=3512000"}, 292, 0},                                    // kW, at 00:15
	{"au_nem12_5min_no_100_record.csv", nil, nil, 0, 0},                                                                       //
	{"it_15min_96_columns_descending.csv", []string{"channels"}, []string{"1725148800 consumption=139000", "1725149700 consumption=258000"}, 2880, 0},
	{"nl_15min_long_epoch_factor.csv", []string{"channels"}, []string{"1735686000 import=35089902000"}, 258, 0}, // 35089902 x 0.001 kWh
	{"nl_counters_epoch_no_header.csv", []string{"channels"}, []string{"1522670400 consumption=2520588000"}, 300, 0},
	{"battery_system_daily_month.csv", []string{"channels"}, []string{"1725235200 consumption=44700000"}, 31, 0},
	{"home_logger_hourly_counter.csv", []string{"channels"}, []string{"1770984000 consumption=28480000000"}, 219, 0},
	{"home_logger_hourly_counter_offset.csv", []string{"channels"}, []string{"1770973200 consumption=28477600000"}, 219, 0},
	{"clamp_10min_three_phase_part.csv", []string{"phases"}, []string{"1736553600 import=30700 export=0"}, 259, 0},
	{"uk_diverter_hourly_utc.csv", []string{"channels"}, []string{"1753833600 consumption=0"}, 48, 0},
	{"pv_15min_local_no_offset.json", []string{"channels"}, []string{"1688947200 consumption=0"}, 96, 0},
	{"pv_hourly_abbreviation_and_offset.json", []string{"channels"}, nil, 72, 0},
	{"us_hourly_utility.csv", []string{"tables"}, nil, 0, 20},
	{"us_daily_utility.csv", []string{"tables", "decimal"}, nil, 0, 32},
	{"us_monthly_bills.csv", []string{"bills"}, nil, 0, 0},
}

func TestShapes(t *testing.T) {
	for _, c := range shapes {
		t.Run(c.file, func(t *testing.T) {
			path := outside.Data(t, "meter-export-shapes", c.file)
			p, err := Propose(path)
			if err != nil {
				t.Fatal(err)
			}
			var asked []string
			for _, q := range p.Questions {
				if key := q.Key; !slices.Contains(asked, key) {
					asked = append(asked, key)
				}
			}
			slices.Sort(asked)
			want := slices.Sorted(slices.Values(c.ask))
			if d := cmp.Diff(want, asked); d != "" {
				t.Errorf("asked (-want +got):\n%s", d)
			}
			if p.Bills != nil {
				// Newest first in the file: 09/24/2025 with 450 kWh ends the last bill.
				if last := p.Bills.Rows[len(p.Bills.Rows)-1]; last != "SITE,2025-08-26,2025-09-24,450" {
					t.Errorf("last bill %q", last)
				}
				return
			}
			if err := p.Mapping.Check(); err != nil {
				t.Fatal(err)
			}
			f, err := Prepare(filepath.Dir(path), c.file, p.Mapping, Limits{})
			if err != nil {
				t.Fatal(err)
			}
			got := gather(t, f, false)
			if c.rows > 0 && len(got.Rows) != c.rows || len(got.Rejects) != c.out {
				t.Errorf("%d rows, want %d; %d set aside, want %d: %v", len(got.Rows), c.rows, len(got.Rejects), c.out, got.Rejects)
			}
			shown := map[string]bool{}
			for _, r := range got.Rows {
				shown[withChannels(r, f)] = true
			}
			for _, h := range c.has {
				if !shown[h] {
					t.Errorf("no row %q", h)
				}
			}
		})
	}
}

// withChannels shows a gathered row ("line site time flags value value …") as
// time and channel=value.
func withChannels(row string, f *File) string {
	fields := strings.Fields(row)
	out := fields[2]
	at := 4
	for c, name := range []string{"production", "consumption", "import", "export"} {
		if !f.Has(ingest.Channel(c)) {
			continue
		}
		if fields[at] != fmt.Sprint(int64(Missing)) {
			out += " " + name + "=" + fields[at]
		}
		at++
	}
	return out
}

// A thousands sign is never taken for a decimal one in silence: each column
// written by hand, with what can be known of it.
func TestNumbersIn(t *testing.T) {
	for _, c := range []struct {
		cells []string
		want  numbers
	}{
		{[]string{"0,173", "0,162"}, numbers{decimal: ","}},                // a group of thousands never begins with 0
		{[]string{"1,234", "2,345"}, numbers{decimal: ",", unsure: true}},  // nobody can tell
		{[]string{"1,234", "12.5"}, numbers{decimal: ".", thousands: ","}}, // 12.5 settles it
		{[]string{"1.234,50"}, numbers{decimal: ",", thousands: "."}},      //
		{[]string{"1,234,567"}, numbers{decimal: ".", thousands: ","}},     // two groups
		{[]string{"35089.902"}, numbers{decimal: "."}},                     // no group is five long
		{[]string{"12", "7"}, numbers{decimal: "."}},                       //
		{[]string{"1'234.5"}, numbers{decimal: ".", thousands: "'"}},       //
		{[]string{"49.600", "23.030", "0.500"}, numbers{decimal: "."}},     //
	} {
		got := numbersIn(c.cells)
		got.example = ""
		if got != c.want {
			t.Errorf("%q: %+v, want %+v", c.cells, got, c.want)
		}
	}
}

// A workbook with a sheet per site reads like the files it stands for; its dates
// are day counts with a date's number format (45658.25 is 2025-01-01 06:00 by
// ECMA-376 part 1, 18.17.4.1).
func TestWorkbookOfSites(t *testing.T) {
	dir := t.TempDir()
	x := excelize.NewFile()
	defer x.Close()
	style, err := x.NewStyle(&excelize.Style{NumFmt: 22})
	if err != nil {
		t.Fatal(err)
	}
	for _, site := range []string{"H1", "H2"} {
		x.NewSheet(site)
		x.SetSheetRow(site, "A1", &[]any{"Time", "PV (kWh)"})
		for i := range 30 {
			x.SetSheetRow(site, fmt.Sprintf("A%d", i+2), &[]any{45658.25 + float64(i)/24, 0.5 + float64(i%7)/10})
		}
		x.SetCellStyle(site, "A2", "A31", style)
	}
	x.DeleteSheet("Sheet1")
	if err := x.SaveAs(filepath.Join(dir, "pv.xlsx")); err != nil {
		t.Fatal(err)
	}
	p, err := Propose(filepath.Join(dir, "pv.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Questions) > 0 || p.Mapping.SiteID.Sheet == "" {
		t.Errorf("%+v", p)
	}
	f, err := Prepare(dir, "pv.xlsx", p.Mapping, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	got := gather(t, f, false)
	if len(got.Rows) != 60 || len(got.Rejects) > 0 || !strings.Contains(got.Rows[0], "H1 1735711200") || !strings.HasSuffix(got.Rows[0], " 500000") {
		t.Errorf("%d rows, first %q, rejects %v", len(got.Rows), got.Rows[0], got.Rejects)
	}
}

// UTF-16, a tidy long table and an hour 24, each small enough to be read by eye.
func TestSmallShapes(t *testing.T) {
	var tidy strings.Builder
	tidy.WriteString("site;when;channel;value;unit\n")
	for i := range 24 {
		fmt.Fprintf(&tidy, "A;2026-03-01 %02d:00;pv_production;%d,5;kWh\nA;2026-03-01 %02d:00;consumption;1,%d;kWh\n", i, i%3, i, i%10)
	}
	utf16 := []byte{0xff, 0xfe}
	for _, r := range "site_id,start,production_wh\nA,2026-03-01T00:00:00Z,5\nA,2026-03-01T01:00:00Z,6\n" {
		utf16 = append(utf16, byte(r), 0)
	}
	dir := t.TempDir()
	for name, c := range map[string]struct {
		text []byte
		want string // the first row
		rows int
	}{
		"tidy.csv":  {[]byte(tidy.String()), "1772323200 production=500000 consumption=1000000", 24},
		"utf16.csv": {utf16, "1772323200 production=5000", 2},
	} {
		if err := os.WriteFile(filepath.Join(dir, name), c.text, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Propose(filepath.Join(dir, name))
		if err != nil || len(p.Questions) > 0 {
			t.Errorf("%s: %v %+v", name, err, p.Questions)
			continue
		}
		f, err := Prepare(dir, name, p.Mapping, Limits{})
		if err != nil {
			t.Fatal(err)
		}
		got := gather(t, f, false)
		if len(got.Rows) != c.rows || len(got.Rejects) > 0 || withChannels(got.Rows[0], f) != c.want {
			t.Errorf("%s: %d rows, %q, rejects %v", name, len(got.Rows), got.Rows, got.Rejects)
		}
	}
}

// No bytes of a stranger's may stop the program: what is proposed either reads
// or says why not.
func FuzzPropose(f *testing.F) {
	f.Add([]byte("a;b\n01.02.2026 10:00;1,5\n01.02.2026 11:00;1,6\n"), false)
	f.Add([]byte(`{"unit":"Wh","values":[{"date":"2026-03-01 00:00:00","value":1}]}`), true)
	f.Add([]byte("sep=,\nx\n,A,B\n01.02.2026,=\"1\",NaN\n02.02.2026,2,\"3\n"), false)
	f.Fuzz(func(t *testing.T, text []byte, asJSON bool) {
		dir, name := t.TempDir(), "a.csv"
		if asJSON {
			name = "a.json"
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Propose(filepath.Join(dir, name))
		if err != nil || p.Bills != nil || p.Mapping.Check() != nil {
			return
		}
		file, err := Prepare(dir, name, p.Mapping, Limits{})
		if err != nil {
			return
		}
		for _, part := range file.Parts() {
			tally, err := part.Read(t.Context(), NewNames(), Limits{MaxRejects: 10}, func(*Batch) error { return nil })
			if err == nil && (tally.SetAside > tally.Rows || tally.Rows < 0) {
				t.Errorf("%d rows, %d set aside", tally.Rows, tally.SetAside)
			}
		}
	})
}
