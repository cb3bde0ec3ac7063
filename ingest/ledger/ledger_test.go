package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// fresh reads the same files into a new ledger elsewhere: what a ledger that
// grew must be equal to.
func fresh(t *testing.T, files map[string]string, sites []Site) (map[string]ingest.Series, *Report) {
	t.Helper()
	return readAll(t, fleetDir(t, files), sites, nil, Options{})
}

// comparable is a report without what says how it came about.
func comparable(r *Report) Report {
	c := *r
	c.FilesRead, c.FilesReused, c.Withdrawn = 0, 0, 0
	c.Files = append([]FileReport{}, r.Files...)
	for i := range c.Files {
		c.Files[i].Reused = false
	}
	return c
}

// A ledger that grows month by month, with a file changed, one withdrawn and
// one renamed, always gives what reading everything anew gives: the same
// series, rejects and counts.
func TestIncremental(t *testing.T) {
	rows := invented(5, 9, 30)
	month := func(k int) string {
		var part []meterRow
		for _, r := range rows {
			if (r.at.Day()-1)/3 == k {
				part = append(part, r)
			}
		}
		return text(part, contractColumns, 1, 1)
	}
	files := map[string]string{}
	dir := t.TempDir()
	step := func(name string, read, reused, withdrawn int) {
		t.Helper()
		got, rep := readAll(t, dir, nil, nil, Options{AcceptMissing: withdrawn > 0})
		want, wantRep := fresh(t, files, nil)
		if d := cmp.Diff(want, got, exactSeries); d != "" {
			t.Errorf("%s: not as read anew: %s", name, d)
		}
		if d := cmp.Diff(comparable(wantRep), comparable(rep)); d != "" {
			t.Errorf("%s: the report is not as of reading anew: %s", name, d)
		}
		if rep.FilesRead != read || rep.FilesReused != reused || rep.Withdrawn != withdrawn {
			t.Errorf("%s: %d read, %d reused, %d withdrawn; want %d, %d, %d", name, rep.FilesRead, rep.FilesReused, rep.Withdrawn, read, reused, withdrawn)
		}
	}
	write := func(name, content string) {
		files[name] = content
		put(t, dir, name, content)
	}
	write("readings/1.csv", month(0))
	step("first month", 1, 0, 0)
	write("readings/2.csv", month(1)+"S-000,nonsense,1,2,3,4\n")
	step("second month with a bad row", 1, 1, 0)
	step("nothing new", 0, 2, 0)
	write("readings/3.csv.gz", month(2))
	step("third month", 1, 2, 0)
	write("readings/2.csv", strings.ReplaceAll(month(1), ",1", ",2"))
	step("second month changed", 1, 2, 0)
	delete(files, "readings/1.csv")
	os.Remove(filepath.Join(dir, "readings/1.csv"))
	step("first month withdrawn", 0, 2, 1)
	write("readings/0.csv", month(0))
	step("and back under another name", 1, 2, 0)
}

// The quick look at size and time does not hide a change of content.
func TestTouchedFile(t *testing.T) {
	dir := fleetDir(t, map[string]string{"readings/a.csv": text(invented(1, 1, 60), contractColumns, 1, 1)})
	readAll(t, dir, nil, nil, Options{})
	path := filepath.Join(dir, "readings", "a.csv")
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	later := info.ModTime().Add(1e9)
	if err := os.Chtimes(path, later, later); err != nil {
		t.Fatal(err)
	}
	if _, rep := readAll(t, dir, nil, nil, Options{}); rep.FilesReused != 1 {
		t.Error("a file with another time but the same content is read again")
	}
	// The same size and another content.
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.ReplaceAll(string(b), ",1", ",2")
	put(t, dir, "readings/a.csv", changed)
	later = later.Add(1e9)
	if err := os.Chtimes(path, later, later); err != nil {
		t.Fatal(err)
	}
	got, rep := readAll(t, dir, nil, nil, Options{})
	if want, _ := fresh(t, map[string]string{"readings/a.csv": changed}, nil); rep.FilesRead != 1 || !cmp.Equal(want, got, exactSeries) {
		t.Error("a file with another content of the same size is not read again")
	}
}

// A mapping that changes reads its files again; a site's zone only those whose
// stamps are on the site's clock.
func TestMappingAndZoneChange(t *testing.T) {
	dir := fleetDir(t, map[string]string{
		"readings/civil/A.csv": lines("t,v", "2026-03-01 00:00,1", "2026-03-01 01:00,2"),
		"readings/b.csv":       lines("site_id,start,import_wh", "B,2026-03-01T00:00Z,1", "B,2026-03-01T01:00Z,2"),
	})
	civil := one(readings.Channel{Channel: ingest.Import, Column: "v"}, readings.Time{Column: "t", Format: "2006-01-02 15:04"})
	civil.Glob = "readings/civil/*.csv"
	maps := []readings.Mapping{civil, {Glob: "readings/*.csv"}}
	zone := func(name string) []Site {
		return []Site{{ID: "A", Location: mustZone(t, name)}, {ID: "B", Location: mustZone(t, name)}}
	}
	got, _ := readAll(t, dir, zone("America/Denver"), maps, Options{})
	if h := hours(got["A"], ingest.Import); h != "2026-03-01T07: 1 2" {
		t.Error(h)
	}
	got, rep := readAll(t, dir, zone("Europe/Berlin"), maps, Options{})
	if h := hours(got["A"], ingest.Import); h != "2026-02-28T23: 1 2" || rep.FilesRead != 1 || rep.FilesReused != 1 {
		t.Error(h, rep.FilesRead, rep.FilesReused)
	}
	maps[1].Channels = []readings.Channel{{Channel: ingest.Export, Column: "import_wh"}}
	got, rep = readAll(t, dir, zone("Europe/Berlin"), maps, Options{})
	if h := hours(got["B"], ingest.Export); h != "2026-03-01T00: 1 2" || got["B"].Wh[ingest.Import] != nil || rep.FilesRead != 1 {
		t.Error(h, rep.FilesRead)
	}
}

var errStop = errors.New("the machine stopped here")

// Stopped at any of its changes to the file system, an update leaves the old
// ledger or the new one, and the next update makes the new one. Every stop is
// reported, but for the clearing up after the new ledger stands.
func TestStopAtEveryFileOperation(t *testing.T) {
	before := text(invented(12, 2, 60), contractColumns, 1, 1)
	more := text(invented(16, 2, 60)[100:], contractColumns, 1, 1)
	old, _ := fresh(t, map[string]string{"readings/1.csv": before}, nil)
	want, _ := fresh(t, map[string]string{"readings/2.csv": more}, nil)
	for n := 0; ; n++ {
		dir := fleetDir(t, map[string]string{"readings/1.csv": before})
		readAll(t, dir, nil, nil, Options{})
		os.Remove(filepath.Join(dir, "readings/1.csv"))
		put(t, dir, "readings/2.csv", more)
		at, op := 0, ""
		rep, err := Update(context.Background(), dir, nil, nil, Options{Workers: 1, before: func(o, path string) error {
			if at++; at == n+1 { // this one alone fails: no later one may cover it up
				op = o + " " + filepath.Base(path)
				return errStop
			}
			return nil
		}})
		if op == "" {
			if err != nil {
				t.Fatal(err)
			}
			if n < 20 {
				t.Errorf("only %d operations were seen", n)
			}
			return
		}
		if reads := strings.HasPrefix(op, "open ") || strings.HasPrefix(op, "readdir ") || strings.HasPrefix(op, "stat "); reads && err == nil {
			// What could not be read is said, by its name or as a part of the
			// ledger, and is read the next time.
			if len(rep.Missing) == 0 && !strings.Contains(strings.Join(rep.Notes, " "), "read again") {
				t.Errorf("failed at %s: not said", op)
			}
			if got, _ := readAll(t, dir, nil, nil, Options{}); !cmp.Equal(want, got, exactSeries) {
				t.Errorf("failed at %s: the next update is not whole", op)
			}
			continue
		}
		got := loadAll(t, dir, nil)
		isOld, isNew := cmp.Equal(old, got, exactSeries), cmp.Equal(want, got, exactSeries)
		if !isOld && !isNew {
			t.Fatalf("stopped at operation %d (%s): neither the old ledger nor the new one", n, op)
		}
		switch {
		case err != nil && !errors.Is(err, errStop):
			t.Errorf("stopped at %s: %v", op, err)
		case err == nil && (!isNew || !strings.Contains(strings.Join(rep.Notes, " "), "could not be removed")):
			t.Errorf("stopped at %s: no error and no note", op)
		}
		got, _ = readAll(t, dir, nil, nil, Options{})
		if d := cmp.Diff(want, got, exactSeries); d != "" {
			t.Fatalf("after a stop at %s the next update is not whole: %s", op, d)
		}
		names, _ := list(ledgerDir(dir))
		for _, name := range names {
			if strings.HasSuffix(name, ".new") || strings.Contains(name, "spill") {
				t.Errorf("after a stop at %s %s is left over", op, name)
			}
		}
	}
}

// Killed between any two of its changes to the file system, with all that lies
// about then, the ledger is the old one or the new one, and the next update
// makes the new one and clears up.
func TestKillAtEveryFileOperation(t *testing.T) {
	before := text(invented(12, 2, 60), contractColumns, 1, 1)
	more := text(invented(16, 2, 60)[100:], contractColumns, 1, 1)
	old, _ := fresh(t, map[string]string{"readings/1.csv": before}, nil)
	want, _ := fresh(t, map[string]string{"readings/2.csv": more}, nil)
	dir := fleetDir(t, map[string]string{"readings/1.csv": before})
	readAll(t, dir, nil, nil, Options{})
	os.Remove(filepath.Join(dir, "readings/1.csv"))
	put(t, dir, "readings/2.csv", more)
	var killed, op []string
	_, err := Update(context.Background(), dir, nil, nil, Options{Workers: 1, before: func(o, path string) error {
		at := t.TempDir()
		op = append(op, o+" "+filepath.Base(path))
		killed = append(killed, at)
		return os.CopyFS(at, os.DirFS(dir))
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(killed) < 20 {
		t.Fatalf("only %d operations: %v", len(killed), op)
	}
	seen := map[bool]int{}
	for i, at := range killed {
		got := loadAll(t, at, nil)
		isNew := cmp.Equal(want, got, exactSeries)
		seen[isNew]++
		if !isNew && !cmp.Equal(old, got, exactSeries) {
			t.Fatalf("killed before %s: neither the old ledger nor the new one", op[i])
		}
		got, _ = readAll(t, at, nil, nil, Options{})
		if !cmp.Equal(want, got, exactSeries) {
			t.Fatalf("killed before %s: the next update is not whole", op[i])
		}
		names, _ := list(ledgerDir(at))
		for _, name := range names {
			if strings.HasSuffix(name, ".new") || strings.Contains(name, "spill") {
				t.Errorf("killed before %s: %s is left over", op[i], name)
			}
		}
	}
	if seen[true] == 0 || seen[false] == 0 {
		t.Errorf("the kills saw the old ledger %d times and the new one %d times", seen[false], seen[true])
	}
}

// A ledger that is damaged is made anew.
func TestDamagedLedger(t *testing.T) {
	files := map[string]string{"readings/1.csv": text(invented(3, 2, 60), contractColumns, 1, 1)}
	want, _ := fresh(t, files, nil)
	damage := map[string]func(dir string){
		"manifest cut":  func(dir string) { os.Truncate(filepath.Join(dir, manifestName), 20) },
		"manifest gone": func(dir string) { os.Remove(filepath.Join(dir, manifestName)) },
		"another version": func(dir string) {
			m, err := readManifest(disk{}, dir)
			if err != nil {
				t.Fatal(err)
			}
			m.Version--
			if err := m.publish(disk{}, dir); err != nil {
				t.Fatal(err)
			}
		},
		"buckets gone":     func(dir string) { each(dir, "bucket-*", func(p string) { os.Remove(p) }) },
		"buckets cut":      func(dir string) { each(dir, "bucket-*", func(p string) { os.Truncate(p, 100) }) },
		"the whole folder": func(dir string) { os.RemoveAll(dir) },
	}
	for name, do := range damage {
		dir := fleetDir(t, files)
		readAll(t, dir, nil, nil, Options{})
		do(ledgerDir(dir))
		got, _ := readAll(t, dir, nil, nil, Options{})
		if d := cmp.Diff(want, got, exactSeries); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func each(dir, glob string, do func(string)) {
	names, _ := filepath.Glob(filepath.Join(dir, glob))
	for _, n := range names {
		do(n)
	}
}

// A file that cannot be used is one reject, and the others go on.
func TestBadFiles(t *testing.T) {
	good := text(invented(2, 2, 60), contractColumns, 1, 1)
	dir := fleetDir(t, map[string]string{
		"readings/a.csv":     good,
		"readings/b.csv":     "just text\nof no table\n",
		"readings/c.csv":     "",
		"readings/d.parquet": "no parquet",
		"readings/e.xml":     "<html></html>",
		"readings/f.csv":     "\xff\xfes\x00i\x00",
		"readings/g.csv":     "site_id,start,production_kw\n",
	})
	os.WriteFile(filepath.Join(dir, "readings", "h.csv.gz"), []byte("no gzip"), 0o644)
	gz := fleetDir(t, map[string]string{"x.csv.gz": good})
	b, _ := os.ReadFile(filepath.Join(gz, "x.csv.gz"))
	os.WriteFile(filepath.Join(dir, "readings", "i.csv.gz"), b[:len(b)/2], 0o644)
	got, rep := readAll(t, dir, nil, nil, Options{})
	want, _ := fresh(t, map[string]string{"readings/a.csv": good}, nil)
	if d := cmp.Diff(want, got, exactSeries); d != "" {
		t.Error(d)
	}
	var files []string
	for _, r := range rep.Rejects {
		files = append(files, filepath.Base(r.File))
		if strings.Contains(r.Reason, dir) {
			t.Errorf("the reason names a path of this machine: %s", r.Reason)
		}
	}
	if d := cmp.Diff([]string{"b.csv", "c.csv", "d.parquet", "e.xml", "f.csv", "g.csv", "h.csv.gz", "i.csv.gz"}, files); d != "" {
		t.Error(d, rep.Rejects)
	}
}

// Rejects are bounded by file and counted in full.
func TestRejectsAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString("site_id,start,import_wh\n")
	for i := range 500 {
		fmt.Fprintf(&b, "A,2026-03-01T%02d:00Z,%s\n", i/2%24, map[bool]string{true: "x", false: "1"}[i%2 == 0])
	}
	_, rep := readAll(t, fleetDir(t, map[string]string{"readings/a.csv": b.String()}), nil, nil, Options{MaxRejects: 7})
	if len(rep.Rejects) != 7 || rep.Rows.SetAside != 250 || rep.Rejects[0].Line != 2 || rep.Rejects[6].Line != 14 {
		t.Errorf("%d rejects, %+v", len(rep.Rejects), rep.Rows)
	}
}

// Sites that the register does not name are kept in the ledger and said.
func TestUnknownSites(t *testing.T) {
	dir := fleetDir(t, map[string]string{"readings/a.csv": text(invented(3, 1, 60), contractColumns, 1, 1)})
	_, rep := readAll(t, dir, []Site{{ID: "S-001"}}, nil, Options{})
	if d := cmp.Diff([]string{"S-000", "S-002"}, rep.UnknownSites); d != "" {
		t.Error(d)
	}
	l, err := Open(context.Background(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	var s ingest.Series
	if err := l.Load("nobody", &s); !errors.Is(err, ingest.ErrNoReadings) {
		t.Error(err)
	}
	// The series of one site does not leak into the next one's.
	if err := l.Load("S-000", &s); err != nil {
		t.Fatal(err)
	}
	if err := l.Load("S-001", &s); err != nil || s.SiteID != "S-001" {
		t.Fatal(err)
	}
	var alone ingest.Series
	if err := l.Load("S-001", &alone); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(alone, s, exactSeries); d != "" {
		t.Error(d)
	}
}

// A fleet that outgrows its buckets is spread anew.
func TestMoreBuckets(t *testing.T) {
	rows := invented(300, 1, 60)
	files := map[string]string{"readings/1.csv": text(rows[:100], contractColumns, 1, 1)}
	dir := fleetDir(t, files)
	few := []Site{{ID: "S-000"}}
	readAll(t, dir, few, nil, Options{})
	var many []Site
	for i := range 3000 {
		many = append(many, Site{ID: fmt.Sprintf("S-%03d", i)})
	}
	files["readings/2.csv"] = text(rows[100:], contractColumns, 1, 1)
	put(t, dir, "readings/2.csv", files["readings/2.csv"])
	got, _ := readAll(t, dir, many, nil, Options{})
	want, _ := fresh(t, files, few)
	if d := cmp.Diff(want, got, exactSeries); d != "" {
		t.Error(d)
	}
}
