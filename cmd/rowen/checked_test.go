package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"rowen/config"
	"rowen/ingest"
)

// checkOf runs check and gives its document.
func checkOf(t *testing.T, dir string, more ...string) (c checked, text string) {
	t.Helper()
	code, out, errs := rowenRun(append([]string{"check", dir, "--format", "json"}, more...)...)
	if out == "" { // it could not even begin
		return checked{ExitCode: code, Verdict: "unusable", Lacking: []string{}}, errs
	}
	if err := json.Unmarshal([]byte(out), &c); err != nil {
		t.Fatalf("%v in %s%s", err, out, errs)
	}
	if code != c.ExitCode {
		t.Errorf("exit %d, the document says %d", code, c.ExitCode)
	}
	_, out, errs = rowenRun(append([]string{"check", dir}, more...)...)
	return c, out + errs
}

// change edits a file of a fleet.
func change(t *testing.T, path, pattern, to string) {
	t.Helper()
	old := read(t, path)
	b := regexp.MustCompile(pattern).ReplaceAllString(old, to)
	if b == old {
		t.Fatalf("%s has no %s", path, pattern)
	}
	write(t, filepath.Dir(path), filepath.Base(path), b)
}

// TestCheckIsTheShoppingList: one thing after another is spoiled or taken away,
// and check says each with its mend.
func TestCheckIsTheShoppingList(t *testing.T) {
	newest := func(dir string) string { return filepath.Join(dir, "readings", "2026-10.csv") }
	for name, c := range map[string]struct {
		spoil   func(t *testing.T, dir string)
		code    int
		says    string
		verdict string
	}{
		"a whole fleet": {func(*testing.T, string) {}, 0, "nothing that a run needs is lacking", "complete"},
		"an id written otherwise": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/*.csv") {
				if strings.Contains(read(t, f), "OM-0002,") {
					change(t, f, "(?m)^OM-0002,", "OM_2,")
				}
			}
		}, 0, `OM_2 (perhaps OM-0002, which has none)`, "complete"},
		"all ids written otherwise": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/*.csv") {
				change(t, f, "(?m)^OM-", "X")
			}
		}, 1, "no site of sites.csv has readings", "unusable"},
		"half of the ids": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/*.csv") {
				change(t, f, "(?m)^OM-000[1-3]", "Q")
			}
		}, 3, "their ids do not match: mend site_id", "partly"},
		"kWh read as Wh": {func(t *testing.T, dir string) {
			write(t, dir, "rowen.yaml", read(t, filepath.Join(dir, "rowen.yaml"))+`
readings:
  - glob: "readings/*.csv"
    channels:
      production: {column: production_wh, unit: kWh, quantity: energy}
      consumption: {column: consumption_wh, unit: kWh, quantity: energy}
`)
		}, 0, "perhaps values in Wh or W are read as kWh or kW: state the unit", "complete"},
		"stamps of another zone": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/*.csv") {
				change(t, f, `(T\d\d:\d\d(:\d\d)?)[-+Z][0-9:]*,`, "${1}+07:00,")
			}
		}, 0, "from the middle of the sun's day: the stamps' zone or the site's place is wrong", "complete"},
		"a month that has not come": {func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, "rowen.yaml"), "(?m)^month:.*", "month: 2027-03")
		}, 3,
			"the report month 2027-03 is not complete in the readings: those of most sites end with 2026-10: bring the newer exports, or leave month out", "partly"},
		"a month long gone": {func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, "rowen.yaml"), "(?m)^month:.*", "month: 2019-01")
		}, 3, "lies before the readings", "partly"},
		"a glob that covers nothing": {func(t *testing.T, dir string) {
			write(t, dir, "rowen.yaml", read(t, filepath.Join(dir, "rowen.yaml"))+"\nreadings:\n  - glob: \"readings/*.csv\"\n  - glob: \"reading/*.csv\"\n")
		}, 0, `readings entry 2: glob "reading/*.csv" covers no file`, "complete"},
		"a column that nobody reads": {func(t *testing.T, dir string) {
			change(t, newest(dir), "(?m)$", ",7")
			change(t, newest(dir), `(?m)^(site_id.*),7$`, "${1},battery_pct")
		}, 0, "battery_pct", "complete"},
		"rows said twice": {func(t *testing.T, dir string) { write(t, dir, "readings/again.csv", read(t, newest(dir))) }, 0, "say again what another file says", "complete"},
		"no services":     {func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, "services.csv")) }, 0, "services: 6 sites: whether the panelboard takes them", "complete"},
		"no planes":       {func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, "planes.csv")) }, 0, "planes: 6 sites: how many modules the roof takes", "complete"},
		"no outcomes":     {func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, "outcomes.csv")) }, 0, "outcomes: 6 sites:", "complete"},
		"a bad tariff": {func(t *testing.T, dir string) {
			change(t, filepath.Join(dir, "tariffs.yaml"), "settlement: yearly", "settlement: hourly")
		}, 3, "tariffs", "partly"},
		"a glob that leaves the folder": {func(t *testing.T, dir string) {
			write(t, dir, "rowen.yaml", read(t, filepath.Join(dir, "rowen.yaml"))+"\nreadings:\n  - glob: \"readings/../../other/*.csv\"\n")
		}, 1, "must stay inside the fleet's folder: it is relative to it and has no ..", "unusable"},
		"no catalogue yet": {func(t *testing.T, dir string) {
			write(t, dir, "catalogue.yaml", "modules: []\n")
			os.Remove(filepath.Join(dir, "services.csv"))
		}, 1, "services: 6 sites: whether the panelboard takes them", "unusable"},
		"a site that fell silent": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/2026-*.csv") {
				change(t, f, "(?m)^OM-0002,.*\n", "")
			}
		}, 0, "the readings of 1 site end before the report month: OM-0002 (2025-12-31)", "complete"},
		"no consumption": {func(t *testing.T, dir string) {
			for _, f := range glob(t, dir, "readings/*.csv") {
				change(t, f, "consumption_wh", "battery_wh")
			}
		}, 0, "readings of production: 6 of 6 sites; of consumption, or import and export: 3; of both: 3", "complete"},
		"a file cut off": {func(t *testing.T, dir string) { write(t, dir, "readings/2026-11.csv.gz", "\x1f\x8b\x08cut") }, 3, "could not be read", "partly"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := smallFleet(t)
			c.spoil(t, dir)
			found, text := checkOf(t, dir)
			if found.ExitCode != c.code || found.Verdict != c.verdict || !strings.Contains(text, c.says) {
				t.Errorf("exit %d, %s; want %d, %s and %q in\n%s", found.ExitCode, found.Verdict, c.code, c.verdict, c.says, text)
			}
			if testing.Short() {
				return
			}
			code, _, errs := rowenRun("run", dir)
			if code != c.code {
				t.Errorf("run ends with %d, check with %d: %s", code, c.code, errs)
			}
			if code == 3 && !strings.Contains(errs, found.Lacking[0]) {
				t.Errorf("run does not say %q in\n%s", found.Lacking[0], errs)
			}
		})
	}
}

func glob(t *testing.T, dir, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, pattern))
	if err != nil || len(found) == 0 {
		t.Fatalf("%s: %v %v", pattern, found, err)
	}
	return found
}

// TestImplausible: what 4 kW and a household are said to do in a year.
func TestImplausible(t *testing.T) {
	site := &ingest.Site{ID: "A", LatitudeDeg: 40, LongitudeDeg: -105, Arrays: []ingest.Array{{Modules: 10, ModuleWatts: 400}}}
	year := func(kWh float64) []float64 {
		wh := make([]float64, 8766)
		for i := range wh {
			wh[i] = kWh * 1000 / 8766
		}
		return wh
	}
	for _, c := range []struct {
		made, used float64
		step       int
		says       string // "": nothing
	}{
		{5600, 9000, 60, ""},                                 // 1,400 kWh a year and kW
		{5600 * 1000, 9000, 60, "state the unit"},            // Wh read as kWh
		{5.6, 9000, 60, "values in kWh or kW are read"},      // kWh read as Wh
		{5600 * 12, 9000, 5, "powers of five minutes"},       // 12 readings an hour added up as energies
		{5600 * 12, 9000, 1440, "the modules in arrays.csv"}, // a day's sum is no power
		{5600, 9, 60, "values in kWh or kW are read"},
		{5600, 9000 * 12, 5, "powers of five minutes"},
	} {
		s := &ingest.Series{SiteID: "A", Start: 480000, StepMinutes: c.step}
		s.Wh[ingest.Production], s.Wh[ingest.Consumption] = year(c.made), year(c.used)
		odd := implausible(site, s, &yearlySums{})
		if c.says == "" && len(odd) > 0 || c.says != "" && (len(odd) != 1 || !strings.Contains(odd[0].Says, c.says)) {
			t.Errorf("%g and %g kWh: %+v, want %q", c.made, c.used, odd, c.says)
		}
	}
}

// TestAWholeFleetInTheWrongUnit: a factor of four leaves every array within what a
// sick or shaded one may do, but not the middle one of a fleet.
func TestAWholeFleetInTheWrongUnit(t *testing.T) {
	for _, c := range []struct {
		perKW float64
		says  string
	}{{1300, ""}, {1300.0 / 4, "perhaps"}, {1300 * 1.5, ""}} {
		y := yearlySums{perKW: []float64{c.perKW * 0.2, c.perKW * 0.95, c.perKW, c.perKW * 1.02, c.perKW * 1.1}}
		odd := y.odd()
		if c.says == "" && len(odd) > 0 || c.says != "" && (len(odd) != 1 || odd[0].SiteID != "" || !strings.Contains(odd[0].Says, "at half of the sites and more production comes to 325 kWh/kW") || !strings.Contains(odd[0].Says, c.says)) {
			t.Errorf("%g: %+v, want %q", c.perKW, odd, c.says)
		}
	}
	if few := (yearlySums{perKW: []float64{300, 300}}); len(few.odd()) > 0 {
		t.Error("two sites are no fleet")
	}
}

// TestUnlocksBestFirst: what many sites lack comes before what one lacks, and of
// two that all lack the one that decides comes first.
func TestUnlocksBestFirst(t *testing.T) {
	fleet := &ingest.Fleet{Sites: make([]ingest.Site, 10), Outcomes: []ingest.Outcome{{}}, Stations: []ingest.Station{{}}}
	n := newShopping(fleet, config.Money{CostPerModule: 1})
	whole := ingest.Site{TariffID: "t", Planes: []ingest.Plane{{}}, Service: &ingest.Service{}, Gateway: &ingest.Gateway{}, CommissionedOn: time.Now(),
		Arrays: []ingest.Array{{InverterModel: "I"}}}
	both := &ingest.Series{}
	for _, c := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		both.Wh[c] = []float64{1}
	}
	for i := range 10 {
		s := whole
		s.Planes = nil
		if s.Service = nil; i == 0 {
			s.Gateway, s.Arrays = nil, nil
		}
		n.site(&s, both)
	}
	var got []string
	for _, u := range n.list() {
		got = append(got, fmt.Sprint(u.Table, u.Sites))
	}
	if want := "planes10 services10 arrays1 gateways1"; strings.Join(got, " ") != want {
		t.Errorf("%v, want %s", got, want)
	}
}

// TestBare: what people write differently of one id is one.
func TestBare(t *testing.T) {
	for _, ids := range [][2]string{{"OM-0007", "om 7"}, {"OM-0007", "OM_07"}, {"H 1001", "h-1001"}, {"A-010-B2", "a10b02"}} {
		if bare(ids[0]) != bare(ids[1]) {
			t.Errorf("%q and %q: %q and %q", ids[0], ids[1], bare(ids[0]), bare(ids[1]))
		}
	}
	if bare("A-10") == bare("A-1") {
		t.Error("ten is one")
	}
}
