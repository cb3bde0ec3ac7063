package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"rowen/ingest/readings"
)

// plan finds the files, and tells those to read from those that the ledger has.
func (u *updater) plan(ctx context.Context, mappings []readings.Mapping) error {
	if len(mappings) == 0 {
		mappings = readings.Default()
	}
	want := minBuckets
	for want*sitesPerBucket < len(u.sites) && want < maxBuckets {
		want *= 2
	}
	if err := u.checkBuckets(ctx); err != nil {
		return err
	}
	if u.old.Buckets == 0 || want > 4*u.old.Buckets {
		u.old = &manifest{Buckets: want, Bucket: make([]bucketEntry, want), NextSource: u.old.NextSource, Updates: u.old.Updates, Gone: u.old.Gone}
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
	files, err := u.find(folders)
	if err != nil {
		return fmt.Errorf("looking for readings: %w", err)
	}
	var left []string
	covers := make([]bool, len(mappings))
	for _, f := range files {
		if f.folder {
			u.keepUnder(f)
			u.consider(f, readings.Mapping{}, "")
			continue
		}
		i := slices.IndexFunc(mappings, func(m readings.Mapping) bool { return matches(m.Glob, f.path) })
		switch {
		case i >= 0:
			covers[i] = true
			u.consider(f, mappings[i], digests[i])
		case strings.HasPrefix(f.path, "readings/") && f.reason == "":
			left = append(left, f.path)
		}
	}
	for i, m := range mappings {
		if !covers[i] && !m.Usual {
			u.report.Notes = append(u.report.Notes, fmt.Sprintf("readings entry %d: glob %q covers no file, or an earlier entry covers them all: mend it, or take the entry out", i+1, m.Glob))
		}
		if m.Format == "nem12" && m.Time.Zone != "" {
			u.report.Notes = append(u.report.Notes, fmt.Sprintf("readings entry %d: time.zone %s is passed over: the clock of NEM12 files is ten hours ahead of UTC all year; where these differ, read them as csv", i+1, m.Time.Zone))
		}
	}
	if len(left) > 0 {
		u.report.Notes = append(u.report.Notes, fmt.Sprintf("%s not read, for no mapping covers them: %s", plural(int64(len(left)), "file"), shortList(left)))
	}
	return nil
}

// find lists the files under the folders, by path.
func (u *updater) find(folders map[string]bool) ([]found, error) {
	f, err := newFinder(u.disk, u.dir)
	if err != nil {
		return nil, err
	}
	sorted := make([]string, 0, len(folders))
	for folder := range folders {
		sorted = append(sorted, folder)
	}
	slices.Sort(sorted)
	for _, folder := range sorted {
		f.folder(folder)
	}
	f.follow()
	slices.SortFunc(f.found, func(a, b found) int { return strings.Compare(a.path, b.path) })
	return f.found, nil
}

// consider takes a file over from the ledger, or plans to read it. One that
// could not be read is tried again each time: what stood in the way may be gone.
func (u *updater) consider(f found, m readings.Mapping, mapping string) {
	e := fileEntry{Path: f.path, Mapping: mapping}
	err := error(nil)
	if f.reason != "" {
		err = errors.New(f.reason)
	} else if err = u.stat(&e); err == nil {
		old := u.old.find(f.path)
		if old != nil && old.Mapping == mapping && old.Failed == "" && old.Size == e.Size && !u.again[old.Source] && u.sites.zonesHold(old) {
			if kept, ok := u.unchanged(old, &e); ok {
				u.next.Files = append(u.next.Files, kept)
				return
			}
		}
	}
	e.Source = u.next.NextSource
	u.next.NextSource++
	u.jobs = append(u.jobs, &job{entry: e, mapping: m, err: err})
	u.at.Total += e.Size
}

// unchanged tells whether a file of the old size still holds what was read of
// it: by all of its bytes where a time has changed or Verify asks for it, and
// by a sample of them elsewhere. One that cannot be opened is taken for
// unchanged where its times say so; that is said.
func (u *updater) unchanged(old, e *fileEntry) (fileEntry, bool) {
	kept := *old
	kept.ModTime, kept.ChangeTime = e.ModTime, e.ChangeTime
	sameTimes := old.ModTime == e.ModTime && old.ChangeTime == e.ChangeTime
	if !sameTimes || u.o.Verify {
		digest, err := u.digest(old.Path)
		if err != nil && old.ModTime == e.ModTime {
			return u.keepStale(kept, err)
		}
		return kept, err == nil && digest == old.Digest
	}
	sample, err := u.sample(old.Path, old.Size)
	if err != nil {
		return u.keepStale(kept, err)
	}
	return kept, sample == old.Sample
}

func (u *updater) keepStale(kept fileEntry, err error) (fileEntry, bool) {
	kept.ChangeTime = 0 // looked at in full when it can be opened again
	u.stale = append(u.stale, Missing{Path: kept.Path, Bytes: kept.Size, Stale: true,
		Reason: "it cannot be opened now (" + withoutPath(err) + "); what an earlier run read of it is used"})
	return kept, true
}

func digestOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
