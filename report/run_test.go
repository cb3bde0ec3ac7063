package report

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/analyze"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/ingest"

	"github.com/klauspost/compress/zstd"
)

// fleetFound are six sites: two ranked, one to mend, one that failed, one without
// a meter for its output and one without any for its use.
func fleetFound() []*analyze.Finding {
	bare := func(id string) *analyze.Finding {
		return &analyze.Finding{Site: &ingest.Site{ID: id, Customer: "Zyxwine Quorrel", Contact: "zq@example.org"}, CoveragePct: math.NaN(), WindowPct: math.NaN(),
			Verdict: rank.Verdict{Lane: rank.NoData, Reasons: []rank.Reason{{Code: "failed", Says: "it failed"}}, NextStep: "look at it"}}
	}
	failed, dark, blind := bare("D"), bare("E"), bare("F")
	failed.Failed = "reading site D: a surprise at x.go:1"
	failed.Array.Refusal, failed.Demand.Refusal, failed.Worth.Refusal = "failed", "failed", "failed"
	dark.Array.Refusal, dark.Worth.Refusal = "no_production", "no output to work with"
	dark.Array.MeasuredKWhYr, dark.Demand.GrowthPctYr, dark.Demand.Change12mPct = math.NaN(), math.NaN(), math.NaN()
	blind.Demand.Refusal, blind.Demand.RefusalSays, blind.Worth.Refusal = "no_consumption", "No meter says what is used.", "no use to work with"
	blind.Array.Factor, blind.Array.ProductionIndex, blind.Array.TrendPctYr = math.NaN(), math.NaN(), math.NaN()
	dark.Past = []ingest.Outcome{{SiteID: "E", CalledOn: time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC), Result: rank.NoAnswer, Reason: "ask for Quorrel", Price: math.NaN(),
		Listed: ingest.Listed{AddedKWhYr: math.NaN(), Saving: math.NaN(), SavingLow: math.NaN(), SavingHigh: math.NaN()}}}
	fs := []*analyze.Finding{found("A", 1, rank.Call), found("B", 2, rank.Prepare), found("C", 0, rank.Repair), failed, dark, blind}
	for _, f := range fs[:3] {
		f.Days, f.CoveragePct, f.WindowPct, f.TariffID = 900, 99.5, 100, "tou-a"
		for n := 1; n <= 8; n++ {
			f.Worth.Options = append(f.Worth.Options, option.Option{Modules: n, Feasible: n < 7, Cost: float64(1400 + 780*n), AddedSelfUsePct: math.NaN(),
				NetBenefit: option.Spread{Value: float64(100 * n), Low: math.NaN(), High: math.NaN()}, SimplePaybackYears: math.NaN(), IRRPct: math.NaN()})
		}
		for m := range f.Months {
			f.Months[m].ConsumptionKWh, f.Months[m].ImportKWh = math.NaN(), 0
			f.Months[m].CoveragePct = 100
		}
	}
	return fs
}

func unpublished(t *testing.T, parent string) (*Run, *Found) {
	t.Helper()
	r, err := NewRun(filepath.Join(parent, "2026-10"), false)
	if err != nil {
		t.Fatal(err)
	}
	return r, keep(t, r.Scratch("judged"), fleetFound())
}

// keep puts findings where the judgement puts them.
func keep(t *testing.T, dir string, findings []*analyze.Finding) *Found {
	t.Helper()
	j, err := NewJudged(dir)
	if err != nil {
		t.Fatal(err)
	}
	register := &ingest.Fleet{}
	for _, f := range findings {
		register.Sites = append(register.Sites, *f.Site)
		if err := j.Add(f); err != nil {
			t.Fatal(err)
		}
	}
	slices.SortFunc(register.Sites, func(a, b ingest.Site) int { return strings.Compare(a.ID, b.ID) })
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	kept, err := OpenJudged(register, dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { kept.Close() })
	return kept
}

// standings are the order that findings are in.
func standings(findings []*analyze.Finding) []analyze.Standing {
	var all []analyze.Standing
	for _, f := range findings {
		v := &f.Verdict
		all = append(all, analyze.Standing{SiteID: f.Site.ID, Rank: v.Rank, Stability: v.Stability, Trip: v.Trip, OnList: v.OnList, Likely: f.Likely})
	}
	slices.SortFunc(all, func(a, b analyze.Standing) int { return strings.Compare(a.SiteID, b.SiteID) })
	return all
}

// finished writes what a run holds.
func finished(r *Run, kept *Found, rejects []ingest.Reject, m Manifest) error {
	if err := Render(kept, standings(fleetFound()), m, r.Scratch("rendered")); err != nil {
		return err
	}
	said, err := OpenRendered(r.Scratch("rendered"))
	if err != nil {
		return err
	}
	return r.Finish(kept, said, rejects, m, nil)
}

// best are the ranked findings, best first, at most n.
func best(findings []*analyze.Finding, n int) []*analyze.Finding {
	var out []*analyze.Finding
	for _, f := range findings {
		if ranked(f) {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b *analyze.Finding) int { return a.Verdict.Rank - b.Verdict.Rank })
	return out[:min(n, len(out))]
}

func manifest() Manifest {
	return Manifest{Program: "rowen", Version: "1", Month: "2026-10", Currency: "EUR", Warnings: []string{}, Counts: Counts{Sites: 6, OnCallList: 2},
		Timings: Timings{StartedAt: "2026-11-01T00:00:00Z"}}
}

var setAside = []ingest.Reject{{File: "sites.csv", Line: 9, Column: "latitude", Reason: "91 must be <= 90", SiteID: "G"}}

func publishedRun(t *testing.T, change func(*Manifest)) string {
	t.Helper()
	parent := t.TempDir()
	r, kept := unpublished(t, parent)
	defer r.Discard()
	m := manifest()
	if change != nil {
		change(&m)
	}
	if err := errors.Join(finished(r, kept, setAside, m), r.Publish()); err != nil {
		t.Fatal(err)
	}
	return r.Final()
}

func filesOf(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		files[filepath.ToSlash(rel)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// TestRunHoldsItsFiles: all that the contract lists, and nothing else.
func TestRunHoldsItsFiles(t *testing.T) {
	files := filesOf(t, publishedRun(t, nil))
	want := []string{"call_list.csv", "call_list.xlsx", "candidates.parquet", "sites.parquet", "options.parquet", "monthly.parquet", "rejects.csv",
		"events.parquet", "faults.parquet", "limits.parquet", "jobs.parquet", "reasons.parquet", "outcomes.parquet",
		"index.html", "repair_list.csv", "visits.json", "briefs/A.html", "briefs/B.html", "briefs/C.html", "run.json", "datapackage.json"}
	for _, name := range want {
		if len(files[name]) == 0 {
			t.Errorf("%s is missing or empty", name)
		}
	}
	if len(files) != len(want) {
		t.Errorf("%d files, want %d", len(files), len(want))
	}
	for name := range files {
		if name != "run.json" && !bytes.Contains(files["run.json"], []byte(`"`+name+`": "`)) {
			t.Errorf("run.json does not give the digest of %s", name)
		}
	}
}

// TestSameBytes: the same findings give the same bytes, but for the timings.
func TestSameBytes(t *testing.T) {
	a := filesOf(t, publishedRun(t, nil))
	b := filesOf(t, publishedRun(t, func(m *Manifest) { m.Timings.StartedAt, m.Timings.Workers = "2027-01-01T00:00:00Z", 8 }))
	timings := regexp.MustCompile(`(?s)"timings": \{.*?\n  \}`)
	for name := range a {
		if name == "run.json" {
			if bytes.Equal(a[name], b[name]) {
				t.Error("the timings are not written")
			}
			a[name], b[name] = timings.ReplaceAll(a[name], nil), timings.ReplaceAll(b[name], nil)
		}
		if !bytes.Equal(a[name], b[name]) {
			t.Errorf("%s differs", name)
		}
	}
}

// TestPersonalDataStaysInTheCallList looks for a name and an address in all that
// a run writes, in packed files too.
func TestPersonalDataStaysInTheCallList(t *testing.T) {
	dir := publishedRun(t, nil)
	allowed := regexp.MustCompile(`^(call_list\.(csv|xlsx)|repair_list\.csv|briefs/.*)$`)
	for name, b := range filesOf(t, dir) {
		says := string(b)
		if strings.HasSuffix(name, ".parquet") {
			says += unpacked(t, b)
			if name == "sites.parquet" && !strings.Contains(says[len(b):], "A") {
				t.Error("no page was unpacked: the test is broken")
			}
		}
		for _, private := range []string{"Zyxwine", "Quorrel", "zq@example"} {
			if has := strings.Contains(says, private); has && !allowed.MatchString(name) {
				t.Errorf("%s holds %q", name, private)
			}
		}
		if (name == "call_list.csv" || name == "briefs/A.html") && !strings.Contains(says, "Zyxwine Quorrel") {
			t.Errorf("%s does not name the customer", name)
		}
	}
	for _, site := range []string{"A", "C", "D"} {
		var b bytes.Buffer
		if err := Explain(&b, dir, site); err != nil {
			t.Fatal(err)
		}
		Top(&b, best(fleetFound(), 10), "EUR")
		if strings.Contains(b.String(), "Zyxwine") || strings.Contains(b.String(), "zq@") {
			t.Errorf("the terminal names the customer of %s", site)
		}
	}
}

// unpacked is the text in the compressed pages of a Parquet file, found by the
// mark that each Zstandard frame begins with (RFC 8878, section 3.1.1).
func unpacked(t *testing.T, b []byte) string {
	t.Helper()
	d, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	var all strings.Builder
	for mark := []byte{0x28, 0xb5, 0x2f, 0xfd}; ; {
		at := bytes.Index(b, mark)
		if at < 0 {
			break
		}
		d.Reset(bytes.NewReader(b[at:]))
		buf := make([]byte, 1<<20)
		for {
			n, err := d.Read(buf)
			all.Write(buf[:n])
			if err != nil {
				break
			}
		}
		b = b[at+4:]
	}
	return all.String()
}

// TestEachFileThatCannotBeWritten: every file in turn cannot be made, or its disk
// is full. It must be said, the earlier run must stand, nothing may be left.
func TestEachFileThatCannotBeWritten(t *testing.T) {
	breaks := map[string]func(path string) error{
		"is a folder": func(path string) error { return os.Mkdir(path, 0o755) },
		"disk full":   func(path string) error { return os.Symlink("/dev/full", path) },
	}
	if _, err := os.Stat("/dev/full"); err != nil {
		delete(breaks, "disk full")
	}
	files := []string{"call_list.csv", "call_list.xlsx", "candidates.parquet", "sites.parquet", "options.parquet", "monthly.parquet", "outcomes.parquet", "rejects.csv", "index.html", "datapackage.json", "run.json"}
	for how, spoil := range breaks {
		for _, name := range files {
			t.Run(name+" "+how, func(t *testing.T) {
				parent := t.TempDir()
				final := filepath.Join(parent, "2026-10")
				writeRun(t, final, "old")
				r, kept := unpublished(t, parent)
				if err := spoil(r.Path(name)); err != nil {
					t.Fatal(err)
				}
				if err := finished(r, kept, setAside, manifest()); err == nil {
					t.Error("it was not said")
				}
				r.Discard()
				if holds(final) != "old" {
					t.Errorf("the earlier run is %q", holds(final))
				}
				if left, _ := filepath.Glob(filepath.Join(parent, ".unfinished*")); len(left) > 0 {
					t.Errorf("left: %v", left)
				}
			})
		}
	}
	t.Run("a long table that is cut off", func(t *testing.T) {
		r, kept := unpublished(t, t.TempDir())
		defer r.Discard()
		kept.options.files[0].Close()
		if err := finished(r, kept, nil, manifest()); err == nil {
			t.Error("it was not said")
		}
	})
}

func TestExplain(t *testing.T) {
	dir := publishedRun(t, nil)
	says := func(site string) string {
		var b bytes.Buffer
		if err := Explain(&b, dir, site); err != nil {
			t.Fatal(err)
		}
		for _, never := range []string{"NaN", "<nil>", "%!", "Inf"} {
			if strings.Contains(b.String(), never) {
				t.Errorf("site %s: says %s:\n%s", site, never, b.String())
			}
		}
		for line := range strings.Lines(b.String()) {
			if n := len([]rune(line)) - 1; n > terminalColumns {
				t.Errorf("site %s: a line of %d columns: %s", site, n, line)
			}
		}
		return b.String()
	}
	a := says("A")
	for _, want := range []string{"site A: call", "rank: 1, on the branch's call list", "2024-05", "2026-10", "because low_coverage", "licensed people",
		"roof: 9 modules. 9 fit.", "permission: not known. Not in the register. Ask: the AC limit.", "6 *", "more room than there is"} {
		if !strings.Contains(a, want) {
			t.Errorf("A does not say %q:\n%s", want, a)
		}
	}
	// Thirty months and eight sizes of this site and no other's.
	if n := len(regexp.MustCompile(`(?m)^\s+20\d\d-\d\d `).FindAllString(a, -1)); n != 30 {
		t.Errorf("%d months", n)
	}
	if n := strings.Count(a, " 1400") + len(regexp.MustCompile(`(?m)^\s+\d( \*)?\s+0 `).FindAllString(a, -1)); n != 8 {
		t.Errorf("%d sizes:\n%s", n, a)
	}
	for site, want := range map[string]string{"D": "a surprise at x.go:1", "E": "no number: no production", "F": "no number: no consumption: No meter says what is used."} {
		got := says(site)
		if !strings.Contains(got, want) || !strings.Contains(got, "sizes: none was simulated") || !strings.Contains(got, "months: none was read") || !strings.Contains(got, "next: look at it") {
			t.Errorf("%s does not say %q:\n%s", site, want, got)
		}
	}
	if err := Explain(&bytes.Buffer{}, dir, "Z"); err == nil || !strings.Contains(err.Error(), `explaining site "Z": the run in `) {
		t.Errorf("%v", err)
	}
	if err := Explain(&bytes.Buffer{}, t.TempDir(), "A"); !errors.Is(err, os.ErrNotExist) && (err == nil || !strings.Contains(err.Error(), "name a run's folder")) {
		t.Errorf("%v", err)
	}
}

// TestReadSite finds a site's rows wherever they stand, beyond one batch too.
func TestReadSite(t *testing.T) {
	dir := t.TempDir()
	var rows []MonthRow
	for s := range 700 {
		for m := range s % 5 {
			rows = append(rows, MonthRow{SiteID: fmt.Sprint("S", s), Month: int32(m)})
		}
	}
	if err := writeParquet(filepath.Join(dir, "monthly.parquet"), rows); err != nil {
		t.Fatal(err)
	}
	for s := range 700 {
		if s > 20 && s < 650 && s%37 != 0 {
			continue
		}
		got, err := readSite[MonthRow](dir, "monthly.parquet", fmt.Sprint("S", s))
		if err != nil || len(got) != s%5 {
			t.Fatalf("S%d: %d rows, %v", s, len(got), err)
		}
		for m, r := range got {
			if r.SiteID != fmt.Sprint("S", s) || r.Month != int32(m) {
				t.Fatalf("S%d: row %+v", s, r)
			}
		}
	}
}

func TestTopFitsTheTerminal(t *testing.T) {
	fs := fleetFound()
	fs[0].Site.ID, fs[0].Site.Branch = strings.Repeat("i", 64), strings.Repeat("b", 50)
	fs[0].Chosen.Saving = option.Spread{Value: 123456, Low: 100000, High: 150000}
	for i := range 9 {
		fs[0].Verdict.Reasons = append(fs[0].Verdict.Reasons, rank.Reason{Code: fmt.Sprintf("a_rather_long_reason_%d", i)})
	}
	var b bytes.Buffer
	Top(&b, best(fs, 10), "EUR")
	for line := range strings.Lines(b.String()) {
		if n := len([]rune(line)) - 1; n > 160 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if strings.Contains(b.String(), "reason_2") || !strings.Contains(b.String(), "low_coverage, a_rather") {
		t.Errorf("reasons:\n%s", b.String())
	}
	if !strings.Contains(b.String(), "5000 (3000 to 7000)") || !strings.Contains(b.String(), "never") {
		t.Error(b.String())
	}
	fs = fleetFound()
	fs[0].Verdict.Reasons = []rank.Reason{{Code: "r1"}, {Code: "r2"}, {Code: "r3"}, {Code: "r4"}}
	b.Reset()
	if Top(&b, best(fs, 10), "EUR"); !strings.Contains(b.String(), "r1, r2, r3\n") {
		t.Errorf("at most three reasons:\n%s", b.String())
	}
	b.Reset()
	Top(&b, best(nil, 10), "EUR")
	if !strings.Contains(b.String(), "Nobody to call") {
		t.Error(b.String())
	}
	b.Reset()
	Top(&b, best(fleetFound(), 1), "EUR")
	if !strings.Contains(b.String(), "The first 1 ") || strings.Contains(b.String(), "\n2 ") {
		t.Error(b.String())
	}
}

func TestDate(t *testing.T) {
	// Days since 1970-01-01 by the calendar that the clock shows, wherever it hangs.
	auckland := time.FixedZone("", 13*3600)
	for _, tc := range []struct {
		t    time.Time
		want int32
	}{
		{time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), 0},
		{time.Date(1970, 1, 2, 0, 0, 0, 0, auckland), 1},
		{time.Date(1969, 12, 31, 23, 0, 0, 0, time.UTC), -1},
		{time.Date(2000, 3, 1, 12, 0, 0, 0, time.FixedZone("", -8*3600)), 11017}, // 30 years, 7 leap days, 31 + 29
	} {
		if got := date(tc.t); got != tc.want {
			t.Errorf("%v: %d, want %d", tc.t, got, tc.want)
		}
	}
	if dateOrNil(time.Time{}) != nil {
		t.Error("no day is a day")
	}
}
