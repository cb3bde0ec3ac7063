package readings

import (
	"encoding/binary"
	"math/bits"

	"rowen/ingest"
)

// quick reads the rows that differ from the one before in no more than the time
// of day and the values, which are nearly all rows of a file in the order of
// its sites: what the line begins with, up to the date, is compared as words,
// and values of up to seven characters are read without a branch on their
// length. Any other row it leaves to scanner.fast, whose rules are the same.
//
// Cost: about 15 ns a row of the contract's table on one core.
type quick struct {
	usable bool // the columns are the site, the stamp and values, in this order
	values []quickValue

	// What a line begins with: its length, and words that cover it.
	length int // 0: not known
	at     [4]int
	word   [4]uint64
	site   int32
	date   int64 // seconds of its date
}

// quickValue is a column of values.
type quickValue struct {
	channel ingest.Channel
	times   [8]int64 // by the decimals: thousandths in one unit of the last digit; 0: less than one
}

// maxQuick is the longest beginning of a line that four words cover.
const maxQuick = 32

func newQuick(f *File) quick {
	cols := f.cols
	if cols.clock.format != "rfc3339" || cols.clockAt >= 0 {
		return quick{}
	}
	switch f.delimiter {
	case ',', ';', '\t', '|':
	default:
		return quick{}
	}
	rest := cols.col
	if cols.site == "" {
		if rest[0].role != siteRole {
			return quick{}
		}
		rest = rest[1:]
	}
	if len(rest) < 2 || rest[0].role != stampRole {
		return quick{}
	}
	q := quick{usable: true}
	for _, c := range rest[1:] {
		if c.role != valueRole || c.net || c.neg {
			return quick{}
		}
		v := quickValue{channel: c.channel}
		for frac := range v.times {
			if c.perUnit%pow10[frac] == 0 {
				v.times[frac] = c.perUnit / pow10[frac]
			}
		}
		q.values = append(q.values, v)
	}
	return q
}

// learn keeps what the line at p begins with, which scanner.fast has just read.
func (s *scanner) learn(b []byte, p int) {
	q := &s.quick
	q.length = 0
	n := 11
	if s.cols.site == "" {
		n += len(s.lastSite) + 1
	}
	date := p + n - 11
	if n > maxQuick || date+11 > len(b) || load8(b, date) != s.date0 || load8(b, date+3) != s.date1 {
		return
	}
	q.length, q.site, q.date = n, s.lastNumber, s.dateSeconds
	for i := range q.at {
		q.at[i] = min(8*i, n-8)
		q.word[i] = load8(b, p+q.at[i])
	}
}

// readQuick reads the rows from p on into the batch while they are such, and
// gives the beginning of the first that is not, or that has no room.
//
// b[:end] holds whole lines, and b at least pad bytes more: as no line break is
// ever passed but as the end of a row, no load goes beyond.
func (s *scanner) readQuick(b []byte, p, end int) int {
	q, batch := &s.quick, s.batch
	n, room := len(batch.Time), cap(batch.Time)
	sites, times, lines, flags := batch.Site[:room], batch.Time[:room], batch.Line[:room], batch.Flags[:room]
	var out [ingest.NumChannels][]int64
	for k, v := range q.values {
		out[k] = batch.Value[v.channel][:room]
	}
	delimiter, decimal := s.file.delimiter, s.cols.decimal
	bare := Flag(0)
	if s.cols.clock.civil {
		bare = Civil
	}
	first := n
	length, site, date := q.length, q.site, q.date
	at0, at1, at2, at3 := q.at[0], q.at[1], q.at[2], q.at[3]
	w0, w1, w2, w3 := q.word[0], q.word[1], q.word[2], q.word[3]
rows:
	for p < end && n < room {
		line := b[p : p+maxQuick]
		if (word(line, at0)^w0)|(word(line, at1)^w1)|(word(line, at2)^w2)|(word(line, at3)^w3) != 0 {
			break
		}
		c := p + length
		x := load8(b, c) ^ clockText
		if x&0x0000ff0000ff0000 != 0 || ((x+tooHigh)|x)&highBits&^0x0000800000800000 != 0 {
			break
		}
		h, m, sec := (x&0xff)*10+x>>8&0xff, (x>>24&0xff)*10+x>>32&0xff, (x>>48&0xff)*10+x>>56
		if h > 23 || m > 59 || sec > 59 {
			break
		}
		t, flag := date+int64(h*3600+m*60+sec), Flag(0)
		c += 8
		switch b[c] {
		case 'Z':
			c++
		case delimiter:
			if s.cols.clock.offsetOnly {
				break rows
			}
			flag = bare
		default:
			if o := load8(b, c) & 0x0000ffffffffffff; s.offset == 0 || o != s.offset {
				break rows
			}
			t -= s.offsetSecs
			c += 6
		}
		if t < minUnix || t >= maxUnix {
			break
		}
		for k := range q.values {
			if b[c] != delimiter {
				break rows
			}
			c++
			w := load8(b, c)
			// The marks of the bytes that are no digits: the first is the
			// decimal sign or the end, the second the end after a sign.
			y := w ^ ascii0
			marks := ((y + tooHigh) | y) & highBits
			n1 := bits.TrailingZeros64(marks) >> 3
			n2 := bits.TrailingZeros64(marks&(marks-1)) >> 3
			stop := n2
			if byte(w>>(8*n1&63)) != decimal {
				n2, stop = n1+1, n1
			}
			if n1 == 0 || n2 >= 8 || stop >= 8 {
				break rows
			}
			low := uint64(1)<<(8*n1&63) - 1
			digits := w&low | w>>8&^low
			v := digits8(digits, n2-1) * q.values[k].times[(n2-n1-1)&7]
			if v > maxMilli || q.values[k].times[(n2-n1-1)&7] == 0 {
				break rows
			}
			out[k][n] = v
			c += stop
		}
		if b[c] == '\r' {
			c++
		}
		if b[c] != '\n' {
			break
		}
		s.line++
		sites[n], times[n], lines[n], flags[n] = site, t, s.line, flag
		n++
		p = c + 1
	}
	s.tally.Rows += int64(n - first)
	batch.Site, batch.Time, batch.Line, batch.Flags = sites[:n], times[:n], lines[:n], flags[:n]
	for k, v := range q.values {
		batch.Value[v.channel] = out[k][:n]
	}
	return p
}

func word(line []byte, at int) uint64 { return binary.LittleEndian.Uint64(line[at : at+8]) }
