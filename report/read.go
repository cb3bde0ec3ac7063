package report

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"rowen/ingest/regular"
)

// readTable reads one table of a run; T may name a few of its columns.
func readTable[T any](run, name string) (rows []T, err error) {
	path := filepath.Join(run, name)
	defer damaged(path, &err)
	f, p, err := openTable(path)
	if err != nil {
		return nil, readingRun(path, err)
	}
	defer f.Close()
	r := parquet.NewGenericReader[T](p)
	defer r.Close()
	rows = make([]T, p.NumRows())
	n := 0
	for n < len(rows) && err == nil {
		var k int
		k, err = r.Read(rows[n:])
		n += k
	}
	if n == len(rows) {
		return rows, nil
	}
	return nil, readingRun(path, err)
}

// eachRow goes through one table of a run, a batch of rows at a time.
func eachRow[T any](run, name string, do func(*T) error) (err error) {
	path := filepath.Join(run, name)
	defer damaged(path, &err)
	f, p, err := openTable(path)
	if err != nil {
		return readingRun(path, err)
	}
	defer f.Close()
	r := parquet.NewGenericReader[T](p)
	defer r.Close()
	rows := make([]T, 1024)
	for {
		clear(rows) // the reader keeps what a row without the column had
		n, err := r.Read(rows)
		for i := range n {
			if err := do(&rows[i]); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return readingRun(path, err)
		}
	}
}

// openTable opens a Parquet file of a run.
func openTable(path string) (*os.File, *parquet.File, error) {
	f, err := regular.Open(path)
	if err != nil {
		return nil, nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, nil, errors.Join(err, f.Close())
	}
	if err := regular.FooterFits(f, info.Size()); err != nil {
		return nil, nil, errors.Join(err, f.Close())
	}
	p, err := parquet.OpenFile(f, info.Size(), parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return nil, nil, errors.Join(err, f.Close())
	}
	if most := info.Size() * mostRowsPerByte; p.NumRows() < 0 || p.NumRows() > most {
		return nil, nil, errors.Join(fmt.Errorf("its footer tells of %d rows", p.NumRows()), f.Close())
	}
	for _, group := range p.Metadata().RowGroups {
		for i := range group.Columns {
			if c := group.Columns[i].MetaData.Codec; c != format.Zstd {
				return nil, nil, errors.Join(fmt.Errorf("column %d is packed by %v, a run's tables are packed by zstd", i+1, c), f.Close())
			}
		}
	}
	return f, p, nil
}

// mostRowsPerByte bounds what a damaged footer can ask for (our choice: the
// tables have rows of at least some bytes each).
const mostRowsPerByte = 10

// damaged turns a break-down of the Parquet decoder, which trusts a file's
// lengths, into that file's error.
func damaged(path string, err *error) {
	if p := recover(); p != nil {
		*err = readingRun(path, fmt.Errorf("the file is damaged (%v): run the month again", p))
	}
}

func readingRun(path string, err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("reading the run: %s is not there; name a run's folder, such as fleet/runs/2026-10", path)
	}
	if err != nil {
		return fmt.Errorf("reading the run: %s: %w", path, err)
	}
	return nil
}

// readSite reads one site's rows of a run's table. A site's rows stand together,
// so that its ids alone are gone through and the long columns of other sites are
// never unpacked.
func readSite[T any](run, name, siteID string) (rows []T, err error) {
	path := filepath.Join(run, name)
	defer damaged(path, &err)
	f, p, err := openTable(path)
	if err != nil {
		return nil, readingRun(path, err)
	}
	defer f.Close()
	first, n, err := siteSpan(p, siteID)
	if err != nil || n == 0 {
		return nil, readingRun(path, err)
	}
	r := parquet.NewGenericReader[T](p)
	defer r.Close()
	if err := r.SeekToRow(first); err != nil {
		return nil, readingRun(path, err)
	}
	rows = make([]T, n)
	for got := 0; got < n; {
		k, err := r.Read(rows[got:])
		got += k
		if err != nil && (got < n || !errors.Is(err, io.EOF)) {
			return nil, readingRun(path, err)
		}
	}
	return rows, nil
}

// siteSpan finds where a site's rows begin and how many they are.
func siteSpan(f *parquet.File, siteID string) (first int64, n int, err error) {
	type idOnly struct {
		SiteID string `parquet:"site_id"`
	}
	r := parquet.NewGenericReader[idOnly](f)
	defer r.Close()
	buf := make([]idOnly, 1024)
	for at := int64(0); ; {
		k, err := r.Read(buf)
		for i := range k {
			if buf[i].SiteID != siteID {
				continue
			}
			if n == 0 {
				first = at + int64(i)
			}
			n++
		}
		at += int64(k)
		if errors.Is(err, io.EOF) {
			return first, n, nil
		}
		if err != nil {
			return 0, 0, err
		}
	}
}

func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}
