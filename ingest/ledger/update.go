package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"rowen/ingest/readings"
)

const (
	lockName       = "lock"
	sitesPerBucket = 64 // our choice: the rows of one bucket's sites are in memory at once
	minBuckets     = 8  // so that small fleets are merged by several workers too
	maxBuckets     = 4096
	defaultRejects = 1000
)

// job is one file on its way into the ledger.
type job struct {
	entry   fileEntry
	mapping readings.Mapping
	file    *readings.File
	parts   []readings.Part
	tallies []readings.Tally
	err     error // the file as a whole cannot be used
	mu      sync.Mutex
	plain   bool // being read a second time, by the plain reader
	left    int  // parts that are not read yet
}

// updater is one update's state.
type updater struct {
	o       Options
	disk    disk
	dir     string // the fleet's
	ledger  string
	sites   map[string]*Site
	old     *manifest
	next    *manifest
	jobs    []*job // the files to read
	names   *readings.Names
	spills  []*spill
	report  *Report
	rows    atomic.Int64
	entries int
	tick    sync.Mutex
	at      Progress // under tick
}

func newUpdater(dir string, sites []Site, mappings []readings.Mapping, o Options) (*updater, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.MaxRejects <= 0 {
		o.MaxRejects = defaultRejects
	}
	for i, m := range mappings {
		if err := m.Check(); err != nil {
			return nil, fmt.Errorf("readings mapping %d (%s): %w", i+1, m.Glob, err)
		}
	}
	u := &updater{o: o, disk: disk{o.before}, dir: dir, ledger: ledgerDir(dir), sites: map[string]*Site{}, old: &manifest{}, names: readings.NewNames(), report: &Report{}}
	for i := range sites {
		u.sites[sites[i].ID] = &sites[i]
	}
	return u, nil
}

func update(ctx context.Context, dir string, sites []Site, mappings []readings.Mapping, o Options) (*Report, error) {
	u, err := newUpdater(dir, sites, mappings, o)
	if err != nil {
		return nil, err
	}
	if err := u.disk.mkdir(u.ledger); err != nil {
		return nil, fmt.Errorf("making the ledger's folder: %w", err)
	}
	release, err := lock(filepath.Join(u.ledger, lockName))
	if err != nil {
		return nil, err
	}
	defer release()
	if u.old, err = readManifest(u.ledger); err != nil {
		return nil, fmt.Errorf("reading the ledger: %w", err)
	}
	if err := u.plan(mappings); err != nil {
		return nil, err
	}
	if err := u.run(ctx); err != nil {
		return nil, fmt.Errorf("updating the ledger: %w", err)
	}
	u.finish()
	return u.report, nil
}

// plan finds the files, and tells those to read from those that the ledger has.
func (u *updater) plan(mappings []readings.Mapping) error {
	if len(mappings) == 0 {
		mappings = readings.Default()
	}
	want := minBuckets
	for want*sitesPerBucket < len(u.sites) && want < maxBuckets {
		want *= 2
	}
	if u.old.Buckets == 0 || want > 4*u.old.Buckets {
		u.old = &manifest{Buckets: want, Bucket: make([]bucketEntry, want), NextSource: u.old.NextSource, Updates: u.old.Updates}
	}
	u.next = &manifest{Version: version, Updates: u.old.Updates + 1, NextSource: u.old.NextSource, Buckets: u.old.Buckets}

	digests := make([]string, len(mappings))
	folders := map[string]bool{"readings": true}
	for i, m := range mappings {
		b, err := json.Marshal(m)
		if err != nil {
			return err
		}
		digests[i] = digestOf(b)
		folders[fixedFolder(m.Glob)] = true
	}
	paths, err := u.find(folders)
	if err != nil {
		return fmt.Errorf("looking for readings: %w", err)
	}
	var left []string
	for _, path := range paths {
		i := slices.IndexFunc(mappings, func(m readings.Mapping) bool { return matches(m.Glob, path) })
		if i < 0 {
			if strings.HasPrefix(path, "readings/") {
				left = append(left, path)
			}
			continue
		}
		if err := u.consider(path, mappings[i], digests[i]); err != nil {
			return err
		}
	}
	if len(left) > 0 {
		u.report.Notes = append(u.report.Notes, fmt.Sprintf("%s not read, for no mapping covers them: %s", plural(int64(len(left)), "file"), shortList(left)))
	}
	u.entries = len(u.next.Files) + len(u.jobs)
	return nil
}

func (u *updater) find(folders map[string]bool) ([]string, error) {
	var paths []string
	for folder := range folders {
		found, err := findFiles(u.dir, folder)
		if err != nil {
			return nil, err
		}
		paths = append(paths, found...)
	}
	slices.Sort(paths)
	return slices.Compact(paths), nil
}

// consider takes a file over from the ledger, or plans to read it.
func (u *updater) consider(path string, m readings.Mapping, mapping string) error {
	info, err := os.Stat(filepath.Join(u.dir, filepath.FromSlash(path)))
	if err != nil {
		return err
	}
	e := fileEntry{Path: path, Size: info.Size(), ModTime: info.ModTime().UnixNano(), Mapping: mapping}
	if old := u.old.find(path); old != nil && old.Mapping == mapping && old.Size == e.Size && u.zonesHold(old) {
		same := old.ModTime == e.ModTime
		if !same {
			if e.Digest, err = u.digest(path); err != nil {
				return err
			}
			same = e.Digest == old.Digest
		}
		if same {
			kept := *old
			kept.ModTime = e.ModTime
			u.next.Files = append(u.next.Files, kept)
			return nil
		}
	}
	e.Source = u.next.NextSource
	u.next.NextSource++
	u.jobs = append(u.jobs, &job{entry: e, mapping: m})
	u.at.Total += e.Size
	return nil
}

// zonesHold tells whether the sites whose own clock a file's stamps are on
// still have the zones that it was read by.
func (u *updater) zonesHold(e *fileEntry) bool {
	for id, zone := range e.Zones {
		if u.zoneName(id) != zone {
			return false
		}
	}
	return true
}

func (u *updater) zone(id string) *time.Location {
	if s := u.sites[id]; s != nil {
		return s.Location
	}
	return nil
}

func (u *updater) zoneName(id string) string {
	if loc := u.zone(id); loc != nil {
		return loc.String()
	}
	return ""
}

func (u *updater) digest(path string) (string, error) {
	f, err := os.Open(filepath.Join(u.dir, filepath.FromSlash(path)))
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.CopyBuffer(h, f, make([]byte, 256<<10)); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func digestOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// run reads, merges and publishes; nothing, where nothing changed.
func (u *updater) run(ctx context.Context) error {
	if len(u.jobs) == 0 && len(u.next.Files) == len(u.old.Files) && u.old.Version == version {
		u.next = u.old
		u.sweep() // what a killed update may have left
		return nil
	}
	if err := u.openSpills(u.ledger); err != nil {
		return err
	}
	defer u.closeSpills()
	if err := u.read(ctx, true); err != nil {
		return err
	}
	if err := u.merge(ctx, (*mergeWorker).bucket); err != nil {
		return err
	}
	slices.SortFunc(u.next.Files, func(a, b fileEntry) int { return strings.Compare(a.Path, b.Path) })
	if err := u.next.publish(u.disk, u.ledger); err != nil {
		return err
	}
	u.sweep()
	return nil
}

// sweep clears up once the ledger stands; what it cannot remove it says, and
// the next update tries again.
func (u *updater) sweep() {
	if err := u.next.sweep(u.disk, u.ledger); err != nil {
		u.report.Notes = append(u.report.Notes, "old files of the ledger could not be removed: "+err.Error())
	}
}

func (u *updater) openSpills(dir string) error {
	for i := range u.o.Workers {
		f, err := u.disk.create(filepath.Join(dir, fmt.Sprintf("spill.tmp%d", i)))
		if err != nil {
			return err
		}
		s := newSpill(f, u.names, u.next.Buckets, u.o.Workers)
		s.room = maxHeldBytes / int64(u.o.Workers)
		u.spills = append(u.spills, s)
	}
	return nil
}

func (u *updater) closeSpills() {
	for _, s := range u.spills {
		name := s.file.Name()
		s.file.Close()
		os.Remove(name)
	}
}

// task is one piece of reading.
type task struct {
	job  *job
	part int // -1: the digest
}

// read reads every file to the spills, then those again that need the plain
// reader.
func (u *updater) read(ctx context.Context, digests bool) error {
	u.at.Stage, u.at.FilesTotal = Reading, len(u.jobs)
	for _, j := range u.jobs {
		j.prepare(u.dir)
		if j.left = len(j.parts); j.left == 0 {
			u.at.FilesDone++
			u.at.Done += j.entry.Size
		}
	}
	if err := u.work(ctx, u.jobs, digests); err != nil {
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
	return u.work(ctx, again, false)
}

func (j *job) prepare(dir string) {
	j.file, j.err = readings.Prepare(dir, j.entry.Path, j.mapping)
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
}

func (u *updater) work(ctx context.Context, jobs []*job, digests bool) error {
	g, ctx := errgroup.WithContext(ctx)
	tasks := make(chan task)
	g.Go(func() error {
		defer close(tasks)
		for _, j := range jobs {
			first := 0
			if digests {
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
		d, err := u.digest(j.entry.Path)
		if err != nil {
			j.fail(err)
		}
		j.entry.Digest = d
		return nil
	}
	var spillErr error
	tally, err := j.readPart(ctx, t.part, u.names, readings.Limits{MaxRejects: u.o.MaxRejects}, func(b *readings.Batch) error {
		u.rows.Add(int64(b.Len()))
		spillErr = s.add(j.entry.Source, int32(t.part), b)
		return spillErr
	})
	j.tallies[t.part] = tally
	switch {
	case spillErr != nil:
		return spillErr
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		j.fail(err)
	}
	u.progress(j, t.part)
	return nil
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

// say brings the progress up to date and passes it on.
func (u *updater) say(change func(*Progress)) {
	u.tick.Lock()
	defer u.tick.Unlock()
	change(&u.at)
	if u.at.Rows = u.rows.Load(); u.o.Progress != nil {
		u.o.Progress(u.at)
	}
}

// finish fills the report from the manifest, so that a file read long ago
// reports the same rejects as one read now.
func (u *updater) finish() {
	r := u.report
	for _, e := range u.next.Files {
		reused := !slices.ContainsFunc(u.jobs, func(j *job) bool { return j.entry.Path == e.Path })
		if reused {
			r.FilesReused++
		} else {
			r.FilesRead++
		}
		r.Files = append(r.Files, FileReport{Path: e.Path, Bytes: e.Size, Digest: e.Digest, Format: e.Format, Reused: reused, Rows: e.Rows})
		r.Rows.Read += e.Rows.Read
		r.Rows.Kept += e.Rows.Kept
		r.Rows.SetAside += e.Rows.SetAside
		r.Rows.Repeated += e.Rows.Repeated
		r.Rejects = append(r.Rejects, e.Rejects...)
		for _, n := range e.Notes {
			r.Notes = append(r.Notes, e.Path+": "+n)
		}
	}
	for _, e := range u.old.Files {
		if u.next.find(e.Path) == nil {
			r.Withdrawn++
		}
	}
	for _, k := range u.next.Bucket {
		for _, id := range k.Sites {
			if u.sites[id] == nil && len(u.sites) > 0 {
				r.UnknownSites = append(r.UnknownSites, id)
			}
		}
	}
	slices.Sort(r.UnknownSites)
}

func shortList(names []string) string {
	const most = 5
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}
