package report

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Two runs differ in a setting and in the tariffs file; readings do not count.
func TestDiffers(t *testing.T) {
	run := func(text string) string {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "run.json"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	a := run(`{"month":"2026-10","version":"1","settings":{"money":{"cost_per_module":780,"loan_years":0}},
 "inputs":[{"file":"tariffs.yaml","sha256":"x"},{"file":"sites.csv","sha256":"s"},{"file":"readings/a.csv","sha256":"1"}]}`)
	b := run(`{"month":"2026-11","version":"1","settings":{"month":"2026-11","money":{"cost_per_module":700,"loan_years":0}},
 "inputs":[{"file":"net-billing.yaml","sha256":"y"},{"file":"sites.csv","sha256":"t"},{"file":"readings/a.csv","sha256":"2"}]}`)
	got, err := Differs(a, b)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"file net-billing.yaml: only in the second", "file sites.csv: other content", "file tariffs.yaml: only in the first", "money.cost_per_module: 780 → 700"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if got, err := Differs(a, t.TempDir()); err != nil || got != nil {
		t.Errorf("without a record: %v, %v", got, err)
	}
}
