package report

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rowen/analyze"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/report/page"
)

// pageRows is how many ranked sites the page holds at the most: about 10 MB,
// which a browser opens within two seconds since it draws a slice at a time
// (measured). The rest are in candidates.parquet.
const pageRows = 10_000

// pageLines is how many sites to repair, sites that left the ranking and input files
// the page lists at the most: nobody reads more of them there, and files of the run
// hold all (our choice).
const pageLines = 2000

// page is the fleet at a glance.
func (g *gathered) page(m Manifest, past *Past) *page.Page {
	p := &page.Page{
		Fleet: m.Name, Month: monthInWords(m.Month), Currency: m.Currency, Sites: m.Counts.Sites, WithReadings: m.Counts.SitesRead,
		Warnings: m.Warnings, Version: m.Program + " " + m.Version,
	}
	for _, l := range m.Lanes {
		p.Lanes = append(p.Lanes, page.Lane{Code: l.Lane, Sites: l.Sites})
	}
	p.DigestsAll = len(m.Inputs)
	for _, in := range m.Inputs[:min(pageLines, len(m.Inputs))] {
		p.Digests = append(p.Digests, page.Digest{File: in.File, SHA256: in.SHA256})
	}
	before := past.previous()
	if before != nil {
		p.Previous = monthInWords(before.month)
	}
	var worth []float64
	for _, x := range g.ranked {
		worth = append(worth, x.netBenefit)
	}
	p.Benefit = page.Bins(worth)
	slices.SortFunc(g.rows, func(a, b page.Row) int { return a.Rank - b.Rank })
	p.RowsMore, p.Rows = len(g.ranked)-len(g.rows), g.rows
	stops := map[int]int{}
	for _, r := range p.Rows {
		stops[r.Trip]++
	}
	for i := range p.Rows {
		r := &p.Rows[i]
		if r.Trip != 0 {
			r.TripStops = stops[r.Trip]
		}
		r.New = before != nil && !before.ranked(r.SiteID)
	}
	w := words{m.Locale, m.Currency}
	p.Repairs, p.RepairsMore = g.mend, g.mendAll-len(g.mend)
	p.Left, p.LeftAll = g.left, g.leftAll
	p.Limits, p.Branches = g.limits(), g.branches()
	if !m.HideMap {
		p.Places = g.places
	}
	p.Calls, p.Resting, p.Expanded = calls(g.learned), g.resting(w), g.expanded
	return p
}

func pageRow(f *analyze.Finding, w words) page.Row {
	v, o := &f.Verdict, f.Chosen
	found, offer := w.say(f)
	r := page.Row{
		Rank: v.Rank, SiteID: f.Site.ID, Postcode: f.Site.Postcode, Branch: f.Site.Branch, Lane: string(v.Lane), Found: found, Offer: offer, Reasons: w.reasons(v.Reasons),
		Modules: o.Modules, AddedKWhYr: o.AddedKWhYr, Cost: o.Cost, Saving: interval(o.Saving), NetBenefit: interval(o.NetBenefit),
		Payback: o.SimplePaybackYears, Confidence: v.Confidence, Stability: v.Stability, Trip: v.Trip, NextStep: w.plain(sentence(v.NextStep)), ComesFirst: w.comesFirst(f),
		AskFirst: asks(len(v.AskFirst), func(i int) string { return v.AskFirst[i].Says }), OnList: v.OnList, Rests: !v.NotBefore.IsZero(), Brief: briefFile(f.Site.ID),
	}
	if v.Offer != nil {
		r.UpTo = v.Offer.UpTo
	}
	return r
}

func interval(s option.Spread) page.Interval {
	return page.Interval{Value: s.Value, Low: s.Low, High: s.High}
}

func sentences(rs []rank.Reason) []string {
	out := make([]string, len(rs))
	for i, r := range rs {
		out[i] = sentence(r.Says)
	}
	return out
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

func jobsInWords(jobs []string) []string {
	out := make([]string, len(jobs))
	for i, j := range jobs {
		out[i] = strings.ReplaceAll(j, "_", " ")
	}
	return out
}

// monthInWords turns 2026-10 into October 2026.
func monthInWords(m string) string {
	t, err := time.Parse("2006-01", m)
	if err != nil {
		return m
	}
	return fmt.Sprintf("%s %d", t.Month(), t.Year())
}

func create(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}
