package report

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/klauspost/compress/zstd"

	"rowen/ingest/packed"
)

// Piece is where one site's bytes lie in a pile.
type Piece struct {
	SiteID string
	At     int64
	Bytes  int
	Rows   int
}

// pile keeps a piece of bytes a site on disk, in the order in which the sites are
// judged. In memory it holds where each site's piece lies.
type pile struct {
	file   *os.File
	w      *bufio.Writer
	at     int64
	pieces []Piece
	pack   *zstd.Encoder
	buf    []byte
	packed []byte
}

func newPile(path string) (*pile, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	pack, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<17))
	return &pile{file: f, w: bufio.NewWriterSize(f, 1<<18), pack: pack}, err
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
	p.pieces = append(p.pieces, Piece{siteID, p.at, len(p.packed), len(rows)})
	p.at += int64(len(p.packed))
	_, err := p.w.Write(p.packed)
	return err
}

// close brings the pile to disk.
func (p *pile) close() error {
	return errors.Join(p.w.Flush(), p.file.Sync(), p.file.Close(), p.pack.Close())
}

// piles are the piles of one kind from all parts of the fleet, read in the order of
// the sites' ids.
//
// Rejected: the Parquet library's own sorting, which at the end holds a page of
// every column of every sorted run at once: gigabytes for a large fleet.
type piles struct {
	files  []*os.File
	pieces []piece
	unpack *zstd.Decoder
	buf    []byte
	packed []byte
}

type piece struct {
	Piece
	file int
}

// add opens one more pile.
func (p *piles) add(path string, pieces []Piece) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	p.files = append(p.files, f)
	for _, x := range pieces {
		p.pieces = append(p.pieces, piece{x, len(p.files) - 1})
	}
	return nil
}

// sort comes after the last pile.
func (p *piles) sort() (err error) {
	slices.SortFunc(p.pieces, func(a, b piece) int { return cmp.Compare(a.SiteID, b.SiteID) })
	p.unpack, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1))
	return err
}

// find gives where a site's piece stands; false: it has none.
func (p *piles) find(siteID string) (int, bool) {
	return slices.BinarySearchFunc(p.pieces, siteID, func(x piece, id string) int { return cmp.Compare(x.SiteID, id) })
}

// takeFrom reads the rows of the i-th site.
func takeFrom[T any](p *piles, i int) ([]T, error) {
	x := &p.pieces[i]
	f := p.files[x.file]
	p.packed = slices.Grow(p.packed[:0], x.Bytes)[:x.Bytes]
	if _, err := f.ReadAt(p.packed, x.At); err != nil {
		return nil, err
	}
	var err error
	if p.buf, err = p.unpack.DecodeAll(p.packed, p.buf[:0]); err != nil {
		return nil, fmt.Errorf("reading %s: %w", f.Name(), err)
	}
	rows, b := make([]T, x.Rows), p.buf
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
	for i := range from.pieces {
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
