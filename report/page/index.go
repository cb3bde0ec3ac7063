package page

import (
	"fmt"
	"io"
)

// Page is the fleet at a glance: index.html. It holds no personal data.
type Page struct {
	Fleet    string // the installer's or the fleet's name; "": left out
	Month    string // October 2026
	Previous string // the month of the earlier run that it is held against, September 2026; "": none
	Currency string

	Sites        int // in the register
	WithReadings int

	Lanes       []Lane // in the order of the page
	Rows        []Row  // best first
	RowsMore    int    // ranked sites that are not in Rows: they are in candidates.parquet
	Limits      []Limit
	Benefit     []Bin // net benefit of the ranked sites
	Places      []Place
	Branches    []Branch
	Left        []Left // sites that the earlier run ranked and this one does not
	LeftAll     int    // how many there are
	Resting     []Resting
	Calls       Calls
	Expanded    []Expanded
	Repairs     []Repair
	RepairsMore int      // sites to repair that are not in Repairs: they are in repair_list.csv
	Warnings    []string // what was wrong with the input, in sentences

	Version    string
	Digests    []Digest // of the input files
	DigestsAll int      // how many there are
}

// Lane is one lane with how many sites are in it.
type Lane struct {
	Code  string // call, prepare, ...
	Sites int
}

// Row is one ranked site.
type Row struct {
	Rank     int
	SiteID   string
	Postcode string
	Branch   string
	Lane     string   // code
	Found    string   // what can be said of the home
	Offer    string   // and of the modules
	Reasons  []string // in sentences, the weightiest first

	Modules, UpTo int
	AddedKWhYr    float64
	Cost          float64
	Saving        Interval // first year
	NetBenefit    Interval
	Payback       float64 // years; NaN: never
	Confidence    float64 // 0 to 1
	Stability     float64 // 0 to 1; NaN: not known
	Trip          int     // 0: none
	TripStops     int     // of it
	NextStep      string
	ComesFirst    string // every job; "": none
	AskFirst      string // what could end the sale; "": nothing
	OnList        bool   // within what the branch can call, and nothing keeps anybody from calling
	Rests         bool   // bought lately: ranked, and left alone for now
	New           bool   // not ranked in the earlier run
	Brief         string // briefs/SITE.html; "": none
}

// Interval is a number with its 90 % interval; NaN: not known.
type Interval struct{ Value, Low, High float64 }

// Limit is one limit over the fleet: how many sites it binds, and what lifting
// it would release.
type Limit struct {
	Name       string
	Sites      int
	Modules    int     // that would then fit
	NetBenefit float64 // of them, jobs paid, where a job lifts it; 0: none does
	Job        string  // the job that lifts it most often; "": none does
}

// Bin is how many ranked sites have a net benefit from From up to To.
type Bin struct {
	From, To float64
	Sites    int
}

// Place is one site on the map, to about a kilometer.
type Place struct {
	East, North float64 // degrees
	Lane        string
}

// Branch is how a branch's sites stand.
type Branch struct {
	Name                 string
	Sites, Call, Prepare int
	OnList               int
}

// Left is a site that left the ranking.
type Left struct{ SiteID, Branch, Lane, Why string }

// Resting is how many sites an earlier call keeps from the next.
type Resting struct {
	Result string // in words
	Sites  int
	Until  string // when the first of them may be contacted again
}

// Calls is what earlier calls came to.
type Calls struct {
	Made, Answered, Sold, NoAnswer, NotSuitable, Unlisted int
	Needed                                                int // answered calls that a rate takes
	Enough                                                bool
	All                                                   Rate
	ByTenth, ByReason                                     []Rate
	Lift, NDCG                                            float64 // 0: too few to say
	Calibration                                           string  // how the chances come about; "": none are given
}

// Rate is a share of calls that sold.
type Rate struct {
	Name              string
	Sold, Calls       int
	Share, Low, High  float64
	Chance            float64
	X, XLow, XHigh, Y float64 // on the drawing
}

// Expanded is a site that a call expanded: predicted against realized.
type Expanded struct {
	SiteID, Branch, Built string
	Modules               int
	Months                float64
	PredictedKWhYr        float64
	Realized              Interval
	PredictedSaving       float64
	Saved                 Interval
	Refusal               string
}

// Repair is a site whose array is to be mended before anything is sold.
type Repair struct {
	SiteID, Branch string
	Why            string
	LossKWhYr      float64 // NaN: not known
	NextStep       string
	Sheet          string // the repair sheet's file in the run's folder; "": none
}

// Digest names a file of the input by its contents.
type Digest struct{ File, SHA256 string }

// firstRows is how many rows stand in the page itself; the script adds the rest
// in slices from its data (our choice: what a person reads before they search).
const firstRows = 100

// Write renders the page.
func (p *Page) Write(w io.Writer) error {
	if err := pages.ExecuteTemplate(w, "index.html.tmpl", p.view()); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

// pageView is a page with what the layout needs beside it.
type pageView struct {
	*Page
	First  []Row // those that stand in the page itself
	Data   any   // all of them, for the script; nil: they are all there
	Scale  scale // that all bars of the list share
	Maps   []siteMap
	Bars   bars
	Counts counts
}

// counts are the numbers of the page's first lines. Each is counted once, here,
// from the rows and the lanes, so that they agree.
type counts struct {
	Ranked, OnList, CallNow, AfterPrepare, New, Repair int

	Rest  int // ranked, and left alone for now
	Ready int // ranked, and free to be called
}

func (p *Page) view() pageView {
	v := pageView{Page: p, First: p.Rows[:min(firstRows, len(p.Rows))], Maps: mapsOf(p.Places), Bars: barsOf(p.Benefit)}
	for i := range p.Rows {
		r := &p.Rows[i]
		v.Scale.take(r.NetBenefit)
		v.Counts.add(r)
	}
	v.Counts.Ranked += p.RowsMore
	v.Counts.Ready = v.Counts.Ranked - v.Counts.Rest
	for _, l := range p.Lanes {
		if l.Code == "repair" {
			v.Counts.Repair = l.Sites
		}
	}
	if len(p.Rows) > 0 {
		v.Data = rowData(p.Rows, v.Scale)
	}
	p.Calls.place()
	return v
}

func (c *counts) add(r *Row) {
	c.Ranked++
	if r.New {
		c.New++
	}
	if r.Rests {
		c.Rest++
	}
	switch {
	case r.OnList && r.Lane == "call":
		c.OnList, c.CallNow = c.OnList+1, c.CallNow+1
	case r.OnList:
		c.OnList, c.AfterPrepare = c.OnList+1, c.AfterPrepare+1
	}
}

// rowData is the list as the script reads it: a list a row, in the order of
// rowKeys.
func rowData(rows []Row, s scale) any {
	type data struct {
		Keys []string `json:"keys"`
		Rows [][]any  `json:"rows"`
	}
	d := data{Keys: []string{"rank", "site", "postcode", "branch", "lane", "found", "offer", "reasons", "modules", "upTo", "made", "cost", "benefit", "benefitSpan",
		"saving", "savingSpan", "payback", "sure", "stays", "trip", "stops", "next", "first", "ask", "on", "fresh", "brief", "low", "wide", "at",
		"benefitSort", "paybackSort"}}
	for i := range rows {
		r := &rows[i]
		low, wide, at := "", "", ""
		if r.NetBenefit.known() {
			low, wide, at = s.At(r.NetBenefit.Low), s.Wide(r.NetBenefit.Low, r.NetBenefit.High), s.At(r.NetBenefit.Value)
		}
		d.Rows = append(d.Rows, []any{r.Rank, r.SiteID, r.Postcode, r.Branch, r.Lane, r.Found, r.Offer, r.Reasons, r.Modules, r.UpTo, whole(r.AddedKWhYr), whole(r.Cost),
			whole(r.NetBenefit.Value), span(r.NetBenefit), whole(r.Saving.Value), span(r.Saving), years(r.Payback), int(float64(100*r.Confidence) + 0.5), stays(r.Stability),
			r.Trip, r.TripStops, r.NextStep, r.ComesFirst, r.AskFirst, r.OnList, r.New, r.Brief, low, wide, at,
			finite(r.NetBenefit.Value, -1e300), finite(r.Payback, 1e300)})
	}
	return d
}
