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
// choice: a year of 200 sites at 15 minutes has 60 MB).
// A variable so that tests can make it small.
var maxHeldBytes int64 = 80 << 20

// piece is a block that is full.
type piece struct {
	held []byte // nil: it lies in the file
	at   int64
	n    int32
}

// run is a segment that is being built.
type run struct {
	site, source, part int32
	line, stride       int32
	t0, step           int64
	lastTime           int64
	lastLine           int32
	n                  int32
	length             int32
	flags              readings.Flag
	has                [ingest.NumChannels]bool
	value              [ingest.NumChannels][runRows]int64
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

// add takes the rows of one batch, a stretch of equally spaced rows of one site
// at a time.
func (s *spill) add(source, part int32, b *readings.Batch) error {
	for i := 0; i < b.Len(); {
		r := s.runOf(b.Site[i])
		if !r.continues(source, part, b, i) {
			if err := s.close(r); err != nil {
				return err
			}
			r.begin(source, part, b, i)
			i++
			continue
		}
		if r.n == 1 {
			r.step, r.stride = b.Time[i]-r.lastTime, b.Line[i]-r.lastLine
		}
		j := i + r.likeness(b, i)
		for c := range b.Value {
			if b.Has[c] {
				copy(r.value[c][r.n:], b.Value[c][i:j])
			}
		}
		r.n += int32(j - i)
		r.lastTime, r.lastLine = b.Time[j-1], b.Line[j-1]
		i = j
	}
	return nil
}

// likeness counts the rows of a batch from i on that go on with the run, of
// which row i is known to, as far as the run has room.
func (r *run) likeness(b *readings.Batch, i int) int {
	n := min(b.Len()-i, int(runRows-r.n))
	times, sites, lines, flags := b.Time[i:i+n], b.Site[i:i+n], b.Line[i:i+n], b.Flags[i:i+n]
	time, line := times[0], lines[0]
	for j := 1; j < n; j++ {
		time, line = time+r.step, line+r.stride
		if times[j] != time || sites[j] != r.site || lines[j] != line || flags[j] != r.flags {
			n = j
		}
	}
	if b.Length != nil {
		for j, length := range b.Length[i : i+n] {
			if length != r.length {
				return j
			}
		}
	}
	return n
}

// runOf gives the run that a site's rows go to.
func (s *spill) runOf(site int32) *run {
	if s.now != nil && s.now.site == site && s.now.n > 0 {
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

// continues tells whether row i of a batch goes on with the run.
func (r *run) continues(source, part int32, b *readings.Batch, i int) bool {
	if r.n == 0 || r.n == runRows || b.Site[i] != r.site || source != r.source || part != r.part || b.Flags[i] != r.flags || b.Length != nil && b.Length[i] != r.length {
		return false
	}
	step, stride := b.Time[i]-r.lastTime, b.Line[i]-r.lastLine
	if r.n == 1 {
		return step > 0 && step <= math.MaxInt32
	}
	return step == r.step && stride == r.stride
}

func (r *run) begin(source, part int32, b *readings.Batch, i int) {
	r.site, r.source, r.part, r.line, r.t0 = b.Site[i], source, part, b.Line[i], b.Time[i]
	r.lastTime, r.lastLine, r.flags, r.has, r.n, r.length = b.Time[i], b.Line[i], b.Flags[i], b.Has, 1, 0
	if b.Length != nil {
		r.length = b.Length[i]
	}
	for c := range b.Value {
		if b.Has[c] {
			r.value[c][0] = b.Value[c][i]
		}
	}
}

// close writes a run to its site's block.
func (s *spill) close(r *run) error {
	if r.n == 0 {
		return nil
	}
	k := s.bucketOf(r.site)
	if len(s.block[k])+maxSegment > s.size {
		if err := s.write(k); err != nil {
			return err
		}
	}
	if s.block[k] == nil {
		s.block[k] = make([]byte, 0, s.size)
	}
	if r.n == 1 {
		r.step, r.stride = 0, 0
	}
	s.block[k] = r.append(s.block[k])
	r.n = 0
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

// append writes the segment: a head, then the values by channel, four bytes
// each where all of the channel's fit.
func (r *run) append(b []byte) []byte {
	le := binary.LittleEndian
	head := len(b)
	for _, v := range [...]int32{r.site, r.source, r.part, r.line, r.stride, int32(r.step), r.n, r.length} {
		b = le.AppendUint32(b, uint32(v))
	}
	b = le.AppendUint64(b, uint64(r.t0))
	b = append(b, byte(r.flags), 0, 0, 0, 0, 0, 0, 0)
	var mask, wide byte
	for c := range r.value {
		if !r.has[c] {
			continue
		}
		mask |= 1 << c
		v := r.value[c][:r.n]
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
