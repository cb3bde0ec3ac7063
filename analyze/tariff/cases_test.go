package tariff

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// readCases reads a file of testdata/tariff; a key that is not known fails.
func readCases(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(outside.Root(), "testdata", "tariff", name))
	if err != nil {
		t.Fatal(err)
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(into); err != nil {
		t.Fatal(err)
	}
}

// TestHandWorked prices the bills that were worked out by hand.
func TestHandWorked(t *testing.T) {
	var cases []struct {
		Name       string
		Arithmetic string
		Zone       string
		Tariff     ingest.Tariff
		Energy     []struct {
			At        string
			ImportKWh float64 `yaml:"import_kwh"`
			ExportKWh float64 `yaml:"export_kwh"`
		}
		Expect map[string]float64
	}
	readCases(t, "settlement.yaml", &cases)
	for _, c := range cases {
		t.Run(c.Name, func(t *testing.T) {
			loc, err := time.LoadLocation(c.Zone)
			if err != nil {
				t.Fatal(err)
			}
			window := ingest.Window{Start: ingest.HourOf(time.Date(2026, 1, 1, 0, 0, 0, 0, loc)), N: 8760}
			imports, exports := make([]float64, window.N), make([]float64, window.N)
			for _, e := range c.Energy {
				at, err := time.ParseInLocation("2006-01-02 15:04", e.At, loc)
				if err != nil {
					t.Fatal(err)
				}
				imports[ingest.HourOf(at)-window.Start] += 1000 * e.ImportKWh
				exports[ingest.HourOf(at)-window.Start] += 1000 * e.ExportKWh
			}
			b := compile(t, c.Tariff).Year(window, loc).Bill(imports, exports)
			got := map[string]float64{"total": b.Total, "fixed": b.Fixed, "energy": b.Energy, "non_bypassable": b.NonBypassable, "demand": b.Demand,
				"top_up": b.TopUp, "credit": b.Credit, "surplus": b.Surplus, "lost": b.Lost, "bank_kwh": b.BankKWh}
			if _, said := c.Expect["total"]; !said {
				t.Error("the case expects no total")
			}
			for key, want := range c.Expect {
				if v, known := got[key]; !known || math.Abs(v-want) > 1e-9 {
					t.Errorf("%s: got %.6f, want %.2f\n%s", key, v, want, c.Arithmetic)
				}
			}
			checkSums(t, b)
		})
	}
}

// checkSums: a bill is the sum of its parts and of its months.
func checkSums(t testing.TB, b Bill) {
	t.Helper()
	parts := b.Fixed + b.Energy + b.NonBypassable + b.Demand + b.TopUp - b.Credit - b.Surplus
	months, imports, exports := 0.0, 0.0, 0.0
	for _, m := range b.Months {
		months += m.Total
		imports += m.ImportKWh
		exports += m.ExportKWh
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"parts", parts, b.Total}, {"months", months, b.Total}, {"import", imports, b.ImportKWh}, {"export", exports, b.ExportKWh}} {
		if math.Abs(c.got-c.want) > 1e-9*max(1, math.Abs(c.want)) {
			t.Errorf("sum of the %s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

// TestBadTariffs: every mistake is refused, and the refusal names it.
func TestBadTariffs(t *testing.T) {
	var cases []struct {
		Name, Says string
		Tariff     ingest.Tariff
	}
	readCases(t, "bad.yaml", &cases)
	for _, c := range cases {
		t.Run(c.Name, func(t *testing.T) {
			_, err := Compile(c.Tariff)
			if err == nil {
				t.Fatal("accepted")
			}
			if !strings.Contains(err.Error(), c.Says) {
				t.Errorf("got  %v\nwant %s", err, c.Says)
			}
		})
	}
}

// TestCompileAll: the set knows its successors.
func TestCompileAll(t *testing.T) {
	base := []ingest.TariffPeriod{{Name: "base", Price: 0.2}}
	old := ingest.Tariff{ID: "old", Import: base, Legacy: &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "new"}}
	next := ingest.Tariff{ID: "new", Import: base}
	set, err := CompileAll([]ingest.Tariff{old, next})
	if err != nil || set.Successor(set["old"]) != set["new"] || set.Successor(set["new"]) != nil {
		t.Errorf("err %v, successor %v", err, set.Successor(set["old"]))
	}
	for _, c := range []struct {
		tariffs []ingest.Tariff
		says    string
	}{
		{[]ingest.Tariff{old}, `successor "new" is not among the tariffs`},
		{[]ingest.Tariff{next, next}, `tariff "new": comes twice`},
		{[]ingest.Tariff{{ID: "x", Import: base, Legacy: &ingest.TariffLegacy{Successor: "x"}}}, "successor is the tariff itself"},
		{[]ingest.Tariff{{ID: "a"}, {ID: "b"}}, `tariff "b"`},
	} {
		if _, err := CompileAll(c.tariffs); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("got %v, want %s", err, c.says)
		}
	}
}

// TestKeeps: 10 % of 4.3 kW is one module of 430 W, not two; the kW that the
// text allows count where they are more.
func TestKeeps(t *testing.T) {
	legacy := &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "y"}
	tar := compile(t, ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "base"}}, Legacy: legacy})
	for _, c := range []struct {
		added, existing float64
		keeps           bool
	}{{0, 4.3, true}, {0.43, 4.3, true}, {0.86, 4.3, false}, {0.43, 0, false}} {
		if got := tar.Keeps(c.added, c.existing); got != c.keeps {
			t.Errorf("%v on %v: %v", c.added, c.existing, got)
		}
	}
	legacy.LostWhenAddedKW = 1
	if !tar.Keeps(0.86, 4.3) || tar.Keeps(1.29, 4.3) {
		t.Error("the greater of 10 % and 1 kW is allowed")
	}
}
