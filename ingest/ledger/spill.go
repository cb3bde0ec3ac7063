package ledger

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// A spill holds the rows of one update between reading, which sees files, and
// merging, which wants sites: rows go to their site's bucket as segments of
// equally spaced stamps, in blocks that stay in memory while there is room, and
// then go to one temporary file a worker. A block in the file says where the one
// before it of the same bucket lies, so that memory holds the last one alone, however
// much there is.
type spill struct {
	file    *os.File
	at      int64
	names   *readings.Names
	buckets int
	bucket  []int32        // by site number, -1: not known yet
	block   [][]byte       // by bucket, being filled; nil: none
	free    [][]byte       // blocks to be used again
	open    int            // blocks that there may be yet
	held    [][][]byte     // by bucket, full
	last    []piece        // by bucket, in the file
	bytes   []int64        // by bucket
	room    int64          // bytes of blocks that may stay in memory yet
	runs    map[int32]*run // being built, by site; at most openRuns
	idle    []*run         // to be used again
	now     *run           // the last row's
	spare   *run           // of the sites beyond openRuns, one after the other
}

// openRuns bounds how many sites' runs are open at once: 16 MiB a worker. In a
// file ordered by time every row is of another site than the one before.
const openRuns = 4096

// blockBytes is the size of a block.
const blockBytes = 16 << 10

// openBlocks is how many blocks all workers may be filling before all of them are
// written (our choice: 16 MiB, whatever the number of buckets).
// A variable so that tests can make it small.
var openBlocks = 1024

// maxHeldBytes bounds the blocks of all workers that stay in memory (our
// choice: a year of 100 sites at 15 minutes has 30 MB; what is beyond goes
// through the system's file cache at a tenth of the cost of reading it).
// A variable so that tests can make it small.
var maxHeldBytes int64 = 32 << 20

// piece is a block in the file; n is 0: none.
type piece struct {
	at int64
	n  int32
}

// linkBytes is the head of a block: the piece before it of the same bucket.
const linkBytes = 12

// run is a segment that is being built.
type run struct {
	readings.Stretch
	source, part int32
	has          [ingest.NumChannels]bool
	value        [ingest.NumChannels][runRows]int64
}

const runRows = 128

func newSpill(file *os.File, names *readings.Names, buckets, workers int) *spill {
	return &spill{file: file, names: names, buckets: buckets, block: make([][]byte, buckets), held: make([][][]byte, buckets), last: make([]piece, buckets),
		bytes: make([]int64, buckets), open: max(1, openBlocks/workers), runs: map[int32]*run{}, spare: &run{}}
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
			if idle := len(s.idle); idle > 0 {
				r, s.idle = s.idle[idle-1], s.idle[:idle-1]
			} else {
				r = &run{}
			}
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
	if len(s.block[k])+maxSegment > blockBytes {
		if err := s.write(k); err != nil {
			return err
		}
	}
	if s.block[k] == nil {
		if err := s.begin(k); err != nil {
			return err
		}
	}
	s.block[k] = appendSegment(s.block[k], st, source, part, v)
	return nil
}

// begin gives a bucket an empty block. Where there are enough of them, all are
// written first.
func (s *spill) begin(k int32) error {
	if len(s.free) == 0 && s.open == 0 {
		if err := s.writeAll(); err != nil {
			return err
		}
	}
	if free := len(s.free); free > 0 {
		s.block[k], s.free = s.free[free-1], s.free[:free-1]
		return nil
	}
	s.open--
	s.block[k] = make([]byte, linkBytes, blockBytes)
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

// write takes a bucket's block from where it is filled.
func (s *spill) write(k int32) error {
	b := s.block[k]
	if b == nil {
		return nil
	}
	s.block[k] = nil
	s.bytes[k] += int64(len(b) - linkBytes)
	if int64(cap(b)) <= s.room {
		s.room -= int64(cap(b))
		s.held[k] = append(s.held[k], b[linkBytes:])
		s.open++
		return nil
	}
	le := binary.LittleEndian
	le.PutUint64(b, uint64(s.last[k].at))
	le.PutUint32(b[8:], uint32(s.last[k].n))
	if _, err := s.file.WriteAt(b, s.at); err != nil {
		return err
	}
	s.last[k] = piece{s.at, int32(len(b))}
	s.at += int64(len(b))
	s.free = append(s.free, b[:linkBytes])
	return nil
}

func (s *spill) writeAll() error {
	for k := range s.block {
		if err := s.write(int32(k)); err != nil {
			return err
		}
	}
	return nil
}

// endPart closes the runs of a part of a file, which no other part goes on with.
func (s *spill) endPart() error {
	for site, r := range s.runs {
		if err := s.close(r); err != nil {
			return err
		}
		s.idle = append(s.idle, r)
		delete(s.runs, site)
	}
	s.now = nil
	return s.close(s.spare)
}

// flush writes what is still in memory and lets the blocks go.
func (s *spill) flush() error {
	if err := s.endPart(); err != nil {
		return err
	}
	err := s.writeAll()
	s.runs, s.idle, s.free = nil, nil, nil
	return err
}

// each gives the pieces of a bucket: held ones as they are, those of the file in the
// room that grow gives for so many bytes.
func (s *spill) each(k int, grow func(n int) []byte, held, read func(piece []byte)) error {
	for _, b := range s.held[k] {
		held(b)
	}
	for p := s.last[k]; p.n > 0; {
		b := grow(int(p.n))
		if _, err := s.file.ReadAt(b, p.at); err != nil {
			return fmt.Errorf("reading the spill: %w", err)
		}
		le := binary.LittleEndian
		p = piece{int64(le.Uint64(b)), int32(le.Uint32(b[8:]))}
		read(b[linkBytes:])
	}
	return nil
}

// done lets go of a bucket.
func (s *spill) done(k int) { s.held[k] = nil }
