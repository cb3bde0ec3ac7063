package readings

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"os"

	"rowen/ingest"
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
		if in, err = openText(p.file.abs); err != nil {
			return Tally{}, err
		}
		defer in.Close()
		if _, err = io.CopyN(io.Discard, in, p.from); err == nil {
			err = s.stream(ctx, in)
		}
	} else {
		var in *os.File
		if in, err = os.Open(p.file.abs); err != nil {
			return Tally{}, err
		}
		defer in.Close()
		err = s.stream(ctx, &rangeReader{file: in, at: p.from, lineStart: p.first, end: p.to})
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
			if len(buf) > maxLine {
				return fmt.Errorf("%s: line %d is longer than %d bytes", s.file.Path, s.line+1, maxLine)
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

// fast reads the line at p where it is as clean as lines mostly are, and gives
// the beginning of the next.
func (s *scanner) fast(b []byte, p int, r *row) (next int, ok bool) {
	r.flags = 0
	r.values = [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
	cols, delimiter := s.cols, s.file.delimiter
	last := len(cols.col) - 1
	if cols.site != "" {
		if s.lastSite == nil {
			s.lastSite = []byte(cols.site)
			s.lastNumber = s.sites.number(s.lastSite)
		}
		r.site = s.lastNumber
	}
	for i := range cols.col {
		c := &cols.col[i]
		switch c.role {
		case valueRole:
			p, ok = fastValue(b, p, c, cols.decimal, r)
		case siteRole:
			p, ok = s.fastSite(b, p, r)
		case stampRole:
			p, ok = s.fastStamp(b, p, r)
		default:
			p, ok = skipField(b, p, delimiter)
		}
		if !ok {
			return 0, false
		}
		if i < last {
			if b[p] != delimiter {
				return 0, false
			}
			p++
		}
	}
	if b[p] == '\r' {
		p++
	}
	return p + 1, b[p] == '\n'
}

func skipField(b []byte, p int, delimiter byte) (int, bool) {
	for ; ; p++ {
		switch b[p] {
		case delimiter, '\n', '\r':
			return p, true
		case '"':
			return p, false
		}
	}
}

func (s *scanner) fastSite(b []byte, p int, r *row) (int, bool) {
	n := len(s.lastSite)
	if n > 0 && bytes.Equal(b[p:min(p+n, len(b))], s.lastSite) && !idByte[b[p+n]] && b[p+n] != ' ' {
		r.site = s.lastNumber
		return p + n, true
	}
	q := p
	for idByte[b[q]] {
		q++
	}
	if q == p || q-p > 64 || q >= len(b)-pad {
		return p, false
	}
	s.lastSite = append(s.lastSite[:0], b[p:q]...)
	s.lastNumber = s.sites.number(s.lastSite)
	r.site = s.lastNumber
	return q, true
}

func load8(b []byte, p int) uint64 { return binary.LittleEndian.Uint64(b[p : p+8]) }

const (
	ascii0    = 0x3030303030303030
	tooHigh   = 0x7676767676767676
	highBits  = 0x8080808080808080
	clockText = 0x30303a30303a3030 // 00:00:00
)

// fastStamp reads YYYY-MM-DDTHH:MM:SS and an offset or Z, or HH:MM.
func (s *scanner) fastStamp(b []byte, p int, r *row) (int, bool) {
	if !s.iso || p+24 >= len(b) {
		return s.otherStamp(b, p, r)
	}
	d0, d1 := load8(b, p), load8(b, p+3)
	if d0 != s.date0 || d1 != s.date1 {
		days, ok := plainDate(b[p : p+10])
		if c := b[p+10]; !ok || c != 'T' && c != ' ' {
			return p, false
		}
		s.date0, s.date1, s.dateSeconds = d0, d1, days*86400
	}
	w := load8(b, p+11)
	x := w ^ clockText
	if x&0x0000ff0000ff0000 != 0 || ((x+tooHigh)|x)&highBits&^0x0000800000800000 != 0 {
		return p, false
	}
	h := (x&0xff)*10 + x>>8&0xff
	m := (x>>24&0xff)*10 + x>>32&0xff
	sec := (x>>48&0xff)*10 + x>>56
	if h > 23 || m > 59 || sec > 59 {
		return p, false
	}
	t := s.dateSeconds + int64(h*3600+m*60+sec)
	p += 19
	c := b[p]
	if c == 'Z' {
		r.time = t
		return p + 1, t >= minUnix && t < maxUnix
	}
	if c != '+' && c != '-' {
		if s.cols.clock.offsetOnly || c == '.' || c == ' ' || c == 'z' {
			return p, false
		}
		if s.cols.clock.civil {
			r.flags |= Civil
		}
		r.time = t
		return p, t >= minUnix && t < maxUnix
	}
	if o := load8(b, p) & 0x0000ffffffffffff; o != s.offset {
		text := isoText{b[p : p+6]}
		secs, ok := text.offset()
		if !ok || len(text.rest) > 0 {
			return p, false
		}
		s.offset, s.offsetSecs = o, secs
	}
	t -= s.offsetSecs
	r.time = t
	return p + 6, t >= minUnix && t < maxUnix
}

func plainDate(f []byte) (days int64, ok bool) {
	s := isoText{f}
	y, ok1 := s.digits(4)
	dash1 := s.take('-')
	m, ok2 := s.digits(2)
	dash2 := s.take('-')
	d, ok3 := s.digits(2)
	if !(ok1 && ok2 && ok3 && dash1 && dash2) || !validDate(y, m, d) {
		return 0, false
	}
	return daysFromCivil(y, m, d), true
}

// otherStamp reads a stamp of any other format.
func (s *scanner) otherStamp(b []byte, p int, r *row) (int, bool) {
	if s.cols.clockAt >= 0 {
		return p, false
	}
	q, ok := skipField(b, p, s.file.delimiter)
	if !ok {
		return p, false
	}
	t, civil, reason := s.cols.clock.parse(b[p:q])
	if reason != "" {
		return p, false
	}
	if civil {
		r.flags |= Civil
	}
	r.time = t
	return q, true
}

// fastValue reads up to seven digits, the decimal sign and seven more.
func fastValue(b []byte, p int, c *column, decimal byte, r *row) (int, bool) {
	neg := b[p] == '-'
	if neg {
		p++
	}
	if p+20 >= len(b) {
		return p, false
	}
	w := load8(b, p)
	n := digitBytes(w)
	if n == 0 {
		// Blank; anything else is found out by what follows it.
		return p, !neg && b[p] != '+' && b[p] != decimal
	}
	if n == 8 {
		return p, false
	}
	mant, frac := int64(0), 0
	if byte(w>>(8*n)) != decimal {
		mant = digits8(w, n)
		p += n
	} else if rest := w >> (8*n + 8); n+1+digitBytes(rest) < 8 {
		// The whole number lies in the word: take the sign out and read the
		// digits at once. Shifted-in zero bytes are no digits.
		frac = digitBytes(rest)
		mant = digits8(w&(1<<(8*n)-1)|rest<<(8*n), n+frac)
		p += n + 1 + frac
	} else {
		mant = digits8(w, n)
		w = load8(b, p+n+1)
		if frac = digitBytes(w); frac == 8 {
			return p, false
		}
		if frac > 0 {
			mant = mant*pow10[frac] + digits8(w, frac)
		}
		p += n + 1 + frac
	}
	v := mant
	if q := c.perUnit / pow10[frac]; q > 0 && q*pow10[frac] == c.perUnit {
		v *= q
	} else {
		v, _ = scale(mant, frac, c.perUnit)
	}
	if v > maxMilli {
		return p, false
	}
	if neg != c.neg {
		v = -v
	}
	if c.net {
		r.flags |= Netted
		r.values[ingest.Import], r.values[ingest.Export] = max(v, 0), max(-v, 0)
		return p, true
	}
	r.values[c.channel] = v
	return p, true
}

// digitBytes counts the leading digits among eight bytes, first byte lowest.
func digitBytes(w uint64) int {
	t := w ^ ascii0
	return bits.TrailingZeros64(((t+tooHigh)|t)&highBits) >> 3
}

// digits8 gives the number that the first n digits of w make, 1 <= n <= 8: they
// are moved to the end, zeros before them, and pairs, fours and eights are
// summed in three multiplications.
func digits8(w uint64, n int) int64 {
	return eightDigits(w << uint(64-8*n))
}

// eightDigits gives the number of eight digits; a zero byte counts as one.
func eightDigits(w uint64) int64 {
	w &= 0x0f0f0f0f0f0f0f0f
	w = w*10 + w>>8
	return int64(((w&0x000000ff000000ff)*0x000f424000000064 + (w>>16&0x000000ff000000ff)*0x0000271000000001) >> 32)
}
