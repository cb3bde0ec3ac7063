package ledger

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/encoding/delta"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"rowen/ingest"
)

// bucketWriter writes one bucket. Headers, pages and footer are put together here
// from the Parquet library's parts: its own writer takes each value of a row group
// through a general one, which costs more than to encode and to compress it.
type bucketWriter struct {
	has     [ingest.NumChannels]bool
	out     io.Writer
	at      int64               // bytes written
	meta    format.FileMetaData // of what is written so far
	columns []string            // in the schema's order
	sites   []string
	units   []int64 // by site
	tmp64   []int64
	tmp32   []int32
	plain   []byte // a page, encoded
	packed  []byte // and compressed
	header  bytes.Buffer
}

const magic = "PAR1"

// pageRows bounds a page: a mebibyte unpacked (our choice; a site's 30 months at 15
// minutes are one page a column).
// A variable so that tests can make it small.
var pageRows = 128 << 10

// begin begins a bucket with the given channels.
func (w *bucketWriter) begin(out io.Writer, has [ingest.NumChannels]bool) (err error) {
	if w.columns == nil || w.has != has {
		if err := w.describe(has); err != nil {
			return err
		}
	}
	w.out, w.at = out, 0
	w.meta.NumRows, w.meta.RowGroups = 0, w.meta.RowGroups[:0]
	w.sites, w.units = w.sites[:0], w.units[:0]
	return w.write([]byte(magic))
}

// describe takes the schema of the given channels as the library says it in an empty
// file.
func (w *bucketWriter) describe(has [ingest.NumChannels]bool) error {
	schema := bucketSchema(has)
	var empty bytes.Buffer
	if err := parquet.NewGenericWriter[any](&empty, schema, parquet.CreatedBy("rowen", "1", "")).Close(); err != nil {
		return err
	}
	f, err := parquet.OpenFile(bytes.NewReader(empty.Bytes()), int64(empty.Len()))
	if err != nil {
		return err
	}
	w.has, w.meta, w.columns = has, *f.Metadata(), w.columns[:0]
	w.meta.RowGroups = nil
	for _, path := range schema.Columns() {
		w.columns = append(w.columns, path[0])
	}
	return nil
}

func (w *bucketWriter) write(b []byte) error {
	n, err := w.out.Write(b)
	w.at += int64(n)
	return err
}

// site writes one site's rows as a row group.
func (w *bucketWriter) site(id string, list []*rows) error {
	unit, n := int64(1000), 0
	for _, r := range list {
		unit = unitOf(r, unit)
		n += len(r.start)
	}
	if n == 0 {
		return nil
	}
	if len(w.sites) > math.MaxInt16 {
		return fmt.Errorf("more than %d sites in one file of the ledger", math.MaxInt16)
	}
	g := format.RowGroup{NumRows: int64(n), FileOffset: w.at, Ordinal: int16(len(w.sites))}
	for _, name := range w.columns {
		chunk, err := w.column(name, list, n, unit)
		if err != nil {
			return err
		}
		g.TotalByteSize += chunk.MetaData.TotalUncompressedSize
		g.TotalCompressedSize += chunk.MetaData.TotalCompressedSize
		g.Columns = append(g.Columns, chunk)
	}
	w.sites, w.units = append(w.sites, id), append(w.units, unit)
	w.meta.NumRows += int64(n)
	w.meta.RowGroups = append(w.meta.RowGroups, g)
	return nil
}

// column writes one column of a site's n rows.
func (w *bucketWriter) column(name string, list []*rows, n int, unit int64) (format.ColumnChunk, error) {
	w.tmp32, w.tmp64 = slices.Grow(w.tmp32[:0], n), slices.Grow(w.tmp64[:0], n)
	for _, r := range list {
		switch name {
		case sourceColumn:
			for range r.start {
				w.tmp32 = append(w.tmp32, r.source)
			}
		case stateColumn:
			for i, s := range r.state {
				w.tmp32 = append(w.tmp32, s|r.seconds[i]<<secondShift)
			}
		case startColumn:
			for _, t := range r.start {
				w.tmp64 = append(w.tmp64, t*1000)
			}
		default:
			v := r.value[channelOf(name)]
			w.tmp64 = inUnit(w.tmp64, v, unit)
			for range len(r.start) - len(v) {
				w.tmp64 = append(w.tmp64, 0) // the file has no such channel
			}
		}
	}
	if name == sourceColumn || name == stateColumn {
		return chunkOf(w, name, w.tmp32, format.Int32, packing.EncodeInt32, binary.LittleEndian.AppendUint32)
	}
	return chunkOf(w, name, w.tmp64, format.Int64, packing.EncodeInt64, binary.LittleEndian.AppendUint64)
}

// codecOf is how a column is compressed. What a home takes, packed to the width of its
// differences, is noise: zstd saves 1 % of consumption and a fifth of import, where
// of production and export, which rest at night, it saves half.
func codecOf(name string) compress.Codec {
	if name == ingest.Consumption.String() || name == ingest.Import.String() {
		return &parquet.Uncompressed
	}
	return quickly
}

func channelOf(name string) ingest.Channel {
	for c := range ingest.NumChannels {
		if c.String() == name {
			return c
		}
	}
	panic("no channel " + name) // a column of bucketSchema's
}

var packing delta.BinaryPackedEncoding

// chunkOf writes a column's values, with their least and largest: load knows by them
// what need not be decoded.
func chunkOf[T int32 | int64, U uint32 | uint64](w *bucketWriter, name string, values []T, kind format.Type, encode func([]byte, []T) ([]byte, error), bound func([]byte, U) []byte) (format.ColumnChunk, error) {
	codec := codecOf(name)
	least, most := values[0], values[0]
	for _, v := range values {
		least, most = min(least, v), max(most, v)
	}
	c := format.ColumnChunk{MetaData: format.ColumnMetaData{
		Type: kind, Encoding: []format.Encoding{format.DeltaBinaryPacked}, PathInSchema: []string{name}, Codec: codec.CompressionCodec(),
		NumValues: int64(len(values)), DataPageOffset: w.at,
		Statistics: format.Statistics{MinValue: bound(nil, U(least)), MaxValue: bound(nil, U(most))},
	}}
	for len(values) > 0 {
		n := min(len(values), pageRows)
		var err error
		if w.plain, err = encode(w.plain[:0], values[:n]); err != nil {
			return c, err
		}
		if w.packed, err = codec.Encode(w.packed, w.plain); err != nil {
			return c, err
		}
		head, err := w.page(n)
		if err != nil {
			return c, err
		}
		c.MetaData.TotalUncompressedSize += int64(head + len(w.plain))
		c.MetaData.TotalCompressedSize += int64(head + len(w.packed))
		values = values[n:]
	}
	return c, nil
}

// page writes the page of n values in hand, and tells how long its header is.
func (w *bucketWriter) page(n int) (head int, err error) {
	w.header.Reset()
	err = thrift.NewEncoder(new(thrift.CompactProtocol).NewWriter(&w.header)).Encode(&format.PageHeader{
		Type: format.DataPageV2, UncompressedPageSize: int32(len(w.plain)), CompressedPageSize: int32(len(w.packed)),
		DataPageHeaderV2: thrift.New(format.DataPageHeaderV2{NumValues: int32(n), NumRows: int32(n), Encoding: format.DeltaBinaryPacked}),
	})
	if err == nil {
		err = w.write(w.header.Bytes())
	}
	if err == nil {
		err = w.write(w.packed)
	}
	return w.header.Len(), err
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
	w.meta.KeyValueMetadata = []format.KeyValue{{Key: sitesKey, Value: string(sites)}, {Key: unitKey, Value: string(units)}}
	footer, err := thrift.Marshal(new(thrift.CompactProtocol), &w.meta)
	if err != nil {
		return err
	}
	footer = binary.LittleEndian.AppendUint32(footer, uint32(len(footer)))
	return w.write(append(footer, magic...))
}
