package ledger

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
)

// What was found on a site is found again without a look at its hours, and looked for
// anew where anything that it follows from is another: the bucket's bytes, a file's
// time, the site's rating or zone, the program. Damage to what is kept changes nothing.
func TestFindingsAreRememberedWithTheirReasons(t *testing.T) {
	dir := fleetDir(t, months(2))
	sites := func() []Site {
		zone, err := time.LoadLocation("America/Denver")
		if err != nil {
			t.Fatal(err)
		}
		var all []Site
		for _, id := range []string{"S-000", "S-001", "S-002"} {
			all = append(all, Site{ID: id, Location: zone, LatitudeDeg: 40, LongitudeDeg: -105, RatedACWatts: 5000, RatedDCWatts: 6000})
		}
		return all
	}
	load := func(sites []Site, program byte) (map[string]ingest.Series, int) {
		t.Helper()
		l, _, err := UpdateAndOpen(context.Background(), dir, sites, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		l.remembered.program[0] ^= program
		all := map[string]ingest.Series{}
		for _, id := range l.Order() {
			var s ingest.Series
			if err := l.Load(id, &s); err != nil {
				t.Fatal(err)
			}
			all[id] = s
		}
		fresh := 0
		for _, p := range l.remembered.at {
			if p.fresh {
				fresh++
			}
		}
		return all, fresh
	}
	want, fresh := load(sites(), 0)
	n := len(want)
	if fresh != n || n < 2 {
		t.Fatalf("%d of %d sites were looked at the first time", fresh, n)
	}
	same := func(what string, sites []Site, program byte, looked int) {
		t.Helper()
		got, fresh := load(sites, program)
		if fresh != looked {
			t.Errorf("%s: %d sites were looked at, want %d", what, fresh, looked)
		}
		if d := cmp.Diff(want, got, exactSeries); d != "" {
			t.Errorf("%s: %s", what, d)
		}
	}
	same("again", sites(), 0, 0)
	same("another program", sites(), 1, n)
	same("both are kept", sites(), 0, 0)
	rated := sites()
	rated[1].RatedDCWatts++
	same("another rating", rated, 0, 1)
	moved := sites()
	moved[2].Location = time.FixedZone("America/Denver", -7*3600) // the same name, other rules
	if _, fresh := load(moved, 0); fresh != 1 {
		t.Errorf("other rules of a zone: %d sites were looked at", fresh)
	}
	path := filepath.Join(ledgerDir(dir), rememberedName)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(b); i += 1 + len(b)/40 {
		damaged := append([]byte(nil), b...)
		damaged[i] ^= 0x55
		if err := os.WriteFile(path, damaged, 0o600); err != nil {
			t.Fatal(err)
		}
		got, _ := load(sites(), 0)
		if d := cmp.Diff(want, got, exactSeries); d != "" {
			t.Fatalf("byte %d of %d: %s", i, len(b), d)
		}
	}
	os.WriteFile(path, b[:len(b)/2], 0o600)
	got, _ := load(sites(), 0)
	if d := cmp.Diff(want, got, exactSeries); d != "" {
		t.Errorf("half of it: %s", d)
	}
	if left, _ := filepath.Glob(filepath.Join(ledgerDir(dir), rememberedName+".tmp*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
	now := time.Now().Add(time.Hour)
	files, _ := filepath.Glob(filepath.Join(dir, "readings", "*"))
	load(sites(), 0)
	for _, f := range files {
		os.Chtimes(f, now, now)
	}
	same("files of another time", sites(), 0, n)
}
