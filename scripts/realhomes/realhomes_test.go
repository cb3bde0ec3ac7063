package main

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"rowen/report"
	"rowen/scripts/outside"
)

// runs is where the six homes lie with their runs; made once for all tests.
var (
	runOnce sync.Once
	runs    string
)

func TestMain(m *testing.M) {
	code := m.Run()
	if runs != "" {
		os.RemoveAll(runs)
	}
	os.Exit(code)
}

func theRuns(t *testing.T) string {
	t.Helper()
	data := outside.Data(t)
	runOnce.Do(func() {
		dir, err := os.MkdirTemp("", "rowen-homes-")
		if err != nil {
			t.Fatal(err)
		}
		if err := makeFleets(data, dir); err != nil {
			t.Fatal(err)
		}
		binary := filepath.Join(dir, "rowen")
		command(t, "go", "build", "-o", binary, "./cmd/rowen")
		command(t, binary, "run", filepath.Join(dir, "fontana"), "--out", filepath.Join(dir, "run-fontana"))
		command(t, binary, "run", filepath.Join(dir, "konstanz"), "--out", filepath.Join(dir, "run-konstanz"))
		runs = dir
	})
	if runs == "" {
		t.Fatal("the homes did not run")
	}
	return runs
}

func command(t *testing.T, name string, args ...string) {
	t.Helper()
	c := exec.Command(name, args...)
	c.Dir = outside.Root()
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
}

func read[T any](t *testing.T, path ...string) []T {
	t.Helper()
	rows, err := parquet.ReadFile[T](filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// The expectations are those of the data set's own description: yearly load and
// output, and which roofs face early and which late; nothing in it gives a
// facing in degrees, so the ranges are wide.
func TestFontana(t *testing.T) {
	dir := theRuns(t)
	want := map[string]struct{ kw, loadKWh, kWhPerKW, azimuthFrom, azimuthTo float64 }{
		"home_01": {4, 10583, 1803, 150, 210},
		"home_02": {4, 9354, 1356, 200, 290}, // late: west of south
		"home_05": {4, 8808, 1517, 80, 165},  // early: east of south
		"home_10": {5, 13115, 1461, 200, 290},
		"home_16": {5, 11587, 1769, 150, 250},
	}
	rows := read[report.SiteRow](t, dir, "run-fontana", "sites.parquet")
	if len(rows) != len(want) {
		t.Fatalf("%d homes", len(rows))
	}
	for _, r := range rows {
		w := want[r.SiteID]
		if r.Failed != nil || r.ProductionKWhYr == nil || r.ConsumptionKWhYr == nil || r.ProductionIndex == nil {
			t.Errorf("%s was not judged: lane %s, reasons %v", r.SiteID, r.Lane, r.Reasons)
			continue
		}
		near(t, r.SiteID+" output", *r.ProductionKWhYr, w.kw*w.kWhPerKW, 0.02)
		near(t, r.SiteID+" use", *r.ConsumptionKWhYr, w.loadKWh, 0.03)
		if len(r.Planes) != 1 || !r.Planes[0].Estimated || r.Planes[0].SDDeg == nil {
			t.Errorf("%s: planes %+v must be one, estimated, with its doubt", r.SiteID, r.Planes)
		} else if a := r.Planes[0].AzimuthDeg; a < w.azimuthFrom || a > w.azimuthTo {
			t.Errorf("%s faces %.0f°, by the description %.0f to %.0f", r.SiteID, a, w.azimuthFrom, w.azimuthTo)
		}
		if *r.ProductionIndex < 0.9 || *r.ProductionIndex > 1.1 {
			t.Errorf("%s: production index %.2f of an array that nobody calls sick", r.SiteID, *r.ProductionIndex)
		}
		if r.Lane == "repair" || r.Lane == "no_data" || r.DataDays < 360 {
			t.Errorf("%s: lane %s, %d days", r.SiteID, r.Lane, r.DataDays)
		}
		if r.RoofModules != nil || r.ServiceModules != nil {
			t.Errorf("%s: nobody knows this roof or panelboard", r.SiteID)
		}
	}
}

// The sums of 2016 are the data set's own. A few days' counters jump over gaps
// of days: what cannot be put into an hour is kept out, so the sums may fall
// short by as much.
func TestKonstanz(t *testing.T) {
	dir := theRuns(t)
	var made, bought, sold float64
	for _, m := range read[report.MonthRow](t, dir, "run-konstanz", "monthly.parquet") {
		if day(m.Month).Year() == 2016 {
			made, bought, sold = made+*m.ProductionKWh, bought+*m.ImportKWh, sold+*m.ExportKWh
		}
	}
	near(t, "output of 2016", made, 10891, 0.02)
	near(t, "import of 2016", bought, 3884, 0.02)
	near(t, "export of 2016", sold, 8649, 0.02)
	r := read[report.SiteRow](t, dir, "run-konstanz", "sites.parquet")[0]
	if r.ConsumptionBasis == nil || *r.ConsumptionBasis != "derived" {
		t.Fatalf("the use has no meter here: basis %v", r.ConsumptionBasis)
	}
	near(t, "use", *r.ConsumptionKWhYr, 6125, 0.1)
	if r.Lane == "repair" || r.Lane == "no_data" {
		t.Errorf("lane %s: %v", r.Lane, r.Reasons)
	}
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*want {
		t.Errorf("%s: %.0f kWh, the data set says %.0f", what, got, want)
	}
}

func day(days int32) time.Time { return time.Unix(int64(days)*86400, 0).UTC() }

// notYet are the truths that the program does not tell.
var notYet = map[string]string{
	"italy: car from 2023-05-14":               missed,
	"italy: nothing else came or left":         mistaken, // the car, dated too early beside the array that grew
	"home_d: a larger array from January 2025": missed,
}

// TestTruths: what the data sets say of their homes is what the program says, but
// for the truths of notYet, which nobody may add to without a reason.
func TestTruths(t *testing.T) {
	dir := theRuns(t)
	lines, err := judgeAll(outside.Data(t), t.TempDir(), filepath.Join(dir, "rowen"))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lines {
		want := right
		if v := notYet[l.set+": "+l.says]; v != "" {
			want = v
		}
		if l.verdict != want {
			t.Errorf("%s: %s: says %s: %s, want %s", l.set, l.says, l.said, l.verdict, want)
		}
	}
}
