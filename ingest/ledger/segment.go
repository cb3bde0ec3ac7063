package ledger

import (
	"encoding/binary"
	"math"
	"slices"

	"rowen/ingest"
	"rowen/ingest/readings"
)

const (
	segmentHead = 48
	maxSegment  = segmentHead + runRows*8*int(ingest.NumChannels)
)

// appendSegment writes a segment: a head, then the values by channel (nil: the
// file has no such channel): as whole Wh in two bytes each where all of the channel's
// are such, as most meters' are, else in four where they fit.
func appendSegment(b []byte, st *readings.Stretch, source, part int32, values [ingest.NumChannels][]int64) []byte {
	le := binary.LittleEndian
	head := len(b)
	for _, v := range [...]int32{st.Site, source, part, st.Line, st.Stride, int32(st.Step), st.N, st.Length} {
		b = le.AppendUint32(b, uint32(v))
	}
	b = le.AppendUint64(b, uint64(st.Time))
	b = append(b, byte(st.Flags), 0, 0, 0, 0, 0, 0, 0)
	var mask, wide, whole byte
	for c, v := range values {
		if v == nil {
			continue
		}
		mask |= 1 << c
		v = v[:st.N]
		at := len(b)
		b = slices.Grow(b, 8*len(v))
		if wholeWh(b[at:at+2*len(v)], v) {
			b, whole = b[:at+2*len(v)], whole|1<<c
			continue
		}
		if narrow(b[at:at+4*len(v)], v) {
			b = b[:at+4*len(v)]
			continue
		}
		wide |= 1 << c
		for _, x := range v {
			b = le.AppendUint64(b, uint64(x))
		}
	}
	b[head+41], b[head+42], b[head+43] = mask, wide, whole
	return b
}

// missingWh stands for Missing among whole Wh.
const missingWh = math.MaxUint16

// wholeWh writes values as Wh in two bytes each; false where one is not whole or does
// not fit.
func wholeWh(b []byte, values []int64) bool {
	for i, v := range values {
		wh := uint64(v) / 1000
		if v == readings.Missing {
			wh = missingWh
		} else if wh >= missingWh || int64(wh*1000) != v {
			return false
		}
		binary.LittleEndian.PutUint16(b[2*i:2*i+2], uint16(wh))
	}
	return true
}

// narrow writes values in four bytes each, the least of which stands for
// Missing; false where one does not fit.
func narrow(b []byte, values []int64) bool {
	var beyond uint64
	for i, v := range values {
		beyond |= uint64(v+math.MaxInt32) >> 32
		binary.LittleEndian.PutUint32(b[4*i:4*i+4], uint32(v))
	}
	if beyond == 0 {
		return true
	}
	for i, v := range values {
		if v == readings.Missing {
			v = math.MinInt32
		} else if v <= math.MinInt32 || v > math.MaxInt32 {
			return false
		}
		binary.LittleEndian.PutUint32(b[4*i:4*i+4], uint32(v))
	}
	return true
}

// segment is a run as it lies in the spill.
type segment struct {
	site, source       int32
	part, line, stride int32
	n, length          int32
	t0, step           int64
	flags              readings.Flag
	mask, wide, whole  byte
	data               []byte
}

// width is the bytes of a channel's values.
func (s *segment) width(c int) int { return 4 + 4*int(s.wide>>c&1) - 2*int(s.whole>>c&1) }

// order tells which of two rows of a file comes later.
func (s *segment) order(i int32) int64 { return int64(s.part)<<32 | int64(s.line+i*s.stride) }

// nextSegment takes a segment off b.
func nextSegment(b []byte) (s segment, rest []byte) {
	le := binary.LittleEndian
	word := func(i int) int32 { return int32(le.Uint32(b[4*i:])) }
	s = segment{site: word(0), source: word(1), part: word(2), line: word(3), stride: word(4), step: int64(word(5)), n: word(6), length: word(7)}
	s.t0 = int64(le.Uint64(b[32:]))
	s.flags, s.mask, s.wide, s.whole = readings.Flag(b[40]), b[41], b[42], b[43]
	size := segmentHead
	for c := range int(ingest.NumChannels) {
		if s.mask>>c&1 != 0 {
			size += int(s.n) * s.width(c)
		}
	}
	s.data = b[segmentHead:size:size]
	return s, b[size:]
}

// at is where a channel's values begin.
func (s *segment) at(c int) (at int) {
	for k := range c {
		if s.mask>>k&1 != 0 {
			at += int(s.n) * s.width(k)
		}
	}
	return at
}

// values appends one channel's values to dst; Missing where the segment does
// not have the channel.
func (s *segment) values(c int, dst []int64) []int64 {
	le := binary.LittleEndian
	at := s.at(c)
	switch {
	case s.mask>>c&1 == 0:
		for range s.n {
			dst = append(dst, readings.Missing)
		}
	case s.whole>>c&1 != 0:
		n := len(dst)
		dst = slices.Grow(dst, int(s.n))[:n+int(s.n)]
		data, out := s.data[at:at+2*int(s.n)], dst[n:]
		for i := range out {
			wh := le.Uint16(data[2*i : 2*i+2])
			out[i] = int64(wh) * 1000
			if wh == missingWh {
				out[i] = readings.Missing
			}
		}
	case s.wide>>c&1 != 0:
		for i := range int(s.n) {
			dst = append(dst, int64(le.Uint64(s.data[at+8*i:])))
		}
	default:
		for i := range int(s.n) {
			v := int64(int32(le.Uint32(s.data[at+4*i:])))
			if v == math.MinInt32 {
				v = readings.Missing
			}
			dst = append(dst, v)
		}
	}
	return dst
}
