package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"rowen/ingest/readings"
)

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
