package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
	"pgregory.net/rapid"

	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/ingest"
	"rowen/ingest/packed"
)

// TestOutcomeRows: what was written freely stays out; the sale that built
// something carries what became of it.
func TestOutcomeRows(t *testing.T) {
	on := func(month time.Month) time.Time { return time.Date(2026, month, 3, 0, 0, 0, 0, time.UTC) }
	nan := math.NaN()
	unlisted := ingest.Listed{AddedKWhYr: nan, Saving: nan, SavingLow: nan, SavingHigh: nan}
	f := &analyze.Finding{Site: &ingest.Site{ID: "A"}, Past: []ingest.Outcome{
		{SiteID: "A", CalledOn: on(1), Result: "no_answer", Reason: "ask for Quorrel", Price: nan, Listed: unlisted},
		{SiteID: "A", CalledOn: on(2), Result: "sold", ModulesSold: ingest.Some(4), Price: 4000, Listed: ingest.Listed{Month: "2026-01", Rank: ingest.Some(7),
			Tenth: ingest.Some(1), Reason: "new_load", Modules: ingest.Some(5), AddedKWhYr: 2500, Saving: 400, SavingLow: nan, SavingHigh: nan}}}}
	predicted := 2000.0
	r := &SiteRow{SiteID: "A", ReportMonth: "2026-10", Expansions: []ExpansionRow{{SoldOn: date(on(2)), BuiltOn: date(on(4)), Modules: 4, Months: 6, PredictedKWhYr: &predicted}}}
	rows := outcomeRows(f, r)
	if len(rows) != 2 {
		t.Fatalf("%d rows", len(rows))
	}
	if a := rows[0]; a.Result != "no_answer" || a.ModulesSold != nil || a.Price != nil || a.ListMonth != nil || a.ListRank != nil || a.OfferedKWhYr != nil || a.BuiltOn != nil {
		t.Errorf("%+v", a)
	}
	b := rows[1]
	if *b.ModulesSold != 4 || *b.Price != 4000 || *b.ListMonth != "2026-01" || *b.ListRank != 7 || *b.OfferedKWhYr != 2500 || b.OfferedLow != nil ||
		*b.ModulesBuilt != 4 || dayText(*b.BuiltOn) != "2026-04-03" || *b.PredictedKWhYr != 2000 || b.RealizedKWhYr != nil {
		t.Errorf("%+v", b)
	}
}

// TestLimitRows: a limit that nobody knows is null and not 0, one that the rules
// do not set is unlimited.
func TestLimitRows(t *testing.T) {
	f := &analyze.Finding{Room: headroom.Result{
		Roof:       headroom.Ceiling{Modules: ingest.Some(9), Low: 8, High: 10, Reason: "measured"},
		Service:    headroom.Ceiling{Low: 0, High: headroom.Many, Reason: "busbar_unknown"},
		Branch:     headroom.Ceiling{Modules: ingest.Some(0), Reason: "spaces"},
		Permission: headroom.Ceiling{Unlimited: true, High: headroom.Many, Reason: "none"},
	}}
	binding := "branch"
	got := map[string]string{}
	for _, l := range limitRows(f, &SiteRow{SiteID: "A", BindingLimit: &binding}) {
		says := func(n *int32) string {
			if n == nil {
				return "-"
			}
			return fmt.Sprint(*n)
		}
		got[l.Limit] = fmt.Sprintf("%s %s %s unlimited %t binds %t", says(l.Modules), says(l.ModulesLow), says(l.ModulesHigh), l.Unlimited, l.Binds)
	}
	want := map[string]string{
		"roof":       "9 8 10 unlimited false binds false",
		"service":    "- 0 - unlimited false binds false",
		"branch":     "0 0 0 unlimited false binds true",
		"permission": "- - - unlimited true binds false",
	}
	if diff := cmp.Diff(want, got); diff != "" { // nothing is known of the gateway's: no row
		t.Error(diff)
	}
}

// TestSortedTable: rows that come in another order stand in the table's, in row
// groups that a reader can skip; the scratch file is gone.
func TestSortedTable(t *testing.T) {
	dir := t.TempDir()
	scratch := filepath.Join(t.TempDir(), "pile")
	p, err := newPile(scratch)
	if err != nil {
		t.Fatal(err)
	}
	const sites, months = 1500, 30 // 45,000 rows: three row groups of 20,000 at most
	for s := range sites {
		id := fmt.Sprintf("S-%04d", (s*7)%sites) // 7 and 1500 have no common divisor: each once
		var rows []MonthRow
		for m := range months {
			rows = append(rows, MonthRow{SiteID: id, Month: int32(20_000 + m), ReportMonth: "2026-10"})
		}
		if err := addTo(p, id, rows...); err != nil {
			t.Fatal(err)
		}
	}
	from := &piles{}
	m := Manifest{Month: "2026-10", RunID: "2026-10-x", Currency: "EUR", Version: "9"}
	if err := errors.Join(p.close(), from.add(scratch), from.sort(), writePiles[MonthRow](dir, "monthly", from, m), from.close()); err != nil {
		t.Fatal(err)
	}
	rows, err := parquet.ReadFile[MonthRow](filepath.Join(dir, "monthly.parquet"))
	if err != nil || len(rows) != sites*months {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for i, r := range rows {
		if want := fmt.Sprintf("S-%04d", i/months); r.SiteID != want || r.Month != int32(20_000+i%months) {
			t.Fatalf("row %d is %s %d", i, r.SiteID, r.Month)
		}
	}
	f, size := open(t, filepath.Join(dir, "monthly.parquet"))
	file, err := parquet.OpenFile(f, size)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(file.RowGroups()); n < 3 {
		t.Errorf("%d row groups", n)
	}
	for i, g := range file.Metadata().RowGroups {
		if len(g.SortingColumns) != 2 {
			t.Errorf("row group %d does not say its order", i)
		}
		if g.NumRows > rowGroup {
			t.Errorf("row group %d has %d rows", i, g.NumRows)
		}
	}
	for key, want := range map[string]string{"rowen.run_id": "2026-10-x", "rowen.report_month": "2026-10", "rowen.schema_version": schemaVersion, "rowen.currency": "EUR"} {
		if got, _ := file.Lookup(key); got != want {
			t.Errorf("%s is %q", key, got)
		}
	}
	text, _ := file.Lookup("rowen.columns")
	var columns []struct{ Name, Unit, Description string }
	if err := json.Unmarshal([]byte(text), &columns); err != nil || len(columns) != len(namedTable("monthly").Columns) || columns[2].Unit != "kWh" || columns[2].Description == "" {
		t.Errorf("%v %+v", err, columns)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}

// TestArrowOfEveryTable: stream and file of each table hold as many rows as the
// table, and say their run.
func TestArrowOfEveryTable(t *testing.T) {
	dir := publishedRun(t, nil)
	for _, tab := range Tables() {
		if filepath.Ext(tab.File) != ".parquet" {
			if slices.Contains(ArrowTables(), tab.Name) {
				t.Errorf("%s may hold personal data and is exported", tab.Name)
			}
			continue
		}
		_, p, err := openTable(filepath.Join(dir, tab.File))
		if err != nil {
			t.Fatal(err)
		}
		var stream bytes.Buffer
		path := filepath.Join(t.TempDir(), "x.arrow")
		if err := ExportArrow(&stream, dir, tab.Name); err != nil {
			t.Fatal(err)
		}
		if err := ExportArrowFile(path, dir, tab.Name); err != nil {
			t.Fatal(err)
		}
		s, err := ipc.NewReader(&stream)
		if err != nil {
			t.Fatal(err)
		}
		rows := int64(0)
		for s.Next() {
			rows += s.Record().NumRows()
		}
		f, _ := open(t, path)
		file, err := ipc.NewFileReader(f)
		if err != nil {
			t.Fatal(err)
		}
		in := int64(0)
		for i := range file.NumRecords() {
			rec, err := file.Record(i)
			if err != nil {
				t.Fatal(err)
			}
			in += rec.NumRows()
		}
		if rows != p.NumRows() || in != p.NumRows() {
			t.Errorf("%s has %d rows, its stream %d, its file %d", tab.Name, p.NumRows(), rows, in)
		}
		if id, ok := file.Schema().Metadata().GetValue("rowen.run_id"); !ok || id == "" {
			t.Errorf("the Arrow file of %s does not say its run", tab.Name)
		}
	}
	if err := ExportArrowFile(filepath.Join(t.TempDir(), "x.arrow"), dir, "call_list"); err == nil {
		t.Error("the call list is exported")
	}
}

// TestSpooledRow: what goes through the scratch file comes back, a zero as a zero
// and a missing value as missing.
func TestSpooledRow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		maybe := func(name string) *float64 {
			if x := rapid.Float64Range(-1e9, 1e9).Draw(t, name); rapid.Bool().Draw(t, "known") {
				return &x
			}
			return nil
		}
		zero, empty := 0.0, ""
		want := OptionRow{SiteID: rapid.String().Draw(t, "id"), Modules: rapid.Int32().Draw(t, "modules"), Feasible: rapid.Bool().Draw(t, "feasible"),
			EnablingJobs: rapid.SliceOf(rapid.String()).Draw(t, "jobs"), AddedKWhYr: rapid.Float64().Draw(t, "kwh"), AddedSelfUsePct: maybe("share"),
			NetBenefitLow: maybe("low"), IRRPct: &zero, LegalCase: &empty, Chosen: true, ReportMonth: "2026-10"}
		var got OptionRow
		b := append(packed.Append(nil, &want), 7)
		if rest, err := packed.Take(b, &got); len(rest) != 1 || err != nil {
			t.Fatalf("%d bytes are left: %v", len(rest), err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatal(diff)
		}
	})
}
