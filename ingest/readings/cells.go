package readings

import (
	"bufio"
	"bytes"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// record is one row of cells of any export, with where it stands.
type record struct {
	cells []string
	line  int    // of the text, row of the sheet, or number of the JSON object
	sheet string // of a workbook
}

// cellReader gives the records of an export as text cells: the way for shapes
// that the quick scanner does not know. io.EOF ends it.
type cellReader interface {
	next() (record, error)
	Close() error
}

// openCells opens an export by what its name and first bytes say it is.
func openCells(path string, m Mapping, o Limits) (cellReader, error) {
	name := strings.ToLower(path)
	for _, packed := range []string{".gz", ".zst", ".zip"} {
		name = strings.TrimSuffix(name, packed)
	}
	switch filepath.Ext(name) {
	case ".xlsx":
		return openSheets(path, m.Sheet, o)
	case ".json":
		return openJSON(path, m.Records, o)
	}
	return openLines(path, m.Delimiter, o)
}

// isFolded tells whether a mapping needs the cell reader: rows whose meaning
// stands in a column, columns that are added up, a row per day, no header.
func (m Mapping) isFolded(format string) bool {
	if format != "csv" && format != "json" && format != "xlsx" {
		return false
	}
	if format != "csv" || m.Layout == "days" || m.NoHeader || m.DataLine > 0 || m.Thousands != "" || m.Register != "" || m.Scale != "" ||
		m.Time.Pattern != "" || m.Time.EndColumn != "" || m.SiteID.Sheet != "" {
		return true
	}
	columns := []string{m.Time.Column, m.Time.TimeColumn, m.SiteID.Column}
	for _, c := range m.Channels {
		if c.Also != "" || c.Rows != "" {
			return true
		}
		columns = append(columns, c.Column)
	}
	return slices.ContainsFunc(columns, func(c string) bool { return positionOf(c) >= 0 })
}

var byPosition = regexp.MustCompile(`^#([1-9][0-9]*)$`)

// positionOf gives the index of a column named by its position, as #3; -1 for a
// name.
func positionOf(column string) int {
	m := byPosition.FindStringSubmatch(column)
	if m == nil {
		return -1
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return -1
	}
	return n - 1
}

// lineReader splits a delimited text line by line, so that a stray quote costs
// its own line only.
type lineReader struct {
	in    *bufio.Reader
	close func() error
	delim byte
	most  int // bytes of a line
	line  int
}

// openLines opens a text: UTF-8, with or without its mark, or UTF-16 with one.
func openLines(path, delimiter string, o Limits) (*lineReader, error) {
	f, err := openText(path, o)
	if err != nil {
		return nil, err
	}
	r := &lineReader{close: f.Close, most: o.lineBytes()}
	r.in = bufio.NewReaderSize(transform.NewReader(f, unicode.BOMOverride(transform.Nop)), 256<<10)
	if delimiter != "" {
		r.delim = delimiter[0]
		return r, nil
	}
	head, _ := r.in.Peek(64 << 10)
	r.delim = delimiterIn(head)
	return r, nil
}

// delimiterIn finds what parts the cells of a text: the delimiter that gives
// most lines the same number of cells. Inside quotes nothing parts.
func delimiterIn(head []byte) byte {
	lines := bytes.Split(head, []byte("\n"))
	if len(lines) > 200 {
		lines = lines[:200]
	}
	best, most := byte(','), 0
	for _, d := range []byte{';', '\t', '|', ','} {
		count := map[int]int{}
		for _, l := range lines {
			if n := len(splitLine(string(bytes.TrimRight(l, "\r")), d)); n > 1 {
				count[n]++
			}
		}
		for n, c := range count {
			if score := c * 100 * n / (n + 4); score > most {
				best, most = d, score
			}
		}
	}
	return best
}

func (r *lineReader) next() (record, error) {
	for {
		line, err := readLine(r.in, r.most)
		if len(line) == 0 && err != nil {
			return record{}, err
		}
		r.line++
		text := strings.TrimRight(string(line), "\r\n")
		if strings.TrimSpace(text) == "" {
			continue
		}
		return record{cells: splitLine(text, r.delim), line: r.line}, nil
	}
}

func (r *lineReader) Close() error { return r.close() }

// splitLine splits one line into its cells. A cell may be quoted ("a ""b"""), or
// written ="0012", as spreadsheets keep leading zeros.
func splitLine(line string, delim byte) []string {
	var cells []string
	for {
		rest := line
		if strings.HasPrefix(rest, `="`) {
			rest = rest[1:]
		}
		if cell, after, ok := quotedCell(rest, delim); ok {
			cells = append(cells, cell)
			if after == "" {
				return cells
			}
			line = after[1:]
			continue
		}
		cell, after, more := strings.Cut(line, string(delim))
		cells = append(cells, strings.TrimSpace(cell))
		if !more {
			return cells
		}
		line = after
	}
}

// quotedCell takes a cell in quotes off a line; ok is false where none begins
// it, or where it is not closed before a delimiter.
func quotedCell(line string, delim byte) (cell, after string, ok bool) {
	if line == "" || line[0] != '"' {
		return "", "", false
	}
	for i := 1; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			i++
			continue
		}
		if i+1 < len(line) && line[i+1] != delim {
			return "", "", false
		}
		return strings.TrimSpace(strings.ReplaceAll(line[1:i], `""`, `"`)), line[i+1:], true
	}
	return "", "", false
}

// memoryReader gives records that are held already.
type memoryReader struct {
	records []record
	at      int
}

func (r *memoryReader) next() (record, error) {
	if r.at == len(r.records) {
		return record{}, io.EOF
	}
	r.at++
	return r.records[r.at-1], nil
}

func (r *memoryReader) Close() error { return nil }

// maxHeld bounds a workbook, and maxJSON a JSON text, which must be held whole:
// our choice. A text of short numbers takes about twenty times its size.
const (
	maxHeld = 64 << 20
	maxJSON = 16 << 20
)
