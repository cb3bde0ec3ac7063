package register

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"rowen/ingest"
	"rowen/ingest/nearest"
	"rowen/ingest/regular"
)

// table is an input table with rows of type R.
type table[R any] struct {
	name, text string
	required   bool
	columns    []column[R]
	site       func(*R) string
	key        func(*R) string          // what stands once in the table; nil: only a whole row may not repeat
	check      func(*R) (string, error) // cells against one another: the column at fault and why
}

func (t table[R]) file() string { return t.name + ".csv" }

// row is a row that could be read.
type row[R any] struct {
	value R
	line  int
	cells digest // of the known cells in the table's order: equal for repeated rows
}

// digest stands for a text: a fleet of rows is in memory at once.
type digest [16]byte

func digestOf(text string) (d digest) {
	sum := sha256.Sum256([]byte(text))
	copy(d[:], sum[:])
	return d
}

// read reads a table of the folder.
//
// Out:     the rows that can be used, in the order of the file; the others go
// to the book with line, column and reason. A row is used whole or not at all:
// one bad cell sets it aside, for what else is wrong in it cannot be known.
// Refuses: a file that cannot be opened, is not UTF-8 text with commas, or
// lacks a required column.
// Edges:   a file that is absent has no rows.
func (t table[R]) read(dir string, b *book) ([]row[R], error) {
	text, err := regular.ReadFile(filepath.Join(dir, t.file()))
	if errors.Is(err, fs.ErrNotExist) {
		if s, err := b.sheet(dir, t.name); err != nil {
			return nil, fmt.Errorf("reading %s: %w", t.file(), err)
		} else if s != nil {
			return t.parse(s, b)
		}
		if t.required {
			return nil, fmt.Errorf("reading %s: not there: a fleet's folder holds it, with %s", t.file(), t.text)
		}
		b.note("%s: not there, so nothing is known of its %s", t.file(), t.name)
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", t.file(), err)
	}
	// A byte order mark says UTF-16, as some spreadsheets save; else it is UTF-8.
	if decoded, _, err := transform.Bytes(unicode.BOMOverride(transform.Nop), text); err == nil {
		text = decoded
	}
	return t.parse(newScanner(string(text)), b)
}

// records is where a table's rows come from: a CSV text or a workbook's sheet.
type records interface {
	// next gives the cells of the next record that is not blank, and its line.
	next(cells []string) (_ []string, line int, ok bool, err error)
	// left is how many more records there may be, for setting memory aside.
	left() int
	// decimal is the decimal sign that the file's numbers may have beside the
	// point: the comma where it parts no cells.
	decimal() byte
}

func (t table[R]) parse(s records, b *book) ([]row[R], error) {
	header, line, ok, err := s.next(nil)
	if !ok {
		return nil, fmt.Errorf("reading %s: it is empty: begin it with a row of column names", t.file())
	}
	if err != nil {
		return nil, fmt.Errorf("reading %s: line %d %w", t.file(), line, err)
	}
	header = withoutTrailing(header, 0)
	place, err := t.places(header, b)
	if err != nil {
		return nil, err
	}
	width := len(header)

	rows := make([]row[R], 0, s.left()+1)
	decimalComma := s.decimal() == ','
	header = nil // its cells are the scanner's
	var cells []string
	for {
		var line int
		cells, line, ok, err = s.next(cells)
		if !ok {
			return t.withoutRepeats(rows, b), nil
		}
		b.rows++
		if cells = withoutTrailing(cells, width); decimalComma {
			t.pointsForCommas(cells, place)
		}
		switch {
		case err != nil:
			b.setAside(ingest.Reject{File: t.file(), Line: line, Reason: err.Error()})
		case len(cells) != width:
			b.setAside(ingest.Reject{File: t.file(), Line: line, Reason: fmt.Sprintf("has %d cells where the header has %d: put a cell that holds a comma in quotes", len(cells), width)})
		default:
			if r, ok := t.row(cells, place, line, b); ok {
				rows = append(rows, r)
			}
		}
	}
}

// places finds the header's position of each column of the table; -1: absent.
func (t table[R]) places(header []string, b *book) ([]int, error) {
	at := map[string]int{}
	for i, h := range header {
		h = strings.TrimSpace(h)
		if _, twice := at[h]; twice {
			return nil, fmt.Errorf("reading %s: column %q stands twice: keep one", t.file(), h)
		}
		at[h] = i
	}
	place := make([]int, len(t.columns))
	var names, missing []string
	for i, c := range t.columns {
		names = append(names, c.Name)
		p, ok := at[c.Name]
		if !ok {
			p = -1
			if c.Required {
				missing = append(missing, c.Name)
			}
		}
		place[i] = p
		delete(at, c.Name)
	}
	if len(missing) > 0 {
		return nil, fmt.Errorf("reading %s: column %s is missing: add it; cells are parted by commas", t.file(), strings.Join(missing, ", "))
	}
	for _, h := range header { // in the file's order
		if h = strings.TrimSpace(h); h != "" {
			if _, unknown := at[h]; unknown {
				b.note("%s: column %q is kept out: it is not one of the table's%s", t.file(), h, nearest.Hint(h, names))
			}
		}
	}
	return place, nil
}

// withoutTrailing drops blank cells beyond the width: a delimiter at the end of
// a line, or the empty columns of a spreadsheet.
func withoutTrailing(cells []string, width int) []string {
	for len(cells) > width && strings.TrimSpace(cells[len(cells)-1]) == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// commaNumber is a number with a decimal comma that can be nothing else: one
// comma, and not three digits behind it, which may be thousands.
var commaNumber = regexp.MustCompile(`^[+-]?\d+,(\d{1,2}|\d{4,})$`)

// pointsForCommas writes the numbers of a file whose cells are parted by
// something else than commas with a decimal point. "1,234" stays as it is and is
// refused by its column: it may be 1.234 or 1234.
func (t table[R]) pointsForCommas(cells []string, place []int) {
	for i, c := range t.columns {
		if at := place[i]; at >= 0 && at < len(cells) && c.Type == "number" {
			if v := strings.TrimSpace(cells[at]); commaNumber.MatchString(v) {
				cells[at] = strings.Replace(v, ",", ".", 1)
			}
		}
	}
}

// row reads one row's cells; ok is false where it was set aside.
func (t table[R]) row(cells []string, place []int, line int, b *book) (_ row[R], ok bool) {
	r := row[R]{line: line}
	var bad ingest.Reject
	var careful []ingest.Reject // cells that count as the careful answer
	var known strings.Builder
	for i, c := range t.columns {
		cell := ""
		if place[i] >= 0 {
			cell = strings.TrimSpace(cells[place[i]])
		}
		known.WriteString(cell)
		known.WriteByte(0)
		err := c.set(&r.value, cell)
		if err != nil && c.careful != nil && utf8.ValidString(cell) {
			c.careful(&r.value)
			careful = append(careful, ingest.Reject{File: t.file(), Line: line, Column: c.Name, Value: short(cell), Kept: true, SiteID: t.site(&r.value),
				Reason: err.Error() + "; " + c.carefulText})
			err = nil
		}
		switch {
		case !utf8.ValidString(cell):
			err = errors.New("must be UTF-8: save the file as UTF-8")
			c.personal = true // and its bytes stay out of the message
		case cell == "" && c.Required && !c.blankOK:
			err = errBlank
		}
		if err == nil {
			continue
		}
		if bad.Reason != "" {
			bad.Reason += fmt.Sprintf("; and column %q: %v", c.Name, err)
			continue
		}
		bad = ingest.Reject{File: t.file(), Line: line, Column: c.Name, Reason: err.Error()}
		if !c.personal {
			bad.Value = short(cell)
		}
	}
	if bad.Reason == "" && t.check != nil {
		if column, err := t.check(&r.value); err != nil {
			bad = ingest.Reject{File: t.file(), Line: line, Column: column, Reason: err.Error()}
		}
	}
	if bad.Reason != "" {
		if site := t.site(&r.value); idPattern.MatchString(site) {
			bad.SiteID = site
		}
		b.setAside(bad)
		return r, false
	}
	for _, c := range careful {
		b.setAside(c)
	}
	r.cells = digestOf(known.String())
	return r, true
}

// withoutRepeats keeps what stands once. Of rows that are the same in every
// cell the first stays; of rows with the same key that differ none does, for
// which of them is right is not ours to guess. So the order of the rows does
// not matter.
func (t table[R]) withoutRepeats(rows []row[R], b *book) []row[R] {
	keyOf := func(r *row[R]) digest {
		if t.key == nil {
			return r.cells
		}
		return digestOf(t.key(&r.value))
	}
	first := make(map[digest]int, len(rows))
	differ := map[digest]bool{}
	for i := range rows {
		k := keyOf(&rows[i])
		if f, seen := first[k]; !seen {
			first[k] = i
		} else if rows[f].cells != rows[i].cells {
			differ[k] = true
		}
	}
	if len(first) == len(rows) {
		return rows
	}
	kept := make([]row[R], 0, len(first))
	for i := range rows {
		r := rows[i]
		k := keyOf(&r)
		f := first[k]
		reason := ""
		switch {
		case differ[k] && i == f:
			reason = "has the same key as a later row that differs: keep the right one"
		case differ[k]:
			reason = fmt.Sprintf("has the same key as line %d: keep the right one", rows[f].line)
		case i != f:
			reason = fmt.Sprintf("repeats line %d: leave it out", rows[f].line)
		}
		if reason == "" {
			kept = append(kept, r)
			continue
		}
		b.setAside(ingest.Reject{File: t.file(), Line: r.line, Column: t.columns[0].Name, Value: t.site(&r.value), Reason: reason, SiteID: t.site(&r.value)})
	}
	return kept
}

// short keeps a value that is repeated in a message to one line's length.
func short(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

// book keeps what was set aside and what is worth saying.
type book struct {
	rows     int
	rejects  []ingest.Reject
	notes    []string
	workbook *workbook // register.xlsx, once it was looked for
}

func (b *book) setAside(r ingest.Reject) {
	r.Reason = ingest.Short(r.Reason)                                   // it may quote a cell or an entry of megabytes
	r.Value, r.SiteID = strings.Clone(r.Value), strings.Clone(r.SiteID) // not with the table that they are cut from
	b.rejects = append(b.rejects, r)
}

func (b *book) note(format string, args ...any) {
	b.notes = append(b.notes, ingest.Short(fmt.Sprintf(format, args...)))
}
