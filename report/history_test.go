package report

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

// someRuns writes a folder of runs by hand: three months, a what-if run beside
// them and a month whose table is damaged.
func someRuns(t *testing.T) string {
	t.Helper()
	runs := t.TempDir()
	p := func(n int32) *int32 { return &n }
	f := func(x float64) *float64 { return &x }
	outage := int32(20_392) // 2025-10-31, see TestParquetRoundTrip
	write := func(month string, rows ...SiteRow) {
		if err := os.Mkdir(filepath.Join(runs, month), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := writeParquet(filepath.Join(runs, month, "sites.parquet"), rows); err != nil {
			t.Fatal(err)
		}
	}
	write("2026-07", SiteRow{SiteID: "A", Lane: "call", Rank: p(1), ModulesToAdd: p(6), RoofModules: p(9), OnCallList: true, Reasons: []string{"low_coverage"}},
		SiteRow{SiteID: "B", Lane: "watch"})
	write("2026-07_rank.order=visit", SiteRow{SiteID: "Z", Lane: "call"})
	write("2026-08")
	if err := os.WriteFile(filepath.Join(runs, "2026-08", "sites.parquet"), []byte("PAR1 no more"), 0o644); err != nil {
		t.Fatal(err)
	}
	write("2026-09", SiteRow{SiteID: "A", Lane: "call", Rank: p(2), ModulesToAdd: p(4), RoofModules: p(4)},
		SiteRow{SiteID: "B", Lane: "call", Rank: p(1), ModulesToAdd: p(3), LoadEvents: []LoadEvent{{On: outage, Kind: "heat_pump", KWhYr: 3000}}},
		SiteRow{SiteID: "C", Lane: "no_data"})
	sold := ExpansionRow{SiteID: "A", SoldOn: outage, BuiltOn: outage + 30, Modules: 4, PredictedKWhYr: f(2000), RealizedKWhYr: f(1900)}
	write("2026-10", SiteRow{SiteID: "A", Lane: "repair", ArrayFaults: []string{"outage"}, Expansions: []ExpansionRow{sold}},
		SiteRow{SiteID: "B", Lane: "call", Rank: p(1), ModulesToAdd: p(3), LoadEvents: []LoadEvent{{On: outage, Kind: "heat_pump", KWhYr: 3000}}})
	return runs
}

// TestHistory: what changed and why, told from runs that were made up by hand.
func TestHistory(t *testing.T) {
	runs := someRuns(t)
	h, err := WriteHistory(runs, runs, Manifest{Currency: "EUR"})
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Notes) != 1 || !strings.Contains(h.Notes[0], "2026-08") {
		t.Errorf("the damaged run is not said: %q", h.Notes)
	}
	rows, err := parquet.ReadFile[HistoryRow](filepath.Join(runs, "history.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range rows {
		line := r.ReportMonth + " " + r.SiteID + " " + r.Change
		if r.Lane != nil {
			line += " " + *r.Lane
		}
		if r.Why != nil {
			line += ": " + *r.Why
		}
		got = append(got, line)
	}
	want := []string{
		"2026-07 A first call",
		"2026-07 B first watch",
		"2026-09 A offer call: limit: the roof takes 4 modules, was 9 modules",
		"2026-09 B entered call: event: heat pump since 2025-10-31, +3000 kWh a year",
		"2026-09 C new no_data: register: new in the register",
		"2026-10 A left repair: health: outage began; limit: the roof takes a number not known, was 4 modules",
		"2026-10 B none call",
		"2026-10 C gone: register: no longer in the register",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if a := rows[2]; *a.RankBefore != 1 || *a.Rank != 2 || *a.ModulesToAddBefore != 6 || *a.LaneBefore != "call" {
		t.Errorf("%+v", a)
	}
	if a := rows[5]; *a.ModulesBuilt != 4 || *a.PredictedKWhYr != 2000 || *a.RealizedKWhYr != 1900 || dayText(*a.BuiltOn) != "2025-11-30" || a.RealizedSaving != nil {
		t.Errorf("%+v", a)
	}
	if b := rows[3]; b.Events != 1 || *b.EventDates != "2025-10-31 heat_pump" || *b.LatestEventKind != "heat_pump" {
		t.Errorf("%+v", b)
	}
	if m := h.Months[1]; m.Sites != 3 || m.Ranked != 2 || m.OnLists != 0 || m.Changes["entered"] != 1 {
		t.Errorf("%+v", m)
	}
	lines := csvRows(t, filepath.Join(runs, "history.csv"))
	if len(lines) != 9 || len(lines[0]) != len(HistoryTable().Columns) {
		t.Fatalf("%d lines", len(lines))
	}
	for i, c := range HistoryTable().Columns {
		if c.Name == "latest_event_on" && (lines[4][i] != "2025-10-31" || lines[1][i] != "") {
			t.Errorf("the days of events are %q and %q", lines[4][i], lines[1][i])
		}
	}
	if left, _ := filepath.Glob(filepath.Join(runs, unfinished+"*")); len(left) > 0 {
		t.Errorf("left behind: %s", left)
	}
}

func TestHistoryOfNothing(t *testing.T) {
	for _, runs := range []string{t.TempDir(), filepath.Join(t.TempDir(), "none")} {
		if _, err := WriteHistory(runs, t.TempDir(), Manifest{}); err == nil {
			t.Error("no runs, and nothing is said")
		}
	}
	if err := PrintSiteHistory(&strings.Builder{}, someRuns(t), "Q"); err == nil || !strings.Contains(err.Error(), `"Q"`) {
		t.Errorf("an unknown site: %v", err)
	}
	var b strings.Builder
	if err := PrintSiteHistory(&b, someRuns(t), "A"); err != nil || !strings.Contains(b.String(), "predicted 2000 kWh a year, realized 1900") {
		t.Errorf("%v\n%s", err, b.String())
	}
}
