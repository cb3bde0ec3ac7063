package report

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/analyze"
	"rowen/analyze/demand"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/visit"
	"rowen/ingest"

	"github.com/google/go-cmp/cmp"
)

// found is a ranked site as the analysis gives it, with a name to look for.
func found(id string, place int, lane rank.Lane) *analyze.Finding {
	f := &analyze.Finding{
		Site: &ingest.Site{ID: id, Branch: "north", Customer: "Zyxwine Quorrel", Contact: "zq@example.org",
			Planes: []ingest.Plane{{ID: "P1", TiltDeg: 20, AzimuthDeg: 180}}},
		Verdict: rank.Verdict{Lane: lane, Rank: place, OnList: true, Confidence: 0.8, NextStep: "call and offer 6 modules",
			Reasons: []rank.Reason{{Code: "low_coverage", Says: "the array makes 60 % of the year's use"}}},
		Chosen: &option.Option{Modules: 6, ByPlane: []option.PlaneCount{{PlaneID: "P1", Modules: 6}}, Jobs: []string{"software_update"},
			NetBenefit: option.Spread{Value: 5000, Low: 3000, High: 7000}, SimplePaybackYears: math.NaN()},
		Caveats: []ingest.Caveat{{Code: "a", Says: "the roof is old"}, {Code: "b", Says: "2 % is missing"}, {Code: "b", Says: "2 % is missing"}},
		Visit:   &visit.Sheet{Kind: visit.Survey, Title: "Survey sheet", Parts: []visit.Part{{Head: "Roof", Steps: []visit.Step{{Number: 1, Code: "roof_condition", Who: visit.Crew, Says: "Look at the covering."}}}}},
		Demand:  demand.Result{Events: []demand.Event{{Says: "gone", Live: false}, {Says: "still there", Live: true}}},
		Room: headroom.Result{Binding: "roof",
			Roof:       headroom.Ceiling{Modules: ingest.Some(9), Says: "9 fit."},
			Service:    headroom.Ceiling{Unlimited: true, Says: "No rule."},
			Permission: headroom.Ceiling{Says: "Not in the register.", Ask: "the AC limit"}},
	}
	for m := range 30 {
		f.Months = append(f.Months, analyze.MonthFigures{First: time.Date(2024, time.Month(5+m), 1, 0, 0, 0, 0, time.UTC), ProductionKWh: float64(m)})
	}
	return f
}

// Of very many sites to repair, sites that left and input files the page lists two
// thousand, and says how many more there are.
func TestLongListsAreCut(t *testing.T) {
	const more = 2500 // beyond twice what is listed, so that the list is cut on the way too
	var findings []*analyze.Finding
	m := Manifest{Month: "2026-10", Currency: "EUR"}
	before := &pastRun{sites: map[string]pastSite{}}
	for i := range pageLines + more {
		f := found(fmt.Sprintf("S-%05d", i), 0, rank.Repair)
		f.Array.ShortfallKWhYr = float64(i * 7919 % (pageLines + more)) // each loss once
		findings = append(findings, f)
		before.sites[f.Site.ID] = pastSite{Rank: of[int32](1)}
		m.Inputs = append(m.Inputs, Input{File: fmt.Sprintf("readings/%d.csv", i), SHA256: "0123456789abcdef"})
	}
	p := glanced(findings, before).page(m, nil)
	if len(p.Repairs) != pageLines || p.RepairsMore != more || len(p.Left) != pageLines || p.LeftAll != pageLines+more || len(p.Digests) != pageLines || p.DigestsAll != pageLines+more {
		t.Fatalf("%d and %d repairs, %d of %d that left, %d of %d files", len(p.Repairs), p.RepairsMore, len(p.Left), p.LeftAll, len(p.Digests), p.DigestsAll)
	}
	for i, r := range p.Repairs {
		if r.LossKWhYr < more || i > 0 && r.SiteID <= p.Repairs[i-1].SiteID {
			t.Fatalf("%s, which loses %g, stands at %d", r.SiteID, r.LossKWhYr, i)
		}
	}
	p.Previous = "September 2026"
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, says := range []string{"2,500 more sites are in repair_list.csv", "4,500 sites have left it, of which 2,000 are shown", "Input: 4,500 files, of which 2,000 are shown; run.json lists all"} {
		if !strings.Contains(b.String(), says) {
			t.Errorf("it is not said: %s", says)
		}
	}
}

func TestFleetPage(t *testing.T) {
	findings := []*analyze.Finding{found("B", 2, rank.Prepare), found("A", 1, rank.Call), found("C", 0, rank.Repair)}
	findings[2].Array.ShortfallKWhYr = 900
	m := Manifest{Program: "rowen", Version: "1", Month: "2026-10", Currency: "EUR", Counts: Counts{Sites: 3, OnCallList: 2},
		Lanes: []LaneCount{{"call", 1}}, Inputs: []Input{{File: "sites.csv", SHA256: "0123456789abcdef"}}}
	p := glanced(findings, nil).page(m, nil)
	if p.Month != "October 2026" || len(p.Rows) != 2 || p.Rows[0].SiteID != "A" || p.Rows[0].Brief != "briefs/A.html" || p.RowsMore != 0 {
		t.Errorf("page %+v", p)
	}
	if got := p.Rows[0].Reasons[0] + " " + p.Rows[0].NextStep; got != "The array makes 60 % of the year's use. Call and offer 6 modules." {
		t.Error(got)
	}
	if len(p.Repairs) != 1 || p.Repairs[0].SiteID != "C" || p.Repairs[0].LossKWhYr != 900 {
		t.Errorf("repairs %+v", p.Repairs)
	}
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, private := range []string{"Zyxwine", "zq@"} {
		if strings.Contains(b.String(), private) {
			t.Errorf("the page holds %q", private)
		}
	}
}

func TestBriefs(t *testing.T) {
	dir := t.TempDir()
	ranked, other := found("A", 1, rank.Call), found("C", 0, rank.Repair)
	if briefMonths(other) != nil {
		t.Error("a site without an offer keeps its months")
	}
	months := briefMonths(ranked)
	// The last 24 of thirty months from May 2024 on begin with November 2024.
	if len(months) != 24 || months[0].Year != 2024 || months[0].Month != 11 || months[0].ProductionKWh != 6 {
		t.Errorf("months %+v", months)
	}
	// Use that no meter has is what was derived, in whatever zone; a meter's own
	// reading stands.
	denver := time.FixedZone("", -6*3600)
	ranked.Months[28].ConsumptionKWh, ranked.Months[29].ConsumptionKWh = math.NaN(), 500
	ranked.Demand.Months = []demand.Month{{First: time.Date(2026, 9, 1, 0, 0, 0, 0, denver), ConsumptionKWh: 410}, {First: time.Date(2026, 10, 1, 0, 0, 0, 0, denver), ConsumptionKWh: 420}}
	if m := briefMonths(ranked); m[22].ConsumptionKWh != 410 || m[23].ConsumptionKWh != 500 {
		t.Errorf("use %g and %g", m[22].ConsumptionKWh, m[23].ConsumptionKWh)
	}
	b := siteBrief(ranked, Manifest{Month: "2026-10"})
	if diff := cmp.Diff([]string{"6 on plane P1 (tilt 20°, facing 180°)"}, b.Places); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"Still there."}, b.Events); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"The roof is old.", "2 % is missing."}, b.Doubts); diff != "" {
		t.Error(diff)
	}
	var ceilings []string
	for _, c := range b.Ceilings {
		mark := ""
		if c.Binds {
			mark = " binds"
		}
		ceilings = append(ceilings, strings.TrimSpace(c.Name+": "+c.Modules+" "+c.Says)+mark)
	}
	want := []string{"Roof: 9 9 fit. binds", "Service: no limit No rule.", "Branch circuits: not known", "Gateway: not known", "Permission: not known Not in the register. Ask: the AC limit."}
	if diff := cmp.Diff(want, ceilings); diff != "" {
		t.Error(diff)
	}

	of := map[string]*analyze.Finding{"A": ranked, "C": other}
	from := func(id string) (*sheets, error) { return sheetsOf(&keptFinding{Found: *of[id]}, Manifest{}) }
	if err := writeSheets(dir, []string{"A", "C"}, from, Manifest{}); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(dir, "briefs", "*"))
	if len(files) != 2 || filepath.Base(files[0]) != "A.html" || filepath.Base(files[1]) != "C.html" {
		t.Fatalf("briefs %v", files)
	}
	text, err := os.ReadFile(files[0])
	if err != nil || !bytes.Contains(text, []byte("Zyxwine Quorrel")) {
		t.Errorf("the brief does not name the customer (%v)", err)
	}
	if text, err = os.ReadFile(files[1]); err != nil || !bytes.Contains(text, []byte("Look at the covering.")) || bytes.Contains(text, []byte("The offer")) {
		t.Errorf("the sick array's page is not its sheet alone (%v)", err)
	}
}

// glanced gathers what the page takes from findings.
func glanced(findings []*analyze.Finding, before *pastRun) *gathered {
	findings = slices.Clone(findings)
	slices.SortFunc(findings, func(a, b *analyze.Finding) int { return strings.Compare(a.Site.ID, b.Site.ID) })
	g := newGathered()
	for i, f := range findings {
		r := render(f, words{"en-US", "EUR"})
		if r.Call != nil {
			r.Call.listed = r.Listed
		}
		g.add(&r, i, before)
	}
	g.order()
	return g
}

func TestSentence(t *testing.T) {
	for in, want := range map[string]string{"": "", "call": "Call.", "ärger": "Ärger.", "why?": "Why?", "Done.": "Done."} {
		if got := sentence(in); got != want {
			t.Errorf("%q: %q", in, got)
		}
	}
}
