package readings

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"rowen/ingest/regular"
)

// openSheets reads the sheets of a workbook whose names match a pattern, one
// after the other, each with its own header row.
func openSheets(path, pattern string, o Limits) (cellReader, error) {
	in, err := regular.Open(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return nil, err
	}
	if info.Size() > maxHeld {
		return nil, fmt.Errorf("the workbook is larger than %d MiB: save it as CSV", maxHeld>>20)
	}
	most := min(4*maxHeld, freeUnpacked+info.Size()*o.ratio())
	f, err := excelize.OpenReader(in, excelize.Options{RawCellValue: true, UnzipSizeLimit: most})
	if err != nil {
		return nil, fmt.Errorf("cannot be read as a workbook: %w", err)
	}
	defer f.Close()
	match, err := regexp.Compile(pattern)
	if err != nil {
		return nil, err
	}
	r := &memoryReader{}
	for _, name := range f.GetSheetList() {
		if !match.MatchString(name) {
			continue
		}
		rows, err := f.GetRows(name)
		if err != nil {
			return nil, err
		}
		dates := dateColumns(f, name, rows)
		for i, cells := range rows {
			for k := range cells {
				if k < len(dates) && dates[k] {
					cells[k] = stampOfSerial(cells[k])
				}
			}
			if slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
				r.records = append(r.records, record{cells: cells, line: i + 1, sheet: name})
			}
		}
	}
	if len(r.records) == 0 {
		return nil, errors.New("no sheet of the workbook has rows that match: state sheet in the mapping")
	}
	return r, nil
}

// dateColumns tells the columns of a sheet whose cells are shown as dates or
// times, by the number format of one of their last rows.
func dateColumns(f *excelize.File, sheet string, rows [][]string) []bool {
	if len(rows) == 0 {
		return nil
	}
	last := len(rows) - 1
	if last > 1 {
		last-- // a total may stand below
	}
	dates := make([]bool, len(rows[last]))
	for k := range dates {
		at, err := excelize.CoordinatesToCellName(k+1, last+1)
		if err != nil {
			continue
		}
		id, err := f.GetCellStyle(sheet, at)
		if err != nil {
			continue
		}
		style, err := f.GetStyle(id)
		if err != nil || style == nil {
			continue
		}
		dates[k] = style.NumFmt >= 14 && style.NumFmt <= 22 || style.NumFmt >= 45 && style.NumFmt <= 47 ||
			style.CustomNumFmt != nil && strings.ContainsAny(strings.ToLower(*style.CustomNumFmt), "ydh")
	}
	return dates
}

// stampOfSerial writes a spreadsheet's date and time, a count of days, as ISO
// 8601; other text stays.
//
// Source: ECMA-376 part 1, 18.17.4.1: from March 1900 on, day n is n days after
// 30 December 1899. The span, 1980 to 2119, is our choice: it keeps energies out.
func stampOfSerial(cell string) string {
	days, err := strconv.ParseFloat(cell, 64)
	if err != nil || days < 29_221 || days > 80_000 {
		return cell
	}
	at := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).Add(time.Duration(float64(days*86400)+0.5) * time.Second)
	return at.Format("2006-01-02 15:04:05")
}
