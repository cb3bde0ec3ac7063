package readings

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// sample is the beginning of an unknown export: its table, found among whatever
// stands before it.
type sample struct {
	header   []string // a name per column; one that is blank or repeated is its position, as #3
	line     int      // of the header; 0: there is none
	dataLine int      // of the first row
	units    []string // by column, from a line of units below the header; "": none
	rows     []record // of the table
	sheets   []string // of a workbook
	unit     string   // what the file says beside its table
	again    int      // how often the same header stands again
}

// sampleRecords bounds how much of an export is looked at: our choice, three
// months of a site's quarter hours.
const sampleRecords = 9000

// newSample finds the table of an export: the header is the line above the
// first row whose cells are the most telling names.
func newSample(records []record) (*sample, error) {
	if len(records) == 0 {
		return nil, errors.New("the file holds no lines")
	}
	s := &sample{}
	records = s.oneSheet(records)
	width := usualWidth(records)
	first := firstReading(records, width)
	if first < 0 {
		return nil, errors.New("no line reads as a row of readings, with a stamp and a number: if the rows follow each other without stamps, state time.start and time.step; else state time.column and time.format (a Go layout)")
	}
	header := headerAbove(records[:first])
	for _, r := range records[first:] {
		if header >= 0 && slices.Equal(r.cells, records[header].cells) {
			s.again++
		}
		if header >= 0 && (s.again > 0 || isOtherHeader(r.cells, records[header].cells)) {
			continue // another table begins
		}
		if len(r.cells) == width && isReading(r.cells) {
			s.rows = append(s.rows, r)
		}
	}
	s.header, s.units = make([]string, width), make([]string, width)
	s.dataLine = records[first].line
	if header >= 0 {
		s.line = records[header].line
		s.name(records[header].cells)
		for _, r := range records[header+1 : first] {
			s.readUnits(r.cells)
		}
	}
	for i := range s.header {
		if s.header[i] == "" {
			s.header[i] = fmt.Sprintf("#%d", i+1)
		}
	}
	return s, nil
}

// name takes the header's names; one that stands twice counts by its position.
func (s *sample) name(cells []string) {
	count := map[string]int{}
	for _, c := range cells {
		count[strings.TrimSpace(c)]++
	}
	for i, c := range cells {
		if c = strings.TrimSpace(c); i < len(s.header) && count[c] == 1 {
			s.header[i] = c
		}
	}
}

// oneSheet keeps the rows of the first sheet; the others are named.
func (s *sample) oneSheet(records []record) []record {
	var kept []record
	for _, r := range records {
		if r.sheet != "" && !slices.Contains(s.sheets, r.sheet) {
			s.sheets = append(s.sheets, r.sheet)
		}
		if r.sheet == records[0].sheet {
			kept = append(kept, r)
		}
	}
	return kept
}

// firstReading finds the first of a run of readings that has a number; -1: none.
// A stamp in a preamble stands alone, or beside words only.
func firstReading(records []record, width int) int {
	for i := 0; i < len(records); {
		n, hasNumber := 0, false
		for i+n < len(records) && len(records[i+n].cells) == width && isReading(records[i+n].cells) {
			hasNumber = hasNumber || slices.ContainsFunc(records[i+n].cells, func(c string) bool { return isNumeric(c) && !looksStamped(c) })
			n++
		}
		if hasNumber && (n > 1 || len(records) < 4) {
			return i
		}
		i += max(n, 1)
	}
	return -1
}

// usualWidth is how many cells most rows of readings have; of two equally
// common widths the larger.
func usualWidth(records []record) int {
	count := map[int]int{}
	best := 0
	for _, r := range records {
		if n := len(r.cells); isReading(r.cells) {
			count[n]++
			if count[n] > count[best] || count[n] == count[best] && n > best {
				best = n
			}
		}
	}
	return best
}

// isOtherHeader tells whether a record is the header of another table: it has
// the same name for one column and another for a second.
func isOtherHeader(cells, header []string) bool {
	same, other := 0, 0
	for i, h := range header {
		if h = strings.TrimSpace(h); h == "" || i >= len(cells) {
			continue
		}
		if strings.TrimSpace(cells[i]) == h {
			same++
		} else {
			other++
		}
	}
	return same > 0 && other > 0 && !isReading(cells) && same+other > 1
}

// isReading tells whether a record may be a row of readings: a stamp, and a
// number or a blank cell beside it.
func isReading(cells []string) bool {
	stamps, numbers, blanks := 0, 0, 0
	for _, c := range cells {
		switch {
		case strings.TrimSpace(c) == "" || isNothing([]byte(c)):
			blanks++
		case looksStamped(c):
			stamps++
		case isNumeric(c):
			numbers++
		}
	}
	return stamps > 0 && (numbers > 0 || blanks > 0 || stamps > 1)
}

var unitCell = regexp.MustCompile(`^\[(\w+)\]$`)

// headerAbove chooses the header among the lines above the first row: the one
// with the most different names; -1 where none has two words.
func headerAbove(records []record) int {
	best, most := -1, 1
	for i := len(records) - 1; i >= max(0, len(records)-12); i-- {
		names := map[string]bool{}
		for _, c := range records[i].cells {
			if c = strings.TrimSpace(c); c != "" && !isNumeric(c) && !unitCell.MatchString(c) && !looksStamped(c) {
				names[c] = true
			}
		}
		if len(names) > most {
			best, most = i, len(names)
		}
	}
	return best
}

func (s *sample) readUnits(cells []string) {
	for i, c := range cells {
		if m := unitCell.FindStringSubmatch(strings.TrimSpace(c)); m != nil && i < len(s.units) {
			s.units[i] = unitNamed(m[1])
		}
	}
}

// column gives the cells of a column that hold something.
func (s *sample) column(i int) []string {
	var out []string
	for _, r := range s.rows {
		if f := cellAt(r, i); f != "" && !isNothing([]byte(f)) {
			out = append(out, f)
		}
	}
	return out
}

// readSample reads the first records of an export.
func readSample(in cellReader) ([]record, error) {
	var records []record
	for len(records) < sampleRecords {
		r, err := in.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		r.cells = slices.Clone(r.cells)
		records = append(records, r)
	}
	return records, nil
}

func all(c []string, ok func(string) bool) bool {
	for _, f := range c {
		if !ok(f) {
			return false
		}
	}
	return true
}
