package config

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestBadFiles reads one file a mistake: its first lines, "# want: …", are the
// whole message, written down before the file was ever read.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no bad files: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var want []string
			for line := range strings.Lines(string(text)) {
				if w, ok := strings.CutPrefix(line, "# want: "); ok {
					want = append(want, strings.TrimSpace(w))
				}
			}
			_, err = parse(text, nil, nil)
			var bad *Error
			if !errors.As(err, &bad) {
				t.Fatalf("got %v, want an *Error", err)
			}
			if diff := cmp.Diff(want, strings.Split(err.Error(), "\n")); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

// TestContractSettings reads the settings that the contract prints: every key
// of it is known, and they are the defaults but for what a fleet must choose.
func TestContractSettings(t *testing.T) {
	got, err := parse([]byte(`
currency: USD
month: 2026-10
defaults: {timezone: America/Denver, tariff_id: tou-a, profile: split-phase-200, module: TN-430, inverter: KV2-380}
readings:
  - glob: "readings/**/*.csv"
    format: csv
    layout: long
    site_id: {column: site_id}
    time: {column: start, format: rfc3339, zone: "", stamp: start}
    channels:
      production:  {column: production_wh,  unit: Wh, quantity: energy}
      consumption: {column: consumption_wh, unit: Wh, quantity: energy}
money:
  discount_rate_pct: 5
  price_escalation_pct_yr: 2.5
  horizon_years: 25
  module_degradation_pct_yr: 0.5
  cost_per_module: 780
  cost_per_visit: 1400
  cost_of: {software_update: 0, panelboard_upgrade: 2800, new_permission: 450, gateway_swap: 900}
roof: {ridge_setback_m: 0.46, eave_setback_m: 0.0, side_setback_m: 0.30, module_gap_m: 0.02}
rank: {calls_per_branch: 40, cool_down_months: 6, max_payback_years: 15, min_modules: 2}
limits: {max_rejected_pct: 2}
workers: 0
`), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := Default()
	want.Month = "2026-10"
	want.Defaults = Defaults{Timezone: "America/Denver", TariffID: "tou-a", Profile: "split-phase-200", Module: "TN-430", Inverter: "KV2-380"}
	want.Readings = []Mapping{{
		Glob: "readings/**/*.csv", Format: "csv", Layout: "long", Decimal: ".",
		SiteID: SiteID{Column: "site_id"},
		Time:   Time{Column: "start", Format: "rfc3339", Stamp: "start"},
		Channels: Channels{
			Production:  &Channel{Column: "production_wh", Unit: "Wh", Quantity: "energy", Sign: 1, SpreadGap: "6h"},
			Consumption: &Channel{Column: "consumption_wh", Unit: "Wh", Quantity: "energy", Sign: 1, SpreadGap: "6h"},
		},
	}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestDefaultsPass(t *testing.T) {
	dir := t.TempDir() // no rowen.yaml in it
	got, err := Load(dir, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got.Currency != "USD" || got.Money.HorizonYears != 25 || len(got.Sky.LinkeTurbidity) != 12 {
		t.Errorf("defaults: %+v", got)
	}
}

// TestPrecedence sets one key in more and more places: each wins over those
// before it, and the others stand.
func TestPrecedence(t *testing.T) {
	file := []byte("workers: 2\nmoney: {horizon_years: 20, cost_per_visit: 1000}\n")
	env := []string{"ROWEN_WORKERS=3", "ROWEN_MONEY_HORIZON_YEARS=15", "ROWEN_CURRENCY=", "HOME=/x"}
	flags := map[string]string{"workers": "4"}
	for _, c := range []struct {
		name             string
		file             []byte
		flags            map[string]string
		env              []string
		workers, horizon int
		visit            float64
	}{
		{"defaults", nil, nil, nil, 0, 25, 1400},
		{"file", file, nil, nil, 2, 20, 1000},
		{"environment", file, nil, env, 3, 15, 1000},
		{"flags", file, flags, env, 4, 15, 1000},
		{"flags alone", nil, flags, nil, 4, 25, 1400},
	} {
		s, err := parse(c.file, c.flags, c.env)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if s.Workers != c.workers || s.Money.HorizonYears != c.horizon || s.Money.CostPerVisit != c.visit || s.Currency != "USD" {
			t.Errorf("%s: workers %d, horizon %d, visit %g, currency %s", c.name, s.Workers, s.Money.HorizonYears, s.Money.CostPerVisit, s.Currency)
		}
	}
}

// TestBadFlagsAndEnvironment wants the same wording as for the file, all at
// once, and the environment before the flags.
func TestBadFlagsAndEnvironment(t *testing.T) {
	_, err := parse([]byte("roof: {module_gap_m: -1}\n"),
		map[string]string{"workers": "4.7", "mony.horizon_years": "3"},
		[]string{"ROWEN_WORKER=3", "ROWEN_MONEY_HORIZON_YEARS=99", "ROWEN_READINGS=x"})
	want := strings.Split(`ROWEN_READINGS: is not a setting: set it in rowen.yaml
ROWEN_WORKER: is not a setting: did you mean "ROWEN_WORKERS"?
--set mony.horizon_years: is not a setting: did you mean "money.horizon_years"?
--workers: workers: 4.7 must be a whole number: give a whole number (>= 0, <= 1024), or leave the key out for the default "0"
ROWEN_MONEY_HORIZON_YEARS: money.horizon_years: 99 must be <= 50 years: give a whole number (>= 1, <= 50), or leave the key out for the default "25"
rowen.yaml:1: roof.module_gap_m: -1 must be >= 0 m: give a number (>= 0, <= 1), or leave the key out for the default "0.02"`, "\n")
	if err == nil {
		t.Fatal("no error")
	}
	if diff := cmp.Diff(want, strings.Split(err.Error(), "\n")); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

// TestKeys holds the dictionary against itself: every key has a text, each
// once, and every key outside a list can be set by a flag to its own default.
func TestKeys(t *testing.T) {
	seen := map[string]bool{}
	flags := map[string]string{}
	for _, k := range Keys() {
		if seen[k.Name] || k.Text == "" || k.Type == "" {
			t.Errorf("key %+v", k)
		}
		seen[k.Name] = true
		if !strings.Contains(k.Name, "[]") && k.Default != "" {
			flags[k.Name] = k.Default
		}
	}
	for _, want := range []string{"currency", "defaults.timezone", "money.cost_of.gateway_swap", "readings[].channels.export.sign", "workers"} {
		if !seen[want] {
			t.Errorf("no key %s", want)
		}
	}
	got, err := parse(nil, flags, nil)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(Default(), got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

// FuzzParse wants no panic, and for text that is refused a reason with a place.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "a", "- 1", "workers: 3", "readings: [{glob: x, channels: {import: {column: y}}}]", "money: {cost_of: 3}", "a: &a {b: *a}", "workers: *x", "? [a]\n: b", "<<: {workers: 3}"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		_, err := parse([]byte(s), nil, nil)
		var bad *Error
		if err != nil && (!errors.As(err, &bad) || !strings.HasPrefix(err.Error(), FileName)) {
			t.Errorf("%q: %v", s, err)
		}
	})
}

// TestBlankValues: a key without a value is as if it were absent, at every
// depth.
func TestBlankValues(t *testing.T) {
	for _, text := range []string{"workers:\n", "money:\n", "readings:\n", "money: {cost_of: {gateway_swap: }}\n", "# nothing\n", "~\n"} {
		got, err := parse([]byte(text), nil, nil)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if diff := cmp.Diff(Default(), got); diff != "" {
			t.Errorf("%q: -want +got\n%s", text, diff)
		}
	}
}

func TestValuesThatAreNot(t *testing.T) {
	s, err := parse([]byte("readings: [{glob: a.csv, delimiter: tab}]\nmoney: {cost_of: {supply_side_connection: 0}}\n"), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if p := s.Money.CostOf.SupplySideConnection; p == nil || *p != 0 {
		t.Errorf("a job priced at 0 is not the same as one not offered: %v", p)
	}
	if Default().Money.CostOf.SupplySideConnection != nil {
		t.Error("a job that nobody priced is offered")
	}
	if s.Readings[0].Delimiter != "\t" {
		t.Errorf("delimiter %q", s.Readings[0].Delimiter)
	}
}
