package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rowen/ingest/demo"
)

// TestFortyMonthsEqualOneReading: a ledger that took in forty months one by one,
// then a late correction of old months, a file replaced, a file removed and a
// mapping changed, gives the bytes of a job that reads everything anew.
func TestFortyMonthsEqualOneReading(t *testing.T) {
	g := growing{T: t, dir: t.TempDir(), held: t.TempDir()}
	months, every := 40, 10
	if testing.Short() {
		months, every = 4, 4
	}
	g.plant(months + 13)
	for i := range months {
		g.arrive(g.waiting[i])
		g.run()
		if (i+1)%every == 0 {
			g.equalsOneReading("after month " + g.waiting[i])
		}
	}
	readings := filepath.Join(g.dir, "readings")
	list, _ := filepath.Glob(filepath.Join(readings, "*.csv"))
	slices.Sort(list)

	old := list[len(list)-3] // of the report's year
	lines := strings.SplitAfter(read(t, old), "\n")
	other := func(digit string) string { // other values for hours that were read long ago
		b := strings.Builder{}
		b.WriteString(lines[0])
		for _, line := range lines[1:200] {
			b.WriteString(strings.Replace(line, ":00,", ":00,"+digit, 1)) // the end of the stamp
		}
		return b.String()
	}
	sum := func() string { return read(t, filepath.Join(g.last, "monthly.parquet")) }
	before := sum()
	write(t, readings, "9999-late.csv", other("1"))
	g.run()
	g.equalsOneReading("after a late correction")
	if sum() == before {
		t.Error("the late correction changes nothing: the test is broken")
	}

	// A file that comes last and whose name is the first gives way to the others, in
	// whatever order they were read.
	write(t, readings, "0000-first.csv", other("2"))
	g.run()
	g.equalsOneReading("after a file with the first name")

	write(t, readings, filepath.Base(old), lines[0]+strings.Join(lines[100:], ""))
	g.run()
	g.equalsOneReading("after a file was replaced")

	os.Remove(list[3])
	g.run("--accept-missing")
	g.equalsOneReading("after a file was removed")

	settings := read(t, filepath.Join(g.dir, "rowen.yaml"))
	write(t, g.dir, "rowen.yaml", settings+`
readings:
  - glob: "readings/*.csv"
    site_id: {column: site_id}
    time: {column: start, format: rfc3339, stamp: end}
    channels:
      production: {column: production_wh, unit: Wh, quantity: energy}
      consumption: {column: consumption_wh, unit: Wh, quantity: energy}
`)
	g.run()
	g.equalsOneReading("after the mapping changed")
}

// growing is a fleet whose files arrive one by one.
type growing struct {
	*testing.T
	dir, held string
	waiting   []string // names in held, oldest first
	last      string   // the folder of the last run
}

// plant makes a fleet that has its first year.
func (g *growing) plant(months int) {
	o := demo.Default()
	o.Sites, o.Months, o.Events, o.Faults = 3, months, 0, 0
	if err := demo.Make(o).Write(g.dir, demo.WriteOptions{}); err != nil {
		g.Fatal(err)
	}
	settings := read(g.T, filepath.Join(g.dir, "rowen.yaml"))
	write(g.T, g.dir, "rowen.yaml", regexp.MustCompile(`(?m)^month:.*\n`).ReplaceAllString(settings, "")) // the last complete month in the data
	readings := filepath.Join(g.dir, "readings")
	splitByMonth(g.T, readings)
	list, _ := filepath.Glob(filepath.Join(readings, "*.csv"))
	slices.Sort(list)
	for _, path := range list[13:] {
		name := filepath.Base(path)
		if err := os.Rename(path, filepath.Join(g.held, name)); err != nil {
			g.Fatal(err)
		}
		g.waiting = append(g.waiting, name)
	}
	g.run()
}

func (g *growing) arrive(name string) {
	if err := os.Rename(filepath.Join(g.held, name), filepath.Join(g.dir, "readings", name)); err != nil {
		g.Fatal(err)
	}
}

// run is the job on the ledger that there is.
func (g *growing) run(more ...string) {
	g.Helper()
	g.last = filepath.Join(g.dir, "runs", "last")
	if code, _, errs := rowenRun(append([]string{"run", g.dir, "--out", g.last}, more...)...); code != 0 {
		g.Fatalf("exit %d: %s", code, errs)
	}
}

// equalsOneReading runs the job without the ledger and compares the bytes.
func (g *growing) equalsOneReading(when string) {
	g.Helper()
	ledger, aside := filepath.Join(g.dir, ".rowen"), filepath.Join(g.held, "ledger")
	if err := os.Rename(ledger, aside); err != nil {
		g.Fatal(err)
	}
	anew := filepath.Join(g.dir, "runs", "anew")
	if code, _, errs := rowenRun("run", g.dir, "--out", anew); code != 0 {
		g.Fatalf("%s: exit %d: %s", when, code, errs)
	}
	for _, name := range outputsOf(g.T, anew) {
		a, b := []byte(read(g.T, filepath.Join(anew, name))), []byte(read(g.T, filepath.Join(g.last, name)))
		if name == "run.json" {
			a, b = withoutTimings(g.T, a), withoutTimings(g.T, b)
		}
		if !bytes.Equal(a, b) {
			g.Errorf("%s: %s differs from one reading of everything", when, name)
		}
	}
	if a, b := outputsOf(g.T, anew), outputsOf(g.T, g.last); !slices.Equal(a, b) {
		g.Errorf("%s: one reading writes %v, the ledger %v", when, a, b)
	}
	os.RemoveAll(anew)
	os.RemoveAll(ledger)
	if err := os.Rename(aside, ledger); err != nil {
		g.Fatal(err)
	}
}

// outputsOf lists the files below a run's folder.
func outputsOf(t *testing.T, dir string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, path)
			names = append(names, rel)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
