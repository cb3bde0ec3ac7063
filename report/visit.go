package report

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rowen/analyze"
	"rowen/analyze/visit"
	"rowen/report/page"
)

// RepairRow is one sick array on the service team's list. It holds personal data.
type RepairRow struct {
	Place         int32   `parquet:"place"`
	Branch        string  `parquet:"branch"`
	SiteID        string  `parquet:"site_id"`
	Customer      string  `parquet:"customer"`
	Contact       string  `parquet:"contact"`
	Faults        string  `parquet:"faults"`
	What          string  `parquet:"what"`
	Since         string  `parquet:"since"`
	Where         string  `parquet:"where"`
	Confidence    float64 `parquet:"confidence"`
	AheadKWhYr    float64 `parquet:"ahead_kwh_yr"`
	LostKWhYr     float64 `parquet:"lost_kwh_yr"`
	ToLookAtKWhYr float64 `parquet:"to_look_at_kwh_yr"`
	SavingYr      float64 `parquet:"saving_yr"`
	LookFirst     string  `parquet:"look_first"`
	NextStep      string  `parquet:"next_step"`
	Sheet         string  `parquet:"sheet"`
	Cautions      string  `parquet:"cautions"`
	ReportMonth   string  `parquet:"report_month"`
}

// toMend is what the live faults cost in a year to come: what can be mended, and
// the shade that can only be looked at.
func toMend(f *analyze.Finding) (mend, look float64) {
	for _, x := range f.Array.Faults {
		switch {
		case x.Code == "shading":
			look += x.AheadKWhYr
		case x.Repairable:
			mend += x.AheadKWhYr
		}
	}
	return mend, look
}

// repairRow is a sick array on the service team's list, but for its place there.
func repairRow(f *analyze.Finding) RepairRow {
	mend, look := toMend(f)
	r := RepairRow{Branch: f.Site.Branch, SiteID: f.Site.ID, Customer: f.Site.Customer, Contact: f.Site.Contact,
		AheadKWhYr: math.Round(mend), ToLookAtKWhYr: math.Round(look), SavingYr: cents(f.Worth.RepairSavingYr), NextStep: f.Verdict.NextStep,
		Sheet: briefFile(f.Site.ID), Cautions: Caution, ReportMonth: f.Month.String()}
	var codes, what []string
	for _, x := range f.Visit.Findings {
		codes, what = append(codes, x.Code), append(what, x.Says)
		r.LostKWhYr += x.LostKWhYr
	}
	if first := f.Visit.Findings; len(first) > 0 {
		r.Since, r.Where, r.Confidence = first[0].Since, first[0].Where, first[0].ConfidencePct/100
	}
	r.Faults, r.What, r.LookFirst = strings.Join(codes, " "), strings.Join(what, " "), strings.Join(lookFirst(f.Visit), " ")
	return r
}

// lookFirst are the sheet's steps that look for the fault, the first three.
func lookFirst(s *visit.Sheet) []string {
	var out []string
	for _, p := range s.Parts {
		for _, step := range p.Steps {
			if slices.Contains(lookSteps, step.Code) && len(out) < 3 {
				out = append(out, fmt.Sprintf("%d. %s", len(out)+1, step.Says))
			}
		}
	}
	return out
}

var lookSteps = []string{"device_list", "supply_there", "shade_ask", "limit_settings", "meter_comms", "branch_voltage", "branch_current", "terminals", "dead_units", "soiling", "shade_look", "array_verify"}

// VisitRow is one site's sheet for who reads it with a program. No personal data.
type VisitRow struct {
	SiteID string `json:"site_id" text:"the site"`
	*visit.Sheet
}

// Visits is visits.json.
type Visits struct {
	ReportMonth string     `json:"report_month" text:"the report month"`
	Cautions    []string   `json:"cautions" text:"what holds for every visit"`
	Visits      []VisitRow `json:"visits" text:"one sheet per site"`
}

// visitEntry is a site's entry in visits.json, at its margin there.
func visitEntry(f *analyze.Finding) ([]byte, error) {
	var b bytes.Buffer
	err := encodeJSON(&b, visitMargin, VisitRow{f.Site.ID, f.Visit})
	return bytes.TrimRight(b.Bytes(), "\n"), err
}

const visitMargin = "    "

// writeSheets writes the sheets of all who get one, in the order of the lists, the
// ranked first, then the repairs: the pages below briefs/, and visits.json. One sheet
// after another: together they are the most that a run says. The bytes of visits.json
// are those of Visits as a whole.
func writeSheets(dir string, siteIDs []string, from func(siteID string) (*sheets, error), m Manifest) error {
	var b bytes.Buffer
	if err := encodeJSON(&b, "", Visits{ReportMonth: m.Month, Cautions: page.Cautions, Visits: []VisitRow{}}); err != nil {
		return err
	}
	end := bytes.LastIndex(b.Bytes(), []byte("]"))
	head, tail := string(b.Bytes()[:end]), string(b.Bytes()[end:])
	if len(siteIDs) > 0 {
		if err := os.Mkdir(filepath.Join(dir, "briefs"), 0o755); err != nil {
			return err
		}
	}
	return create(filepath.Join(dir, "visits.json"), func(w io.Writer) error {
		out := bufio.NewWriter(w)
		out.WriteString(head)
		before, after := "\n"+visitMargin, ""
		for _, id := range siteIDs {
			s, err := from(id)
			if err != nil {
				return err
			}
			if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(briefFile(id))), s.Brief, 0o666); err != nil {
				return err
			}
			if s.Visit == nil {
				continue
			}
			out.WriteString(before)
			out.Write(s.Visit)
			before, after = ",\n"+visitMargin, "\n  "
		}
		out.WriteString(after + tail)
		return out.Flush()
	})
}

// sheetOf puts a visit's sheet into the page's own words; nil where there is none.
func sheetOf(f *analyze.Finding, m Manifest) *page.Sheet {
	v := f.Visit
	if v == nil {
		return nil
	}
	w := words{m.Locale, m.Currency}
	s := &page.Sheet{Kind: string(v.Kind), Title: v.Title, Lead: v.Lead, Month: monthInWords(m.Month), SiteID: f.Site.ID, Branch: f.Site.Branch,
		Customer: f.Site.Customer, Contact: f.Site.Contact, Version: m.Program + " " + m.Version, Unknown: v.Unknown, Sums: v.Sums}
	for _, x := range v.Materials {
		s.Materials = append(s.Materials, page.SheetMaterial(x))
	}
	for _, x := range v.Findings {
		s.Findings = append(s.Findings, page.SheetFinding{Says: w.plain(x.Says), Since: w.plain(x.Since), Where: x.Where, ConfidencePct: x.ConfidencePct, LostKWhYr: x.LostKWhYr, AheadKWhYr: x.AheadKWhYr})
	}
	for _, p := range v.Parts {
		part := page.SheetPart{Head: p.Head}
		for _, x := range p.Steps {
			part.Steps = append(part.Steps, page.SheetStep{Number: x.Number, Who: string(x.Who), Says: w.plain(x.Says), Fill: x.Fill})
		}
		s.Parts = append(s.Parts, part)
	}
	for _, x := range v.Register {
		s.Rows = append(s.Rows, page.SheetRows(x))
	}
	if y := f.Worth.RepairSavingYr; v.Kind == visit.Repair && y > 0 {
		s.Saving = fmt.Sprintf("Repairing it saves the customer about %s %s a year, by the tariff.", whole(y), m.Currency)
	}
	return s
}
