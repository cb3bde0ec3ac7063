package report

import (
	"bytes"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
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
// list as an empty one, with the register's site; its key says what ranking asks.
func TestKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "judged")
	findings := []*analyze.Finding{wordyFound("B", rank.Call), wordyFound("A", rank.Repair), found("C", 0, rank.Watch)}
	var before []analyze.Finding
	var charts [][]page.Month
	for _, f := range findings {
		before, charts = append(before, *f), append(charts, briefMonths(f))
	}
	k := keep(t, dir, findings)
	var keys []analyze.Key
	err := k.Keys(func(x *analyze.Key) { keys = append(keys, *x) })
	if err != nil || len(keys) != 3 || keys[0].SiteID != "A" || keys[1].Lane != rank.Call || keys[2].SiteID != "C" {
		t.Errorf("%+v, %v", keys, err)
	}
	for _, i := range []int{2, 0, 1, 0} {
		want := before[i]
		at, _ := k.found.find(want.Site.ID)
		x, err := k.read(at)
		if err != nil {
			t.Fatal(err)
		}
		want.Shed()
		want.Site = k.register.Site(want.Site.ID)
		if diff := cmp.Diff(want, x.Found, cmpopts.EquateNaNs(), cmpopts.IgnoreUnexported(array.Result{}, demand.Event{}, option.Option{})); diff != "" || x.Found.Site != want.Site {
			t.Errorf("%s: %s", x.SiteID, diff)
		}
		if diff := cmp.Diff(charts[i], x.Chart); diff != "" {
			t.Errorf("%s: %s", x.SiteID, diff)
		}
	}
	if charts[0] == nil || charts[2] != nil {
		t.Error("the charts tell nothing apart: the test is broken")
	}
	last := k.found.pieces[2].at + int64(k.found.pieces[2].bytes)
	os.Truncate(filepath.Join(dir, "found"), last/2)
	failed := 0
	for i := range k.found.pieces {
		if _, err := k.read(i); err != nil {
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
		of := map[string]*analyze.Finding{}
		g := glanced(findings, nil)
		for _, f := range findings {
			of[f.Site.ID] = f
		}
		sorted := slices.Sorted(maps.Keys(of))
		for _, id := range g.sheets(func(i int) string { return sorted[i] }) {
			if f := of[id]; f.Visit != nil {
				whole.Visits = append(whole.Visits, VisitRow{id, f.Visit})
			}
		}
		dir := t.TempDir()
		want := filepath.Join(dir, "want")
		from := func(id string) (*sheets, error) { return sheetsOf(&keptFinding{Found: *of[id]}, m) }
		if err := errors.Join(writeJSON(want, whole), writeSheets(dir, g.sheets(func(i int) string { return sorted[i] }), from, m)); err != nil {
			t.Fatal(err)
		}
		a, _ := os.ReadFile(want)
		b, _ := os.ReadFile(filepath.Join(dir, "visits.json"))
		if !bytes.Equal(a, b) {
			t.Errorf("%d findings: %s", len(findings), cmp.Diff(string(a), string(b)))
		}
	}
}
