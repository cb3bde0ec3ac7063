package register

import (
	"errors"
	"strings"
)

// scanner splits a CSV text into records, as RFC 4180 says: cells parted by a
// delimiter, quoted where they hold one, a quote (doubled) or a line break.
//
// encoding/csv is not used because a stray quote makes it swallow the rows up
// to the next one: here only the line with the quote is lost, and said.
type scanner struct {
	rest  string
	line  int  // of the next record, from 1
	delim byte // between two cells
}

var (
	errQuote    = errors.New(`has a quote inside a cell that does not begin with one: put the cell in quotes and double the quote`)
	errUnclosed = errors.New(`has a quote that is not closed before the cell ends: close it, and double a quote that belongs to the text`)
)

// newScanner begins a text. Its header says what parts the cells: the commas of
// RFC 4180, or the semicolons or tabs that a spreadsheet writes where the comma
// is the decimal sign.
func newScanner(text string) *scanner {
	s := &scanner{rest: strings.TrimPrefix(text, "\ufeff"), line: 1, delim: ','}
	header, _, _ := strings.Cut(strings.TrimLeft(s.rest, "\r\n"), "\n")
	most := strings.Count(header, ",")
	for _, d := range []byte{';', '\t'} {
		if n := strings.Count(header, string(d)); n > most {
			most, s.delim = n, d
		}
	}
	return s
}

// next gives the cells of the next record that is not blank and the line that
// it begins on; ok is false at the end. After an error it goes on behind the
// line that the record begins on. The cells are valid until the next call.
func (s *scanner) next(cells []string) (_ []string, line int, ok bool, err error) {
	for s.rest != "" && (s.rest[0] == '\n' || strings.HasPrefix(s.rest, "\r\n")) {
		s.skipLine()
	}
	if s.rest == "" {
		return nil, s.line, false, nil
	}
	line = s.line
	cells, rest, err := s.record(s.rest, cells[:0])
	if err != nil {
		s.skipLine()
		return nil, line, true, err
	}
	s.line += strings.Count(s.rest[:len(s.rest)-len(rest)], "\n")
	s.rest = rest
	return cells, line, true, nil
}

func (s *scanner) left() int { return strings.Count(s.rest, "\n") }

func (s *scanner) decimal() byte {
	if s.delim == ',' {
		return '.'
	}
	return ','
}

func (s *scanner) skipLine() {
	_, s.rest, _ = strings.Cut(s.rest, "\n")
	s.line++
}

// record splits off the first record of a text.
func (s *scanner) record(text string, cells []string) ([]string, string, error) {
	for {
		cell, rest, err := s.cell(text)
		if err != nil {
			return nil, "", err
		}
		cells = append(cells, cell)
		switch {
		case rest == "":
			return cells, "", nil
		case rest[0] == '\n':
			return cells, rest[1:], nil
		case rest[0] == '\r':
			return cells, rest[2:], nil
		}
		text = rest[1:] // behind the delimiter
	}
}

// cell splits off the first cell of a text, without its quotes; rest begins
// with what ends it: the delimiter, "\n", "\r\n" or nothing. A spreadsheet's
// ="0012", which keeps it from reading a number, is the text 0012.
func (s *scanner) cell(text string) (cell, rest string, err error) {
	if strings.HasPrefix(text, `="`) {
		text = text[1:]
	}
	if text != "" && text[0] == '"' {
		return s.quoted(text[1:])
	}
	end := strings.IndexByte(text, '\n')
	if end < 0 {
		end = len(text)
	}
	if d := strings.IndexByte(text[:end], s.delim); d >= 0 {
		end = d
	}
	if end > 0 && end < len(text) && text[end] == '\n' && text[end-1] == '\r' {
		end--
	}
	if strings.IndexByte(text[:end], '"') >= 0 {
		return "", "", errQuote
	}
	return text[:end], text[end:], nil
}

func (s *scanner) quoted(text string) (cell, rest string, err error) {
	doubled := false
	for i := 0; ; i++ {
		n := strings.IndexByte(text[i:], '"')
		if n < 0 {
			return "", "", errUnclosed
		}
		i += n
		if strings.HasPrefix(text[i+1:], `"`) {
			doubled = true
			i++
			continue
		}
		cell, rest = text[:i], text[i+1:]
		break
	}
	if rest != "" && rest[0] != s.delim && rest[0] != '\n' && !strings.HasPrefix(rest, "\r\n") {
		return "", "", errUnclosed
	}
	if doubled {
		cell = strings.ReplaceAll(cell, `""`, `"`)
	}
	return cell, rest, nil
}
