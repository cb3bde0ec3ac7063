package readings

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"rowen/ingest"
)

var pageCodecs = map[format.CompressionCodec]compress.Codec{
	format.Uncompressed: &parquet.Uncompressed, format.Snappy: &parquet.Snappy, format.Gzip: &parquet.Gzip,
	format.Brotli: &parquet.Brotli, format.Zstd: &parquet.Zstd,
}

// sumOf reads a file of the seed's columns and adds up its watt-hours.
func sumOf(t *testing.T, file []byte) (rows, wh int64, err error) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.parquet"), file, 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := Prepare(dir, "a.parquet", Mapping{}, Limits{})
	if err != nil {
		return 0, 0, err
	}
	for _, p := range f.Parts() {
		tally, err := p.Read(context.Background(), NewNames(), Limits{}, func(b *Batch) error {
			for _, v := range b.Value[ingest.Import] {
				if v != Missing {
					wh += v / 1000
				}
			}
			return nil
		})
		rows += tally.Rows
		if err != nil {
			return rows, wh, err
		}
	}
	return rows, wh, nil
}

// Every codec and both versions of a page give the same rows; 0 to 299 without
// the sevens add up to 44,850 - 6,321 (by hand).
func TestPagesOfEveryCodec(t *testing.T) {
	for format, codec := range pageCodecs {
		for version := 1; version <= 2; version++ {
			rows, wh, err := sumOf(t, parquetSeed(t, parquet.Compression(codec), parquet.DataPageVersion(version), parquet.PageBufferSize(256)))
			if err != nil || rows != 300 || wh != 44850-6321 {
				t.Errorf("%v, version %d: %d rows, %d Wh, %v", format, version, rows, wh, err)
			}
		}
	}
}

// LZ4_RAW, whose pages the library mixes up, and its forerunner are refused, and
// the error says what to do.
func TestPagesOfCodecsNotRead(t *testing.T) {
	whole := parquetSeed(t)
	for codec, name := range map[format.CompressionCodec]string{format.Lz4Raw: "LZ4_RAW", format.Lz4: "LZ4", format.LZO: "LZO"} {
		_, _, err := sumOf(t, changeFooter(t, whole, func(c *format.ColumnMetaData) { c.Codec = codec }))
		if err == nil || !strings.Contains(err.Error(), "packed by "+name+" are not read: write the file with ZSTD") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A column that is kept out may be nested: what stands behind it is still read
// from its own place.
func TestNestedColumnKeptOut(t *testing.T) {
	type row struct {
		About  struct{ Meter, Room int64 } `parquet:"about"`
		SiteID string                      `parquet:"site_id"`
		Start  int64                       `parquet:"start,timestamp(millisecond)"`
		Import float64                     `parquet:"import_wh"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b)
	w.Write([]row{{SiteID: "S-1", Start: 1767225600000, Import: 70}, {SiteID: "S-1", Start: 1767226500000, Import: 5}})
	w.Close()
	if rows, wh, err := sumOf(t, b.Bytes()); err != nil || rows != 2 || wh != 75 {
		t.Errorf("%d rows, %d Wh, %v", rows, wh, err)
	}
}

// Pages that lie about what they unpack to, or whose codec is another's, are the
// file's error and take no memory: the codec of each column is set wrong in the
// footer, the bytes of the pages stay.
func TestPagesUnderAWrongCodec(t *testing.T) {
	for _, written := range pageCodecs {
		whole := parquetSeed(t, parquet.Compression(written))
		for said := range pageCodecs {
			if said == format.Uncompressed || said == written.CompressionCodec() {
				continue
			}
			bad := changeFooter(t, whole, func(c *format.ColumnMetaData) { c.Codec = said })
			var err error
			peak := peakOf(func() { _, _, err = sumOf(t, bad) })
			if err == nil || peak > 200<<20 {
				t.Errorf("%v read as %v: %v, %d MB", written, said, err, peak>>20)
			}
		}
	}
}

// A page of zeros whose header says a tenth of what it unpacks to is refused
// before the library unpacks it.
func TestPagesThatUnpackTooFar(t *testing.T) {
	zeros := make([]byte, 1<<20)
	for codec, c := range pageCodecs {
		packed, err := c.Encode(nil, zeros)
		if err != nil {
			t.Fatal(err)
		}
		for _, says := range []int32{1 << 20, 100 << 10} {
			page := pageOf(t, format.PageHeader{
				Type: format.DataPage, CompressedPageSize: int32(len(packed)), UncompressedPageSize: says,
				DataPageHeader: thrift.New(format.DataPageHeader{NumValues: 10}),
			}, packed)
			err := pagesFit(bytes.NewReader(page), &format.ColumnMetaData{Codec: codec, TotalCompressedSize: int64(len(page))})
			if wrong := says != 1<<20 && codec != format.Uncompressed; (err != nil) != wrong {
				t.Errorf("%v that says %d bytes: %v", codec, says, err)
			}
		}
	}
}

// Each limit of a page's header, on it and beyond it.
func TestPageHeaders(t *testing.T) {
	for _, c := range []struct {
		name                     string
		packed, unpacked, values int32
		left                     int64
		says                     string
	}{
		{"fits", 10, 20, 5, 10, ""},
		{"longer than the chunk", 11, 20, 5, 10, "10 are left"},
		{"less than nothing", -1, 20, 5, 10, "10 are left"},
		{"unpacks to less than nothing", 10, -1, 5, 10, "10 are left"},
		{"as large as allowed", mostPageBytes, mostPageBytes, mostPageValues, mostPageBytes, ""},
		{"packed too large", mostPageBytes + 1, 20, 5, 1 << 40, "smaller pages"},
		{"unpacked too large", 10, mostPageBytes + 1, 5, 10, "smaller pages"},
		{"too many values", 10, 20, mostPageValues + 1, 10, "smaller pages"},
	} {
		for _, h := range []format.PageHeader{
			{Type: format.DataPage, DataPageHeader: thrift.New(format.DataPageHeader{NumValues: c.values})},
			{Type: format.DataPageV2, DataPageHeaderV2: thrift.New(format.DataPageHeaderV2{NumValues: c.values})},
			{Type: format.DictionaryPage, DictionaryPageHeader: thrift.New(format.DictionaryPageHeader{NumValues: c.values})},
		} {
			h.CompressedPageSize, h.UncompressedPageSize = c.packed, c.unpacked
			err := headerFits(&h, c.left)
			if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
				t.Errorf("%s, %v: %v", c.name, h.Type, err)
			}
		}
	}
}

func pageOf(t *testing.T, h format.PageHeader, body []byte) []byte {
	head, err := thrift.Marshal(new(thrift.CompactProtocol), &h)
	if err != nil {
		t.Fatal(err)
	}
	return append(head, body...)
}

// changeFooter writes a file's footer anew.
func changeFooter(t *testing.T, whole []byte, change func(*format.ColumnMetaData)) []byte {
	f, err := parquet.OpenFile(bytes.NewReader(whole), int64(len(whole)))
	if err != nil {
		t.Fatal(err)
	}
	meta := *f.Metadata()
	for g := range meta.RowGroups {
		for i := range meta.RowGroups[g].Columns {
			change(&meta.RowGroups[g].Columns[i].MetaData)
		}
	}
	footer, err := thrift.Marshal(new(thrift.CompactProtocol), &meta)
	if err != nil {
		t.Fatal(err)
	}
	n := len(whole) - 8
	old := int(whole[n]) | int(whole[n+1])<<8 | int(whole[n+2])<<16
	out := append(bytes.Clone(whole[:n-old]), footer...)
	return append(out, byte(len(footer)), byte(len(footer)>>8), byte(len(footer)>>16), 0, 'P', 'A', 'R', '1')
}
