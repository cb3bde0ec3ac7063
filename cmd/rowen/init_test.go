package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// A folder as init leaves it passes the settings, and once the example rows and
// one entry per list are put in, check finds nothing to set aside.
func TestInitThenFillThenCheck(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "fleet")
	code, out, errs := rowenRun("init", dir)
	if code != 0 || !strings.Contains(out, "rowen check "+dir) {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	for table := range example {
		copyFile(t, filepath.Join(dir, "examples", table+".csv"), filepath.Join(dir, table+".csv"))
	}
	for _, document := range []string{"catalogue.yaml", "tariffs.yaml"} {
		copyFile(t, filepath.Join(dir, "examples", document), filepath.Join(dir, document))
	}
	write(t, dir, "readings/h.csv", "site_id,start,production_wh\nH-1001,2026-10-01T12:00:00Z,900\nH-1001,2026-10-01T13:00:00Z,800\n")
	if code, out, errs := rowenRun("check", dir); code != 0 || !strings.Contains(out, "2 rows read = 2 kept + 0 set aside") {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestInitNeverOverwrites(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "sites.csv", "mine\n")
	code, out, _ := rowenRun("init", dir)
	if code != 0 || !strings.Contains(out, "left as it is: sites.csv") {
		t.Errorf("exit %d: %s", code, out)
	}
	if b, _ := os.ReadFile(filepath.Join(dir, "sites.csv")); string(b) != "mine\n" {
		t.Errorf("sites.csv is %q", b)
	}
	if code, out, _ = rowenRun("init", dir); code != 0 || !strings.Contains(out, "0 files written") {
		t.Errorf("a second time: exit %d: %s", code, out)
	}
}

// The mapping of a sample stands in rowen.yaml, which then loads.
func TestInitWithASample(t *testing.T) {
	dir, sample := filepath.Join(t.TempDir(), "fleet"), filepath.Join(t.TempDir(), "march.csv")
	write(t, filepath.Dir(sample), "march.csv", "meter;Zeit;Erzeugung (kWh)\n"+strings.Repeat("A;01.03.2026 10:00;0,25\n", 30))
	if code, out, errs := rowenRun("init", dir, "--sample", sample); code != 0 {
		t.Fatal(out, errs)
	}
	b, _ := os.ReadFile(filepath.Join(dir, "rowen.yaml"))
	if !strings.Contains(string(b), "\nreadings:\n") || !strings.Contains(string(b), `column: "Erzeugung (kWh)"`) {
		t.Errorf("%s", b)
	}
	write(t, dir, "sites.csv", "site_id,latitude,longitude,timezone\nA,48,9,Europe/Berlin\n")
	if code, _, errs := rowenRun("check", dir); code == 2 {
		t.Errorf("the settings do not load: %s", errs)
	}
}

// Two kinds of export do not lie in each other's way, and an open question is
// named where the settings stop at it.
func TestInitWithTwoSamples(t *testing.T) {
	from, dir := t.TempDir(), filepath.Join(t.TempDir(), "fleet")
	write(t, from, "pv.csv", "site;Zeit;Erzeugung (kWh)\n"+strings.Repeat("A;01.03.2026 10:00;0,25\n", 30))
	write(t, from, "grid meter.csv", "site,start,value\n"+strings.Repeat("A,2026-03-01T10:00:00Z,0.25\n", 30))
	code, out, errs := rowenRun("init", dir, "--sample", filepath.Join(from, "pv.csv"), "--sample", filepath.Join(from, "grid meter.csv"))
	if code != 0 || !strings.Contains(out, "readings/export-2/ (those like "+filepath.Join(from, "grid meter.csv")+")") || !strings.Contains(out, "answer the 2 questions in rowen.yaml") {
		t.Fatal(out, errs)
	}
	settings := read(t, filepath.Join(dir, "rowen.yaml"))
	for _, glob := range []string{`"readings/export-1/**/*.csv"`, `"readings/export-2/**/*.csv"`} {
		if !strings.Contains(settings, glob) {
			t.Errorf("no %s in\n%s", glob, settings)
		}
	}
	if code, _, errs := rowenRun("check", dir); code != 2 || !strings.Contains(errs, "is a question that is still open: write production, consumption, import, export or net") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

// With every # removed the outlines are YAML trees, and every key is at its place.
func TestOutlinesAreYAML(t *testing.T) {
	files := starterFiles("")
	for _, name := range []string{"rowen.yaml", "catalogue.yaml", "tariffs.yaml"} {
		var lines []string
		for _, l := range strings.Split(files[name], "\n") {
			if m := regexp.MustCompile(`^# ( *(?:- )?[a-z0-9_]+:.*)$`).FindStringSubmatch(l); m != nil && !strings.Contains(l, ".yaml:") {
				lines = append(lines, m[1])
			}
		}
		var tree map[string]any
		if err := yaml.Unmarshal([]byte(strings.Join(lines, "\n")), &tree); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		want := map[string]string{"rowen.yaml": "money", "catalogue.yaml": "profiles", "tariffs.yaml": "tariffs"}[name]
		if tree[want] == nil {
			t.Errorf("%s has no %s: %v", name, want, tree)
		}
	}
	if strings.Count(files["rowen.yaml"], "\n") < 60 {
		t.Error("rowen.yaml is too short to hold every key")
	}
}
