package report

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"

	"github.com/klauspost/compress/zstd"

	"rowen/ingest/packed"
)

// piece is where one site's bytes lie in a pile.
type piece struct {
	SiteID string
	Bytes  uint32
	Rows   uint16
}

// pile keeps a piece of bytes a site on disk, in the order in which the sites are
// judged, and beside it a file that says how long each is. Nothing of it stays in
// memory.
type pile struct {
	file, where *os.File
	w, at       *bufio.Writer
	pack        *zstd.Encoder
	buf         []byte
	packed      []byte
}

// whereOf names the file that says how long the pieces of a pile are.
func whereOf(path string) string { return path + ".at" }

func newPile(path string) (*pile, error) {
	create := func(path string) (*os.File, error) {
		return os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	}
	f, err := create(path)
	if err != nil {
		return nil, err
	}
	where, err := create(whereOf(path))
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	pack, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<17))
	return &pile{file: f, where: where, w: bufio.NewWriterSize(f, 1<<18), at: bufio.NewWriter(where), pack: pack}, err
}

// addTo keeps one site's rows, which stand in their table's order.
func addTo[T any](p *pile, siteID string, rows ...T) error {
	if len(rows) == 0 {
		return nil
	}
	p.buf = p.buf[:0]
	for i := range rows {
		p.buf = packed.Append(p.buf, &rows[i])
	}
	p.packed = p.pack.EncodeAll(p.buf, p.packed[:0])
	if len(rows) > math.MaxUint16 || len(p.packed) > math.MaxUint32 {
		return fmt.Errorf("keeping %d rows of %s: there must be at most %d", len(rows), siteID, math.MaxUint16)
	}
	p.buf = packed.Append(p.buf[:0], &piece{siteID, uint32(len(p.packed)), uint16(len(rows))})
	_, noPiece := p.w.Write(p.packed)
	_, noPlace := p.at.Write(p.buf)
	return errors.Join(noPiece, noPlace)
}

// close brings the pile to disk.
func (p *pile) close() error {
	return errors.Join(p.w.Flush(), p.file.Sync(), p.file.Close(), p.at.Flush(), p.where.Sync(), p.where.Close(), p.pack.Close())
}

// piles are the piles of one kind from all parts of the fleet, read in the order of
// the sites' ids. What a fleet of them says of where its pieces lie is in memory as
// plain bytes: 24 of them and the id.
//
// Rejected: the Parquet library's own sorting, which at the end holds a page of
// every column of every sorted run at once: gigabytes for a large fleet.
type piles struct {
	files  []*os.File
	ids    []byte // of all pieces, one after the other
	pieces []placed
	unpack *zstd.Decoder
	buf    []byte
	packed []byte
}

// placed is a piece of a pile.
type placed struct {
	at         int64
	bytes      uint32
	id         uint32
	idBytes    uint16
	rows, file uint16
}

// add opens one more pile.
func (p *piles) add(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	p.files = append(p.files, f)
	b, err := os.ReadFile(whereOf(path))
	at := int64(0)
	for err == nil && len(b) > 0 {
		var x piece
		if b, err = packed.Take(b, &x); err != nil {
			err = fmt.Errorf("%s %w", whereOf(path), err)
			break
		}
		p.pieces = append(p.pieces, placed{at, x.Bytes, uint32(len(p.ids)), uint16(len(x.SiteID)), x.Rows, uint16(len(p.files) - 1)})
		p.ids = append(p.ids, x.SiteID...)
		at += int64(x.Bytes)
	}
	if err != nil {
		return err
	}
	if info, err := f.Stat(); err != nil || info.Size() != at {
		return errors.Join(err, fmt.Errorf("%s is cut short or damaged", path))
	}
	return nil
}

func (p *piles) len() int { return len(p.pieces) }

// id is the id of the i-th site.
func (p *piles) id(i int) string { return string(p.idOf(&p.pieces[i])) }

func (p *piles) idOf(x *placed) []byte { return p.ids[x.id:][:x.idBytes] }

// sort comes after the last pile.
func (p *piles) sort() (err error) {
	slices.SortFunc(p.pieces, func(a, b placed) int { return bytes.Compare(p.idOf(&a), p.idOf(&b)) })
	p.unpack, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1))
	return err
}

// find gives where a site's piece stands; false: it has none.
func (p *piles) find(siteID string) (int, bool) {
	id := []byte(siteID)
	return slices.BinarySearchFunc(p.pieces, id, func(x placed, id []byte) int { return bytes.Compare(p.idOf(&x), id) })
}

// takeFrom reads the rows of the i-th site.
func takeFrom[T any](p *piles, i int) ([]T, error) {
	x := &p.pieces[i]
	f := p.files[x.file]
	p.packed = slices.Grow(p.packed[:0], int(x.bytes))[:x.bytes]
	if _, err := f.ReadAt(p.packed, x.at); err != nil {
		return nil, err
	}
	var err error
	if p.buf, err = p.unpack.DecodeAll(p.packed, p.buf[:0]); err != nil {
		return nil, fmt.Errorf("reading %s: %w", f.Name(), err)
	}
	rows, b := make([]T, x.rows), p.buf
	for i := range rows {
		if b, err = packed.Take(b, &rows[i]); err != nil {
			return nil, fmt.Errorf("reading %s: it %w", f.Name(), err)
		}
	}
	return rows, nil
}

func (p *piles) close() error {
	if p.unpack != nil {
		p.unpack.Close()
	}
	var err error
	for _, f := range p.files {
		err = errors.Join(err, f.Close())
	}
	p.files = nil
	return err
}

// writePiles writes a table from its pile.
func writePiles[T any](dir, name string, from *piles, m Manifest) error {
	p, err := createParquet[T](namedTable(name), dir)
	if err != nil {
		return err
	}
	for i := range from.len() {
		rows, err := takeFrom[T](from, i)
		if err == nil {
			err = p.write(rows...)
		}
		if err != nil {
			return errors.Join(err, p.close(m))
		}
	}
	return p.close(m)
}
