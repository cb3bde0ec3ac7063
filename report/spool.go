package report

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"

	"github.com/klauspost/compress/zstd"
)

// spool keeps a table's rows on disk, a site at a time in the order in which the
// sites are judged, and writes the table in the order of their ids. In memory it
// holds where each site's rows lie.
//
// Rejected: the Parquet library's own sorting, which at the end holds a page of
// every column of every sorted run at once: gigabytes for a large fleet.
type spool[T any] struct {
	table   Table
	dir     string
	scratch *os.File
	w       *bufio.Writer
	at      int64
	sites   []spooled
	pack    *zstd.Encoder
	unpack  *zstd.Decoder
	buf     []byte
	packed  []byte
}

// spooled is where one site's rows lie in the scratch file.
type spooled struct {
	siteID string
	at     int64
	bytes  int
	rows   int
}

// newSpool opens a table that is written later, in a run's folder.
func newSpool[T any](name, dir string) (*spool[T], error) {
	f, err := os.Create(filepath.Join(dir, "."+name+".spool"))
	if err != nil {
		return nil, err
	}
	s := &spool[T]{table: namedTable(name), dir: dir, scratch: f, w: bufio.NewWriterSize(f, 1<<18)}
	var packs error
	s.pack, s.unpack, packs = packers()
	return s, packs
}

// packers pack and unpack one site's piece at a time.
func packers() (*zstd.Encoder, *zstd.Decoder, error) {
	pack, packs := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<17))
	unpack, unpacks := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1))
	return pack, unpack, errors.Join(packs, unpacks)
}

// add keeps one site's rows, which stand in the table's order.
func (s *spool[T]) add(siteID string, rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	s.buf = s.buf[:0]
	for i := range rows {
		s.buf = appendRow(s.buf, reflect.ValueOf(&rows[i]).Elem())
	}
	s.packed = s.pack.EncodeAll(s.buf, s.packed[:0])
	s.sites = append(s.sites, spooled{siteID, s.at, len(s.packed), len(rows)})
	s.at += int64(len(s.packed))
	_, err := s.w.Write(s.packed)
	return err
}

// finish writes the table and removes the scratch file.
func (s *spool[T]) finish(m Manifest) error {
	defer s.unpack.Close()
	err := s.w.Flush()
	p, made := createParquet[T](s.table, s.dir)
	if err = errors.Join(err, made); err == nil {
		slices.SortFunc(s.sites, func(a, b spooled) int { return cmp.Compare(a.siteID, b.siteID) })
		for i := range s.sites {
			if err = s.site(&s.sites[i], p); err != nil {
				break
			}
		}
	}
	if made == nil {
		err = errors.Join(err, p.close(m))
	}
	return errors.Join(err, s.scratch.Close(), os.Remove(s.scratch.Name()))
}

// site writes one site's rows.
func (s *spool[T]) site(x *spooled, p *parquetFile[T]) error {
	s.packed = slices.Grow(s.packed[:0], x.bytes)[:x.bytes]
	if _, err := s.scratch.ReadAt(s.packed, x.at); err != nil {
		return err
	}
	var err error
	if s.buf, err = s.unpack.DecodeAll(s.packed, s.buf[:0]); err != nil {
		return err
	}
	rows, b := make([]T, x.rows), s.buf
	for i := range rows {
		b = takeRow(b, reflect.ValueOf(&rows[i]).Elem())
	}
	return p.write(rows...)
}

// appendRow adds a row's fields: a missing one as 0, one that is there as 1 and its
// value. Rows hold texts, numbers, booleans, and lists of, structs of and pointers to
// these.
func appendRow(b []byte, row reflect.Value) []byte {
	for i := range row.NumField() {
		f := row.Field(i)
		if f.Kind() == reflect.Pointer {
			if f.IsNil() {
				b = append(b, 0)
				continue
			}
			b, f = append(b, 1), f.Elem()
		}
		b = appendField(b, f)
	}
	return b
}

func appendField(b []byte, f reflect.Value) []byte {
	switch f.Kind() {
	case reflect.String:
		return append(binary.AppendUvarint(b, uint64(f.Len())), f.String()...)
	case reflect.Float64:
		return binary.LittleEndian.AppendUint64(b, math.Float64bits(f.Float()))
	case reflect.Int, reflect.Int32, reflect.Int64:
		return binary.AppendVarint(b, f.Int())
	case reflect.Bool:
		if f.Bool() {
			return append(b, 1)
		}
		return append(b, 0)
	case reflect.Struct:
		return appendRow(b, f)
	case reflect.Slice:
		if f.IsNil() { // no list, where JSON tells it from an empty one
			return append(b, 0)
		}
		b = binary.AppendUvarint(b, uint64(f.Len())+1)
		for i := range f.Len() {
			b = appendField(b, f.Index(i))
		}
		return b
	}
	panic(fmt.Sprintf("report: no way to keep a %s", f.Type()))
}

// takeRow is appendRow undone; it gives what follows the row.
func takeRow(b []byte, row reflect.Value) []byte {
	for i := range row.NumField() {
		f := row.Field(i)
		if f.Kind() == reflect.Pointer {
			there := b[0] == 1
			if b = b[1:]; !there {
				continue
			}
			f.Set(reflect.New(f.Type().Elem()))
			f = f.Elem()
		}
		b = takeField(b, f)
	}
	return b
}

func takeField(b []byte, f reflect.Value) []byte {
	switch f.Kind() {
	case reflect.String:
		n, k := binary.Uvarint(b)
		f.SetString(string(b[k : k+int(n)]))
		return b[k+int(n):]
	case reflect.Float64:
		f.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(b)))
		return b[8:]
	case reflect.Int, reflect.Int32, reflect.Int64:
		n, k := binary.Varint(b)
		f.SetInt(n)
		return b[k:]
	case reflect.Bool:
		f.SetBool(b[0] == 1)
		return b[1:]
	case reflect.Struct:
		return takeRow(b, f)
	case reflect.Slice:
		more, k := binary.Uvarint(b)
		if b = b[k:]; more == 0 {
			return b
		}
		n := int(more) - 1
		f.Set(reflect.MakeSlice(f.Type(), n, n))
		for i := range n {
			b = takeField(b, f.Index(i))
		}
		return b
	}
	panic(fmt.Sprintf("report: no way to keep a %s", f.Type()))
}
