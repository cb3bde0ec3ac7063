// Package visit writes the one sheet that a person takes to a house: a survey
// sheet while anything that decides the size is unknown, a work sheet when all
// is known, a repair sheet where the array makes less than it should. The three
// are never mixed: a survey sheet lists no material and no count to install, a
// repair sheet adds nothing.
//
// Every step has a code, under which testdata/visit/sources.csv says where the
// rule comes from, and names who may do it. Clauses come from the site's service
// profile only, so that a sheet cites the code of its own place or none.
// Nothing here holds personal data.
package visit

import (
	"math"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/headroom"
)

// Kind is which of the three sheets it is.
type Kind string

// The three sheets.
const (
	Survey Kind = "survey"
	Work   Kind = "work"
	Repair Kind = "repair"
)

// Who may do a step.
type Who string

// The four who may act; local codes may ask for more.
const (
	Anyone      Who = "anyone"
	Crew        Who = "trained crew"
	Electrician Who = "licensed electrician"
	Utility     Who = "utility"
)

// Step is one thing to do, numbered through the whole sheet.
type Step struct {
	Number int    `json:"number" text:"counts through the sheet"`
	Code   string `json:"code" text:"rowen schema codes describes it"`
	Who    Who    `json:"who" text:"who may do it: anyone, trained crew, licensed electrician or utility"`
	Says   string `json:"says" text:"the instruction or finding"`
	Fill   string `json:"fill,omitempty" text:"what is written down beside it, with its unit"` // what is written down beside it, with its unit
}

// Part is the steps of one place or stage of the visit.
type Part struct {
	Code  string `json:"code" text:"rowen schema codes describes it"`
	Head  string `json:"head" text:"the heading"`
	Steps []Step `json:"steps" text:"what to do, in order"`
}

// Material is one line of what goes into the van.
type Material struct {
	Count int    `json:"count" text:"0: as many as the site asks for"` // 0: as long or as many as the site asks for
	What  string `json:"what" text:"the material"`
	Where string `json:"where,omitempty" text:"the place"`
}

// Rows are register rows to complete or change after the visit, as CSV.
type Rows struct {
	File   string   `json:"file" text:"the table"`
	Header string   `json:"header" text:"its columns"`
	Lines  []string `json:"lines" text:"rows to complete"`
}

// Sheet is what is handed over.
type Sheet struct {
	Kind      Kind       `json:"kind" text:"survey, work or repair"`
	Title     string     `json:"title" text:"the heading"`
	Lead      string     `json:"lead" text:"why this sheet and no other"`                                 // why this sheet and no other
	Unknown   []string   `json:"unknown,omitempty" text:"survey: what decides the size and is not known"` // survey: what decides the size and is not known
	Materials []Material `json:"materials,omitempty" text:"work: what goes into the van"`
	Sums      []string   `json:"sums,omitempty" text:"the arithmetic behind the counts"` // the arithmetic behind the counts
	Findings  []Finding  `json:"findings,omitempty" text:"repair: what the readings show"`
	Parts     []Part     `json:"parts" text:"places or stages of the visit"`
	Register  []Rows     `json:"register,omitempty" text:"rows of the register to complete or change"`
}

// Finding is one fault of the array, for the repair sheet.
type Finding struct {
	Code          string  `json:"code" text:"rowen schema codes describes it"`
	Says          string  `json:"says" text:"the instruction or finding"`
	Since         string  `json:"since" text:"when it began"`
	Where         string  `json:"where" text:"the place"`
	ConfidencePct float64 `json:"confidence_pct" text:"how sure it is"`
	LostKWhYr     float64 `json:"lost_kwh_yr" text:"lost in the report year"`             // in the report year
	AheadKWhYr    float64 `json:"ahead_kwh_yr" text:"lost in a year to come if it lasts"` // in a year to come if it lasts
}

// Input is one site with what the earlier stages found.
type Input struct {
	Room   headroom.Input
	Limits headroom.Result
	Plan   headroom.Plan // Modules 0: nothing is proposed

	Array           *array.Result
	RepairSavingYr  float64 // what mending saves in a year; NaN: not known
	Repair          bool    // the site is in the lane for repair
	TariffDefaulted bool
	AsOf            time.Time
}

// Write chooses the sheet and fills it; nil where there is nothing to go for.
func Write(in Input) *Sheet {
	s := newSite(in)
	var out *Sheet
	switch {
	case in.Repair:
		out = (&repair{s, live(in.Array)}).sheet()
	case in.Plan.Modules <= 0:
		return nil
	default:
		if len(s.undecided) > 0 {
			out = (&survey{s}).sheet()
		} else {
			out = newWork(s).sheet()
		}
	}
	number := 0
	for p := range out.Parts {
		for i := range out.Parts[p].Steps {
			number++
			out.Parts[p].Steps[i].Number = number
		}
	}
	return out
}

// site is what the steps read.
type site struct {
	Input
	wired     headroom.Circuits
	undecided []string // what decides the size and is not known
}

func newSite(in Input) *site {
	s := &site{Input: in, wired: headroom.Wire(in.Room, in.Plan)}
	s.undecided = s.findUndecided()
	return s
}

// findUndecided lists what decides the size and is not known.
func (s *site) findUndecided() []string {
	var out []string
	for _, l := range s.Limits.Limits() {
		if l.Unknown() && l.Low < s.Plan.Modules {
			out = append(out, capital(l.Ask))
		}
	}
	for _, p := range s.Plan.ByPlane {
		if room := s.room(p.PlaneID); !s.Limits.Roof.Unknown() && p.Modules > 0 && (room == nil || !room.Measured) {
			out = append(out, "Dimensions of "+s.plane(p.PlaneID))
		}
	}
	if !s.wired.Known || s.wired.DeviceBefore < 0 || math.IsNaN(s.wired.BeforeACKW) {
		out = append(out, "Number and model of the inverters that are there")
	}
	if v := s.Array.Verify; v != "" {
		out = append(out, sentence(v))
	}
	for _, f := range s.Array.Faults {
		if f.Live && mustVerify[f.Code] != "" {
			out = append(out, mustVerify[f.Code]+": "+f.Says)
		}
	}
	return unique(out)
}

// mustVerify are the findings that put the register in doubt: no size holds
// before somebody has counted.
var mustVerify = map[string]string{
	array.CapacityMismatch:    "The array's size",
	array.UnregisteredModules: "Modules outside the register",
	array.OrientationMismatch: "The array's facing",
}

func (s *site) room(planeID string) *headroom.PlaneRoom {
	for i := range s.Limits.Planes {
		if s.Limits.Planes[i].Plane.ID == planeID {
			return &s.Limits.Planes[i]
		}
	}
	return nil
}

// clause is the place's own clause for a topic in brackets, or a deferral to
// the local code.
func (s *site) clause(topic string) string {
	if c := s.Limits.Profile.SiteRule(topic); c != "" {
		return " (" + c + ")"
	}
	return " (local code)"
}
