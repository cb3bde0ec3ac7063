package page

import (
	"fmt"
	"html"
	"html/template"
	"io"
	"strings"
)

// Sheet is what a person takes to a house: a survey, work or repair sheet. It
// stands behind the brief of a candidate, or alone. It may hold the customer's
// name and contact.
type Sheet struct {
	Kind, Title, Lead string
	Fleet, Month      string
	SiteID, Branch    string
	Customer, Contact string // personal data
	Version           string

	Unknown   []string // what decides the size and is not known
	Materials []SheetMaterial
	Sums      []string
	Findings  []SheetFinding
	Parts     []SheetPart
	Rows      []SheetRows // of the register, to be completed
	Saving    string      // what mending saves in a year, in words; "": not known
}

// SheetMaterial is one line of what is carried; Count 0: as the site asks.
type SheetMaterial struct {
	Count       int
	What, Where string
}

// SheetFinding is one fault of the array.
type SheetFinding struct {
	Says, Since, Where    string
	ConfidencePct         float64
	LostKWhYr, AheadKWhYr float64
}

// SheetPart is the steps of one stage.
type SheetPart struct {
	Head  string
	Steps []SheetStep
}

// SheetStep is one numbered thing to do, who may do it, and what is written
// down beside it.
type SheetStep struct {
	Number          int
	Who, Says, Fill string
}

// SheetRows is a fragment of a register table.
type SheetRows struct {
	File, Header string
	Lines        []string
}

// Write renders the sheet as a page of its own.
func (s *Sheet) Write(w io.Writer) error {
	if err := pages.ExecuteTemplate(w, "alone.html.tmpl", s); err != nil {
		return fmt.Errorf("writing the sheet of %s: %w", s.SiteID, err)
	}
	return nil
}

// shortWho is who may do a step as it stands in front of it; the sheet's head
// spells it out.
func shortWho(who string) string {
	switch who {
	case "trained crew":
		return "crew"
	case "licensed electrician":
		return "electrician"
	}
	return who
}

// breaks lets a row of cells wrap after its commas only.
func breaks(row string) template.HTML {
	return template.HTML(strings.ReplaceAll(html.EscapeString(row), ",", ",<wbr>"))
}
