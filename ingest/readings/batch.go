package readings

import (
	"math"
	"time"

	"rowen/ingest"
)

// Missing is the value of a blank cell in a batch.
const Missing = math.MinInt64

// badCell stands for a cell that cannot be used, between its reading and its
// row's.
const badCell = Missing + 1

// Batch is a number of rows: their values in columns, and all else by stretches
// of rows that follow each other evenly, of which most files have few. Values
// are whole thousandths of the mapping's base unit: milli-Wh for energy and
// counters, milli-W for power.
type Batch struct {
	Stretch []Stretch // in the order of the rows
	Value   [ingest.NumChannels][]int64
	Has     [ingest.NumChannels]bool // the channels that the file has at all
	rows    int
}

// Stretch is some rows of one site, each Step later and Stride lines below the
// one before, that have all else in common.
type Stretch struct {
	Site   int32 // number of the site in Names
	N      int32
	Line   int32 // of the first row, in the part: 1 = its first
	Stride int32 // 0 where N is 1
	Time   int64 // of the first row, seconds since 1970: UTC, or the file's own clock read as if it were UTC where Flags says Civil
	Step   int64 // 0 where N is 1
	Length int32 // seconds of each interval, 0: to be inferred
	Flags  Flag
}

// Flag is what is known of one reading beside its value.
type Flag uint8

// The flags.
const (
	Civil     Flag = 1 << iota // Time is on the file's own clock, not UTC
	Estimated                  // the meter's owner says that the value is an estimate
	Suspect                    // the meter's owner says that the value is questionable
	Differs                    // the same file says another value for the same stamp; the later line is kept
	OnlyOnce                   // one of an hour that the clock shows twice, of which only one is there
	Netted                     // import or export cut out of a net reading
)

const batchRows = 2048

// newBatch makes an empty batch for the given channels.
func newBatch(has [ingest.NumChannels]bool) *Batch {
	b := &Batch{Has: has}
	for c := range b.Value {
		if has[c] {
			b.Value[c] = make([]int64, 0, batchRows)
		}
	}
	return b
}

// Len is the number of rows.
func (b *Batch) Len() int { return b.rows }

func (b *Batch) full() bool { return b.rows == batchRows }

// flush hands the rows over and begins anew; nothing, where there are none.
func (b *Batch) flush(emit func(*Batch) error) error {
	if b.Len() == 0 {
		return nil
	}
	err := emit(b)
	b.reset()
	return err
}

func (b *Batch) reset() {
	b.Stretch, b.rows = b.Stretch[:0], 0
	for c := range b.Value {
		b.Value[c] = b.Value[c][:0]
	}
}

// add appends one row; channels that the batch does not have are ignored.
func (b *Batch) add(site int32, t int64, line int32, f Flag, length int32, v *[ingest.NumChannels]int64) {
	b.place(site, t, line, f, length)
	for c := range b.Value {
		if b.Has[c] {
			b.Value[c] = append(b.Value[c], v[c])
		}
	}
}

// place appends a row but for its values.
func (b *Batch) place(site int32, t int64, line int32, f Flag, length int32) {
	b.rows++
	if len(b.Stretch) > 0 && b.last().takes(site, t, line, f, length) {
		return
	}
	b.Stretch = append(b.Stretch, Stretch{Site: site, N: 1, Line: line, Time: t, Length: length, Flags: f})
}

// takes adds a row where it goes on with the stretch.
func (s *Stretch) takes(site int32, t int64, line int32, f Flag, length int32) bool {
	if s.Site != site || s.Flags != f || s.Length != length {
		return false
	}
	if s.N == 1 {
		step := t - s.Time
		if step <= 0 || step > math.MaxInt32 {
			return false
		}
		s.Step, s.Stride = step, line-s.Line
	} else if t != s.next() || line != s.Line+s.N*s.Stride {
		return false
	}
	s.N++
	return true
}

// last is the stretch of the last row.
func (b *Batch) last() *Stretch { return &b.Stretch[len(b.Stretch)-1] }

// next is the stamp that would go on with a stretch of two rows or more.
func (s *Stretch) next() int64 { return s.Time + int64(s.N)*s.Step }

// Quantity is what a column measures.
type Quantity uint8

// The quantities.
const (
	Energy  Quantity = iota // in the interval
	Power                   // the interval's mean
	Counter                 // a register that runs on, read at the stamp
)

// Meaning is what must be known of a file to settle its rows once they are
// sorted by site and stamp.
type Meaning struct {
	Zone        *time.Location // of Civil stamps; nil: the site's own
	StampIsEnd  bool
	StepSeconds int64 // 0: inferred for each site
	Quantity    [ingest.NumChannels]Quantity
	RollOver    [ingest.NumChannels]int64 // milli-Wh; 0: a drop is a reset
	SpreadGap   [ingest.NumChannels]int64 // seconds
}

// Tally counts what one part of a file held.
type Tally struct {
	Lines    int64 // lines of text, for the numbering of the parts that follow
	Rows     int64 // rows read
	SetAside int64
	Rejects  []ingest.Reject // the first of those set aside; Line counts from the part's first line
	Notes    []string
	Clock    *ClockClaim // what the file says of its site's clock; nil: nothing
	// Odd: the text needs the plain reader (a quoted field holds a line break
	// or a quote); what was emitted must be forgotten and the whole file read
	// by it.
	Odd bool
}
