package ledger

import (
	"encoding/binary"
	"math"
	"os"
	"slices"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// A spill holds the rows of one update between reading, which sees files, and
// merging, which wants sites: rows go to their site's bucket as segments of
// equally spaced stamps, in blocks that stay in memory while there is room, and
// then go to one temporary file a worker.
type spill struct {
	file    *os.File
	at      int64
	names   *readings.Names
	buckets int
	bucket  []int32        // by site number, -1: not known yet
	block   [][]byte       // by bucket, being filled
	index   [][]piece      // by bucket, written
	size    int            // of a block
	room    int64          // bytes of blocks that may stay in memory yet
	runs    map[int32]*run // being built, by site; at most openRuns
	now     *run           // the last row's
	spare   *run           // of the sites beyond openRuns, one after the other
}

// openRuns bounds how many sites' runs are open at once: 16 MiB a worker. In a
// file ordered by time every row is of another site than the one before.
const openRuns = 4096

// maxHeldBytes bounds the blocks of all workers that stay in memory (our
// choice: a year of 100 sites at 15 minutes has 30 MB; what is beyond goes
// through the system's file cache at a tenth of the cost of reading it).
// A variable so that tests can make it small.
var maxHeldBytes int64 = 32 << 20

// piece is a block that is full.
type piece struct {
	held []byte // nil: it lies in the file
	at   int64
	n    int32
}

// run is a segment that is being built.
type run struct {
	readings.Stretch
	source, part int32
	has          [ingest.NumChannels]bool
	value        [ingest.NumChannels][runRows]int64
}

const (
	runRows     = 128
	segmentHead = 48
	maxSegment  = segmentHead + runRows*8*int(ingest.NumChannels)
)

func newSpill(file *os.File, names *readings.Names, buckets, workers int) *spill {
	size := min(64<<10, max(2*maxSegment, (48<<20)/(buckets*workers)))
	return &spill{file: file, names: names, buckets: buckets, block: make([][]byte, buckets), index: make([][]piece, buckets), size: size, runs: map[int32]*run{}, spare: &run{}}
}

// add takes the rows of one batch. What fills a segment of a long stretch goes
// to its block as it is, the rest by way of the site's run.
func (s *spill) add(source, part int32, b *readings.Batch) error {
	row := 0
	for _, st := range b.Stretch {
		r := s.runOf(st.Site)
		for st.N > 0 {
			if r.N > 0 && !r.goesOn(source, part, &st) {
				if err := s.close(r); err != nil {
					return err
				}
			}
			var n int32
			if r.N == 0 && st.N >= runRows {
				n = runRows
				full := st
				full.N = n
				if err := s.put(&full, source, part, valuesOf(b, row)); err != nil {
					return err
				}
			} else {
				n = r.take(source, part, &st, b, row)
			}
			row += int(n)
			st.Time, st.Line, st.N = st.Time+int64(n)*st.Step, st.Line+n*st.Stride, st.N-n
			if st.N == 1 {
				st.Step, st.Stride = 0, 0
			}
		}
	}
	return nil
}

// valuesOf are a batch's values from a row on.
func valuesOf(b *readings.Batch, row int) (v [ingest.NumChannels][]int64) {
	for c := range v {
		if b.Has[c] {
			v[c] = b.Value[c][row:]
		}
	}
	return v
}

// runOf gives the run that a site's rows go to.
func (s *spill) runOf(site int32) *run {
	if s.now != nil && s.now.Site == site && s.now.N > 0 {
		return s.now
	}
	r := s.runs[site]
	if r == nil {
		if r = s.spare; len(s.runs) < openRuns {
			r = &run{}
			s.runs[site] = r
		}
	}
	s.now = r
	return r
}

// goesOn tells whether all rows of a stretch go on with the run, of which the
// run may not have room for all.
func (r *run) goesOn(source, part int32, st *readings.Stretch) bool {
	if r.N == runRows || st.Site != r.Site || source != r.source || part != r.part || st.Flags != r.Flags || st.Length != r.Length {
		return false
	}
	step, stride := st.Time-r.Time-int64(r.N-1)*r.Step, st.Line-r.Line-(r.N-1)*r.Stride
	if r.N == 1 {
		if step <= 0 || step > math.MaxInt32 {
			return false
		}
	} else if step != r.Step || stride != r.Stride {
		return false
	}
	return st.N == 1 || st.Step == step && st.Stride == stride
}

// take adds as many rows of a stretch as there is room for: those of the batch
// from row on.
func (r *run) take(source, part int32, st *readings.Stretch, b *readings.Batch, row int) int32 {
	n := min(st.N, runRows-r.N)
	for c := range b.Value {
		if b.Has[c] {
			copy(r.value[c][r.N:r.N+n], b.Value[c][row:])
		}
	}
	switch r.N {
	case 0:
		r.Stretch, r.source, r.part, r.has = *st, source, part, b.Has
		r.N = n
		if n == 1 {
			r.Step, r.Stride = 0, 0
		}
		return n
	case 1:
		r.Step, r.Stride = st.Time-r.Time, st.Line-r.Line
	}
	r.N += n
	return n
}

// close writes a run to its site's block.
func (s *spill) close(r *run) error {
	if r.N == 0 {
		return nil
	}
	var v [ingest.NumChannels][]int64
	for c := range v {
		if r.has[c] {
			v[c] = r.value[c][:]
		}
	}
	err := s.put(&r.Stretch, r.source, r.part, v)
	r.N = 0
	return err
}

// put writes a segment to its site's block.
func (s *spill) put(st *readings.Stretch, source, part int32, v [ingest.NumChannels][]int64) error {
	k := s.bucketOf(st.Site)
	if len(s.block[k])+maxSegment > s.size {
		if err := s.write(k); err != nil {
			return err
		}
	}
	if s.block[k] == nil {
		s.block[k] = make([]byte, 0, s.size)
	}
	s.block[k] = appendSegment(s.block[k], st, source, part, v)
	return nil
}

func (s *spill) bucketOf(site int32) int32 {
	for int(site) >= len(s.bucket) {
		s.bucket = append(s.bucket, -1)
	}
	if s.bucket[site] < 0 {
		s.bucket[site] = bucketOf(s.names.IDs()[site], s.buckets)
	}
	return s.bucket[site]
}

// bucketOf spreads the sites over the buckets by FNV-1a (64 bits; our choice).
func bucketOf(id string, buckets int) int32 {
	h := uint64(14695981039346656037)
	for i := 0; i < len(id); i++ {
		h = (h ^ uint64(id[i])) * 1099511628211
	}
	h ^= h >> 32
	return int32(h % uint64(buckets))
}

func (s *spill) write(k int32) error {
	b := s.block[k]
	if len(b) == 0 {
		return nil
	}
	if int64(cap(b)) <= s.room {
		s.room -= int64(cap(b))
		s.index[k] = append(s.index[k], piece{held: b, n: int32(len(b))})
		s.block[k] = nil
		return nil
	}
	if _, err := s.file.WriteAt(b, s.at); err != nil {
		return err
	}
	s.index[k] = append(s.index[k], piece{at: s.at, n: int32(len(b))})
	s.at += int64(len(b))
	s.block[k] = b[:0]
	return nil
}

// flush writes what is still in memory and lets the blocks go.
func (s *spill) flush() error {
	for _, r := range s.runs {
		if err := s.close(r); err != nil {
			return err
		}
	}
	if err := s.close(s.spare); err != nil {
		return err
	}
	s.runs, s.now = nil, nil
	for k := range s.block {
		if err := s.write(int32(k)); err != nil {
			return err
		}
		s.block[k] = nil
	}
	return nil
}

// appendSegment writes a segment: a head, then the values by channel (nil: the
// file has no such channel), four bytes each where all of the channel's fit.
func appendSegment(b []byte, st *readings.Stretch, source, part int32, values [ingest.NumChannels][]int64) []byte {
	le := binary.LittleEndian
	head := len(b)
	for _, v := range [...]int32{st.Site, source, part, st.Line, st.Stride, int32(st.Step), st.N, st.Length} {
		b = le.AppendUint32(b, uint32(v))
	}
	b = le.AppendUint64(b, uint64(st.Time))
	b = append(b, byte(st.Flags), 0, 0, 0, 0, 0, 0, 0)
	var mask, wide byte
	for c, v := range values {
		if v == nil {
			continue
		}
		mask |= 1 << c
		v = v[:st.N]
		at := len(b)
		b = slices.Grow(b, 8*len(v))
		if narrow(b[at:at+4*len(v)], v) {
			b = b[:at+4*len(v)]
			continue
		}
		wide |= 1 << c
		for _, x := range v {
			b = le.AppendUint64(b, uint64(x))
		}
	}
	b[head+41], b[head+42] = mask, wide
	return b
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
	mask, wide         byte
	data               []byte
}

// order tells which of two rows of a file comes later.
func (s *segment) order(i int32) int64 { return int64(s.part)<<32 | int64(s.line+i*s.stride) }

// nextSegment takes a segment off b.
func nextSegment(b []byte) (s segment, rest []byte) {
	le := binary.LittleEndian
	word := func(i int) int32 { return int32(le.Uint32(b[4*i:])) }
	s = segment{site: word(0), source: word(1), part: word(2), line: word(3), stride: word(4), step: int64(word(5)), n: word(6), length: word(7)}
	s.t0 = int64(le.Uint64(b[32:]))
	s.flags, s.mask, s.wide = readings.Flag(b[40]), b[41], b[42]
	size := segmentHead
	for c := range ingest.NumChannels {
		if s.mask>>c&1 != 0 {
			size += int(s.n) * (4 + 4*int(s.wide>>c&1))
		}
	}
	s.data = b[segmentHead:size:size]
	return s, b[size:]
}

// at is where a channel's values begin.
func (s *segment) at(c int) (at int) {
	for k := range c {
		if s.mask>>k&1 != 0 {
			at += int(s.n) * (4 + 4*int(s.wide>>k&1))
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
