package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"rowen/ingest/readings"
)

const (
	lockName       = "lock"    // held alone by an update
	readersName    = "readers" // held by all that read a ledger
	sitesPerBucket = 16        // our choice: the rows of one bucket's sites are in memory at once
	minBuckets     = 8         // so that small fleets are merged by several workers too
	maxBuckets     = 4096
	defaultRejects = 1000
)

// updater is one update's state.
type updater struct {
	fleetFiles
	ticker
	o      Options
	ledger string
	sites  siteIndex
	old    *manifest
	next   *manifest
	jobs   []*job // the files to read
	names  *readings.Names
	spills []*spill
	report *Report
	known  []fileEntry    // the old manifest's files, whatever became of it
	again  map[int32]bool // sources whose rows in the ledger are damaged
	stale  []Missing      // files that cannot be opened now
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
	u := &updater{fleetFiles: fleetFiles{disk{o.before}, dir}, ticker: ticker{tell: o.Progress}, o: o, ledger: ledgerDir(dir), sites: indexOf(sites), old: &manifest{}, names: readings.NewNames(), again: map[int32]bool{}, report: &Report{}}
	return u, nil
}

func update(ctx context.Context, dir string, sites []Site, mappings []readings.Mapping, o Options, then func(*updater) error) (*Report, error) {
	u, err := newUpdater(dir, sites, mappings, o)
	if err != nil {
		return nil, err
	}
	if err := u.disk.mkdir(u.ledger); err != nil {
		return nil, fmt.Errorf("making the ledger's folder: %w", err)
	}
	release, err := lock(ctx, filepath.Join(u.ledger, lockName), o.Waiting)
	if err != nil {
		return nil, err
	}
	defer release()
	if u.old, err = readManifest(u.disk, u.ledger); errors.Is(err, errDamaged) {
		u.report.Notes = append(u.report.Notes, "the ledger's manifest could not be used: all files are read again")
	} else if err != nil {
		return nil, fmt.Errorf("reading the ledger: %w", err)
	}
	u.known = u.old.Files
	if err := u.plan(ctx, mappings); err != nil {
		return nil, err
	}
	if err := u.run(ctx); err != nil {
		return nil, fmt.Errorf("updating the ledger: %w", err)
	}
	u.finish()
	if then != nil {
		return u.report, then(u)
	}
	return u.report, nil
}

// run reads, merges and publishes; nothing, where nothing changed.
func (u *updater) run(ctx context.Context) error {
	if u.findGone(); u.nothingNew() {
		u.next = u.old
		u.sweep() // what a killed update may have left
		return nil
	}
	if err := u.openSpills(u.ledger); err != nil {
		return err
	}
	defer u.closeSpills()
	if err := u.read(ctx); err != nil {
		return err
	}
	u.findGone() // once more: a file that was read may be one that moved
	if err := u.merge(ctx); err != nil {
		return err
	}
	slices.SortFunc(u.next.Files, func(a, b fileEntry) int { return strings.Compare(a.Path, b.Path) })
	if err := u.next.publish(u.disk, u.ledger); err != nil {
		return err
	}
	u.closeSpills() // before the sweep: not every system removes a file that is open
	u.sweep()
	return nil
}

// nothingNew tells whether the old ledger stands as it is.
func (u *updater) nothingNew() bool {
	same := func(a, b fileEntry) bool {
		return a.Source == b.Source && a.ModTime == b.ModTime && a.ChangeTime == b.ChangeTime
	}
	return len(u.jobs) == 0 && len(u.again) == 0 && u.old.Version == version &&
		slices.EqualFunc(u.next.Files, u.old.Files, same) && slices.Equal(u.next.Gone, u.old.Gone)
}

// sweep clears up once the ledger stands; what it cannot remove it says, and
// the next update tries again.
func (u *updater) sweep() {
	err := u.next.sweep(u.disk, u.ledger)
	if err != nil {
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
	u.spills = nil
}

// finish fills the report from the manifest, so that a file read long ago
// reports the same rejects as one read now.
func (u *updater) finish() {
	r := u.report
	readNow := make(map[string]bool, len(u.jobs))
	for _, j := range u.jobs {
		readNow[j.entry.Path] = true
	}
	for _, e := range u.next.Files {
		reused := !readNow[e.Path]
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
	for _, e := range u.known {
		if u.next.find(e.Path) == nil {
			r.Withdrawn++
		}
	}
	r.Missing = missingOf(u.next, u.stale)
	for _, k := range u.next.Bucket {
		for _, id := range k.Sites {
			if u.sites.find(id) == nil && len(u.sites) > 0 {
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
