package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"rowen/ingest/readings"
)

// job is one file on its way into the ledger.
type job struct {
	entry    fileEntry
	mapping  readings.Mapping
	file     *readings.File
	parts    []readings.Part
	tallies  []readings.Tally
	err      error // the file as a whole cannot be used
	mu       sync.Mutex
	plain    bool      // being read a second time, by the plain reader
	left     int       // parts that are not read yet
	onTheWay *digester // takes the digest while the only part is read; nil: that is a task of its own
}

// task is one piece of reading.
type task struct {
	job  *job
	part int // -1: the digest
}

// read reads every file to the spills, then those again that need the plain
// reader.
func (u *updater) read(ctx context.Context) error {
	u.at.Stage, u.at.FilesTotal = Reading, len(u.jobs)
	for _, j := range u.jobs {
		if j.err == nil {
			j.prepare(u.dir, u.o.limits())
		}
		if j.left = len(j.parts); j.left == 0 {
			u.at.FilesDone++
			u.at.Done += j.entry.Size
		}
	}
	if err := u.work(ctx, u.jobs, true); err != nil {
		return err
	}
	var again []*job
	for _, j := range u.jobs {
		if slices.ContainsFunc(j.tallies, func(t readings.Tally) bool { return t.Odd }) {
			j.plain, j.left = true, 1
			u.at.FilesDone--
			u.at.Done -= j.entry.Size
			j.entry.Source = u.next.NextSource // what was spilled stays behind under the old number
			u.next.NextSource++
			j.parts, j.tallies = j.parts[:1], make([]readings.Tally, 1)
			again = append(again, j)
		}
	}
	if err := u.work(ctx, again, false); err != nil {
		return err
	}
	for _, j := range u.jobs {
		u.settled(j)
	}
	return nil
}

// settled makes sure that a file is still the one that was read.
func (u *updater) settled(j *job) {
	now := fileEntry{Path: j.entry.Path}
	if j.err != nil {
		return
	}
	err := u.stat(&now)
	if err == nil && (now.Size != j.entry.Size || now.ModTime != j.entry.ModTime) {
		err = errors.New("it changed while it was read: run again when it is whole")
	}
	if err == nil {
		j.entry.Sample, err = u.sample(j.entry.Path, j.entry.Size)
	}
	if err != nil {
		j.fail(err)
	}
}

func (o *Options) limits() readings.Limits {
	return readings.Limits{MaxRejects: o.MaxRejects, LineBytes: o.LineBytes, UnpackedRatio: o.UnpackedRatio}
}

func (j *job) prepare(dir string, o readings.Limits) {
	j.file, j.err = readings.Prepare(dir, j.entry.Path, j.mapping, o)
	if j.file != nil {
		j.entry.Format = j.file.Format
	}
	if j.err != nil {
		return
	}
	j.entry.Notes = j.file.Notes
	j.entry.Counters = counters(&j.file.Meaning)
	j.parts = j.file.Parts()
	j.tallies = make([]readings.Tally, len(j.parts))
	if d := (&digester{sum: sha256.New()}); len(j.parts) == 1 && j.parts[0].Tee(d) {
		j.onTheWay = d
	}
}

func (u *updater) work(ctx context.Context, jobs []*job, digests bool) error {
	g, ctx := errgroup.WithContext(ctx)
	tasks := make(chan task)
	g.Go(func() error {
		defer close(tasks)
		for _, j := range jobs {
			first := 0
			if digests && j.err == nil && j.onTheWay == nil {
				first = -1
			}
			for i := first; i < len(j.parts); i++ {
				select {
				case tasks <- task{j, i}:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
		}
		return nil
	})
	for _, s := range u.spills {
		g.Go(func() error {
			for t := range tasks {
				if err := u.do(ctx, s, t); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return g.Wait()
}

// do does one task. An error of the file is the file's; one of the spill or of
// the context ends the update.
func (u *updater) do(ctx context.Context, s *spill, t task) error {
	j := t.job
	if t.part < 0 {
		j.setDigest(u.fleetFiles)
		return nil
	}
	var spillErr error
	tally, err := j.readPart(ctx, t.part, u.names, u.o.limits(), func(b *readings.Batch) error {
		u.rows.Add(int64(b.Len()))
		spillErr = s.add(j.entry.Source, int32(t.part), b)
		return spillErr
	})
	j.tallies[t.part] = tally
	if spillErr == nil {
		spillErr = s.endPart()
	}
	switch {
	case spillErr != nil:
		return spillErr
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		j.fail(err)
	}
	if d := j.onTheWay; d != nil {
		j.onTheWay = nil
		if j.entry.Digest = d.of(j.entry.Size); j.entry.Digest == "" {
			j.setDigest(u.fleetFiles)
		}
	}
	u.progress(j, t.part)
	return nil
}

// setDigest reads a file for its digest.
func (j *job) setDigest(files fleetFiles) {
	d, err := files.digest(j.entry.Path)
	if err != nil {
		j.fail(err)
	}
	j.entry.Digest = d
}

// digester takes the digest of what is written to it.
type digester struct {
	sum hash.Hash
	n   int64
}

func (d *digester) Write(b []byte) (int, error) {
	d.n += int64(len(b))
	return d.sum.Write(b)
}

// of is the digest of a file of that size; "": not all of it, or more, came by.
func (d *digester) of(size int64) string {
	if d.n != size {
		return ""
	}
	return hex.EncodeToString(d.sum.Sum(nil))
}

func (j *job) fail(err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.err == nil {
		j.err = err
	}
}

// readPart reads a part; a panic over a file's content is that file's error.
func (j *job) readPart(ctx context.Context, i int, names *readings.Names, o readings.Limits, emit func(*readings.Batch) error) (t readings.Tally, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the reader broke down on it: %v", p)
		}
	}()
	if j.plain {
		return j.file.ReadPlain(ctx, names, o, emit)
	}
	return j.parts[i].Read(ctx, names, o, emit)
}

// progress says that a part has been read.
func (u *updater) progress(j *job, part int) {
	u.say(func(p *Progress) {
		p.Done += j.parts[part].Bytes()
		if j.left--; j.left == 0 {
			p.FilesDone++
			p.Done += j.entry.Size // with what is in no part, such as the header
			for _, part := range j.parts {
				p.Done -= part.Bytes()
			}
		}
	})
}

// ticker says how far an update is.
type ticker struct {
	mu   sync.Mutex
	at   Progress // under mu
	rows atomic.Int64
	tell func(Progress) // nil: nobody listens
}

// say brings the progress up to date and passes it on.
func (t *ticker) say(change func(*Progress)) {
	t.mu.Lock()
	defer t.mu.Unlock()
	change(&t.at)
	if t.at.Rows = t.rows.Load(); t.tell != nil {
		t.tell(t.at)
	}
}
