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

// Batch is a run of rows in columns. Values are whole thousandths of the
// mapping's base unit: milli-Wh for energy and counters, milli-W for power.
type Batch struct {
	Site   []int32 // number of the site in Names
	Time   []int64 // seconds since 1970: UTC, or the file's own clock read as if it were UTC where Flags says Civil
	Line   []int32 // line in the part, 1 = its first
	Flags  []Flag
	Length []int32 // seconds, 0: to be inferred; nil: all 0
	Value  [ingest.NumChannels][]int64
	Has    [ingest.NumChannels]bool // the channels that the file has at all
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
func newBatch(has [ingest.NumChannels]bool, explicitLength bool) *Batch {
	b := &Batch{
		Site: make([]int32, 0, batchRows), Time: make([]int64, 0, batchRows),
		Line: make([]int32, 0, batchRows), Flags: make([]Flag, 0, batchRows), Has: has,
	}
	if explicitLength {
		b.Length = make([]int32, 0, batchRows)
	}
	for c := range b.Value {
		if has[c] {
			b.Value[c] = make([]int64, 0, batchRows)
		}
	}
	return b
}

// Len is the number of rows.
func (b *Batch) Len() int { return len(b.Time) }

func (b *Batch) full() bool { return len(b.Time) == cap(b.Time) }

func (b *Batch) reset() {
	b.Site, b.Time, b.Line, b.Flags = b.Site[:0], b.Time[:0], b.Line[:0], b.Flags[:0]
	if b.Length != nil {
		b.Length = b.Length[:0]
	}
	for c := range b.Value {
		b.Value[c] = b.Value[c][:0]
	}
}

// add appends one row; channels that the batch does not have are ignored.
func (b *Batch) add(site int32, t int64, line int32, f Flag, length int32, v *[ingest.NumChannels]int64) {
	b.Site = append(b.Site, site)
	b.Time = append(b.Time, t)
	b.Line = append(b.Line, line)
	b.Flags = append(b.Flags, f)
	if b.Length != nil {
		b.Length = append(b.Length, length)
	}
	for c := range b.Value {
		if b.Has[c] {
			b.Value[c] = append(b.Value[c], v[c])
		}
	}
}

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
