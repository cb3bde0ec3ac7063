package report

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rowen/analyze"
	"rowen/analyze/rank"
	"rowen/report/page"
)

// rendered is all that a run says of one site, but for its sheets: the rows of the
// tables and lists, ranks included.
type rendered struct {
	Site     SiteRow
	Events   []EventRow
	Faults   []FaultTableRow
	Limits   []LimitRow
	Jobs     []JobTableRow
	Reasons  []ReasonRow
	Outcomes []OutcomeRow

	Glance glance
	Why    string       // the reasons in words
	Row    *page.Row    // nil: the site is not ranked
	Mend   *page.Repair // nil: there is nothing to mend

	// Personal data.
	Call   *CallRow   // nil: the site is not on the call list
	Listed listed     // of Call
	Repair *RepairRow // nil: there is no repair sheet
}

// sheets are what a ranked site or a sick array has of pages.
type sheets struct {
	Visit []byte // its entry in visits.json; nil: none
	Brief []byte // personal data
}

// Render writes what a run says of the sites of one or more shards into a folder of
// its own, once the fleet is ranked. The standings are in the order of the sites' ids.
func Render(kept *Found, standings []analyze.Standing, m Manifest, into string) error {
	err := os.MkdirAll(into, 0o700)
	if err != nil {
		return fmt.Errorf("rendering the findings: %w", err)
	}
	rows, noRows := newPile(filepath.Join(into, "rows"))
	pages, noPages := newPile(filepath.Join(into, "sheets"))
	if err := errors.Join(noRows, noPages); err != nil {
		return fmt.Errorf("rendering the findings: %w", err)
	}
	for i := 0; err == nil && i < kept.found.len(); i++ {
		err = renderSite(kept, i, standings, m, rows, pages)
	}
	if err = errors.Join(err, rows.close(), pages.close()); err != nil {
		return fmt.Errorf("rendering the findings: %w", err)
	}
	return nil
}

func renderSite(kept *Found, i int, standings []analyze.Standing, m Manifest, rows, pages *pile) error {
	x, err := kept.read(i)
	if err != nil {
		return err
	}
	if at, there := slices.BinarySearchFunc(standings, x.SiteID, func(s analyze.Standing, id string) int { return strings.Compare(s.SiteID, id) }); there {
		standings[at].Apply(&x.Found)
	}
	if err := addTo(rows, x.SiteID, render(&x.Found, words{m.Locale, m.Currency})); err != nil {
		return err
	}
	s, err := sheetsOf(x, m)
	if err != nil || s == nil {
		return err
	}
	return addTo(pages, x.SiteID, *s)
}

// ranked tells whether a site is ranked with a size to propose.
func ranked(f *analyze.Finding) bool { return f.Verdict.Rank > 0 && f.Chosen != nil }

func render(f *analyze.Finding, w words) rendered {
	lists := siteLists(f)
	r := rendered{Site: lists, Events: eventRows(f, &lists), Faults: faultRows(f, &lists), Limits: limitRows(f, &lists), Jobs: jobRows(f, &lists),
		Reasons: reasonRows(f, &lists), Outcomes: outcomeRows(f, &lists), Glance: glanceOf(f, w), Why: strings.Join(w.reasons(f.Verdict.Reasons), " ")}
	r.Site.Chain = chain(f)
	if ranked(f) {
		row := pageRow(f, w)
		r.Row = &row
		if f.Verdict.OnList {
			call := callRow(f, w)
			r.Call, r.Listed = &call, call.listed
		}
	}
	if f.Verdict.Lane == rank.Repair {
		r.Mend = &page.Repair{SiteID: f.Site.ID, Branch: f.Site.Branch, Why: r.Why, LossKWhYr: f.Array.ShortfallKWhYr,
			NextStep: w.plain(sentence(f.Verdict.NextStep)), Sheet: briefFile(f.Site.ID)}
	}
	if r.Glance.Repair {
		repair := repairRow(f)
		r.Repair = &repair
	}
	return r
}

// sheetsOf are the pages of a site; nil: it gets none.
func sheetsOf(x *keptFinding, m Manifest) (*sheets, error) {
	f := &x.Found
	var brief bytes.Buffer
	var err error
	switch {
	case ranked(f):
		b := siteBrief(f, m)
		b.Months = x.Chart
		err = b.Write(&brief)
	case f.Verdict.Lane == rank.Repair && f.Visit != nil:
		err = sheetOf(f, m).Write(&brief)
	default:
		return nil, nil
	}
	s := &sheets{Brief: brief.Bytes()}
	if f.Visit != nil && err == nil {
		s.Visit, err = visitEntry(f)
	}
	return s, err
}

// Rendered is what a run says of every site, from the folders of all shards.
type Rendered struct {
	rows, sheets piles
}

// OpenRendered opens the folders of all shards.
func OpenRendered(dirs ...string) (*Rendered, error) {
	k := &Rendered{}
	err := error(nil)
	for _, dir := range dirs {
		err = errors.Join(err, k.rows.add(filepath.Join(dir, "rows")), k.sheets.add(filepath.Join(dir, "sheets")))
	}
	if err = errors.Join(err, k.rows.sort(), k.sheets.sort()); err != nil {
		return nil, errors.Join(fmt.Errorf("reading what was rendered: %w", err), k.Close())
	}
	return k, nil
}

// at is what is said of the i-th site in the order of the ids.
func (k *Rendered) at(i int) (*rendered, error) {
	all, err := takeFrom[rendered](&k.rows, i)
	if err != nil {
		return nil, err
	}
	if r := &all[0]; r.Call != nil {
		r.Call.listed = r.Listed
	}
	return &all[0], nil
}

// pages are the sheets of a site that gets some.
func (k *Rendered) pages(siteID string) (*sheets, error) {
	i, there := k.sheets.find(siteID)
	if !there {
		return nil, fmt.Errorf("the sheets of %s are missing", siteID)
	}
	all, err := takeFrom[sheets](&k.sheets, i)
	if err != nil {
		return nil, err
	}
	return &all[0], nil
}

// Close lets go of the files.
func (k *Rendered) Close() error { return errors.Join(k.rows.close(), k.sheets.close()) }
