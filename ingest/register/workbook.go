package register

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// workbookFile may stand in for the tables that a fleet's folder does not have
// as CSV: one sheet per table, named like it.
const workbookFile = "register.xlsx"

// workbook is register.xlsx with its sheets by lower-case name.
type workbook struct {
	sheets map[string]*sheet
	err    error
}

// sheet gives a table's sheet of the folder's workbook; nil where there is no
// workbook or no such sheet.
func (b *book) sheet(dir, table string) (*sheet, error) {
	if b.workbook == nil {
		b.workbook = openWorkbook(filepath.Join(dir, workbookFile))
	}
	if b.workbook.err != nil {
		return nil, fmt.Errorf("sheet %q of %s: %w", table, workbookFile, b.workbook.err)
	}
	s := b.workbook.sheets[table]
	if s != nil {
		b.note("%s.csv: not there, so its rows are those of sheet %q of %s; a line is the sheet's row", table, table, workbookFile)
	}
	return s, nil
}

// openWorkbook reads every sheet whose name is a table's. A workbook that is
// absent has no sheets.
func openWorkbook(path string) *workbook {
	w := &workbook{sheets: map[string]*sheet{}}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return w
	}
	f, err := excelize.OpenFile(path, excelize.Options{RawCellValue: true, UnzipSizeLimit: 512 << 20})
	if err != nil {
		w.err = fmt.Errorf("cannot be read as a workbook (%v): save it as xlsx, or each table as CSV", err)
		return w
	}
	defer f.Close()
	known := map[string]bool{}
	for _, t := range Tables() {
		known[t.Name] = true
	}
	for _, name := range f.GetSheetList() {
		table := strings.ToLower(strings.TrimSpace(name))
		if !known[table] {
			continue
		}
		rows, err := f.GetRows(name)
		if err != nil {
			w.err = err
			return w
		}
		w.sheets[table] = &sheet{rows: rows}
	}
	return w
}

// sheet is a worksheet's cells on their way through a table. A spreadsheet holds
// a date as a count of days, which the table's date columns get as text.
type sheet struct {
	rows  [][]string
	at    int
	width int
	dates []bool // by column: a header ending in _on, from or to
}

func (s *sheet) next(cells []string) ([]string, int, bool, error) {
	for s.at < len(s.rows) && len(withoutTrailing(s.rows[s.at], 0)) == 0 {
		s.at++
	}
	if s.at >= len(s.rows) {
		return nil, s.at, false, nil
	}
	row := s.rows[s.at]
	s.at++
	cells = append(cells[:0], row...)
	if s.dates == nil {
		s.header(cells)
	}
	for len(cells) < s.width { // a sheet's rows end with their last cell
		cells = append(cells, "")
	}
	for i, isDate := range s.dates {
		if isDate {
			cells[i] = dateOfSerial(cells[i])
		}
	}
	return cells, s.at, true, nil
}

func (s *sheet) header(cells []string) {
	s.width = len(withoutTrailing(cells, 0))
	s.dates = make([]bool, s.width)
	for i, h := range cells[:s.width] {
		h = strings.TrimSpace(h)
		s.dates[i] = strings.HasSuffix(h, "_on") || h == "from" || h == "to"
	}
}

func (s *sheet) left() int     { return len(s.rows) - s.at }
func (s *sheet) decimal() byte { return '.' }

// dateOfSerial writes a spreadsheet's day count as a date; other text stays.
//
// Source: ECMA-376 part 1, 18.17.4.1: day 1 is 1 January 1900 and 1900 counts as
// a leap year, so that from March 1900 on day n is n days after 30 December 1899.
func dateOfSerial(cell string) string {
	days, err := strconv.ParseFloat(cell, 64)
	if err != nil || days < 61 || days > 109_574 { // to the end of 2199
		return cell
	}
	return time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(days)).Format(time.DateOnly)
}
