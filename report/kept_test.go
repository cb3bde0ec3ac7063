package report

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"rowen/analyze"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/visit"
	"rowen/ingest"
	"rowen/report/page"

	"github.com/google/go-cmp/cmp"
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

// TestKept: what is taken from a finding comes back as it was, in any order, an
// empty list as an empty one; what stays in memory is not worth speaking of.
func TestKept(t *testing.T) {
	k, err := newKept(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	findings := []*analyze.Finding{wordyFound("B", rank.Call), wordyFound("A", rank.Repair), found("C", 0, rank.Watch)}
	var before []analyze.Finding
	var charts [][]page.Month
	for _, f := range findings {
		before, charts = append(before, *f), append(charts, briefMonths(f))
		if err := k.take(f); err != nil {
			t.Fatal(err)
		}
		if f.Caveats != nil || f.Array.Caveats != nil || f.Demand.Caveats != nil || f.Room.Cautions != nil || f.Worth.Caveats != nil || f.Quality != nil || f.Worth.Tornado != nil {
			t.Errorf("%s still says what was taken from it", f.Site.ID)
		}
		if f.Visit != nil && !reflect.DeepEqual(*f.Visit, visit.Sheet{Kind: f.Visit.Kind}) {
			t.Errorf("%s still has its sheet: %+v", f.Site.ID, f.Visit)
		}
	}
	if err := k.w.Flush(); err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{2, 0, 1, 0} {
		all, chart, err := k.whole(findings[i])
		if err != nil {
			t.Fatal(err)
		}
		var got, want wordy
		for x, f := range map[*wordy]*analyze.Finding{&got: all, &want: &before[i]} {
			*x = wordy{nil, f.Visit, f.Worth.Tornado, f.Quality, f.Caveats, f.Array.Caveats, f.Demand.Caveats, f.Room.Cautions, f.Worth.Caveats}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", all.Site.ID, diff)
		}
		if diff := cmp.Diff(charts[i], chart); diff != "" {
			t.Errorf("%s: %s", all.Site.ID, diff)
		}
	}
	if charts[0] == nil || charts[2] != nil {
		t.Error("the charts tell nothing apart: the test is broken")
	}
	k.scratch.Truncate(k.at - 1)
	if _, _, err := k.whole(findings[2]); err == nil {
		t.Error("a piece that is cut off was not said")
	}
	if err := k.close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(k.scratch.Name()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what was kept still lies there: %v", err)
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
		if err := errors.Join(writeJSON(want, whole), writeVisits(got, findings, &kept{}, m)); err != nil {
			t.Fatal(err)
		}
		a, _ := os.ReadFile(want)
		b, _ := os.ReadFile(got)
		if !bytes.Equal(a, b) {
			t.Errorf("%d findings: %s", len(findings), cmp.Diff(string(a), string(b)))
		}
	}
}
