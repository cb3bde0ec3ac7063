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
		return nil, err
	}
	return &Folder{final: final, temp: temp}, nil
}

// Path gives where a file of the run is written until it is published.
func (f *Folder) Path(name string) string { return filepath.Join(f.temp, name) }

// Final is where the folder will be.
func (f *Folder) Final() string { return f.final }

// Discard removes what was written.
func (f *Folder) Discard() {
	if f.temp != "" {
		os.RemoveAll(f.temp)
		f.temp = ""
	}
}

// Publish puts the folder under its name. A run that is there already is moved
// aside first and removed last: at any moment the name holds the old run, the
// new one, or for the blink between two renames nothing, and never a part.
func (f *Folder) Publish() error {
	if err := syncTree(f.temp); err != nil {
		return fmt.Errorf("writing the run to disk: %w", err)
	}
	old := ""
	if _, err := os.Stat(f.final); err == nil {
		if err := looksLikeRun(f.final); err != nil {
			return err
		}
		old = f.temp + ".old"
		if err := os.Rename(f.final, old); err != nil {
			return fmt.Errorf("moving the earlier run aside: %w", err)
		}
	}
	if err := os.Rename(f.temp, f.final); err != nil {
		if old != "" {
			err = errors.Join(err, os.Rename(old, f.final))
		}
		return fmt.Errorf("publishing the run: %w", err)
	}
	f.temp = ""
	if err := syncPath(filepath.Dir(f.final)); err != nil {
		return err
	}
	if old != "" {
		return os.RemoveAll(old)
	}
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

func syncTree(dir string) error {
	return filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return syncPath(path)
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
