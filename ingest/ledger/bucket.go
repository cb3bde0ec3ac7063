package ledger

import (
	"encoding/json"
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

// bucketRow is the schema.
type bucketRow struct {
	Site        int32 `parquet:"site,delta,zstd"`   // index into the sites of the metadata
	Source      int32 `parquet:"source,delta,zstd"` // the file's number in the manifest
	Start       int64 `parquet:"start,delta,timestamp(millisecond),zstd"`
	Seconds     int32 `parquet:"seconds,delta,zstd"`
	State       int32 `parquet:"state,delta,zstd"` // bits 0 to 3: production, consumption, import, export are present; flags from bit 8
	Production  int64 `parquet:"production,delta,zstd"`
	Consumption int64 `parquet:"consumption,delta,zstd"`
	Import      int64 `parquet:"import,delta,zstd"`
	Export      int64 `parquet:"export,delta,zstd"`
}

const (
	siteColumn = iota
	sourceColumn
	startColumn
	secondsColumn
	stateColumn
	firstChannel
)

const (
	sitesKey = "sites"
	unitKey  = "unit_milliwh"
)

// bucketWriter writes one bucket.
type bucketWriter struct {
	out   *parquet.GenericWriter[bucketRow]
	buf   *parquet.GenericBuffer[bucketRow]
	sites []string
	units []int64 // by site
	tmp64 []int64
	tmp32 []int32
}

func newBucketWriter() *bucketWriter {
	return &bucketWriter{
		out: parquet.NewGenericWriter[bucketRow](io.Discard, parquet.CreatedBy("rowen", "1", "")),
		buf: parquet.NewGenericBuffer[bucketRow](),
	}
}

func (w *bucketWriter) begin(out io.Writer) {
	w.out.Reset(out)
	w.sites, w.units = w.sites[:0], w.units[:0]
}

// site writes one site's rows as a row group.
func (w *bucketWriter) site(id string, list []*rows) error {
	w.buf.Reset()
	cols := w.buf.ColumnBuffers()
	unit := int64(1000)
	for _, r := range list {
		unit = unitOf(r, unit)
	}
	for _, r := range list {
		n := len(r.start)
		if n == 0 {
			continue
		}
		if err := w.put32(cols[siteColumn], n, func(int) int32 { return int32(len(w.sites)) }); err != nil {
			return err
		}
		if err := w.put32(cols[sourceColumn], n, func(int) int32 { return r.source }); err != nil {
			return err
		}
		w.tmp64 = w.tmp64[:0]
		for _, t := range r.start {
			w.tmp64 = append(w.tmp64, t*1000)
		}
		if err := write64(cols[startColumn], w.tmp64); err != nil {
			return err
		}
		if err := write32(cols[secondsColumn], r.seconds); err != nil {
			return err
		}
		if err := write32(cols[stateColumn], r.state); err != nil {
			return err
		}
		for c := range r.value {
			v := r.value[c]
			if unit != 1 {
				w.tmp64 = w.tmp64[:0]
				for _, x := range v {
					w.tmp64 = append(w.tmp64, x/unit)
				}
				v = w.tmp64
			}
			if err := write64(cols[firstChannel+c], v); err != nil {
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

func (w *bucketWriter) put32(col parquet.ColumnBuffer, n int, at func(int) int32) error {
	w.tmp32 = w.tmp32[:0]
	for i := range n {
		w.tmp32 = append(w.tmp32, at(i))
	}
	return write32(col, w.tmp32)
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
		for _, v := range r.value[c] {
			for unit > 1 && v%unit != 0 {
				unit /= 10
			}
		}
	}
	return unit
}

// bucketFile is a bucket opened for reading.
type bucketFile struct {
	file  *parquet.File
	sites []string
	units []int64
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
	if len(b.sites) != len(f.RowGroups()) || len(b.units) != len(b.sites) || len(f.Root().Columns()) != firstChannel+int(ingest.NumChannels) {
		return nil, fmt.Errorf("it has %d row groups for %d sites", len(f.RowGroups()), len(b.sites))
	}
	return b, nil
}

// block is one site's row group in memory. A column that holds one value
// throughout is not decoded; the slices are then empty and same says the value.
type block struct {
	n               int
	source          []int32
	start           []int64 // milliseconds
	seconds, state  []int32
	value           [ingest.NumChannels][]int64 // in the bucket's unit
	sameSource      int32
	sameSeconds     int32
	sameState       int32
	sameValue       [ingest.NumChannels]int64
	firstMs, lastMs int64
	unit            int64
}

// load reads the row group of site i, reusing the block's slices. want tells
// which channels are wanted.
func (b *bucketFile) load(i int, k *block) error {
	rg := b.file.RowGroups()[i]
	cols := rg.ColumnChunks()
	k.n, k.unit = int(rg.NumRows()), b.units[i]
	var err error
	if k.source, k.sameSource, err = load32(cols[sourceColumn], k.source, k.n); err != nil {
		return err
	}
	if k.seconds, k.sameSeconds, err = load32(cols[secondsColumn], k.seconds, k.n); err != nil {
		return err
	}
	if k.state, k.sameState, err = load32(cols[stateColumn], k.state, k.n); err != nil {
		return err
	}
	if err := k.loadStart(cols[startColumn]); err != nil {
		return err
	}
	for c := range k.value {
		if k.value[c], k.sameValue[c], err = load64(cols[firstChannel+c], k.value[c], k.n); err != nil {
			return err
		}
	}
	return nil
}

// loadStart decodes the starts, unless the bounds show that the rows follow
// each other without a gap: one source (each start once, sorted), one length,
// all on its grid.
func (k *block) loadStart(col parquet.ColumnChunk) error {
	lo, hi, ok := bounds(col)
	if !ok {
		return errNoBounds
	}
	k.firstMs, k.lastMs = lo.Int64(), hi.Int64()
	step := int64(k.sameSeconds) * 1000
	regular := len(k.source) == 0 && len(k.seconds) == 0 && len(k.state) == 0 &&
		step > 0 && step <= 3600_000 && k.sameState>>flagShift&int32(offGrid) == 0 &&
		(k.lastMs-k.firstMs)/step+1 == int64(k.n)
	if regular {
		k.start = k.start[:0]
		return nil
	}
	var err error
	k.start, err = decode64(col, k.start, k.n)
	return err
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
	pick := func(v []int32, same int32, i int) int32 {
		if len(v) == 0 {
			return same
		}
		return v[i]
	}
	for i := range k.n {
		src := pick(k.source, k.sameSource, i)
		if r == nil || r.source != src {
			r = nil
			if !keep(src) {
				continue
			}
			r = &rows{source: src}
			list = append(list, r)
		}
		r.start = append(r.start, k.startAt(i))
		r.seconds = append(r.seconds, pick(k.seconds, k.sameSeconds, i))
		r.state = append(r.state, pick(k.state, k.sameState, i))
		for c := range r.value {
			v := k.sameValue[c]
			if len(k.value[c]) > 0 {
				v = k.value[c][i]
			}
			r.value[c] = append(r.value[c], v*k.unit)
		}
	}
	return list
}

// startAt gives a row's start in seconds.
func (k *block) startAt(i int) int64 {
	if len(k.start) == 0 {
		return k.firstMs/1000 + int64(i)*int64(k.sameSeconds)
	}
	return k.start[i] / 1000
}
