package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"
)

// TestContractColumns: the names that others read stand as the contract lists
// them.
func TestContractColumns(t *testing.T) {
	contract := map[string]string{
		"sites": `site_id rank lane reasons next_step consumption_kwh_yr production_kwh_yr consumption_normal_kwh_yr consumption_filled_pct production_filled_pct coverage_pct consumption_growth_pct_yr
			consumption_growth_low_pct_yr consumption_growth_high_pct_yr coverage_change_pct load_events production_index
			production_index_trend_pct_yr array_faults roof_modules service_modules branch_modules gateway_modules permission_modules
			modules_possible binding_limit enabling_jobs modules_to_add added_kw_dc added_kw_ac added_kwh_yr added_self_use_pct
			coverage_after_pct cost savings_first_year savings_first_year_low savings_first_year_high net_benefit net_benefit_low
			net_benefit_high simple_payback_years irr_pct priority confidence data_days data_coverage_pct array_fault_details
			consumption_change_12m_pct`,
		"options": `site_id modules feasible enabling_jobs added_kwh_yr added_self_use_pct bill_before bill_after cost savings_first_year
			savings_first_year_low savings_first_year_high net_benefit net_benefit_low net_benefit_high simple_payback_years irr_pct chosen`,
		"monthly": `site_id month production_kwh expected_production_kwh consumption_kwh import_kwh export_kwh data_coverage_pct production_index`,
		"rejects": `file line column reason`,
	}
	contract["candidates"] = contract["sites"]
	for _, tab := range Tables() {
		have := map[string]bool{}
		for _, c := range tab.Columns {
			have[c.Name] = true
		}
		for _, want := range strings.Fields(contract[tab.Name]) {
			if !have[want] {
				t.Errorf("%s lacks %s", tab.Name, want)
			}
		}
		if !have["report_month"] {
			t.Errorf("%s lacks report_month", tab.Name)
		}
	}
}

// TestParquetSchema: each file as any reader sees it holds the columns of its
// table, in that order.
func TestParquetSchema(t *testing.T) {
	dir := publishedRun(t, nil)
	for _, tab := range Tables() {
		if filepath.Ext(tab.File) != ".parquet" {
			continue
		}
		f, size := open(t, filepath.Join(dir, tab.File))
		p, err := parquet.OpenFile(f, size)
		if err != nil {
			t.Fatal(err)
		}
		var got, want []string
		for _, c := range p.Root().Columns() {
			got = append(got, c.Name())
		}
		for _, c := range tab.Columns {
			want = append(want, c.Name)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", tab.File, diff)
		}
		for _, c := range p.Root().Columns() {
			if c.Name() == "month" && c.Type().String() != "DATE" {
				t.Errorf("month is of type %s", c.Type())
			}
		}
	}
}

func open(t *testing.T, path string) (*os.File, int64) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	return f, info.Size()
}

// TestParquetRoundTrip: what is not known comes back as null and not as 0, an
// empty list as a list, a day as the same day.
func TestParquetRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sites.parquet")
	zero, day := 0.0, int32(20_392) // 2025-10-31: 55 years of 365 days, 14 leap days, and the 303 days before it
	full := SiteRow{SiteID: "A", Lane: "call", Reasons: []string{"x", "y"}, CoveragePct: &zero,
		LoadEvents:   []LoadEvent{{On: day, Kind: "heat_pump", KWhYr: -0.5, Score: 1}},
		FaultDetails: []FaultRow{{Code: "outage", On: &day}, {Code: "decline", LossPct: &zero}}, ArrayFaults: []string{}, Planes: []PlaneRow{},
		UnknownLimits: []string{}, AskFirst: []string{}, AskOnSite: []string{}, Expansions: []ExpansionRow{}, EnablingJobs: []JobRow{}, Caveats: []string{}, Chain: []Step{{"readings", "ünï\n"}}}
	bare := SiteRow{SiteID: "B", Reasons: []string{}, LoadEvents: []LoadEvent{}, FaultDetails: []FaultRow{}, ArrayFaults: []string{},
		Planes: []PlaneRow{}, UnknownLimits: []string{}, AskFirst: []string{}, AskOnSite: []string{}, Expansions: []ExpansionRow{}, EnablingJobs: []JobRow{}, Caveats: []string{}, Chain: []Step{}}
	if err := writeParquet(path, []SiteRow{full, bare}); err != nil {
		t.Fatal(err)
	}
	got, err := parquet.ReadFile[SiteRow](path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]SiteRow{full, bare}, got); diff != "" {
		t.Error(diff)
	}
	if dayText(day) != "2025-10-31" {
		t.Error(dayText(day))
	}

	// The same as a reader sees it that knows nothing of our types.
	f, size := open(t, path)
	p, err := parquet.OpenFile(f, size)
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]parquet.Row, 2)
	r := p.RowGroups()[0].Rows()
	defer r.Close()
	if n, _ := r.ReadRows(rows); n != 2 {
		t.Fatalf("%d rows", n)
	}
	at, _ := p.Schema().Lookup("coverage_pct")
	list, _ := p.Schema().Lookup("load_events", "list", "element", "kwh_yr")
	for i, want := range []struct {
		coverageNull bool
		eventDefined int // 0 or 1: no element, 2: an element
	}{{false, 2}, {true, 0}} {
		for _, v := range rows[i] {
			if v.Column() == at.ColumnIndex && v.IsNull() != want.coverageNull {
				t.Errorf("row %d: coverage_pct null: %v", i, v.IsNull())
			}
			if v.Column() == list.ColumnIndex && v.IsNull() != (want.eventDefined == 0) {
				t.Errorf("row %d: load_events holds %v at level %d", i, v, v.DefinitionLevel())
			}
		}
	}
}

func TestNumber(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if number(x) != nil {
			t.Errorf("%g is written as %g", x, *number(x))
		}
	}
	if p := number(0); p == nil || *p != 0 {
		t.Error("0 is not written")
	}
}

// TestCSVCells: quoting as RFC 4180, section 2, has it; text that a spreadsheet
// would run stands behind an apostrophe.
func TestCSVCells(t *testing.T) {
	for _, tc := range []struct{ text, cell string }{
		{"plain", "plain"},
		{"", ""},
		{"a,b", `"a,b"`},
		{`say "no"`, `"say ""no"""`},
		{"two\nlines", "\"two\nlines\""},
		{" led by a space", `" led by a space"`},
		{"=1+1", "'=1+1"},
		{"@SUM(A1)", "'@SUM(A1)"},
		{"+1 (555) 010-0.2", "+1 (555) 010-0.2"},
		{"+cmd", "'+cmd"},
		{"-2+3", "'-2+3"},
		{"-5", "-5"},
		{"- left", "'- left"},
		{"\tx", "'\tx"},
		{"\rx", "\"'\rx\""},
		{"a=1", "a=1"},
	} {
		var b bytes.Buffer
		if err := writeCSV(&b, []RejectRow{{File: tc.text, Line: 7}}); err != nil {
			t.Fatal(err)
		}
		if want := "file,line,column,reason,site_id,report_month\n" + tc.cell + ",7,,,,\n"; b.String() != want {
			t.Errorf("%q:\n%q\n%q", tc.text, b.String(), want)
		}
	}
	var b bytes.Buffer
	if err := writeCSV(&b, []CallRow{{SimplePaybackYears: math.NaN(), Cost: 0.1, NetBenefit: -1e7}}); err != nil {
		t.Fatal(err)
	}
	if got := strings.Split(strings.Split(b.String(), "\n")[1], ","); got[28] != "" || got[6] != "0.1" || got[25] != "-10000000" {
		t.Errorf("%q", got)
	}
	b.Reset()
	if writeCSV[RejectRow](&b, nil); b.String() != "file,line,column,reason,site_id,report_month\n" {
		t.Errorf("no rows: %q", b.String())
	}
}

// TestCSVComesBack: what is written is read back by a reader of the standard, but
// for the guard.
func TestCSVComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := strings.ReplaceAll(rapid.String().Draw(t, "text"), "\r", "")
		var b bytes.Buffer
		if err := writeCSV(&b, []RejectRow{{Reason: s}}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(rows) != 2 {
			t.Fatalf("%q: %v %v", s, rows, err)
		}
		got := rows[1][3]
		if got != s && got != "'"+s {
			t.Fatalf("%q came back as %q", s, got)
		}
		if got != "" && strings.ContainsRune("=@\t", rune(got[0])) {
			t.Fatalf("%q is run", got)
		}
	})
}

// TestNoParquetTableNamesPeople: no row of it has a column for it.
func TestNoParquetTableNamesPeople(t *testing.T) {
	for _, tab := range Tables() {
		for _, c := range tab.Columns {
			personal := strings.Contains(c.Says, "personal data)") || c.Name == "customer" || c.Name == "contact" || c.Name == "notes"
			if personal && filepath.Ext(tab.File) == ".parquet" {
				t.Errorf("%s has a column %s", tab.Name, c.Name)
			}
		}
	}
}

// writeParquet writes a whole table at once.
func writeParquet[T any](path string, rows []T) error {
	p, err := createParquet[T](Table{File: filepath.Base(path), Sorted: []string{"site_id"}}, filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(p.write(rows...), p.close(Manifest{}))
}
