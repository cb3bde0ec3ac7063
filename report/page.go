package report

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rowen/analyze"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/report/page"
)

// pageRows is how many ranked sites the page holds at the most: about 3 MB,
// which a browser still opens at once (our choice). The rest are in
// candidates.parquet.
const pageRows = 2000

func writePage(path string, findings []*analyze.Finding, m Manifest) error {
	p := fleetPage(findings, m)
	return create(path, p.Write)
}

// fleetPage is the fleet at a glance.
func fleetPage(findings []*analyze.Finding, m Manifest) *page.Page {
	p := &page.Page{
		Fleet: m.Name, Month: monthInWords(m.Month), Currency: m.Currency, Sites: m.Counts.Sites, WithReadings: m.Counts.SitesRead, OnList: m.Counts.OnCallList,
		Warnings: m.Warnings, Version: m.Program + " " + m.Version,
	}
	for _, l := range m.Lanes {
		p.Lanes = append(p.Lanes, page.Lane{Code: l.Lane, Sites: l.Sites})
	}
	for _, in := range m.Inputs {
		p.Digests = append(p.Digests, page.Digest{File: in.File, SHA256: in.SHA256})
	}
	ranked := Ranked(findings)
	if len(ranked) > pageRows {
		p.RowsMore = len(ranked) - pageRows
		ranked = ranked[:pageRows]
	}
	for _, f := range ranked {
		p.Rows = append(p.Rows, pageRow(f))
	}
	for _, f := range findings {
		if f.Verdict.Lane == rank.Repair {
			p.Repairs = append(p.Repairs, page.Repair{SiteID: f.Site.ID, Branch: f.Site.Branch,
				Why: strings.Join(sentences(f.Verdict.Reasons), " "), LossKWhYr: f.Array.ShortfallKWhYr, NextStep: sentence(f.Verdict.NextStep)})
		}
	}
	return p
}

func pageRow(f *analyze.Finding) page.Row {
	v, o := &f.Verdict, f.Chosen
	return page.Row{
		Rank: v.Rank, SiteID: f.Site.ID, Branch: f.Site.Branch, Lane: string(v.Lane), Reasons: sentences(v.Reasons),
		Modules: o.Modules, AddedKWhYr: o.AddedKWhYr, Cost: o.Cost, Saving: interval(o.Saving), NetBenefit: interval(o.NetBenefit),
		Payback: o.SimplePaybackYears, Confidence: v.Confidence, NextStep: sentence(v.NextStep), Jobs: jobsInWords(o.Jobs),
		OnList: v.OnList, Brief: briefFile(f.Site.ID),
	}
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
