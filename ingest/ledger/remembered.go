package ledger

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"rowen/ingest"
	"rowen/ingest/packed"
	"rowen/ingest/quality"
	"rowen/ingest/regular"
)

// remembered are the quality findings of sites, kept beside the ledger for as long as
// nothing that they follow from has changed: the bucket with the site's rows, the order
// and kind of the files that they came from, what the register says of the site, and
// the program itself. All of that is in a finding's key.
//
// It is a cache of a cache: whatever cannot be read of it is worked out again, and of
// two processes that write it at once one is forgotten.
type remembered struct {
	dir     string
	updates int32 // of the ledger
	program [sha256.Size]byte

	mu    sync.Mutex
	at    map[key]place
	file  *os.File // of earlier runs; nil: there is none
	fresh *os.File // of this one; nil: nothing is new yet
	size  int64    // of fresh
}

// key stands for all that a site's findings follow from.
type key [16]byte

// place is where a site's findings lie.
type place struct {
	at    int64
	bytes int32
	used  int32 // the update of the ledger that they were used with last
	fresh bool
}

const (
	rememberedName = "quality"
	recordHead     = len(key{}) + 4 + 4 + 8 // key, used, length, checksum
	forgetAfter    = 3                      // updates without use (our choice)
)

// remember opens what earlier runs kept.
func remember(dir string, updates int) *remembered {
	r := &remembered{dir: dir, updates: int32(updates), at: map[key]place{}}
	var err error
	if r.program, err = programDigest(); err != nil {
		return r
	}
	if r.file, err = regular.Open(filepath.Join(dir, rememberedName)); err != nil {
		r.file = nil
		return r
	}
	in, at := bufio.NewReaderSize(r.file, 64<<10), int64(0)
	var head [recordHead]byte
	for {
		if _, err := io.ReadFull(in, head[:]); err != nil {
			return r
		}
		k, p := placeOf(head[:])
		p.at = at + int64(recordHead)
		if at = p.at + int64(p.bytes); p.bytes < 0 {
			return r
		}
		if _, err := in.Discard(int(p.bytes)); err != nil {
			return r
		}
		r.at[k] = p
	}
}

func placeOf(head []byte) (k key, p place) {
	n := copy(k[:], head)
	p.used, p.bytes = int32(binary.LittleEndian.Uint32(head[n:])), int32(binary.LittleEndian.Uint32(head[n+4:]))
	return k, p
}

// programDigest is that of the program that runs: other rules find other things.
var programDigest = sync.OnceValues(func() (d [sha256.Size]byte, err error) {
	path, err := os.Executable()
	if err != nil {
		return d, err
	}
	f, err := os.Open(path)
	if err != nil {
		return d, err
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return [sha256.Size]byte(h.Sum(nil)), err
})

// keyOf is the key of the findings on a series; lies is all that its rows in the
// ledger mean.
func (r *remembered) keyOf(s *ingest.Series, lies [sha256.Size]byte, site quality.Site) (k key) {
	b := append(append(make([]byte, 0, 256), r.program[:]...), lies[:]...)
	for _, x := range [...]float64{site.LatitudeDeg, site.LongitudeDeg, site.RatedACWatts, site.RatedDCWatts} {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	if site.Location != nil { // its rules, which a zone database may change
		for t := s.Start.Time(); t.Before(s.End().Time()); {
			_, offset := t.In(site.Location).Zone()
			_, t = t.In(site.Location).ZoneBounds()
			b = binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(b, uint64(offset)), uint64(t.Unix()))
			if t.IsZero() {
				break
			}
		}
	}
	sum := sha256.Sum256(append(b, s.SiteID...))
	copy(k[:], sum[:])
	return k
}

// foundOf are findings as packed takes them.
type foundOf struct{ All []ingest.Quality }

// take gives the findings under a key; false: they have to be worked out.
func (r *remembered) take(k key) ([]ingest.Quality, bool) {
	r.mu.Lock()
	p, there := r.at[k]
	f := r.file
	if p.fresh {
		f = r.fresh
	}
	if there && p.used != r.updates {
		p.used = r.updates
		r.at[k] = p
	}
	r.mu.Unlock()
	if !there {
		return nil, false
	}
	record, err := readRecord(f, p)
	var q foundOf
	if err == nil {
		_, err = packed.Take(record[recordHead:], &q)
	}
	return q.All, err == nil
}

// readRecord reads a record with its head, and holds it against its checksum.
func readRecord(f *os.File, p place) ([]byte, error) {
	b := make([]byte, recordHead+int(p.bytes))
	if _, err := f.ReadAt(b, p.at-int64(recordHead)); err != nil {
		return nil, err
	}
	if checksum(b) != binary.LittleEndian.Uint64(b[recordHead-8:]) {
		return nil, errDamaged
	}
	return b, nil
}

// checksum is that of a record, but for when it was used.
func checksum(record []byte) uint64 {
	h := sha256.New()
	h.Write(record[:len(key{})])
	h.Write(record[recordHead:])
	return binary.LittleEndian.Uint64(h.Sum(nil))
}

// keep keeps findings that were worked out.
func (r *remembered) keep(k key, found []ingest.Quality) {
	b := packed.Append(make([]byte, recordHead, 512), foundOf{found})
	copy(b, k[:])
	le := binary.LittleEndian
	le.PutUint32(b[len(k):], uint32(r.updates))
	le.PutUint32(b[len(k)+4:], uint32(len(b)-recordHead))
	le.PutUint64(b[recordHead-8:], checksum(b))
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fresh == nil {
		var err error
		if r.fresh, err = os.CreateTemp(r.dir, rememberedName+".tmp*"); err != nil {
			r.fresh = nil
			return
		}
	}
	if _, err := r.fresh.WriteAt(b, r.size); err != nil {
		return // the next one is written over it
	}
	r.at[k] = place{r.size + int64(recordHead), int32(len(b) - recordHead), r.updates, true}
	r.size += int64(len(b))
}

// close puts what is new beside what earlier runs kept and is still used.
func (r *remembered) close() {
	if r.fresh != nil {
		temp := r.fresh.Name() + ".whole"
		err := r.write(temp)
		r.fresh.Close()
		os.Remove(r.fresh.Name())
		if r.file != nil {
			r.file.Close()
			r.file = nil
		}
		if err == nil {
			err = os.Rename(temp, filepath.Join(r.dir, rememberedName))
		}
		if err != nil {
			os.Remove(temp)
		}
	}
	if r.file != nil {
		r.file.Close()
	}
	r.at = nil
}

// write writes all that is used, in the order of the keys.
func (r *remembered) write(path string) error {
	// What other processes have kept since.
	now := remember(r.dir, int(r.updates))
	defer func() {
		if now.file != nil {
			now.file.Close()
		}
	}()
	type record struct {
		k key
		p place
		f *os.File
	}
	var records []record
	for k, p := range now.at {
		if own, there := r.at[k]; there && !own.fresh {
			p.used = max(p.used, own.used)
		} else if there {
			continue
		}
		if r.updates-p.used < forgetAfter {
			records = append(records, record{k, p, now.file})
		}
	}
	for k, p := range r.at {
		if p.fresh {
			records = append(records, record{k, p, r.fresh})
		}
	}
	slices.SortFunc(records, func(a, b record) int { return slices.Compare(a.k[:], b.k[:]) })
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(f, 256<<10)
	for _, x := range records {
		b, err := readRecord(x.f, x.p)
		if err != nil {
			continue
		}
		binary.LittleEndian.PutUint32(b[len(key{}):], uint32(x.p.used))
		out.Write(b) // Flush says what failed
	}
	return errors.Join(out.Flush(), f.Close())
}
