package report

import (
	"bufio"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"slices"

	"github.com/klauspost/compress/zstd"

	"rowen/analyze"
	"rowen/analyze/option"
	"rowen/analyze/visit"
	"rowen/ingest"
	"rowen/report/page"
)

// wordy is what a finding says at length and nothing before the writing asks for:
// three quarters of its weight.
type wordy struct {
	Chart   []page.Month // of a site that may get a brief
	Sheet   *visit.Sheet
	Tornado []option.Unknown
	Quality []ingest.Quality
	Caveats, Array, Demand, Room,
	Worth []ingest.Caveat
}

// kept holds what findings say at length on disk, from the judgement to the
// writing. In memory it has where each site's piece lies.
type kept struct {
	scratch *os.File
	w       *bufio.Writer
	at      int64
	sites   map[string]piece
	pack    *zstd.Encoder
	unpack  *zstd.Decoder
	buf     []byte
	packed  []byte
}

type piece struct {
	at    int64
	bytes int32
}

func newKept(dir string) (*kept, error) {
	f, err := os.Create(filepath.Join(dir, ".kept.spool"))
	if err != nil {
		return nil, err
	}
	k := &kept{scratch: f, w: bufio.NewWriterSize(f, 1<<18), sites: map[string]piece{}}
	var packs error
	k.pack, k.unpack, packs = packers()
	return k, packs
}

// take writes what a finding says at length and takes it away from it. Of a sheet
// its kind stays, which tells that there is one.
func (k *kept) take(f *analyze.Finding) error {
	x := wordy{briefMonths(f), f.Visit, f.Worth.Tornado, f.Quality,
		f.Caveats, f.Array.Caveats, f.Demand.Caveats, f.Room.Cautions, f.Worth.Caveats}
	k.buf = appendRow(k.buf[:0], reflect.ValueOf(&x).Elem())
	k.packed = k.pack.EncodeAll(k.buf, k.packed[:0])
	k.sites[f.Site.ID] = piece{k.at, int32(len(k.packed))}
	k.at += int64(len(k.packed))
	if f.Visit != nil {
		f.Visit = &visit.Sheet{Kind: f.Visit.Kind}
	}
	x = wordy{Sheet: f.Visit}
	x.into(f)
	_, err := k.w.Write(k.packed)
	return err
}

func (x *wordy) into(f *analyze.Finding) {
	f.Visit, f.Worth.Tornado, f.Quality = x.Sheet, x.Tornado, x.Quality
	f.Caveats, f.Array.Caveats, f.Demand.Caveats = x.Caveats, x.Array, x.Demand
	f.Room.Cautions, f.Worth.Caveats = x.Room, x.Worth
}

// whole is a finding with all that was taken away from it, and its chart. One that
// never passed by (its row could not be used) is whole as it is.
func (k *kept) whole(f *analyze.Finding) (*analyze.Finding, []page.Month, error) {
	p, there := k.sites[f.Site.ID]
	if !there {
		return f, nil, nil
	}
	k.packed = slices.Grow(k.packed[:0], int(p.bytes))[:p.bytes]
	if _, err := k.scratch.ReadAt(k.packed, p.at); err != nil {
		return nil, nil, err
	}
	var err error
	if k.buf, err = k.unpack.DecodeAll(k.packed, k.buf[:0]); err != nil {
		return nil, nil, err
	}
	var x wordy
	takeRow(k.buf, reflect.ValueOf(&x).Elem())
	all := *f
	x.into(&all)
	return &all, x.Chart, nil
}

// close removes what was kept.
func (k *kept) close() error {
	k.unpack.Close()
	return errors.Join(k.scratch.Close(), os.Remove(k.scratch.Name()))
}
