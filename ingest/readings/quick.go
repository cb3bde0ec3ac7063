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
// Cost: about 13 ns a row of the contract's table on one core.
type quick struct {
	usable bool // the columns are the site, the stamp and values, in this order
	values []quickValue

	// What a line begins with: its length, its words, and their bytes that count.
	length int // 0: not known
	word   [4]uint64
	mask   [4]uint64
	site   int32
	flags  Flag
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
func (s *scanner) learn(b []byte, p int, flags Flag) {
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
	q.length, q.site, q.flags, q.date = n, s.lastNumber, flags, s.dateSeconds
	for i := range q.word {
		q.mask[i] = 1<<(8*max(0, min(8, n-8*i))) - 1 // a shift by 64 gives 0
		q.word[i] = load8(b, p+8*i) & q.mask[i]
	}
}

// readQuick reads the rows from p on into the batch while they are such, and
// gives the beginning of the first that is not, or that has no room.
//
// b[:end] holds whole lines, and b at least pad bytes more: as no line break is
// ever passed but as the end of a row, no load goes beyond.
func (s *scanner) readQuick(b []byte, p, end int) int {
	q, batch := &s.quick, s.batch
	at, room := len(batch.Time), cap(batch.Time)
	times := batch.Time[:room]
	var out [ingest.NumChannels][]int64
	for k, v := range q.values {
		out[k] = batch.Value[v.channel][:room]
	}
	delimiter, values := s.file.delimiter, q.values
	decimals := uint64(s.cols.decimal) * 0x0101010101010101
	bare := Flag(0)
	if s.cols.clock.civil {
		bare = Civil
	}
	first := at
	length, date := q.length, q.date
	w0, w1, w2, w3 := q.word[0], q.word[1], q.word[2], q.word[3]
	m0, m1, m2, m3 := q.mask[0], q.mask[1], q.mask[2], q.mask[3]
rows:
	for p < end && at < room {
		line := b[p : p+maxQuick : p+maxQuick]
		if (le.Uint64(line)&m0^w0)|(le.Uint64(line[8:])&m1^w1)|(le.Uint64(line[16:])&m2^w2)|(le.Uint64(line[24:])&m3^w3) != 0 {
			break
		}
		c := p + length
		x := load8(b, c) ^ clockText
		y := x*10 + x>>8 // the hour, the minute and the second in bytes 0, 3 and 6
		if x&0x0000ff0000ff0000|((x+tooHigh)|x)&highBits&^0x0000800000800000|(y+tooLate)&0x0080000080000080 != 0 {
			break
		}
		t, flag := date+int64(y&0xff*3600+y>>24&0xff*60+y>>48&0xff), Flag(0)
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
		if t < minUnix || t >= maxUnix || flag != q.flags {
			break
		}
		for k := range values {
			if b[c] != delimiter {
				break rows
			}
			c++
			w := load8(b, c)
			// What ends the value is the first byte that is neither a digit
			// nor the decimal sign. All else is worked out beside, so that the
			// next value need not wait for it.
			y, z := w^ascii0, w^decimals
			marks := ((y + tooHigh) | y) & highBits // no digits
			stop := bits.TrailingZeros64(((z+noZero)|z)&marks) >> 3
			n1 := bits.TrailingZeros64(marks) >> 3
			n2 := bits.TrailingZeros64(marks&(marks-1)) >> 3
			if n1 == 0 || stop >= 8 || n2 < stop {
				break rows
			}
			sign := int(uint(n1-stop) >> 63) // 1: there is a decimal sign
			low := uint64(1)<<(8*n1&63) - 1
			n := stop - sign
			times := values[k].times[(n-n1)&7]
			v := eightDigits((w&low|w>>8&^low)<<((64-8*n)&63)) * times
			if v > maxMilli || times == 0 {
				break rows
			}
			out[k][at] = v
			c += stop
		}
		if b[c] == '\r' {
			c++
		}
		if b[c] != '\n' {
			break
		}
		times[at] = t
		at++
		p = c + 1
	}
	batch.Time = times[:at]
	batch.Site, batch.Line, batch.Flags = batch.Site[:at], batch.Line[:at], batch.Flags[:at]
	for i := first; i < at; i++ {
		s.line++
		batch.Site[i], batch.Line[i], batch.Flags[i] = q.site, s.line, q.flags
	}
	for k, v := range q.values {
		batch.Value[v.channel] = out[k][:at]
	}
	s.tally.Rows += int64(at - first)
	return p
}

var le = binary.LittleEndian

// noZero sets, when added, the highest bit of every byte but 0.
const noZero = 0x7f7f7f7f7f7f7f7f

// tooLate sets the highest bit of the bytes of an hour above 23, a minute or a
// second above 59.
const tooLate = 127 - 23 | (127-59)<<24 | (127-59)<<48
