package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/parquet-go/parquet-go"

	"rowen/analyze/rank"
	"rowen/ingest/demo"
	"rowen/ingest/ledger"
	"rowen/report"
)

// rowenRun runs one command line in this process.
func rowenRun(args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	code = exitCode(execute(args, &out, &errs), &errs)
	return code, out.String(), errs.String()
}

// theDemo is one demo fleet with its run, made once for all tests.
var theDemo = sync.OnceValues(func() (string, string) {
	dir, err := os.MkdirTemp("", "rowen-demo-")
	if err != nil {
		panic(err)
	}
	fleet := filepath.Join(dir, "fleet")
	code, out, errs := rowenRun("demo", "--dir", fleet)
	if code != 0 {
		panic(errs)
	}
	return fleet, out
})

var demoMade bool

func theDemoDir() (string, bool) {
	if !demoMade {
		return "", false
	}
	dir, _ := theDemo()
	return dir, true
}

func demoFleet(t *testing.T) (dir, stdout string) {
	t.Helper()
	if testing.Short() {
		t.Skip("skipped: the whole demo takes half a minute")
	}
	demoMade = true
	return theDemo()
}

func TestDemoSaysWhatItMade(t *testing.T) {
	dir, out := demoFleet(t)
	for _, want := range []string{"The first 10 to call", "call_list.csv", "index.html", "*.parquet", "licensed people"} {
		if !strings.Contains(out, want) {
			t.Errorf("the demo does not say %q:\n%s", want, out)
		}
	}
	for _, name := range []string{"call_list.csv", "candidates.parquet", "sites.parquet", "options.parquet", "monthly.parquet", "rejects.csv", "index.html", "run.json", "datapackage.json"} {
		if _, err := os.Stat(filepath.Join(dir, "runs", "2026-10", name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, f := range []string{"truth", "Truth"} {
		if m, _ := filepath.Glob(filepath.Join(dir, "*"+f+"*")); len(m) > 0 {
			t.Errorf("the truth lies beside the fleet: %v", m)
		}
	}
}

// Every lane occurs, every site stands in one, and what the generator built the
// site for is what comes out, or another lane that an honest judge may choose,
// for most of them. The share is a floor for regressions, not a claim.
func TestDemoLanes(t *testing.T) {
	dir, _ := demoFleet(t)
	rows, err := parquet.ReadFile[report.SiteRow](filepath.Join(dir, "runs", "2026-10", "sites.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	made := demo.Make(demo.Default())
	lanes := map[string]int{}
	as := 0
	for _, r := range rows {
		lanes[r.Lane]++
		truth := made.Truth(r.SiteID)
		ok := r.Lane == truth.IntendedLane
		for _, l := range truth.MayLanes {
			ok = ok || l == r.Lane
		}
		if ok {
			as++
		} else {
			t.Logf("%s (%s): %s, made for %s: %v", r.SiteID, truth.Archetype, r.Lane, truth.IntendedLane, r.Reasons)
		}
	}
	for _, l := range rank.Lanes {
		if lanes[string(l)] == 0 {
			t.Errorf("no site is in lane %s", l)
		}
	}
	if len(rows) != 240 || as < 200 {
		t.Errorf("%d of %d sites stand where they were made for", as, len(rows))
	}
	t.Logf("%d of %d as intended or allowed; lanes %v", as, len(rows), lanes)
}

func TestSameBytesWhateverTheWorkers(t *testing.T) {
	dir, _ := demoFleet(t)
	one, eight := filepath.Join(t.TempDir(), "one"), filepath.Join(t.TempDir(), "eight")
	for out, workers := range map[string]string{one: "1", eight: "8"} {
		if code, _, errs := rowenRun("run", dir, "--workers", workers, "--out", out); code != 0 {
			t.Fatal(errs)
		}
	}
	sameRun(t, one, eight)
	sameRun(t, one, filepath.Join(dir, "runs", "2026-10"))
}

// sameRun compares two runs byte for byte, but for the timings in run.json.
func sameRun(t *testing.T, a, b string) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(a, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		rel, _ := filepath.Rel(a, path)
		x, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		y, err := os.ReadFile(filepath.Join(b, rel))
		if err != nil {
			return err
		}
		if rel == "run.json" {
			x, y = withoutTimings(t, x), withoutTimings(t, y)
		}
		if !bytes.Equal(x, y) {
			t.Errorf("%s differs", rel)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 9 {
		t.Fatalf("only %d files were compared", files)
	}
}

func withoutTimings(t *testing.T, b []byte) []byte {
	var m map[string]any
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	delete(m, "timings")
	out, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestExitCodes(t *testing.T) {
	empty := t.TempDir()
	badSettings := t.TempDir()
	write(t, badSettings, "rowen.yaml", "money: {horizon_year: 25}\nworkers: 4.7\n")
	for _, tc := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no such command", []string{"forecast"}, 2, "rowen --help"},
		{"no argument", []string{"run"}, 2, "takes the fleet's folder"},
		{"unknown flag", []string{"run", empty, "--fast"}, 2, "--fast"},
		{"bad log format", []string{"run", empty, "--log-format", "xml"}, 2, "must be text or json"},
		{"a demo that cannot be", []string{"demo", "--dir", filepath.Join(empty, "d"), "--step", "7"}, 2, "step"},
		{"no such table", []string{"schema", "roofs"}, 2, "the tables are"},
		{"misspelt setting", []string{"run", badSettings}, 2, "horizon_years"},
		{"all settings at once", []string{"run", badSettings}, 2, "workers"},
		{"bad month", []string{"run", empty, "--month", "October"}, 2, "2026-10"},
		{"no such folder", []string{"run", filepath.Join(empty, "nothing")}, 1, "is no folder"},
		{"no register", []string{"run", empty}, 1, "sites.csv"},
		{"no run", []string{"explain", empty, "a"}, 1, "name a run's folder"},
		{"no run to export", []string{"export", empty, "sites"}, 1, "name a run's folder"},
		{"no such table to export", []string{"export", empty, "call_list"}, 1, "must be one of"},
		{"several tables to standard output", []string{"export", empty, "sites", "monthly"}, 2, "--files"},
		{"nothing to export", []string{"export"}, 2, "a run's folder"},
		{"no fleet's history", []string{"history"}, 2, "the fleet's folder"},
		{"no runs in the history", []string{"history", empty}, 1, "has been run"},
		{"no runs to compare", []string{"compare", empty, empty}, 1, "name a run's folder"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			code, _, errs := rowenRun(tc.args...)
			if code != tc.code || !strings.Contains(errs, tc.says) {
				t.Errorf("exit %d, want %d; says %q, want %q", code, tc.code, errs, tc.says)
			}
		})
	}
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestExplainAndCompare(t *testing.T) {
	dir, _ := demoFleet(t)
	run := filepath.Join(dir, "runs", "2026-10")
	rows, err := parquet.ReadFile[report.SiteRow](filepath.Join(run, "sites.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, r := range rows {
		if seen[r.Lane] {
			continue
		}
		seen[r.Lane] = true
		code, out, errs := rowenRun("explain", run, r.SiteID)
		if code != 0 || !strings.Contains(out, r.SiteID+": "+r.Lane) || !strings.Contains(out, "licensed people") {
			t.Errorf("explain %s: exit %d %s\n%s", r.SiteID, code, errs, out)
		}
		for _, never := range []string{"NaN", "<nil>", "Inf", "%!"} {
			if strings.Contains(out, never) {
				t.Errorf("explain %s (%s) says %s:\n%s", r.SiteID, r.Lane, never, out)
			}
		}
	}
	if code, out, _ := rowenRun("compare", run, run); code != 0 || !strings.Contains(out, "nothing changed") {
		t.Errorf("a run against itself: exit %d %s", code, out)
	}
	earlier := filepath.Join(t.TempDir(), "earlier")
	if code, _, errs := rowenRun("run", dir, "--month", "2026-07", "--out", earlier); code != 0 {
		t.Fatal(errs)
	}
	if code, out, _ := rowenRun("compare", earlier, run); code != 0 || strings.Contains(out, "run differently") || !strings.HasPrefix(out, "2026-10 against 2026-07") || !strings.Contains(out, "entered the ranking") {
		t.Errorf("July against October: exit %d %s", code, out)
	}
}

func TestSchemaDescribesEverything(t *testing.T) {
	code, out, _ := rowenRun("schema", "--format", "json")
	if code != 0 {
		t.Fatal(out)
	}
	var tables []described
	if err := json.Unmarshal([]byte(out), &tables); err != nil {
		t.Fatal(err)
	}
	var fields func(of string, cs []describedColumn)
	fields = func(of string, cs []describedColumn) {
		for _, c := range cs {
			if c.Says == "" || c.Type == "" {
				t.Errorf("%s.%s: type %q, says %q", of, c.Name, c.Type, c.Says)
			}
			fields(of+"."+c.Name, c.Fields)
		}
	}
	for _, table := range tables {
		fields(table.Name, table.Columns)
		if table.Says == "" || len(table.Columns) == 0 {
			t.Errorf("table %s says %q and has %d columns", table.Name, table.Says, len(table.Columns))
		}
	}
	for name, has := range map[string][2]string{"input": {"permission_limit_kw", "sites.parquet"}, "output": {"sites.parquet", "sites.csv"}} {
		if code, out, _ := rowenRun("schema", name, "sites"); code != 0 || !strings.Contains(out, has[0]) || strings.Contains(out, has[1]) {
			t.Errorf("schema %s sites: exit %d\n%s", name, code, out)
		}
	}
	for _, name := range []string{"profiles", "run.json", "visits.json", "codes/caveat", "codes/event", "codes/step", "sites", "readings", "settings", "options", "codes", "check", "run", "ledger", "catalogue", "tariffs", "input/outcomes", "output/outcomes"} {
		if code, out, _ := rowenRun("schema", name); code != 0 || len(out) < 200 {
			t.Errorf("schema %s: exit %d\n%s", name, code, out)
		}
	}
}

// TestSchemaKnowsTheFolders: every file that a run and the ledger leave is in the
// dictionary, and those that are always there are.
func TestSchemaKnowsTheFolders(t *testing.T) {
	dir := smallFleet(t)
	if code, _, errs := rowenRun("run", dir); code != 0 {
		t.Fatal(errs)
	}
	serial := regexp.MustCompile(`briefs/[^/]+\.html$`)
	seen := map[string]bool{}
	for _, name := range outputsOf(t, glob(t, dir, "runs/2*")[0]) {
		seen[serial.ReplaceAllString(filepath.ToSlash(name), "briefs/SITE.html")] = true
	}
	for _, f := range report.Files() {
		if f.Always && !seen[f.Name] {
			t.Errorf("a run has no %s", f.Name)
		}
		delete(seen, f.Name)
	}
	if len(seen) > 0 {
		t.Errorf("a run has files that the dictionary lacks: %v", seen)
	}
	bucket := regexp.MustCompile(`bucket-\d+-\d+`)
	known := map[string]bool{}
	for _, f := range ledger.Files() {
		known[f.Name] = true
	}
	for _, name := range outputsOf(t, filepath.Join(dir, ".rowen", "ledger")) {
		if !known[bucket.ReplaceAllString(name, "bucket-NNNN-U")] {
			t.Errorf("the ledger has the file %s, which the dictionary lacks", name)
		}
	}
}

// A run that cannot be published leaves nothing under its name, and nothing
// unfinished beside it.
func TestRunAppearsWholeOrNotAtAll(t *testing.T) {
	dir, _ := demoFleet(t)
	taken := filepath.Join(t.TempDir(), "taken")
	write(t, taken, "letter.txt", "not a run")
	code, _, errs := rowenRun("run", dir, "--out", taken)
	if code != 1 || !strings.Contains(errs, "no earlier run") {
		t.Errorf("exit %d: %s", code, errs)
	}
	left, _ := os.ReadDir(filepath.Dir(taken))
	if len(left) != 1 {
		t.Errorf("left beside it: %v", left)
	}
	if b, _ := os.ReadFile(filepath.Join(taken, "letter.txt")); string(b) != "not a run" {
		t.Error("somebody's folder was touched")
	}
}

// TestHistoryAndExport: both commands on a run of the demo, which is made once for
// all tests: what they write goes elsewhere.
func TestHistoryAndExport(t *testing.T) {
	dir, _ := demoFleet(t)
	out := t.TempDir()
	code, says, errs := rowenRun("history", dir, "--out", out)
	rows, err := parquet.ReadFile[report.HistoryRow](filepath.Join(out, "history.parquet"))
	if code != 0 || err != nil || len(rows) == 0 || !strings.Contains(says, "2026-10") || !strings.Contains(says, "history.csv") {
		t.Fatalf("exit %d, %d rows, %v: %s%s", code, len(rows), err, says, errs)
	}
	if code, says, errs := rowenRun("history", dir, "--site", rows[0].SiteID); code != 0 || !strings.HasPrefix(says, "2026-") {
		t.Errorf("one site's history: exit %d: %s%s", code, says, errs)
	}
	tables := filepath.Join(out, "arrow")
	if code, _, errs := rowenRun("export", filepath.Join(dir, "runs", "2026-10"), "--files", tables); code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if files, _ := filepath.Glob(filepath.Join(tables, "*.arrow")); len(files) != len(report.ArrowTables()) {
		t.Errorf("%d files of %d tables", len(files), len(report.ArrowTables()))
	}
}
