package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// fleetFiles are the files of a fleet's folder.
type fleetFiles struct {
	disk disk
	dir  string
}

// stat takes over a file's size and times.
func (f fleetFiles) stat(e *fileEntry) error {
	info, err := f.disk.stat(f.path(e.Path))
	if err != nil {
		return err
	}
	e.Size, e.ModTime, e.ChangeTime = info.Size(), info.ModTime().UnixNano(), changeTime(info)
	return nil
}

func (f fleetFiles) path(rel string) string { return filepath.Join(f.dir, filepath.FromSlash(rel)) }

func (f fleetFiles) digest(path string) (string, error) {
	in, err := f.disk.open(f.path(path))
	if err != nil {
		return "", err
	}
	defer in.Close()
	h := sha256.New()
	if _, err := io.CopyBuffer(h, in, make([]byte, 256<<10)); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// A sample is the file's ends and some blocks between them, evenly spread: an
// export that is written anew differs in nearly all of its blocks. The sizes
// are our choice: sampling costs less than a millisecond a file.
const (
	sampleEnds   = 16 << 10
	sampleBlocks = 14
	sampleBlock  = 4 << 10
)

// sample digests a part of a file.
func (f fleetFiles) sample(path string, size int64) (string, error) {
	in, err := f.disk.open(f.path(path))
	if err != nil {
		return "", err
	}
	defer in.Close()
	h := sha256.New()
	buf := make([]byte, sampleEnds)
	take := func(at, n int64) error {
		at = max(0, min(at, size-n))
		got, err := in.ReadAt(buf[:min(n, size)], at)
		h.Write(buf[:got])
		if errors.Is(err, io.EOF) {
			return nil
		}
		return err
	}
	err = errors.Join(take(0, sampleEnds), take(size-sampleEnds, sampleEnds))
	for i := range int64(sampleBlocks) {
		if err == nil && size > 2*sampleEnds {
			err = take(size*(i+1)/(sampleBlocks+1), sampleBlock)
		}
	}
	return hex.EncodeToString(h.Sum(nil)), err
}

// siteIndex is the register's sites by id.
type siteIndex []Site

func indexOf(sites []Site) siteIndex {
	byID := func(a, b Site) int { return strings.Compare(a.ID, b.ID) }
	if !slices.IsSortedFunc(sites, byID) {
		sites = slices.SortedFunc(slices.Values(sites), byID)
	}
	return sites
}

// find gives a site; nil: the register does not name it.
func (s siteIndex) find(id string) *Site {
	if i, there := slices.BinarySearchFunc(s, id, func(a Site, id string) int { return strings.Compare(a.ID, id) }); there {
		return &s[i]
	}
	return nil
}

// zonesHold tells whether the sites whose own clock a file's stamps are on
// still have the zones that it was read by.
func (s siteIndex) zonesHold(e *fileEntry) bool {
	for id, zone := range e.Zones {
		if s.zoneName(id) != zone {
			return false
		}
	}
	return true
}

func (s siteIndex) zone(id string) *time.Location {
	if site := s.find(id); site != nil {
		return site.Location
	}
	return nil
}

func (s siteIndex) zoneName(id string) string {
	if loc := s.zone(id); loc != nil {
		return loc.String()
	}
	return ""
}
