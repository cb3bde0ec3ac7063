package readings

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"rowen/ingest/regular"
)

// scanner reads the lines of a long table from reused bytes: eight digits at a
// time, and of a stamp only what differs from the line before. A line that it
// is not sure of goes to columns.understand, whose judgement is the rule.
//
// Cost: about 14 ns a row of the contract's table on one core where rows
// differ in time and values only (quick), about 28 ns elsewhere.
type scanner struct {
	file   *File
	cols   *columns
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally
	line   int32
	fields [][]byte

	lastSite   []byte // with the number below
	lastNumber int32

	// The date and the offset of the last stamp read the fast way.
	date0, date1 uint64
	dateSeconds  int64
	offset       uint64 // its six bytes, or one for Z
	offsetSecs   int64
	iso          bool // the format allows the fast way

	quick quick
}

// pad is how far the scanner may look past the last line.
const pad = 128

func (f *File) newScanner(names *Names, o Limits, emit func(*Batch) error) *scanner {
	return &scanner{
		file: f, cols: f.cols, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit,
		batch: newBatch(f.cols.has),
		iso:   f.cols.clock.format == "rfc3339" && f.cols.clockAt < 0,
		quick: newQuick(f),
	}
}

// scan reads one part of a text file.
func (p Part) scan(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	s := p.file.newScanner(names, o, emit)
	var err error
	if p.to < 0 {
		var in io.ReadCloser
		if in, err = openText(p.file.abs, p.file.limits); err != nil {
			return Tally{}, err
		}
		defer in.Close()
		if _, err = io.CopyN(io.Discard, in, p.from); err == nil {
			err = s.stream(ctx, in)
		}
	} else {
		var in *os.File
		if in, err = regular.Open(p.file.abs); err != nil {
			return Tally{}, err
		}
		defer in.Close()
		if p.tee != nil {
			if _, err = io.Copy(p.tee, io.NewSectionReader(in, 0, p.from)); err != nil {
				return Tally{}, err
			}
		}
		err = s.stream(ctx, &rangeReader{file: in, at: p.from, lineStart: p.first, end: p.to, tee: p.tee})
	}
	if errors.Is(err, errOdd) {
		return Tally{Odd: true}, nil
	}
	if err == nil {
		err = s.flush()
	}
	s.tally.Lines = int64(s.line)
	return s.tally, err
}

// errOdd says that the text needs the plain reader.
var errOdd = errors.New("a quoted field spans lines")

// rangeReader gives the lines of a file that begin in a range: it starts after
// the first line break at or after at-1 and stops with the line that holds
// end-1.
type rangeReader struct {
	file      *os.File
	at, end   int64
	lineStart bool // at is known to begin a line
	done      bool
	tee       io.Writer // gets what lies in the range; nil: none
}

func (r *rangeReader) Read(b []byte) (int, error) {
	if r.done {
		return 0, io.EOF
	}
	if !r.lineStart {
		if err := r.skipToLine(b); err != nil {
			return 0, err
		}
	}
	if r.at >= r.end {
		// Past the range: only the rest of the line that began inside.
		if r.at == r.end {
			var last [1]byte
			if _, err := r.file.ReadAt(last[:], r.end-1); err != nil {
				return 0, err
			}
			if last[0] == '\n' {
				r.done = true
				return 0, io.EOF
			}
		}
		n, err := r.file.ReadAt(b, r.at)
		if i := bytes.IndexByte(b[:n], '\n'); i >= 0 {
			r.done = true
			return i + 1, nil
		}
		r.at += int64(n)
		if n > 0 && errors.Is(err, io.EOF) {
			err = nil
		}
		return n, err
	}
	n, err := r.file.ReadAt(b[:min(int64(len(b)), r.end-r.at)], r.at)
	r.at += int64(n)
	if r.tee != nil {
		r.tee.Write(b[:n])
	}
	if n > 0 && errors.Is(err, io.EOF) {
		err = nil
	}
	return n, err
}

func (r *rangeReader) skipToLine(b []byte) error {
	r.lineStart = true
	r.at--
	for {
		n, err := r.file.ReadAt(b, r.at)
		if i := bytes.IndexByte(b[:n], '\n'); i >= 0 {
			r.at += int64(i) + 1
			break
		}
		r.at += int64(n)
		if err != nil {
			return err
		}
	}
	if r.at >= r.end {
		r.done = true
		return io.EOF
	}
	return nil
}

// stream reads whole lines through one buffer.
func (s *scanner) stream(ctx context.Context, in io.Reader) error {
	buf := make([]byte, 256<<10)
	kept := 0
	for {
		if kept+pad >= len(buf) {
			if len(buf) > s.limits.lineBytes() {
				return fmt.Errorf("line %d: %w", s.line+1, tooLong(s.limits.lineBytes()))
			}
			buf = append(buf, make([]byte, len(buf))...)
		}
		n, err := in.Read(buf[kept : len(buf)-pad])
		kept += n
		end := bytes.LastIndexByte(buf[:kept], '\n') + 1
		if err != nil && end < kept {
			// The last line has no line break: give it one.
			buf[kept] = '\n'
			kept++
			end = kept
		}
		if serr := s.lines(buf, end); serr != nil {
			return serr
		}
		copy(buf, buf[end:kept])
		kept -= end
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("reading %s: %w", s.file.Path, err)
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
}

// lines scans buf[:end], which holds whole lines; buf has pad more bytes.
func (s *scanner) lines(buf []byte, end int) error {
	var r row
	for p := 0; p < end; {
		if s.quick.length > 0 {
			p = s.readQuick(buf, p, end)
			if s.batch.full() {
				if err := s.flush(); err != nil {
					return err
				}
				continue
			}
			if p >= end {
				break
			}
		}
		s.line++
		s.quick.length = 0
		next, ok := s.fast(buf, p, &r)
		clean := ok
		if !ok {
			next = p + bytes.IndexByte(buf[p:end], '\n') + 1
			used, err := s.careful(buf[p:next], &r)
			if err != nil {
				return err
			}
			if !used {
				p = next
				continue
			}
		}
		s.tally.Rows++
		s.batch.add(r.site, r.time, s.line, r.flags, 0, &r.values)
		if clean && s.quick.usable {
			s.learn(buf, p)
		}
		if s.batch.full() {
			if err := s.flush(); err != nil {
				return err
			}
		}
		p = next
	}
	return nil
}

// careful reads one line, with its line break, by the rule. used: r is a row.
func (s *scanner) careful(line []byte, r *row) (used bool, err error) {
	line = line[:len(line)-1]
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	if len(line) == 0 {
		return false, nil
	}
	bad := fault{}
	if s.fields, bad, err = s.split(line); err != nil {
		return false, err
	}
	if !bad.bad() {
		bad = s.cols.understand(s.fields, &s.sites, r)
	}
	if !bad.bad() {
		return true, nil
	}
	s.tally.Rows++
	s.tally.reject(s.limits, bad.reject(s.file.Path, int64(s.line)))
	return false, nil
}

// split cuts a line into fields as encoding/csv does.
func (s *scanner) split(line []byte) ([][]byte, fault, error) {
	fields := s.fields[:0]
	if bytes.IndexByte(line, '"') < 0 {
		for {
			i := bytes.IndexByte(line, s.file.delimiter)
			if i < 0 {
				return append(fields, line), fault{}, nil
			}
			fields = append(fields, line[:i])
			line = line[i+1:]
		}
	}
	if f, ok := splitQuoted(fields, line, s.file.delimiter); ok {
		return f, fault{}, nil
	}
	r := csv.NewReader(bytes.NewReader(line))
	r.Comma = rune(s.file.delimiter)
	rec, err := r.Read()
	if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
		if errors.Is(bad.Err, csv.ErrQuote) {
			return nil, fault{}, errOdd
		}
		return nil, fault{reason: "the quotes of the row do not pair: " + bad.Err.Error()}, nil
	} else if err != nil {
		return nil, fault{}, err
	}
	for _, f := range rec {
		fields = append(fields, []byte(f))
	}
	return fields, fault{}, nil
}

// splitQuoted is the way for lines whose quoted fields hold no quote.
func splitQuoted(fields [][]byte, line []byte, delimiter byte) ([][]byte, bool) {
	for {
		var field []byte
		if len(line) > 0 && line[0] == '"' {
			i := bytes.IndexByte(line[1:], '"')
			if i < 0 {
				return nil, false
			}
			field, line = line[1:1+i], line[2+i:]
			if len(line) > 0 && line[0] != delimiter {
				return nil, false
			}
		} else {
			i := bytes.IndexByte(line, delimiter)
			if i < 0 {
				i = len(line)
			}
			field, line = line[:i], line[i:]
			if bytes.IndexByte(field, '"') >= 0 {
				return nil, false
			}
		}
		fields = append(fields, field)
		if len(line) == 0 {
			return fields, true
		}
		line = line[1:]
	}
}

func (s *scanner) flush() error {
	if s.batch.Len() == 0 {
		return nil
	}
	err := s.emit(s.batch)
	s.batch.reset()
	s.quick.length = 0 // there is no stretch left to go on with
	return err
}
