package report

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/visit"
	"rowen/ingest"
	"rowen/report/page"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// wordyFound is a site of which something is said at every place that is kept.
func wordyFound(id string, lane rank.Lane) *analyze.Finding {
	f := found(id, 1, lane)
	says := func(s string) []ingest.Caveat { return []ingest.Caveat{{Code: s, Says: "of " + id}} }
	f.Caveats, f.Array.Caveats, f.Demand.Caveats = says("all"), says("array"), []ingest.Caveat{}
	f.Room.Cautions, f.Worth.Caveats = says("room"), says("worth")
	f.Quality = []ingest.Quality{{Code: "gap", Channel: ingest.Production, From: -3, To: 1 << 30, Hours: 5, Spans: []ingest.Span{{From: 1, To: 2}}}, {Code: "stuck"}}
	f.Worth.Tornado = []option.Unknown{{Name: "cost", Low: -1.5, High: 2, Flips: true, Says: "more <or> less"}}
	f.Visit = &visit.Sheet{Kind: visit.Work, Title: "A & B", Unknown: []string{}, Materials: []visit.Material{{Count: 2, What: "rails"}},
		Parts: []visit.Part{{Code: "roof", Steps: []visit.Step{{Number: 1, Says: "Look."}, {Number: 2}}}, {Code: "none"}}}
	return f
}

// TestKept: what is kept of a finding comes back as it was, in any order, an empty
// list as an empty one; what stays in memory does not say it.
func TestKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "judged")
	findings := []*analyze.Finding{wordyFound("B", rank.Call), wordyFound("A", rank.Repair), found("C", 0, rank.Watch)}
	var before []analyze.Finding
	var charts [][]page.Month
	for _, f := range findings {
		before, charts = append(before, *f), append(charts, briefMonths(f))
	}
	k := keep(t, dir, findings)
	short, err := k.Findings()
	if err != nil {
		t.Fatal(err)
	}
	for i, id := range []string{"A", "B", "C"} {
		f := short[i]
		if f.Site.ID != id || f.Site != k.register.Site(id) {
			t.Errorf("finding %d is of site %s", i, f.Site.ID)
		}
		if f.Caveats != nil || f.Array.Caveats != nil || f.Demand.Caveats != nil || f.Room.Cautions != nil || f.Worth.Caveats != nil || f.Quality != nil || f.Worth.Tornado != nil {
			t.Errorf("%s still says what was taken from it", f.Site.ID)
		}
		if f.Visit != nil && !reflect.DeepEqual(*f.Visit, visit.Sheet{Kind: f.Visit.Kind}) {
			t.Errorf("%s still has its sheet: %+v", f.Site.ID, f.Visit)
		}
	}
	for _, i := range []int{2, 0, 1, 0} {
		f := short[map[string]int{"A": 0, "B": 1, "C": 2}[findings[i].Site.ID]]
		f.Verdict.Rank = 77
		all, chart, err := k.whole(f)
		if err != nil {
			t.Fatal(err)
		}
		want := before[i]
		want.Shed()
		want.Site, want.Verdict.Rank = f.Site, 77 // what ranking added
		if diff := cmp.Diff(want, *all, cmpopts.EquateNaNs(), cmpopts.IgnoreUnexported(array.Result{}, demand.Event{}, option.Option{})); diff != "" {
			t.Errorf("%s: %s", all.Site.ID, diff)
		}
		if diff := cmp.Diff(charts[i], chart); diff != "" {
			t.Errorf("%s: %s", all.Site.ID, diff)
		}
	}
	if charts[0] == nil || charts[2] != nil {
		t.Error("the charts tell nothing apart: the test is broken")
	}
	last := k.found.pieces[2].At + int64(k.found.pieces[2].Bytes)
	os.Truncate(filepath.Join(dir, "found"), last/2)
	failed := 0
	for _, f := range short {
		if _, _, err := k.whole(f); err != nil {
			failed++
		}
	}
	if failed == 0 {
		t.Error("a piece that is cut off was not said")
	}
}

// TestVisitsAreOneDocument: sheet after sheet gives the bytes of the whole.
func TestVisitsAreOneDocument(t *testing.T) {
	m := Manifest{Month: "2026-10"}
	for _, findings := range [][]*analyze.Finding{nil, {wordyFound("A", rank.Call)}, {wordyFound("A", rank.Call), found("C", 0, rank.Watch), wordyFound("B", rank.Repair)}} {
		whole := Visits{ReportMonth: m.Month, Cautions: page.Cautions, Visits: []VisitRow{}}
		for _, f := range append(Ranked(findings), repairs(findings)...) {
			if f.Visit != nil {
				whole.Visits = append(whole.Visits, VisitRow{f.Site.ID, f.Visit})
			}
		}
		dir := t.TempDir()
		want, got := filepath.Join(dir, "want"), filepath.Join(dir, "got")
		if err := errors.Join(writeJSON(want, whole), writeVisits(got, findings, &Found{}, m)); err != nil {
			t.Fatal(err)
		}
		a, _ := os.ReadFile(want)
		b, _ := os.ReadFile(got)
		if !bytes.Equal(a, b) {
			t.Errorf("%d findings: %s", len(findings), cmp.Diff(string(a), string(b)))
		}
	}
}
