package ledger

import (
	"cmp"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Missing is a file whose readings a run should have and has not.
type Missing struct {
	Path   string
	Bytes  int64 // 0: not known
	Gone   bool  // an earlier run read it; it is there no more
	Stale  bool  // what an earlier run read of it is used; no byte is missing
	Reason string
}

func (m Missing) String() string { return m.Path + ": " + m.Reason }

// goneEntry is a file that was read once and is there no more. The ledger
// remembers it until it comes back, under any name, or the user says that it
// was taken away on purpose: else the second run after a loss would call a part
// of the data the whole.
type goneEntry struct {
	Path   string `json:"path"`
	Size   int64  `json:"size"`
	Digest string `json:"sha256"`
}

// missingOf lists what the run lacks, by path.
func missingOf(now *manifest, stale []Missing) []Missing {
	var list []Missing
	for _, e := range now.Files {
		if e.Failed != "" {
			list = append(list, Missing{Path: e.Path, Bytes: e.Size, Reason: e.Failed})
		}
	}
	for _, g := range now.Gone {
		list = append(list, Missing{Path: g.Path, Bytes: g.Size, Gone: true, Reason: "an earlier run read it, and it is gone: bring it back, or say with --accept-missing that it was taken away on purpose"})
	}
	list = append(list, stale...)
	slices.SortFunc(list, func(a, b Missing) int { return cmp.Compare(a.Path, b.Path) })
	return list
}

// MissingPct is the share of the readings that is missing, by the size of the
// files.
func (r *Report) MissingPct() float64 {
	var all, missing int64
	for _, f := range r.Files {
		all += f.Bytes
	}
	for _, m := range r.Missing {
		if m.Gone {
			all += m.Bytes
		}
		if !m.Stale {
			missing += m.Bytes
		}
	}
	return 100 * float64(missing) / float64(max(all, 1))
}

// findGone compares the files that were known with those that there are. A file
// that moved is not gone: its digest stands under another path.
func (u *updater) findGone() {
	if u.o.AcceptMissing {
		return
	}
	here, digest := map[string]bool{}, map[string]bool{}
	for _, e := range u.next.Files {
		here[e.Path] = true
		if e.Failed == "" {
			digest[e.Digest] = true
		}
	}
	for _, j := range u.jobs {
		here[j.entry.Path] = true
		if j.err == nil {
			digest[j.entry.Digest] = true
		}
	}
	u.next.Gone = nil
	was := slices.Clone(u.old.Gone)
	for _, e := range u.known {
		if e.Rows.Read > 0 {
			was = append(was, goneEntry{e.Path, e.Size, e.Digest})
		}
	}
	for _, g := range was {
		if here[g.Path] || digest[g.Digest] {
			continue
		}
		if _, err := os.Lstat(filepath.Join(u.dir, filepath.FromSlash(g.Path))); err == nil {
			continue // it is there; no mapping reads it any more
		}
		u.next.Gone = append(u.next.Gone, g)
	}
	slices.SortFunc(u.next.Gone, func(a, b goneEntry) int { return cmp.Compare(a.Path, b.Path) })
	u.next.Gone = slices.CompactFunc(u.next.Gone, func(a, b goneEntry) bool { return a.Path == b.Path })
}

// keepUnder takes over what the ledger has of the files under a folder that
// cannot be read now.
func (u *updater) keepUnder(folder found) {
	for i := range u.old.Files {
		e := &u.old.Files[i]
		if strings.HasPrefix(e.Path, folder.path+"/") && e.Failed == "" && !u.again[e.Source] {
			kept, _ := u.keepStale(*e, errors.New("its folder cannot be read"))
			u.next.Files = append(u.next.Files, kept)
		}
	}
}
