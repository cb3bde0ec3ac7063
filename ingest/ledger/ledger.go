// Package ledger remembers the readings that were read: FLEET/.rowen/ledger
// holds every file's own readings in Parquet, by bucket of sites, so that the
// next month reads only what is new, and a changed or withdrawn file takes
// exactly its own readings with it. It is a cache: delete it and the same
// readings come out again.
package ledger

import (
	"context"
	"time"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// Site is what the ledger must know of a site of the register.
type Site struct {
	ID                        string
	Location                  *time.Location
	LatitudeDeg, LongitudeDeg float64 // NaN: not known
	RatedACWatts              float64 // of all inverters; 0: not known
	RatedDCWatts              float64 // of all modules; 0: not known
}

// Sites gives what the ledger must know of every site of a fleet.
func Sites(f *ingest.Fleet) []Site {
	sites := make([]Site, 0, f.Len())
	for _, s := range f.All() {
		site := Site{ID: s.ID, Location: s.Location, LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg}
		ac, dc, acKnown, dcKnown := 0.0, 0.0, len(s.Arrays) > 0, len(s.Arrays) > 0
		for _, a := range s.Arrays {
			watts := a.ModuleWatts
			if m := f.Catalogue.Module(a.ModuleModel); !(watts > 0) && m != nil {
				watts = m.Watts
			}
			if watts > 0 {
				dc += float64(watts * float64(a.Modules))
			} else {
				dcKnown = false
			}
			inv := f.Catalogue.Inverter(a.InverterModel)
			n := f.Catalogue.InverterCount(&a)
			if inv == nil || !n.Known {
				acKnown = false
				continue
			}
			ac += float64(inv.ACWatts * float64(n.V))
		}
		if acKnown && ac > 0 {
			site.RatedACWatts = ac
		}
		if dcKnown {
			site.RatedDCWatts = dc
		}
		sites = append(sites, site)
	}
	return sites
}

// Options of an update.
type Options struct {
	Workers       int            // 0: one a core
	MaxRejects    int            // kept with their lines, a file; 0: 1,000; all are counted
	LineBytes     int            // of readings.Limits; 0: its default
	UnpackedRatio int64          // of readings.Limits; 0: its default
	Progress      func(Progress) // called after every part of work, from any worker, one at a time; nil: none

	Verify        bool         // read every byte of every file, to see whether it has changed
	AcceptMissing bool         // files that earlier runs read and that are gone were taken away on purpose
	Waiting       func(string) // called once where another run must be waited for, with who that is; nil: none

	before func(op, path string) error // tests stop an update here
}

// Progress is how far an update is.
type Progress struct {
	Stage                 Stage
	Done, Total           int64 // of reading: bytes; of sorting: groups of sites
	FilesDone, FilesTotal int
	Rows                  int64 // read so far
}

// Stage is what an update is at.
type Stage string

// The stages of an update.
const (
	Reading Stage = "reading" // files, in their order
	Sorting Stage = "sorting" // what was read, by site
)

// Report is what an update did.
type Report struct {
	Files                             []FileReport // by path
	FilesRead, FilesReused, Withdrawn int
	Rows                              Rows
	Rejects                           []ingest.Reject // by file and line, at most MaxRejects a file
	Notes                             []string        // columns kept out, files that no mapping covers
	UnknownSites                      []string        // sites with readings that the register does not name
	Missing                           []Missing       // files whose readings are not there, by path
}

// Rows counts rows. Read = Kept + SetAside; Repeated are those of Kept that
// say again what another row of the same file says.
type Rows struct {
	Read, Kept, SetAside, Repeated int64
}

// FileReport is what was read of one file.
type FileReport struct {
	Path   string // relative to the fleet's folder
	Bytes  int64
	Digest string // sha256, hexadecimal
	Format string
	Reused bool // its readings came from the ledger
	Rows   Rows
}

// Update reads what is new or changed under dir, the fleet's folder, and
// publishes the new ledger at once, or leaves the old one.
func Update(ctx context.Context, dir string, sites []Site, mappings []readings.Mapping, o Options) (*Report, error) {
	return update(ctx, dir, sites, mappings, o, nil)
}

// UpdateAndOpen updates a fleet's ledger and opens what came of it, with no
// other update in between.
func UpdateAndOpen(ctx context.Context, dir string, sites []Site, mappings []readings.Mapping, o Options) (*Ledger, *Report, error) {
	var l *Ledger
	r, err := update(ctx, dir, sites, mappings, o, func(u *updater) (err error) {
		l, err = open(ctx, dir, sites, o.Waiting)
		return err
	})
	return l, r, err
}

// Open opens the ledger of a fleet's folder. The sites give the quality checks
// their place and rating; nil leaves those checks out. Until Close no update
// removes what it reads.
func Open(ctx context.Context, dir string, sites []Site) (*Ledger, error) {
	return open(ctx, dir, sites, nil)
}
