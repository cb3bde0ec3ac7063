package ledger

import (
	"errors"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	"rowen/ingest"
)

// A bucket is one Parquet file with the readings of some sites: a row group a
// site, in the order of the sites' ids; in it every source file's own rows by
// start.
//
// Values are whole numbers of the site's unit_milliwh (in the metadata) of
// thousandths of a Wh: 1000 where all of them are whole Wh, as exports mostly
// are, so that nothing is rounded here. Missing is a bit of state that is not set: a null column would cost
// more to read, and the value repeats the one before.

// The columns of a bucket. A channel that no file of the bucket has is no column.
//
//	source  the file's number in the manifest
//	start   of the interval
//	state   bits 0 to 3: production, consumption, import, export are present;
//	        bits 4 to 11: the reading's flags; from bit 12: the interval's seconds
//	...     one column a channel
const (
	sourceColumn = "source"
	startColumn  = "start"
	stateColumn  = "state"
)

const (
	flagShift   = 4
	secondShift = 12
	stateMask   = 1<<secondShift - 1
)

// quickly compresses at zstd's first level: the usual one takes twice the time
// and saves a hundredth of the ledger.
var quickly = &zstd.Codec{Level: zstd.SpeedFastest, Concurrency: 1}

// bucketSchema is the schema for the given channels.
func bucketSchema(has [ingest.NumChannels]bool) *parquet.Schema {
	node := func(n parquet.Node) parquet.Node {
		return parquet.Compressed(parquet.Encoded(n, &parquet.DeltaBinaryPacked), quickly)
	}
	g := parquet.Group{
		sourceColumn: node(parquet.Int(32)),
		startColumn:  node(parquet.Timestamp(parquet.Millisecond)),
		stateColumn:  node(parquet.Int(32)),
	}
	for c := range ingest.NumChannels {
		if has[c] {
			g[c.String()] = node(parquet.Int(64))
		}
	}
	return parquet.NewSchema("readings", g)
}

// places gives the index of each column in a schema; -1: not there.
type places struct {
	source, start, state int
	channel              [ingest.NumChannels]int
}

func placesOf(s *parquet.Schema) (p places, err error) {
	at := func(name string) int {
		if leaf, ok := s.Lookup(name); ok {
			return leaf.ColumnIndex
		}
		return -1
	}
	p.source, p.start, p.state = at(sourceColumn), at(startColumn), at(stateColumn)
	for c := range ingest.NumChannels {
		p.channel[c] = at(c.String())
	}
	if min(p.source, p.start, p.state) < 0 {
		err = errors.New("it lacks a column")
	}
	return p, err
}

const (
	sitesKey = "sites"
	unitKey  = "unit_milliwh"
)

// inUnit divides by one of the units; a constant divisor is a multiplication.
func inUnit(dst, v []int64, unit int64) []int64 {
	switch unit {
	case 1000:
		for _, x := range v {
			dst = append(dst, x/1000)
		}
	case 100:
		for _, x := range v {
			dst = append(dst, x/100)
		}
	case 10:
		for _, x := range v {
			dst = append(dst, x/10)
		}
	default:
		dst = append(dst, v...)
	}
	return dst
}

// unitOf gives the largest of 1000, 100, 10 and 1 milli-Wh that all values are
// multiples of, given one that the values before were.
func unitOf(r *rows, unit int64) int64 {
	for c := range r.value {
		v := r.value[c]
		if unit == 1000 {
			v = v[multiples(v, func(x int64) bool { return x%1000 == 0 }):]
			unit = lesser(v, unit)
		}
		if unit == 100 {
			v = v[multiples(v, func(x int64) bool { return x%100 == 0 }):]
			unit = lesser(v, unit)
		}
		if unit == 10 {
			v = v[multiples(v, func(x int64) bool { return x%10 == 0 }):]
			unit = lesser(v, unit)
		}
	}
	return unit
}

// multiples counts the leading values that ok holds for.
func multiples(v []int64, ok func(int64) bool) int {
	for i, x := range v {
		if !ok(x) {
			return i
		}
	}
	return len(v)
}

func lesser(rest []int64, unit int64) int64 {
	if len(rest) > 0 {
		return unit / 10
	}
	return unit
}
