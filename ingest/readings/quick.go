package readings

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/bits"

	"rowen/ingest"
)

// quick reads the rows that go on evenly with the batch's last stretch, which
// are nearly all rows of a file in the order of its sites: what a line begins
// with, up to the date, is compared as words, and so are the time of day, which
// must be the next, and the zone; values of up to seven characters are read
// without a branch on their length, and blank ones as missing. Any other row it
// leaves to scanner.fast, whose rules are the same.
//
// Cost: about 14 ns a row of the contract's table on one core.
type quick struct {
	usable bool // the columns are the site, the stamp and values, in this order
	count  int  // columns of values
	values [ingest.NumChannels]quickValue

	// What a line begins with: its length; its first words, and their bytes that
	// count; the rest.
	length int // 0: not known
	word   [3]uint64
	mask   [3]uint64
	rest   []byte

	// What follows the time of day, Z or an offset or nothing, and the delimiter.
	zoneLength     int
	zone, zoneMask uint64

	minute, step int // of the last row, and from each to the next
}

// quickValue is a column of values.
type quickValue struct {
	channel ingest.Channel
	end     byte     // what follows a value
	times   [8]int64 // by the characters from the decimal sign on: thousandths in one unit of the last digit; 0: less than one
}

// maxQuick is the longest beginning of a line, of which quickWords are compared
// as words.
const (
	maxQuick   = 80
	quickWords = 24
)

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
		if c.role != valueRole || c.net || c.neg || q.count == len(q.values) || 9_999_999*c.perUnit > maxMilli {
			return quick{}
		}
		v := quickValue{channel: c.channel, end: f.delimiter}
		for n := range v.times {
			if frac := max(0, n-1); c.perUnit%pow10[frac] == 0 {
				v.times[n] = c.perUnit / pow10[frac]
			}
		}
		q.values[q.count] = v
		q.count++
	}
	q.values[q.count-1].end = '\n'
	return q
}

// learn keeps what the line at p begins with, which scanner.fast has just read,
// where its row goes on with a stretch of which more may come.
func (s *scanner) learn(b []byte, p int) {
	q, last := &s.quick, s.batch.last()
	q.length = 0
	if last.N < 2 || last.Stride != 1 || last.Step%60 != 0 {
		return
	}
	n := 11
	if s.cols.site == "" {
		n += len(s.lastSite) + 1
	}
	date, zone := p+n-11, p+n+len("00:00:00")
	if n > maxQuick || zone+8 > len(b) || load8(b, date) != s.date0 || load8(b, date+3) != s.date1 {
		return
	}
	clock := b[p+n : p+n+8]
	minute := int(clock[0]&15)*600 + int(clock[1]&15)*60 + int(clock[3]&15)*10 + int(clock[4]&15)
	if minute >= len(minuteText) || minuteText[minute] != load8(clock, 0) {
		return
	}
	switch b[zone] {
	case 'Z':
		q.zoneLength = 2
	case '+', '-':
		q.zoneLength = 7
	default:
		q.zoneLength = 1
	}
	q.zoneMask = lowBytes(q.zoneLength)
	q.zone = load8(b, zone) & q.zoneMask
	q.length, q.minute, q.step = n, minute, int(min(last.Step/60, 1440))
	q.rest = append(q.rest[:0], b[min(p+quickWords, p+n):p+n]...)
	for i := range q.word {
		q.mask[i] = lowBytes(max(0, min(8, n-8*i)))
		q.word[i] = load8(b, p+8*i) & q.mask[i]
	}
}

// lowBytes is the mask of the first n bytes of a word, up to all 8.
func lowBytes(n int) uint64 { return 1<<(8*n) - 1 } // a shift by 64 gives 0

// readQuick reads the rows from p on into the batch while they are such, and
// gives the beginning of the first that is not, or that has no room.
//
// b[:end] holds whole lines, and b at least pad bytes more: as no line break is
// ever passed but as the end of a row, no load goes beyond.
//
// Of a value, in bits: where the first digits end, and, if that is at the decimal
// sign, the second. What is not so ends at no byte's beginning, and never at the
// column's end.
func (s *scanner) readQuick(b []byte, p, end int) int {
	q, batch := &s.quick, s.batch
	var out [ingest.NumChannels]*[batchRows]int64
	for k := range q.count {
		out[k] = (*[batchRows]int64)(batch.Value[q.values[k].channel][:batchRows])
	}
	decimal, length, zoneLength, zone, zoneMask := s.cols.decimal, q.length, q.zoneLength, q.zone, q.zoneMask
	w0, w1, w2, m0, m1, m2 := q.word[0], q.word[1], q.word[2], q.mask[0], q.mask[1], q.mask[2]
	at, minute := batch.rows, q.minute+q.step
rows:
	for p < end && at < batchRows && uint(minute) < uint(len(minuteText)) {
		line := b[p : p+quickWords : p+quickWords]
		if (le.Uint64(line)&m0^w0)|(le.Uint64(line[8:])&m1^w1)|(le.Uint64(line[16:])&m2^w2) != 0 {
			break
		}
		c := p + length
		if load8(b, c) != minuteText[minute] || load8(b, c+8)&zoneMask != zone || length > quickWords && !bytes.Equal(b[p+quickWords:c], q.rest) {
			break
		}
		c += 8 + zoneLength
		for k := range out {
			if k == q.count {
				break
			}
			column := &q.values[k]
			w := load8(b, c)
			y := w ^ ascii0
			marks := ((y + tooHigh) | y) & highBits // no digits
			first := bits.TrailingZeros64(marks) - 7
			second := bits.TrailingZeros64(marks&(marks-1)) - 7
			stop := 0
			out[k][at] = Missing // where the column's end follows at once
			if first != 0 {
				width := first
				if stop = first; byte(w>>(first&63)) == decimal {
					stop, width = second, second-8
				}
				times := column.times[(stop-first)>>3&7]
				if times == 0 {
					break rows
				}
				low := uint64(1)<<(first&63) - 1
				out[k][at] = eightDigits((w&low|w>>8&^low)<<((64-width)&63)) * times
			}
			c += stop>>3 + 1
			if last := byte(w >> (stop & 63)); last != column.end {
				if last != '\r' || column.end != '\n' || b[c] != '\n' {
					break rows
				}
				c++
			}
		}
		at++
		p = c
		minute += q.step
	}
	q.minute = minute - q.step
	s.keepQuick(at)
	return p
}

// keepQuick counts the rows that readQuick has written, up to at.
func (s *scanner) keepQuick(at int) {
	q, batch := &s.quick, s.batch
	n := at - batch.rows
	batch.last().N += int32(n)
	batch.rows = at
	for k := range q.count {
		ch := q.values[k].channel
		batch.Value[ch] = batch.Value[ch][:at]
	}
	s.line += int32(n)
	s.tally.Rows += int64(n)
}

var le = binary.LittleEndian

// minuteText is each minute of the day as it stands in a file.
var minuteText = func() (text [24 * 60]uint64) {
	for m := range text {
		text[m] = load8(fmt.Appendf(nil, "%02d:%02d:00", m/60, m%60), 0)
	}
	return text
}()
