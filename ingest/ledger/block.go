package ledger

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
)

// bucketFile is a bucket opened for reading.
type bucketFile struct {
	file  *parquet.File
	sites []string
	units []int64
	at    places
}

func openBucket(in io.ReaderAt, size int64) (*bucketFile, error) {
	f, err := parquet.OpenFile(in, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return nil, err
	}
	b := &bucketFile{file: f}
	sites, _ := f.Lookup(sitesKey)
	if err := json.Unmarshal([]byte(sites), &b.sites); err != nil {
		return nil, fmt.Errorf("its list of sites: %w", err)
	}
	unit, _ := f.Lookup(unitKey)
	if err := json.Unmarshal([]byte(unit), &b.units); err != nil {
		return nil, fmt.Errorf("its units: %w", err)
	}
	if len(b.sites) != len(f.RowGroups()) || len(b.units) != len(b.sites) {
		return nil, fmt.Errorf("it has %d row groups for %d sites", len(f.RowGroups()), len(b.sites))
	}
	b.at, err = placesOf(f.Schema())
	return b, err
}

// block is one site's row group in memory. A column that holds one value
// throughout is not decoded; the slice is then empty and same says the value.
type block struct {
	n          int
	source     []int32
	start      []int64 // milliseconds; empty: one follows the other without a gap
	state      []int32
	value      [ingest.NumChannels][]int64 // in units
	has        [ingest.NumChannels]bool
	sameSource int32
	sameState  int32
	sameValue  [ingest.NumChannels]int64
	firstMs    int64
	lastMs     int64
	unit       int64
	streaks    []streak // of findStreaks
}

// load reads the row group of site i, reusing the block's slices.
func (b *bucketFile) load(i int, k *block) error {
	rg := b.file.RowGroups()[i]
	cols := rg.ColumnChunks()
	k.n, k.unit = int(rg.NumRows()), b.units[i]
	var err error
	if k.source, k.sameSource, err = load32(cols[b.at.source], k.source, k.n); err != nil {
		return err
	}
	if k.state, k.sameState, err = load32(cols[b.at.state], k.state, k.n); err != nil {
		return err
	}
	if err := k.loadStart(cols[b.at.start]); err != nil {
		return err
	}
	for c := range k.value {
		at := b.at.channel[c]
		if k.has[c] = at >= 0; !k.has[c] {
			continue
		}
		if k.value[c], k.sameValue[c], err = load64(cols[at], k.value[c], k.n); err != nil {
			return err
		}
	}
	return nil
}

// loadStart decodes the starts, unless the rows are regular.
func (k *block) loadStart(col parquet.ColumnChunk) error {
	lo, hi, ok := bounds(col)
	if !ok {
		return errNoBounds
	}
	k.firstMs, k.lastMs = lo.Int64(), hi.Int64()
	if k.regular() {
		k.start = k.start[:0]
		return nil
	}
	var err error
	k.start, err = decode64(col, k.start, k.n)
	return err
}

// regular tells whether the rows follow each other without a gap: one source
// (each start once, sorted), one length, all on its grid, and as many rows as
// there are lengths between the first and the last.
func (k *block) regular() bool {
	step := int64(k.sameState>>secondShift) * 1000
	return len(k.source) == 0 && len(k.state) == 0 &&
		step > 0 && step <= 3600_000 && k.sameState>>flagShift&int32(offGrid) == 0 &&
		(k.lastMs-k.firstMs)/step+1 == int64(k.n)
}

var errNoBounds = fmt.Errorf("a column has no bounds")

func bounds(col parquet.ColumnChunk) (lo, hi parquet.Value, ok bool) {
	f, is := col.(*parquet.FileColumnChunk)
	if !is {
		return lo, hi, false
	}
	return f.Bounds()
}

func load32(col parquet.ColumnChunk, dst []int32, n int) ([]int32, int32, error) {
	if lo, hi, ok := bounds(col); ok && lo.Int32() == hi.Int32() {
		return dst[:0], lo.Int32(), nil
	}
	dst, err := decode32(col, dst, n)
	return dst, 0, err
}

func load64(col parquet.ColumnChunk, dst []int64, n int) ([]int64, int64, error) {
	if lo, hi, ok := bounds(col); ok && lo.Int64() == hi.Int64() {
		return dst[:0], lo.Int64(), nil
	}
	dst, err := decode64(col, dst, n)
	return dst, 0, err
}

func decode64(col parquet.ColumnChunk, dst []int64, n int) ([]int64, error) {
	dst = slices.Grow(dst[:0], n) // the bucket's digest was as it should be, and so is n
	err := eachPage(col, func(p parquet.Page) error {
		v := p.Data()
		dst = append(dst, v.Int64()...)
		return nil
	})
	if err == nil && len(dst) != n {
		err = fmt.Errorf("a column holds %d values for %d rows", len(dst), n)
	}
	return dst, err
}

func decode32(col parquet.ColumnChunk, dst []int32, n int) ([]int32, error) {
	dst = slices.Grow(dst[:0], n)
	err := eachPage(col, func(p parquet.Page) error {
		v := p.Data()
		dst = append(dst, v.Int32()...)
		return nil
	})
	if err == nil && len(dst) != n {
		err = fmt.Errorf("a column holds %d values for %d rows", len(dst), n)
	}
	return dst, err
}

func eachPage(col parquet.ColumnChunk, do func(parquet.Page) error) error {
	pages := col.Pages()
	defer pages.Close()
	for {
		p, err := pages.ReadPage()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		err = do(p)
		parquet.Release(p)
		if err != nil {
			return err
		}
	}
}

// rowsOf gives the block's rows of the sources that keep allows, by source.
func (k *block) rowsOf(keep func(int32) bool) []*rows {
	var list []*rows
	var r *rows
	for i := range k.n {
		src := k.sourceAt(i)
		if r == nil || r.source != src {
			r = nil
			if !keep(src) {
				continue
			}
			r = &rows{source: src}
			list = append(list, r)
		}
		r.start = append(r.start, k.startAt(i))
		r.seconds = append(r.seconds, k.secondsAt(i))
		r.state = append(r.state, k.stateAt(i))
		for c := range r.value {
			r.value[c] = append(r.value[c], k.valueAt(c, i))
		}
	}
	return list
}

func (k *block) sourceAt(i int) int32 {
	if len(k.source) == 0 {
		return k.sameSource
	}
	return k.source[i]
}

// startAt gives a row's start in seconds.
func (k *block) startAt(i int) int64 {
	if len(k.start) == 0 {
		return k.firstMs/1000 + int64(i)*int64(k.sameState>>secondShift)
	}
	return k.start[i] / 1000
}

func (k *block) secondsAt(i int) int32 {
	if len(k.state) == 0 {
		return k.sameState >> secondShift
	}
	return k.state[i] >> secondShift
}

func (k *block) stateAt(i int) int32 {
	if len(k.state) == 0 {
		return k.sameState & stateMask
	}
	return k.state[i] & stateMask
}

// valueAt gives a value in milli-Wh; what it is where it is not present says
// nothing.
func (k *block) valueAt(c, i int) int64 {
	switch {
	case !k.has[c]:
		return 0
	case len(k.value[c]) == 0:
		return k.sameValue[c] * k.unit
	}
	return k.value[c][i] * k.unit
}
