package report

import (
	"fmt"
	"io"
	"time"

	"github.com/xuri/excelize/v2"
)

// The call list as a workbook: what to know first, the whole fleet, then a sheet
// a branch. The rows and columns are those of call_list.csv; headings, widths
// and number formats are read off the same tags.
const (
	firstSheet = "read first"
	fleetSheet = "whole fleet"
	keptSheet  = "list as made" // hidden: what taking in the filled list needs
)

// writeWorkbook writes the call list as a workbook. Text is stored as text, so
// that nothing in it can be run as a formula. The sheets are built in memory:
// the library's streaming writer packs its sheets in map order, and the same
// list must give the same bytes.
func writeWorkbook(path string, rows []CallRow, m Manifest) error {
	b := &workbook{File: excelize.NewFile(), cols: namedTable("call_list").Columns, made: monthEnd(m.Month)}
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
	taken := map[string]bool{firstSheet: true, fleetSheet: true, keptSheet: true}
	for _, of := range byBranch(rows) {
		if err := b.list(sheetName(of[0].Branch, taken), of, m); err != nil {
			return err
		}
	}
	if err := b.keep(rows, m); err != nil {
		return err
	}
	b.SetActiveSheet(1)
	at := b.made.Format(time.RFC3339)
	return b.SetDocProps(&excelize.DocProperties{Creator: m.Program, LastModifiedBy: m.Program, Title: "call list " + m.Month,
		Version: m.Version, Created: at, Modified: at})
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

// monthEnd is the day after the report month, which stands for when the list was
// made: the clock must not reach the bytes.
func monthEnd(month string) time.Time {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return time.Unix(0, 0).UTC()
	}
	return t.AddDate(0, 1, 0)
}
