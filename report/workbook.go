package report

import (
	"fmt"
	"io"
	"math"
	"reflect"
	"rowen/report/page"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// The call list as a workbook: what to know first, the whole fleet, then a sheet
// a branch. The rows and columns are those of call_list.csv; headings, widths
// and number formats are read off the same tags.
const (
	firstSheet = "read first"
	fleetSheet = "whole fleet"
)

// writeWorkbook writes the call list as a workbook. Text is stored as text, so
// that nothing in it can be run as a formula. The sheets are built in memory:
// the library's streaming writer packs its sheets in map order, and the same
// list must give the same bytes.
func writeWorkbook(path string, rows []CallRow, m Manifest) error {
	b := &workbook{File: excelize.NewFile(), cols: columnsOf(reflect.TypeFor[CallRow]()), made: monthEnd(m.Month)}
	defer b.Close()
	if err := b.build(rows, m); err != nil {
		return fmt.Errorf("making %s: %w", path, err)
	}
	return create(path, func(w io.Writer) error { return b.Write(w) })
}

// workbook is a call list's workbook in the making.
type workbook struct {
	*excelize.File
	cols   []Column
	made   time.Time
	head   int   // style of a heading
	styles []int // of each column's cells
	title  int
	wrap   int
	links  int
}

func (b *workbook) build(rows []CallRow, m Manifest) error {
	if err := b.makeStyles(); err != nil {
		return err
	}
	if err := b.SetSheetName("Sheet1", firstSheet); err != nil {
		return err
	}
	if err := b.readFirst(m); err != nil {
		return err
	}
	if err := b.list(fleetSheet, rows, m); err != nil {
		return err
	}
	taken := map[string]bool{firstSheet: true, fleetSheet: true}
	for _, of := range byBranch(rows) {
		if err := b.list(sheetName(of[0].Branch, taken), of, m); err != nil {
			return err
		}
	}
	b.SetActiveSheet(1)
	at := b.made.Format(time.RFC3339)
	return b.SetDocProps(&excelize.DocProperties{Creator: m.Program, LastModifiedBy: m.Program, Title: "call list " + m.Month,
		Version: m.Version, Created: at, Modified: at})
}

// byBranch splits the list by branch, in the order of the branches' names; the
// rows keep their order.
func byBranch(rows []CallRow) [][]CallRow {
	at := map[string]int{}
	var names []string
	for _, r := range rows {
		if _, ok := at[r.Branch]; !ok {
			at[r.Branch] = 0
			names = append(names, r.Branch)
		}
	}
	slices.Sort(names)
	parts := make([][]CallRow, len(names))
	for i, n := range names {
		at[n] = i
	}
	for _, r := range rows {
		parts[at[r.Branch]] = append(parts[at[r.Branch]], r)
	}
	return parts
}

// sheetName makes a name that a workbook accepts and that is not taken: at most
// 31 characters, none of :\/?*[], no apostrophe at either end, and no two names
// that differ in case alone.
func sheetName(branch string, taken map[string]bool) string {
	name := strings.Map(func(r rune) rune {
		if r < ' ' || r == utf8.RuneError || strings.ContainsRune(`:\/?*[]'`, r) {
			return ' '
		}
		return r
	}, branch)
	if name = strings.TrimSpace(name); name == "" || strings.EqualFold(name, "history") { // Excel keeps this one for itself
		name = strings.TrimSpace("branch " + name)
	}
	for i := 1; ; i++ {
		try := cut(name, 31)
		if i > 1 {
			tail := fmt.Sprintf(" (%d)", i)
			try = cut(name, 31-len(tail)) + tail
		}
		if !taken[strings.ToLower(try)] {
			taken[strings.ToLower(try)] = true
			return try
		}
	}
}

// cut keeps the first n of a text's UTF-16 units, which is how a workbook counts.
func cut(s string, n int) string {
	units := 0
	for i, r := range s {
		units++
		if r > 0xffff {
			units++
		}
		if units > n {
			return s[:i]
		}
	}
	return s
}

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
		switch f := v.Field(c.index); f.Kind() {
		case reflect.String:
			err = b.SetCellStr(sheet, cell, f.String())
			tall = max(tall, lines(f.String(), c.Wide-2)) // less the indent
		case reflect.Float64:
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

// setUp freezes the heading and what names a customer, and makes the sheet print
// on landscape pages as wide as the list, the heading on each. The caution, the
// last column, is in the foot of every page instead of in print.
func (b *workbook) setUp(sheet, last string, rows int, m Manifest) error {
	ptr := func(n int) *int { return &n }
	landscape, fit, side, end, edge := "landscape", true, 0.4, 0.7, 0.3 // inches
	printed, err := excelize.ColumnNumberToName(len(b.cols) - 1)
	if err != nil {
		return err
	}
	quoted := "'" + sheet + "'"
	for _, do := range []func() error{
		func() error {
			return b.SetPanes(sheet, &excelize.Panes{Freeze: true, XSplit: 4, YSplit: 1, TopLeftCell: "E2", ActivePane: "bottomRight"})
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

// readFirst writes what to know before the first call, and what each column is.
func (b *workbook) readFirst(m Manifest) error {
	at := 1
	for _, line := range []struct {
		says  string
		style int
	}{
		{"Call list " + monthInWords(m.Month), b.title},
		{Caution, b.wrap},
		{"Ask on the call, or look at the house, for what stands under \"" + b.headOf("check_on_site") + "\" before an offer is made.", b.wrap},
		{"Lane \"call\": worth it and ready. Lane \"prepare\": worth it, but what stands under \"" + b.headOf("enabling_jobs") + "\" or in the next step is done first.", b.wrap},
		{"(low) and (high) are the ends of a 90 % interval: the truth is expected between them nine times in ten. Money is in " + m.Currency + ".", b.wrap},
		{"The list holds names and contacts: treat it as personal data.", b.wrap},
	} {
		if err := b.text(firstSheet, 1, at, line.says, line.style); err != nil {
			return err
		}
		if err := b.MergeCell(firstSheet, fmt.Sprintf("A%d", at), fmt.Sprintf("D%d", at)); err != nil {
			return err
		}
		high := float64(lines(line.says, readFirstAcross)) * lineHeight
		if line.style == b.title {
			high *= 1.6
		}
		if err := b.SetRowHeight(firstSheet, at, high); err != nil {
			return err
		}
		at++
	}
	at++
	for i, h := range []string{"column", "in call_list.csv", "unit", "what it is"} {
		if err := b.text(firstSheet, i+1, at, h, b.head); err != nil {
			return err
		}
	}
	for _, c := range b.cols {
		at++
		for i, s := range []string{c.Head, c.Name, strings.ReplaceAll(c.Unit, "currency", m.Currency), c.Says} {
			if err := b.text(firstSheet, i+1, at, s, b.wrap); err != nil {
				return err
			}
		}
		if err := b.SetRowHeight(firstSheet, at, float64(lines(c.Says, readFirstWide[3]))*lineHeight); err != nil {
			return err
		}
	}
	for i, wide := range readFirstWide {
		name, err := excelize.ColumnNumberToName(i + 1)
		if err != nil {
			return err
		}
		if err := b.SetColWidth(firstSheet, name, name, float64(wide)); err != nil {
			return err
		}
	}
	fit, one, none := true, 1, 0
	if err := b.SetSheetProps(firstSheet, &excelize.SheetPropsOptions{FitToPage: &fit}); err != nil {
		return err
	}
	return b.SetPageLayout(firstSheet, &excelize.PageLayoutOptions{FitToWidth: &one, FitToHeight: &none})
}

// readFirstWide are the widths of the sheet to read first, readFirstAcross what a
// text across them holds, with room for wide letters.
var readFirstWide = []int{22, 26, 12, 70}

const readFirstAcross = 120

func (b *workbook) headOf(column string) string {
	for _, c := range b.cols {
		if c.Name == column {
			return c.Head
		}
	}
	return column
}

func (b *workbook) text(sheet string, col, row int, s string, style int) error {
	cell, err := excelize.CoordinatesToCellName(col, row)
	if err != nil {
		return err
	}
	if err := b.SetCellStr(sheet, cell, s); err != nil {
		return err
	}
	return b.SetCellStyle(sheet, cell, cell, style)
}

// makeStyles makes one style a column, by its unit.
func (b *workbook) makeStyles() error {
	top := &excelize.Alignment{Vertical: "top", WrapText: true}
	line := []excelize.Border{{Type: "bottom", Color: "D9D9D9", Style: 1}}
	for _, s := range []struct {
		into *int
		is   excelize.Style
	}{
		{&b.title, excelize.Style{Font: &excelize.Font{Bold: true, Size: 16}}},
		{&b.wrap, excelize.Style{Alignment: top}},
		{&b.links, excelize.Style{Alignment: top, Border: line, Font: &excelize.Font{Color: "0563C1", Underline: "single"}}},
		{&b.head, excelize.Style{Alignment: &excelize.Alignment{Vertical: "center", WrapText: true}, Font: &excelize.Font{Bold: true},
			Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E8EEF4"}}, Border: []excelize.Border{{Type: "bottom", Color: "7F7F7F", Style: 2}}}},
	} {
		id, err := b.NewStyle(&s.is)
		if err != nil {
			return err
		}
		*s.into = id
	}
	for _, c := range b.cols {
		style := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: true}, Border: line}
		if c.Type == "text" {
			style.Alignment.Horizontal, style.Alignment.Indent = "left", 1 // apart from the number beside it
		}
		if f := numberFormat(c); f != "" {
			style.CustomNumFmt = &f
		}
		id, err := b.NewStyle(style)
		if err != nil {
			return err
		}
		b.styles = append(b.styles, id)
	}
	return nil
}

// numberFormat is how a spreadsheet shows a column: money and energy without
// decimals, years with one, a share as per cent. "": text.
func numberFormat(c Column) string {
	switch {
	case c.Type == "text":
		return ""
	case c.Unit == "yr":
		return "0.0"
	case c.Unit == "" && c.Type == "number":
		return "0%"
	case c.Unit == "":
		return "0"
	}
	return "#,##0"
}

// monthEnd is the day after the report month, which stands for when the list was
// made: the clock must not reach the bytes.
func monthEnd(month string) time.Time {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return time.Unix(0, 0).UTC()
	}
	return t.AddDate(0, 1, 0)
}
