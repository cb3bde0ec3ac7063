package page

import (
	"fmt"
	"io"
)

// Page is the fleet at a glance: index.html. It holds no personal data.
type Page struct {
	Fleet    string // the installer's or the fleet's name; "": left out
	Month    string // October 2026
	Currency string

	Sites        int // in the register
	WithReadings int
	OnList       int // customers that the branches can call this month

	Lanes    []Lane // in the order of the page
	Rows     []Row  // best first
	RowsMore int    // ranked sites that are not in Rows: they are in candidates.parquet
	Repairs  []Repair
	Warnings []string // what was wrong with the input, in sentences

	Version string
	Digests []Digest
}

// Lane is one lane with how many sites are in it.
type Lane struct {
	Code  string // call, prepare, ...
	Sites int
}

// Row is one ranked site.
type Row struct {
	Rank    int
	SiteID  string
	Branch  string
	Lane    string   // code
	Reasons []string // in sentences, the weightiest first

	Modules    int
	AddedKWhYr float64
	Cost       float64
	Saving     Interval // first year
	NetBenefit Interval
	Payback    float64 // years; NaN: never
	Confidence float64 // 0 to 1
	NextStep   string
	Jobs       []string // what comes first, in words
	OnList     bool     // within what the branch can call
	Brief      string   // briefs/SITE.html; "": none
}

// Repair is a site whose array is to be mended before anything is sold.
type Repair struct {
	SiteID, Branch string
	Why            string
	LossKWhYr      float64 // NaN: not known
	NextStep       string
}

// Digest names a file of the input by its contents.
type Digest struct{ File, SHA256 string }

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
	Scale  scale // that all bars of the list share
	Repair int   // sites in the lane
	Call   int
	First  int // sites in prepare
}

func (p *Page) view() pageView {
	v := pageView{Page: p}
	for _, r := range p.Rows {
		v.Scale.take(r.NetBenefit)
	}
	for _, l := range p.Lanes {
		switch l.Code {
		case "call":
			v.Call = l.Sites
		case "prepare":
			v.First = l.Sites
		case "repair":
			v.Repair = l.Sites
		}
	}
	return v
}
