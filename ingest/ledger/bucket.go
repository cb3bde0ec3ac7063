package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"

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

// bucketSchema is the schema for the given channels.
func bucketSchema(has [ingest.NumChannels]bool) *parquet.Schema {
	node := func(n parquet.Node) parquet.Node {
		return parquet.Compressed(parquet.Encoded(n, &parquet.DeltaBinaryPacked), &parquet.Zstd)
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

// bucketWriter writes one bucket.
type bucketWriter struct {
	has   [ingest.NumChannels]bool
	at    places
	out   *parquet.Writer //lint:ignore SA1019 the generic writer has no row groups built from typed column buffers
	buf   *parquet.Buffer
	sites []string
	units []int64 // by site
	tmp64 []int64
	tmp32 []int32
}

// begin begins a bucket with the given channels.
func (w *bucketWriter) begin(out io.Writer, has [ingest.NumChannels]bool) (err error) {
	if w.out == nil || w.has != has {
		schema := bucketSchema(has)
		w.has = has
		w.out = parquet.NewWriter(out, schema, parquet.CreatedBy("rowen", "1", ""))
		w.buf = parquet.NewBuffer(schema)
		w.at, err = placesOf(schema)
	} else {
		w.out.Reset(out)
	}
	w.sites, w.units = w.sites[:0], w.units[:0]
	return err
}

// site writes one site's rows as a row group.
func (w *bucketWriter) site(id string, list []*rows) error {
	w.buf.Reset()
	unit := int64(1000)
	for _, r := range list {
		unit = unitOf(r, unit)
	}
	for _, r := range list {
		if len(r.start) > 0 {
			if err := w.rows(r, unit); err != nil {
				return err
			}
		}
	}
	if w.buf.NumRows() == 0 {
		return nil
	}
	w.sites = append(w.sites, id)
	w.units = append(w.units, unit)
	_, err := w.out.WriteRowGroup(w.buf)
	return err
}

func (w *bucketWriter) rows(r *rows, unit int64) error {
	cols := w.buf.ColumnBuffers()
	w.tmp32 = w.tmp32[:0]
	for range r.start {
		w.tmp32 = append(w.tmp32, r.source)
	}
	if err := write32(cols[w.at.source], w.tmp32); err != nil {
		return err
	}
	w.tmp32 = w.tmp32[:0]
	for i, s := range r.state {
		w.tmp32 = append(w.tmp32, s|r.seconds[i]<<secondShift)
	}
	if err := write32(cols[w.at.state], w.tmp32); err != nil {
		return err
	}
	w.tmp64 = w.tmp64[:0]
	for _, t := range r.start {
		w.tmp64 = append(w.tmp64, t*1000)
	}
	if err := write64(cols[w.at.start], w.tmp64); err != nil {
		return err
	}
	for c := range r.value {
		if w.at.channel[c] < 0 {
			continue
		}
		w.tmp64 = inUnit(w.tmp64[:0], r.value[c], unit)
		for range len(r.start) - len(w.tmp64) {
			w.tmp64 = append(w.tmp64, 0) // the file has no such channel
		}
		if err := write64(cols[w.at.channel[c]], w.tmp64); err != nil {
			return err
		}
	}
	return nil
}

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

func write64(col parquet.ColumnBuffer, v []int64) error {
	_, err := col.(parquet.Int64Writer).WriteInt64s(v)
	return err
}

func write32(col parquet.ColumnBuffer, v []int32) error {
	_, err := col.(parquet.Int32Writer).WriteInt32s(v)
	return err
}

// end writes the footer; the sites are those that had any row.
func (w *bucketWriter) end() error {
	sites, err := json.Marshal(w.sites)
	if err != nil {
		return err
	}
	units, err := json.Marshal(w.units)
	if err != nil {
		return err
	}
	w.out.SetKeyValueMetadata(sitesKey, string(sites))
	w.out.SetKeyValueMetadata(unitKey, string(units))
	return w.out.Close()
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
	dst = dst[:0]
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
	dst = dst[:0]
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
