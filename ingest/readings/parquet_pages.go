package readings

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"

	"github.com/andybalholm/brotli"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/snappy"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// What one page may hold (our choice: writers make pages of about a megabyte,
// or one a row group of some hundred thousand rows).
const (
	mostPageBytes  = 128 << 20 // packed, and unpacked
	mostPageValues = 16 << 20
	mostPageHeader = 64 << 10
)

var errNoCodec = errors.New("write the file with ZSTD, SNAPPY, GZIP, BROTLI or without packing")

// pagesFit unpacks every page of a column chunk with a limit, and keeps nothing.
// The library takes a page's own word for its size, and reads the pages after us,
// so that it meets only sizes that are true.
//
// LZ4_RAW is refused: of a page that it shrinks to more than a third the library
// (parquet-go 0.32.0, Column.decompress) takes the bytes of an earlier page, and of
// a damaged one it doubles a buffer until the memory is gone.
func pagesFit(in io.ReaderAt, m *format.ColumnMetaData) error {
	switch m.Codec {
	case format.Uncompressed, format.Snappy, format.Gzip, format.Brotli, format.Zstd:
	default:
		return fmt.Errorf("pages packed by %v are not read: %w", m.Codec, errNoCodec)
	}
	start := m.DataPageOffset
	if m.DictionaryPageOffset != 0 {
		start = m.DictionaryPageOffset
	}
	s := pageScratch.Get().(*scratch)
	defer pageScratch.Put(s)
	protocol := thrift.CompactProtocol{}
	for at, end := start, start+m.TotalCompressedSize; at < end; {
		head := sized(&s.head, int(min(mostPageHeader, end-at)))
		n, err := in.ReadAt(head, at)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		reader := protocol.NewReaderFromBytes(head[:n])
		var h format.PageHeader
		if err := thrift.NewDecoder(reader).Decode(&h); err != nil {
			return fmt.Errorf("a page's header cannot be read (%w): the file is damaged, write it anew", err)
		}
		at += int64(reader.BytesRead())
		if err := headerFits(&h, end-at); err != nil {
			return err
		}
		if packed, unpacked := packedPart(&h); m.Codec != format.Uncompressed && packed >= 0 {
			page := sized(&s.page, int(h.CompressedPageSize))
			if _, err := in.ReadAt(page, at); err != nil {
				return err
			}
			if err := unpacksTo(s, m.Codec, page[int(h.CompressedPageSize)-packed:], unpacked); err != nil {
				return fmt.Errorf("a page does not unpack to its %d bytes under %v (%w): the file is damaged, write it anew", unpacked, m.Codec, err)
			}
		}
		at += int64(h.CompressedPageSize)
	}
	return nil
}

// scratch is what one walk unpacks into.
type scratch struct {
	head, page, values []byte
	zstd               *zstd.Decoder
}

var pageScratch = sync.Pool{New: func() any { return new(scratch) }}

// sized gives n bytes of a buffer that grows as needed.
func sized(b *[]byte, n int) []byte {
	*b = slices.Grow((*b)[:0], n)[:n]
	return *b
}

// headerFits holds a page's header against what is left of its chunk and
// against the limits of a page.
func headerFits(h *format.PageHeader, left int64) error {
	values := max(h.DataPageHeader.V.NumValues, h.DataPageHeaderV2.V.NumValues, h.DictionaryPageHeader.V.NumValues)
	switch {
	case h.CompressedPageSize < 0 || int64(h.CompressedPageSize) > left || h.UncompressedPageSize < 0:
		return fmt.Errorf("a page claims %d bytes, unpacked %d, where %d are left: the file is damaged, write it anew", h.CompressedPageSize, h.UncompressedPageSize, left)
	case max(h.CompressedPageSize, h.UncompressedPageSize) > mostPageBytes || values > mostPageValues:
		return fmt.Errorf("a page has %d bytes, unpacked %d, and %d values; at most %d bytes and %d values are read: write the file with smaller pages",
			h.CompressedPageSize, h.UncompressedPageSize, values, mostPageBytes, mostPageValues)
	}
	return nil
}

// packedPart is how many bytes at a page's end are packed, and to how many they
// unpack: the levels of a version 2 page stand before them as they are. -1: none.
func packedPart(h *format.PageHeader) (packed, unpacked int) {
	packed, unpacked = int(h.CompressedPageSize), int(h.UncompressedPageSize)
	if h.Type != format.DataPageV2 {
		return packed, unpacked
	}
	v2 := &h.DataPageHeaderV2.V
	levels := int64(v2.RepetitionLevelsByteLength) + int64(v2.DefinitionLevelsByteLength)
	if v2.IsCompressed.Valid && !v2.IsCompressed.V || levels < 0 || levels > int64(min(packed, unpacked)) {
		return -1, 0 // the library refuses levels beyond the page
	}
	return packed - int(levels), unpacked - int(levels)
}

var errLonger = errors.New("it is longer")

// unpacksTo tells whether packed bytes unpack to at most n.
func unpacksTo(s *scratch, codec format.CompressionCodec, packed []byte, n int) error {
	switch codec {
	case format.Snappy:
		if long, err := snappy.DecodedLen(packed); err != nil || long > n {
			return errors.Join(err, errLonger)
		}
		return nil
	case format.Zstd:
		if s.zstd == nil {
			var err error
			if s.zstd, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecodeAllCapLimit(true)); err != nil {
				return err
			}
		}
		_, err := s.zstd.DecodeAll(packed, sized(&s.values, n)[:0:n])
		return err
	case format.Gzip:
		z, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			return err
		}
		return atMost(z, n)
	case format.Brotli:
		return atMost(brotli.NewReader(bytes.NewReader(packed)), n)
	}
	return errNoCodec
}

// atMost reads to the end, or beyond n bytes.
func atMost(r io.Reader, n int) error {
	long, err := io.Copy(io.Discard, io.LimitReader(r, int64(n)+1))
	if err == nil && long > int64(n) {
		err = errLonger
	}
	return err
}
