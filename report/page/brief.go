package page

import (
	"fmt"
	"io"
	"slices"
)

// Brief is one candidate on one sheet: briefs/SITE.html. It is the one page
// that may hold the customer's name and contact.
type Brief struct {
	Fleet    string
	Month    string // October 2026
	Currency string

	Rank              int // 0: not ranked
	SiteID            string
	Branch            string
	Lane              string // code
	Customer, Contact string // personal data

	Reasons  []string // in sentences, the weightiest first
	NextStep string
	Jobs     []string // what comes first, in words

	Modules            int
	AddedKWDC          float64
	AddedKWhYr         float64
	SelfUsePct         float64 // share of the added output that the household uses
	CoverageNowPct     float64
	CoverageAfterPct   float64
	Cost               float64
	BillBefore         float64
	BillAfter          float64
	Saving, NetBenefit Interval
	Payback            float64 // years; NaN: never
	HorizonYears       int
	Confidence         float64
	Places             []string // where the modules go: 5 on plane P1 (180°, 20°)
	Ceilings           []Ceiling
	Months             []Month // oldest first; the chart shows the last 24
	Events             []string
	Doubts             []string // what travels with the numbers, in sentences
	Sheet              *Sheet   // what is taken to the house, on a page of its own; nil: nothing

	Version string
}

// Ceiling is one limit on the number of modules.
type Ceiling struct {
	Name    string // roof
	Modules string // 14, not known, no limit
	Says    string
	Binds   bool
}

// Month is one month of the chart; NaN: not metered.
type Month struct {
	Year, Month                                int
	ProductionKWh, ConsumptionKWh, ExpectedKWh float64
}

// briefDoubts is how many doubts one sheet has room for (our choice).
const briefDoubts = 5

// Write renders the brief. What would stand on the sheet twice stands once.
func (b *Brief) Write(w io.Writer) error {
	v := briefView{Brief: b, Chart: chartOf(b.Months)}
	v.Doubts = b.Doubts
	if len(b.Doubts) > briefDoubts {
		v.Doubts, v.DoubtsMore = b.Doubts[:briefDoubts], len(b.Doubts)-briefDoubts
	}
	v.Events = slices.DeleteFunc(slices.Clone(b.Events), func(e string) bool { return slices.Contains(b.Reasons, e) })
	if err := pages.ExecuteTemplate(w, "brief.html.tmpl", v); err != nil {
		return fmt.Errorf("writing the brief of %s: %w", b.SiteID, err)
	}
	return nil
}

// briefView is a brief with what the layout needs beside it.
type briefView struct {
	*Brief
	Chart      chart
	Doubts     []string
	DoubtsMore int
	Events     []string
}
