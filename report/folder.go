package report

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Folder is a run's folder in the making. Nothing is seen under its final name
// until Publish; Discard leaves no trace.
type Folder struct {
	final string
	temp  string
	old   string // an earlier run that was replaced and is still to be removed
	disk  disk
}

// disk is what publishing asks of the file system. Tests let each call fail in
// turn.
type disk struct {
	rename    func(from, to string) error
	sync      func(path string) error
	removeAll func(path string) error
}

// NewFolder prepares a folder beside its final place, on the same file system,
// so that publishing is one rename.
func NewFolder(final string) (*Folder, error) {
	parent := filepath.Dir(final)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return nil, fmt.Errorf("making the folder of runs: %w", err)
	}
	temp, err := os.MkdirTemp(parent, ".unfinished-"+filepath.Base(final)+"-")
	if err != nil {
		return nil, fmt.Errorf("making the run's folder: %w", err)
	}
	if err := os.Chmod(temp, 0o755); err != nil {
		return nil, errors.Join(fmt.Errorf("making the run's folder: %w", err), os.RemoveAll(temp))
	}
	return &Folder{final: final, temp: temp, disk: disk{os.Rename, syncPath, os.RemoveAll}}, nil
}

// Path gives where a file of the run is written until it is published.
func (f *Folder) Path(name string) string { return filepath.Join(f.temp, name) }

// Final is where the folder will be.
func (f *Folder) Final() string { return f.final }

// Discard removes what was written and not published, and what a publishing that
// broke off left of the run before it. After Publish it does nothing.
func (f *Folder) Discard() {
	for _, left := range []*string{&f.temp, &f.old} {
		if *left != "" {
			f.disk.removeAll(*left)
			*left = ""
		}
	}
}

// Publish puts the folder under its name. A run that is there already is moved
// aside first and removed last: at any moment the name holds the old run, the
// new one, or for the blink between two renames nothing, and never a part.
func (f *Folder) Publish() error {
	if err := f.syncTree(); err != nil {
		return fmt.Errorf("writing the run to disk: %w", err)
	}
	aside := ""
	if _, err := os.Lstat(f.final); err == nil {
		if err := looksLikeRun(f.final); err != nil {
			return err
		}
		aside = f.temp + ".old"
		if err := f.disk.rename(f.final, aside); err != nil {
			return fmt.Errorf("moving the earlier run aside: %w", err)
		}
	}
	if err := f.disk.rename(f.temp, f.final); err != nil {
		if aside != "" {
			err = errors.Join(err, f.disk.rename(aside, f.final))
		}
		return fmt.Errorf("publishing the run: %w", err)
	}
	f.temp, f.old = "", aside
	if err := f.disk.sync(filepath.Dir(f.final)); err != nil {
		return fmt.Errorf("publishing the run: %w", err)
	}
	if f.old == "" {
		return nil
	}
	if err := f.disk.removeAll(f.old); err != nil {
		return fmt.Errorf("removing the earlier run, moved to %s: %w", f.old, err)
	}
	f.old = ""
	return nil
}

// looksLikeRun keeps a mistyped --out from removing somebody's folder.
func looksLikeRun(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("looking at the earlier run: %w", err)
	}
	if len(entries) == 0 {
		return nil
	}
	if _, err := os.Stat(filepath.Join(dir, "run.json")); err != nil {
		return fmt.Errorf("replacing %s: the folder is not empty and holds no run.json, so it is no earlier run; name another folder or empty it", dir)
	}
	return nil
}

func (f *Folder) syncTree() error {
	return filepath.WalkDir(f.temp, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return f.disk.sync(path)
	})
}

func syncPath(path string) error {
	h, err := os.Open(path)
	if err != nil {
		return err
	}
	err = h.Sync()
	return errors.Join(err, h.Close())
}
