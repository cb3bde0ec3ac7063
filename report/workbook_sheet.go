package report

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"rowen/report/page"
)

// list writes one sheet of customers.
func (b *workbook) list(sheet string, rows []CallRow, m Manifest) error {
	if _, err := b.NewSheet(sheet); err != nil {
		return err
	}
	last, err := excelize.ColumnNumberToName(len(b.cols))
	if err != nil {
		return err
	}
	for i, c := range b.cols {
		name, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		if err := b.SetColWidth(sheet, name, name, float64(c.Wide)); err != nil {
			return err
		}
		if err := b.text(sheet, i+1, 1, c.Head, b.head); err != nil {
			return err
		}
	}
	if err := b.SetRowHeight(sheet, 1, 3*lineHeight); err != nil {
		return err
	}
	for r := range rows {
		if err := b.row(sheet, r+2, &rows[r]); err != nil {
			return err
		}
	}
	if err := b.entries(sheet, len(rows)+1); err != nil {
		return err
	}
	if err := b.AutoFilter(sheet, fmt.Sprintf("A1:%s%d", last, len(rows)+1), nil); err != nil {
		return err
	}
	return b.setUp(sheet, last, len(rows)+1, m)
}

func (b *workbook) row(sheet string, at int, row *CallRow) error {
	v := reflect.ValueOf(row).Elem()
	tall := 1
	for i, c := range b.cols {
		cell, err := excelize.CoordinatesToCellName(i+1, at)
		if err != nil {
			return err
		}
		switch f := v.Field(c.index); {
		case f.Kind() == reflect.String && entered[c.Name]: // left empty for the person who calls
		case f.Kind() == reflect.String:
			err = b.SetCellStr(sheet, cell, f.String())
			tall = max(tall, lines(f.String(), c.Wide-2)) // less the indent
		case f.Kind() == reflect.Float64:
			if x := f.Float(); !math.IsNaN(x) && !math.IsInf(x, 0) { // not known: the cell stays empty
				err = b.SetCellFloat(sheet, cell, x, -1, 64)
			}
		default:
			err = b.SetCellInt(sheet, cell, f.Int())
		}
		if err != nil {
			return err
		}
		style := b.styles[i]
		if c.Name == "site_id" && at <= linkedRows {
			style = b.links
			if err := b.SetCellHyperLink(sheet, cell, briefFile(row.SiteID), "External"); err != nil {
				return err
			}
		}
		if err := b.SetCellStyle(sheet, cell, cell, style); err != nil {
			return err
		}
	}
	return b.SetRowHeight(sheet, at, min(float64(tall)*lineHeight, mostHeight))
}

// linkedRows is how far down a sheet the sites link to their briefs: each link
// costs the library a look at all links before it (a second for 10,000, measured).
const linkedRows = 2000

// lineHeight is a line of 11 point text, in points; mostHeight is what a row can
// have at the most (409 points by the format).
const (
	lineHeight = 15
	mostHeight = 409
)

// lines is on how many lines a text stands in a column so many characters wide:
// it breaks between words, and a word that is wider than the column within.
// Programs do not agree on when a row grows by itself, so its height is set.
func lines(s string, wide int) int {
	n, at := 1, 0
	for _, w := range strings.Fields(s) {
		l := utf8.RuneCountInString(w)
		if at > 0 && at+1+l > wide {
			n, at = n+1, 0
		}
		if at > 0 {
			at++
		}
		n, at = n+(at+l-1)/wide, (at+l-1)%wide+1
	}
	return n
}

// setUp freezes the heading and what names a customer, and makes the columns to
// print fill landscape pages, the heading on each. The columns beside them are for
// the screen; the caution is in the foot of every page.
func (b *workbook) setUp(sheet, last string, rows int, m Manifest) error {
	ptr := func(n int) *int { return &n }
	landscape, fit, side, end, edge := "landscape", true, 0.4, 0.7, 0.3 // inches
	printed, err := excelize.ColumnNumberToName(printedColumns(b.cols))
	if err != nil {
		return err
	}
	quoted := "'" + sheet + "'"
	for _, do := range []func() error{
		func() error {
			return b.SetPanes(sheet, &excelize.Panes{Freeze: true, XSplit: 3, YSplit: 1, TopLeftCell: "D2", ActivePane: "bottomRight"})
		},
		func() error { return b.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &fit}) },
		func() error {
			return b.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &landscape, FitToWidth: ptr(1), FitToHeight: ptr(0)})
		},
		func() error {
			return b.SetPageMargins(sheet, &excelize.PageLayoutMarginsOptions{Left: &side, Right: &side, Top: &end, Bottom: &end, Header: &edge, Footer: &edge})
		},
		func() error {
			return b.SetHeaderFooter(sheet, &excelize.HeaderFooterOptions{
				OddHeader: "&L" + footText("call list "+m.Month+", "+sheet) + "&Rpage &P of &N",
				OddFooter: "&L&8" + footText(strings.Join(page.Cautions[1:3], " "))})
		},
		func() error {
			return b.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Area", RefersTo: fmt.Sprintf("%s!$A$1:$%s$%d", quoted, printed, rows), Scope: sheet})
		},
		func() error {
			return b.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: quoted + "!$1:$1", Scope: sheet})
		},
	} {
		if err := do(); err != nil {
			return err
		}
	}
	return nil
}

// footText doubles the sign that begins a code in a page's head and foot.
func footText(s string) string { return strings.ReplaceAll(s, "&", "&&") }

// entered are the columns that sales fill in.
var entered = map[string]bool{"result": true, "called_on": true, "notes": true, "modules_sold": true, "price": true}

// entries makes the columns that sales fill in take what can be taken in again:
// one of the four results, a date, a number.
func (b *workbook) entries(sheet string, last int) error {
	if last < 2 {
		return nil
	}
	for i, c := range b.cols {
		if !entered[c.Name] {
			continue
		}
		name, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		dv := excelize.NewDataValidation(true)
		dv.SetSqref(fmt.Sprintf("%s2:%s%d", name, name, last))
		switch c.Name {
		case "result":
			var words []string
			for _, r := range resultWords {
				words = append(words, r[0])
			}
			err = dv.SetDropList(words)
			dv.SetError(excelize.DataValidationErrorStyleStop, "result", "Choose one of: "+strings.Join(words, ", ")+".")
		case "called_on":
			err = dv.SetRange(36526, 73050, excelize.DataValidationTypeDate, excelize.DataValidationOperatorBetween) // the years 2000 to 2099
			dv.SetError(excelize.DataValidationErrorStyleStop, "called on", "Enter the day of the call as a date.")
		case "modules_sold":
			err = dv.SetRange(1, 1000, excelize.DataValidationTypeWhole, excelize.DataValidationOperatorBetween)
			dv.SetError(excelize.DataValidationErrorStyleStop, "modules sold", "Enter how many modules were sold, as a whole number.")
		default:
			continue
		}
		if err != nil {
			return err
		}
		if err := b.AddDataValidation(sheet, dv); err != nil {
			return err
		}
	}
	return nil
}

// printedColumns is how many columns, from the first, a printed page holds.
func printedColumns(cols []Column) int {
	n := 0
	for n < len(cols) && cols[n].Printed {
		n++
	}
	return n
}
