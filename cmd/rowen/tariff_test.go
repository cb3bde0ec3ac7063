package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rowen/scripts/outside"
)

// A rate is added to a tariffs file once, and the second time is refused without
// a change of the file; a file that cannot be added to stays as it is.
func TestTariffInto(t *testing.T) {
	rate := outside.Data(t, "open-tariffs", "rates", "urdb_12.json")
	into := filepath.Join(t.TempDir(), "tariffs.yaml")
	write(t, filepath.Dir(into), "tariffs.yaml", "# mine\ntariffs:\n- id: mine\n  import: [{price: 0.2}]\n")
	if code, out, errs := rowenRun("tariff", rate, "--into", into, "--export-price", "0.04"); code != 0 || !strings.Contains(out, "added utility-12-residential-rate-12") {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	first, _ := os.ReadFile(into)
	if !strings.HasPrefix(string(first), "# mine\ntariffs:\n- id: mine\n") || !strings.Contains(string(first), "\n- id: \"utility-12") {
		t.Errorf("%s", first)
	}
	code, _, errs := rowenRun("tariff", rate, "--into", into)
	if second, _ := os.ReadFile(into); code == 0 || string(second) != string(first) || !strings.Contains(errs, "is left as it is") {
		t.Errorf("exit %d, %s", code, errs)
	}
	write(t, filepath.Dir(into), "odd.yaml", "tariffs: [{id: a, import: [{price: 1}]}]\n")
	odd := filepath.Join(filepath.Dir(into), "odd.yaml")
	if code, _, errs := rowenRun("tariff", rate, "--into", odd); code != 1 || !strings.Contains(errs, "left as it is") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if b, _ := os.ReadFile(odd); string(b) != "tariffs: [{id: a, import: [{price: 1}]}]\n" {
		t.Errorf("%s", b)
	}
}

// One bad file leaves the other's entry printed and exits 3.
func TestTariffGoesOn(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "bad.json", `{"energyratestructure": 3}`)
	code, out, errs := rowenRun("tariff", filepath.Join(dir, "bad.json"), outside.Data(t, "open-tariffs", "rates", "urdb_01.json"))
	if code != 3 || !strings.Contains(out, "utility-01-residential-rate-01") || !strings.Contains(errs, "bad.json: energyratestructure 3 is not of the kind") {
		t.Errorf("exit %d: %s%s", code, out, errs)
	}
}

func TestSetNamesTheFolder(t *testing.T) {
	w := whatIf{set: []string{"money.cost_per_module=700", "defaults.tariff_id=tou b/c", "workers=2"}, tariffs: "/x/net billing.yaml"}
	if got := w.suffix(); got != "_defaults.tariff_id=tou-b-c_money.cost_per_module=700_tariffs=net-billing" {
		t.Errorf("%s", got)
	}
	if got := (&whatIf{}).suffix(); got != "" {
		t.Errorf("%s", got)
	}
	dir := t.TempDir()
	write(t, dir, "sites.csv", "site_id,latitude,longitude\n")
	for _, c := range []struct{ set, says string }{
		{"money.cost_per_modul=7", `did you mean "money.cost_per_module"`},
		{"money.cost_per_module=cheap", "--set money.cost_per_module"},
		{"money", "must be KEY=VALUE"},
	} {
		if code, _, errs := rowenRun("run", dir, "--set", c.set); code != 2 || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit %d: %s", c.set, code, errs)
		}
	}
}
