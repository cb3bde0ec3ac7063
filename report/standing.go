package report

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Standing is what lies in the folder of an earlier run, held against the
// digests that its run.json lists.
type Standing struct {
	Changed []string // files of the run that are no longer as they were written
	Added   []string // files that no run wrote
}

// Touched tells whether somebody has worked in the folder.
func (s Standing) Touched() bool { return len(s.Changed)+len(s.Added) > 0 }

func (s Standing) String() string {
	var parts []string
	if n := len(s.Changed); n > 0 {
		parts = append(parts, fmt.Sprintf("%d changed since they were written (%s)", n, firstNames(s.Changed)))
	}
	if n := len(s.Added); n > 0 {
		parts = append(parts, fmt.Sprintf("%d added (%s)", n, firstNames(s.Added)))
	}
	return strings.Join(parts, ", ")
}

func firstNames(names []string) string {
	const most = 5
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}

const manifestFile = "run.json"

// Inspect tells whether a folder is as a run left it. Files that a run listed
// and that are gone are no loss. An error: the folder is not that of a run, or
// cannot be read; an empty folder is no error.
//
// run.json cannot hold its own digest: it counts as the run's.
func Inspect(dir string) (Standing, error) {
	var s Standing
	info, err := os.Lstat(dir)
	if err != nil {
		return s, fmt.Errorf("looking at the earlier run: %w", err)
	}
	if info.Mode()&fs.ModeSymlink != 0 {
		return s, fmt.Errorf("replacing %s: it is a link; name the folder itself", dir)
	}
	if !info.IsDir() {
		return s, fmt.Errorf("replacing %s: it is a file and not a run's folder; name another folder", dir)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return s, fmt.Errorf("looking at the earlier run: %w", err)
	}
	if len(entries) == 0 {
		return s, nil
	}
	listed, err := listedOutputs(dir)
	if err != nil {
		return s, err
	}
	err = filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		return s.hold(path, filepath.ToSlash(rel), e, listed)
	})
	if err != nil {
		return s, fmt.Errorf("looking at the earlier run: %w", err)
	}
	slices.Sort(s.Changed)
	slices.Sort(s.Added)
	return s, nil
}

// hold judges one file.
func (s *Standing) hold(path, rel string, e fs.DirEntry, listed map[string]string) error {
	if rel == manifestFile && e.Type().IsRegular() {
		return nil
	}
	digest, ok := listed[rel]
	if !ok || !e.Type().IsRegular() {
		if !systemFile(e.Name()) {
			s.Added = append(s.Added, rel)
		}
		return nil
	}
	now, err := fileDigest(path)
	if err != nil {
		return err
	}
	if now != digest {
		s.Changed = append(s.Changed, rel)
	}
	return nil
}

// systemFile: what file managers leave behind by themselves.
func systemFile(name string) bool {
	return name == ".DS_Store" || name == "Thumbs.db" || name == "desktop.ini"
}

// listedOutputs reads the digests of a run's files.
func listedOutputs(dir string) (map[string]string, error) {
	path := filepath.Join(dir, manifestFile)
	info, err := os.Lstat(path)
	if err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("replacing %s: its run.json is no regular file; name another folder or empty it", dir)
	}
	var b []byte
	if err == nil {
		b, err = os.ReadFile(path)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("replacing %s: the folder is not empty and holds no run.json, so it is no earlier run; name another folder or empty it", dir)
	}
	if err != nil {
		return nil, fmt.Errorf("looking at the earlier run: %w", err)
	}
	var m struct {
		Program string            `json:"program"`
		Outputs map[string]string `json:"outputs"`
	}
	if err := json.Unmarshal(b, &m); err != nil || m.Program != "rowen" || len(m.Outputs) == 0 {
		return nil, fmt.Errorf("replacing %s: its run.json lists no files of a run; name another folder or empty it", dir)
	}
	return m.Outputs, nil
}
