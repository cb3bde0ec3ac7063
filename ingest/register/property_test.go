package register

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// TestShuffle: rows and columns in any order give the same fleet, bad and
// repeated rows among them; only line numbers move.
func TestShuffle(t *testing.T) {
	files := map[string]string{}
	for name, text := range small {
		files[name] = text
	}
	files["sites.csv"] = strings.ReplaceAll(files["sites.csv"], "\r\n", "\n") +
		"S3,1,1,,,,,,,,,,,,\nS3,1,1,,,,,,,,,,,,\nS4,1,1,,,,,,,,,,,,\nS4,2,2,,,,,,,,,,,,\nS5,95,1,,,,,,,,,,,,\n"
	files["sites.csv"] = strings.TrimPrefix(files["sites.csv"], "\ufeff")
	files["bills.csv"] += "S2,2026-02-15,2026-03-15,1,\nS5,2026-02-15,2026-03-15,1,\nS2,2026-05-15,2026-06-15,1,\n"
	files["outcomes.csv"] += "S2,2026-01-02,sold,x\nS1,2026-01-02,sold,x\nS2,2026-01-02,sold,a\n"
	want, err := Read(folder(t, files), smallOptions)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Rejects) != 7 { // S3 once, S4 twice, S5, its bill, two bills that overlap
		t.Fatalf("%d rejects: %+v", len(want.Rejects), want.Rejects)
	}
	ignore := cmp.Options{sameFleet, cmpopts.IgnoreFields(ingest.Site{}, "Problems"), cmpopts.IgnoreFields(ingest.Fleet{}, "Rejects", "Notes"), cmpopts.IgnoreUnexported(ingest.Fleet{})}
	rapid.Check(t, func(rt *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 0))
		shuffled := map[string]string{}
		for _, tab := range Tables() {
			if text, ok := files[tab.File]; ok {
				shuffled[tab.File] = shuffle(t, text, rng)
			}
		}
		got, err := Read(folder(t, shuffled), smallOptions)
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(want, got, ignore) + cmp.Diff(listed(want), listed(got), ignore); diff != "" {
			rt.Errorf("-want +got\n%s", diff)
		}
		conserved(t, got)
		if len(got.Rejects) != len(want.Rejects) {
			rt.Errorf("%d rejects, want %d", len(got.Rejects), len(want.Rejects))
		}
	})
}

func shuffle(t *testing.T, text string, rng *rand.Rand) string {
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	order := rng.Perm(len(records[0]))
	rows := records[1:]
	rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	var b strings.Builder
	w := csv.NewWriter(&b)
	for _, r := range records {
		out := make([]string, len(r))
		for i, from := range order {
			out[i] = r[from]
		}
		w.Write(out)
	}
	w.Flush()
	return b.String()
}

// TestNoPersonalData spoils every cell of a site's row in turn, by every kind
// of damage, and looks for the customer's name and contact in what is said.
func TestNoPersonalData(t *testing.T) {
	const name, contact = "Zyxwine Quorrel", "zq@example.org"
	header := []string{}
	for _, c := range sites.columns {
		header = append(header, c.Name)
	}
	good := []string{"S1", "39.7", "-105", "America/Denver", "1600", name, contact, "80401", "north", "grid_tied", "2019-01-02", "tou-a", "5", "no", "2026-01-02"}
	for i := range good {
		for _, bad := range []string{"", "?", "-1e9", `x"y`, "\xff", "one,two", "\"open"} {
			row := slices.Clone(good)
			row[i] = bad
			text := strings.Join(header, ",") + "\n" + strings.Join(row, ",") + "\n" + strings.Join(row, ",") + "\n"
			f, err := Read(folder(t, map[string]string{"sites.csv": text}), smallOptions)
			if err != nil {
				t.Fatal(err)
			}
			conserved(t, f)
			all := fmt.Sprint(f.Rejects, f.Notes)
			if strings.Contains(all, "Zyxwine") || strings.Contains(all, "zq@") {
				t.Errorf("column %s, %q: %s", header[i], bad, all)
			}
		}
	}
}

// FuzzScanner: whatever the text, no panic, no line is told twice, and a text
// that encoding/csv reads without complaint gives the same records. A lone
// carriage return is text here, and blank lines are skipped by both.
func FuzzScanner(f *testing.F) {
	for _, s := range []string{"a,b\n1,2\n", "\ufeffa\r\n\"x\"\"y\",\"1\n2\"\r\n", "a\n\"b\nc\nd\"e\n", ",\n\n,", `a"b`, "\"\"\n\"", "\r", "a\r"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var got [][]string
		failed := false
		last := 0
		sc := newScanner(s)
		for {
			cells, line, ok, err := sc.next(nil)
			if !ok {
				break
			}
			if line <= last {
				t.Fatalf("line %d after %d", line, last)
			}
			last = line
			failed = failed || err != nil
			got = append(got, cells)
		}
		if strings.Contains(s, "\r") || strings.Contains(s, `="`) {
			return // encoding/csv turns "\r\n" inside a cell into "\n", and knows no ="0012"
		}
		r := csv.NewReader(strings.NewReader(strings.TrimPrefix(s, "\ufeff")))
		r.FieldsPerRecord, r.Comma = -1, rune(sc.delim)
		want, err := r.ReadAll()
		if (err != nil) != failed {
			t.Fatalf("encoding/csv: %v; here failed: %v", err, failed)
		}
		if err == nil {
			if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		}
	})
}

// FuzzSites: whatever the file, no panic, and rows kept and rows set aside are
// the rows read.
func FuzzSites(f *testing.F) {
	f.Add(small["sites.csv"])
	f.Add("site_id,latitude,longitude\nS1,1,1\nS1,2,2\n\"\nS2,,1\n")
	f.Fuzz(func(t *testing.T, text string) {
		b := &book{}
		rows, err := sites.parse(newScanner(text), b)
		aside := 0
		for _, r := range b.rejects {
			if !r.Kept { // a row that is used all the same, but for one cell
				aside++
			}
		}
		if err == nil && len(rows)+aside != b.rows {
			t.Errorf("%d kept, %d set aside, %d read", len(rows), aside, b.rows)
		}
	})
}

// TestTables holds the dictionary against the contract's table of columns,
// copied here; + marks the required ones.
func TestTables(t *testing.T) {
	want := map[string]string{
		"sites":    "+site_id +latitude +longitude timezone elevation_m customer contact postcode branch grid_type commissioned_on tariff_id permission_limit_kw roof_plan_m2 do_not_contact last_contact_on",
		"arrays":   "+site_id +array_id +modules module_watts module_model tilt_deg azimuth_deg plane_id inverter_model inverters commissioned_on",
		"planes":   "+site_id +plane_id +width_m +slope_m +tilt_deg +azimuth_deg shading_pct blocked_m2 roof_kind roof_year polygon_m obstacles_m",
		"services": "+site_id phases volts busbar_amps main_breaker_amps pv_breaker_amps other_supply_amps free_spaces branch_spare_amps feed profile upstream_busbar_amps upstream_main_breaker_amps load_breakers_amps",
		"gateways": "+site_id +gateway_model software_version reporting_inverters last_seen_on backup_controller storage_kwh",
		"readings": "+site_id +start production_wh consumption_wh import_wh export_wh",
		"bills":    "+site_id +from +to +import_kwh export_kwh",
		"weather":  "+station_id +start temp_c ghi_w_m2 dni_w_m2 dhi_w_m2 wind_m_s",
		"stations": "+station_id +latitude +longitude",
		"outcomes": "+site_id +called_on +result reason modules_sold price installed_on list_month list_rank list_tenth list_reason " +
			"offered_modules offered_kwh_yr offered_saving offered_saving_low offered_saving_high register_digest",
	}
	for _, tab := range Tables() {
		var names []string
		for _, c := range tab.Columns {
			if c.Text == "" || c.Type == "" {
				t.Errorf("%s.%s has no text or type", tab.Name, c.Name)
			}
			mark := ""
			if c.Required {
				mark = "+"
			}
			names = append(names, mark+c.Name)
		}
		if diff := cmp.Diff(want[tab.Name], strings.Join(names, " ")); diff != "" {
			t.Errorf("%s: -want +got\n%s", tab.Name, diff)
		}
		delete(want, tab.Name)
	}
	if len(want) > 0 {
		t.Errorf("tables missing: %v", want)
	}
}

// BenchmarkRead reads a register of 100,000 sites.
func BenchmarkRead(b *testing.B) {
	dir := folder(b, map[string]string{"sites.csv": "-"})
	write := func(name string, header string, row func(i int) string) {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			b.Fatal(err)
		}
		io.WriteString(f, header+"\n")
		for i := range 100_000 {
			io.WriteString(f, row(i))
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
	write("sites.csv", "site_id,latitude,longitude,timezone,customer,contact,branch,tariff_id", func(i int) string {
		return fmt.Sprintf("site-%06d,39.%06d,-105,America/Denver,\"Name, First\",+1 555 0100,b%d,tou-a\n", i, i, i%20)
	})
	write("arrays.csv", "site_id,array_id,modules,module_watts,tilt_deg,azimuth_deg,plane_id,inverter_model,inverters", func(i int) string {
		return fmt.Sprintf("site-%06d,a,16,320,20,180,,KV1-250,16\n", i)
	})
	write("planes.csv", "site_id,plane_id,width_m,slope_m,tilt_deg,azimuth_deg", func(i int) string {
		return fmt.Sprintf("site-%06d,p,10,4.5,20,180\n", i)
	})
	write("services.csv", "site_id,phases,volts,busbar_amps,main_breaker_amps", func(i int) string {
		return fmt.Sprintf("site-%06d,2,240,200,200\n", i)
	})
	write("gateways.csv", "site_id,gateway_model,software_version", func(i int) string {
		return fmt.Sprintf("site-%06d,HG-2,5.2.1180\n", i)
	})
	b.ReportAllocs()
	for b.Loop() {
		f, err := Read(dir, smallOptions)
		if err != nil {
			b.Fatal(err)
		}
		if f.Len() != 100_000 {
			b.Fatal(errors.New("sites lost"))
		}
	}
}
