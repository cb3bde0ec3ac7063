package readings

import (
	"bytes"
	"encoding/binary"
	"math/bits"

	"rowen/ingest"
)

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
