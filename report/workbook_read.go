package report

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"rowen/ingest"
)

// Filled is what people wrote into a call list's workbook.
type Filled struct {
	Outcomes []ingest.Outcome // by site and day
	Notes    []string         // rows that were begun and hold no result: left out
}

// ReadFilled takes the filled columns out of a call list's workbook.
//
// In:      every visible sheet with a heading "site" and one "result", in any
//
//	order of rows and columns; the hidden sheet says what the list said.
//
// Out:     each call once, though it may stand on the fleet's sheet and the branch's.
// Refuses: a result that is none of the four, one without a day, a number that is
//
//	none, two sheets that say different things of one call: all of them named,
//	and nothing is taken in.
func ReadFilled(path string) (*Filled, error) {
	f, err := excelize.OpenFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading the workbook %s: %w", path, err)
	}
	defer f.Close()
	kept, err := readKept(f)
	if err != nil {
		return nil, fmt.Errorf("reading the workbook %s: %w", path, err)
	}
	out, sheets := &Filled{}, 0
	var wrong []error
	seen := map[string]entry{}
	for _, sheet := range f.GetSheetList() {
		entries, ok, errs := readSheet(f, sheet)
		if !ok {
			continue
		}
		sheets++
		wrong = append(wrong, errs...)
		for _, e := range entries {
			if e.Result == "" {
				out.Notes = append(out.Notes, fmt.Sprintf("%s: site %s has a date or a note and no result: left out", e.at, e.SiteID))
				continue
			}
			key := e.SiteID + " " + e.CalledOn.Format(time.DateOnly)
			if was, ok := seen[key]; ok {
				both, err := was.with(e)
				if err != nil {
					wrong = append(wrong, err)
				}
				seen[key] = both
				continue
			}
			seen[key] = e
		}
	}
	if sheets == 0 {
		return nil, fmt.Errorf("reading the workbook %s: no sheet has the headings site and result; name a call list's workbook", path)
	}
	if len(wrong) > 0 {
		return nil, fmt.Errorf("reading the workbook %s: nothing was taken in:\n%w", path, errors.Join(wrong...))
	}
	for _, e := range seen {
		if l, ok := kept[e.SiteID]; ok {
			e.Listed = l
		}
		out.Outcomes = append(out.Outcomes, e.Outcome)
	}
	slices.SortFunc(out.Outcomes, func(a, b ingest.Outcome) int {
		if c := strings.Compare(a.SiteID, b.SiteID); c != 0 {
			return c
		}
		return a.CalledOn.Compare(b.CalledOn)
	})
	return out, nil
}

// entry is one filled row.
type entry struct {
	ingest.Outcome
	at string // sheet and row
}

// with joins what two sheets say of one call.
func (e entry) with(o entry) (entry, error) {
	if e.Result != o.Result || e.ModulesSold.Known && o.ModulesSold.Known && e.ModulesSold != o.ModulesSold || e.Price != o.Price && !math.IsNaN(e.Price) && !math.IsNaN(o.Price) {
		return e, fmt.Errorf("%s and %s: site %s, called on %s, has different results: keep the right one", e.at, o.at, e.SiteID, e.CalledOn.Format(time.DateOnly))
	}
	if !e.ModulesSold.Known {
		e.ModulesSold = o.ModulesSold
	}
	if math.IsNaN(e.Price) {
		e.Price = o.Price
	}
	if o.Reason != "" && !strings.Contains(e.Reason, o.Reason) {
		e.Reason = strings.TrimPrefix(e.Reason+"; "+o.Reason, "; ")
	}
	return e, nil
}

// readSheet reads the filled rows of one sheet; ok is false where it is no list.
func readSheet(f *excelize.File, sheet string) (entries []entry, ok bool, wrong []error) {
	rows, err := f.GetRows(sheet, excelize.Options{RawCellValue: true})
	if err != nil || len(rows) == 0 || sheet == keptSheet {
		return nil, false, nil
	}
	at := map[string]int{}
	for i, head := range rows[0] {
		at[strings.ToLower(strings.TrimSpace(head))] = i
	}
	site, hasSite := at["site"]
	_, hasResult := at["result"]
	if !hasSite || !hasResult {
		return nil, false, nil
	}
	for n, cells := range rows[1:] {
		cell := func(head string) string {
			if i, ok := at[head]; ok && i < len(cells) {
				return strings.TrimSpace(cells[i])
			}
			return ""
		}
		result, day, note, sold, price := cell("result"), cell("called on"), cell("notes"), cell("modules sold"), cell("price agreed")
		if result+day+note+sold+price == "" {
			continue
		}
		e := entry{ingest.Outcome{Reason: note, Price: math.NaN(), Listed: unlisted()}, fmt.Sprintf("%s, row %d", sheet, n+2)}
		bad := func(err error) {
			if err != nil {
				wrong = append(wrong, fmt.Errorf("%s: %w", e.at, err))
			}
		}
		if site < len(cells) {
			e.SiteID = strings.TrimSpace(cells[site])
		}
		if e.SiteID == "" {
			bad(errors.New("the row names no site"))
		}
		bad(e.fill(result, day, sold, price))
		entries = append(entries, e)
	}
	return entries, true, wrong
}

func (e *entry) fill(result, day, sold, price string) error {
	var wrong []error
	var err error
	if result == "" {
		return nil
	}
	if e.Result, err = resultCode(result); err != nil {
		wrong = append(wrong, err)
	}
	if e.CalledOn, err = dayIn(day); err != nil {
		wrong = append(wrong, err)
	}
	if sold != "" {
		n, err := strconv.Atoi(sold)
		if err != nil || n < 1 {
			wrong = append(wrong, fmt.Errorf("modules sold %q must be a whole number from 1 on", sold))
		}
		e.ModulesSold = ingest.Some(n)
	}
	if price != "" {
		if e.Price, err = strconv.ParseFloat(strings.ReplaceAll(price, ",", ""), 64); err != nil || !(e.Price >= 0) {
			wrong = append(wrong, fmt.Errorf("price %q must be a number", price))
		}
	}
	return errors.Join(wrong...)
}

// dayIn reads a day as a workbook stores one, a serial number, or as text.
func dayIn(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, errors.New("called on is blank: enter the day of the call")
	}
	var t time.Time
	if serial, err := strconv.ParseFloat(s, 64); err == nil {
		if t, err = excelize.ExcelDateToTime(serial, false); err != nil {
			return t, fmt.Errorf("called on %q is no day", s)
		}
	} else if t, err = time.Parse(time.DateOnly, strings.TrimSuffix(s, "T00:00:00Z")); err != nil {
		return t, fmt.Errorf("called on %q must be a date, or text as 2026-11-05", s)
	}
	if t.Year() < 2000 || t.Year() > 2099 {
		return t, fmt.Errorf("called on %s must lie in 2000 to 2099", t.Format(time.DateOnly))
	}
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC), nil
}

func unlisted() ingest.Listed {
	nan := math.NaN()
	return ingest.Listed{AddedKWhYr: nan, Saving: nan, SavingLow: nan, SavingHigh: nan}
}

// readKept reads what the list said; nothing where the hidden sheet is gone.
func readKept(f *excelize.File) (map[string]ingest.Listed, error) {
	kept := map[string]ingest.Listed{}
	if at, err := f.GetSheetIndex(keptSheet); err != nil || at < 0 {
		return kept, err
	}
	rows, err := f.GetRows(keptSheet)
	if err != nil || len(rows) == 0 {
		return kept, err
	}
	for _, cells := range rows[1:] {
		cell := func(name string) string {
			if i := slices.Index(rows[0], name); i >= 0 && i < len(cells) {
				return cells[i]
			}
			return ""
		}
		number := func(name string) float64 {
			x, err := strconv.ParseFloat(cell(name), 64)
			if err != nil {
				return math.NaN()
			}
			return x
		}
		whole := func(name string) (o ingest.Opt[int]) {
			if n, err := strconv.Atoi(cell(name)); err == nil {
				o = ingest.Some(n)
			}
			return o
		}
		kept[cell("site_id")] = ingest.Listed{Month: cell("list_month"), Rank: whole("list_rank"), Tenth: whole("list_tenth"), Reason: cell("list_reason"),
			Modules: whole("offered_modules"), AddedKWhYr: number("offered_kwh_yr"), Saving: number("offered_saving"), SavingLow: number("offered_saving_low"),
			SavingHigh: number("offered_saving_high"), Register: cell("register_digest")}
	}
	return kept, nil
}
