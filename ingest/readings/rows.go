package readings

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// textRows cuts delimited text into rows, as encoding/csv does, but for stray
// quotes: a quote that no other closes within a few lines costs its own line
// and not the rest of the file. No line and no row may be longer than max.
type textRows struct {
	in        *bufio.Reader
	delimiter byte
	max       int
	loose     bool // a quote inside a field is a character, and no field spans lines

	line   int      // of the row last given, 1 = the first of the text
	read   int      // lines taken so far
	held   [][]byte // lines that were taken together with a row that is none
	row    []byte   // the bytes of the row
	lines  [][]byte // of the row, where it spans several
	fields [][]byte
}

// maxQuotedLines is how many lines a quoted field may span (our choice: a
// remark of a few lines).
const maxQuotedLines = 32

func newTextRows(in io.Reader, delimiter byte, max int) *textRows {
	return &textRows{in: bufio.NewReaderSize(in, 64<<10), delimiter: delimiter, max: max}
}

// next gives the next row that is not blank; its fields are valid until the
// next call. bad: the line is no row, and the one after it is the next.
func (t *textRows) next() (fields [][]byte, bad string, err error) {
	var line []byte
	for {
		if line, err = t.take(); err != nil {
			return nil, "", err
		}
		if len(line) > 0 {
			break
		}
	}
	t.line, t.lines = t.read, t.lines[:0]
	if bytes.IndexByte(line, '"') < 0 {
		return t.split(line), "", nil
	}
	if f, ok := splitQuoted(t.fields[:0], line, t.delimiter); ok {
		t.fields = f
		return f, "", nil
	}
	if t.loose {
		return t.split(line), "", nil
	}
	return t.quoted(line)
}

// quoted takes the lines that a quoted field spans.
func (t *textRows) quoted(line []byte) ([][]byte, string, error) {
	t.row = append(t.row[:0], line...)
	t.lines = append(t.lines, bytes.Clone(line))
	for bytes.Count(t.row, []byte{'"'})%2 != 0 && len(t.lines) < maxQuotedLines {
		more, err := t.take()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, "", err
		}
		t.lines = append(t.lines, bytes.Clone(more))
		if t.row = append(append(t.row, '\n'), more...); len(t.row) > t.max {
			break
		}
	}
	r := csv.NewReader(bytes.NewReader(t.row))
	r.Comma = rune(t.delimiter)
	r.FieldsPerRecord = -1
	rec, err := r.Read()
	if err != nil {
		t.giveBack()
		reason := "the quotes of the row do not pair"
		if p := (*csv.ParseError)(nil); errors.As(err, &p) {
			reason += ": " + p.Err.Error()
		}
		return nil, reason, nil
	}
	t.fields = t.fields[:0]
	for _, f := range rec {
		t.fields = append(t.fields, []byte(f))
	}
	return t.fields, "", nil
}

// giveBack says that what next gave is no row: the lines after its first are
// read again, each by itself. It tells whether there are any.
func (t *textRows) giveBack() bool {
	if len(t.lines) < 2 {
		return false
	}
	t.held = append(append([][]byte{}, t.lines[1:]...), t.held...)
	t.read -= len(t.lines) - 1
	t.lines = t.lines[:0]
	return true
}

func (t *textRows) split(line []byte) [][]byte {
	t.fields = t.fields[:0]
	for {
		i := bytes.IndexByte(line, t.delimiter)
		if i < 0 {
			t.fields = append(t.fields, line)
			return t.fields
		}
		t.fields = append(t.fields, line[:i])
		line = line[i+1:]
	}
}

// take takes the next line, without its break.
func (t *textRows) take() ([]byte, error) {
	if len(t.held) > 0 {
		line := t.held[0]
		t.held = t.held[1:]
		t.read++
		return line, nil
	}
	line, err := readLine(t.in, t.max)
	if len(line) == 0 && err != nil {
		return nil, err
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	t.read++
	if n := len(line); n > 0 && line[n-1] == '\n' {
		line = line[:n-1]
	}
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	return line, nil
}
