package report

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"rowen/ingest/held"
)

// Folder is a run's folder in the making. Nothing is seen under its final name
// until Publish; Discard leaves no trace.
type Folder struct {
	// Kept is where Publish put an earlier run that somebody had worked in; ""
	// where there was none.
	Kept string

	final   string
	temp    string
	replace bool
	held    func() // lets go of the lock on temp
	disk    disk
}

// disk is what publishing asks of the file system. Tests let each call fail in
// turn.
type disk struct {
	exchange  func(a, b string) error
	rename    func(from, to string) error
	sync      func(path string) error
	removeAll func(path string) error
}

const unfinished = ".unfinished-"

// NewFolder prepares a folder beside its final place, on the same file system,
// so that publishing is one rename. A final place that must not be replaced is
// said now, before the work. replace: an earlier run that somebody has worked
// in makes room, and is kept beside the new one.
func NewFolder(final string, replace bool) (*Folder, error) {
	parent := filepath.Dir(final)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return nil, fmt.Errorf("making the folder of runs: %w", err)
	}
	f := &Folder{final: final, replace: replace, disk: disk{exchange, os.Rename, syncPath, os.RemoveAll}}
	if _, err := f.earlier(); err != nil {
		return nil, err
	}
	if err := sweep(parent); err != nil {
		return nil, err
	}
	temp, err := os.MkdirTemp(parent, unfinished+filepath.Base(final)+"-") // 0700
	if err != nil {
		return nil, fmt.Errorf("making the run's folder: %w", err)
	}
	f.temp = temp
	if f.held, err = lockFolder(temp, 0); err != nil {
		return nil, errors.Join(fmt.Errorf("making the run's folder: %w", err), os.RemoveAll(temp))
	}
	return f, nil
}

// earlier is what lies at the final place: nil where nothing does. An error:
// it must not be replaced.
func (f *Folder) earlier() (*Standing, error) {
	if _, err := os.Lstat(f.final); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	s, err := Inspect(f.final)
	if err != nil {
		return nil, err
	}
	if s.Touched() && !f.replace {
		return nil, fmt.Errorf("replacing %s: somebody has worked in it, files: %s; give --replace to put the new run there and keep the old folder beside it, or name another folder with --out", f.final, s)
	}
	return &s, nil
}

// Path gives where a file of the run is written until it is published.
func (f *Folder) Path(name string) string { return filepath.Join(f.temp, name) }

// Discard removes what was written and not published. After Publish it does
// nothing.
func (f *Folder) Discard() {
	if f.temp == "" {
		return
	}
	_ = clearAway(f.temp, f.final, f.disk) // what is left the next run sweeps
	f.temp = ""
	f.held()
}

// Publish puts the folder under its name. A run that is there already changes
// places with it in one step and is then removed: at any moment the name holds
// the whole old run or the whole new one. An old run that somebody has worked
// in is not removed but kept beside the new one.
//
// Where the system cannot exchange two folders in one step the old run is moved
// aside first; what a kill between the two leaves is put back by the next run.
func (f *Folder) Publish() error {
	if err := f.seal(); err != nil {
		return fmt.Errorf("writing the run to disk: %w", err)
	}
	parent := filepath.Dir(f.final)
	release, err := lockFolder(parent, publishing)
	if err != nil {
		return fmt.Errorf("publishing the run: %w", err)
	}
	defer release()
	was, err := f.earlier()
	if err != nil {
		return err
	}
	old, err := f.swap(was != nil)
	if err != nil {
		return fmt.Errorf("publishing the run: %w", err)
	}
	if err := f.disk.sync(parent); err != nil {
		f.temp = old // for Discard
		return fmt.Errorf("publishing the run: %w", err)
	}
	f.temp = ""
	defer f.held()
	if old == "" {
		return nil
	}
	if was.Touched() {
		if f.Kept, err = keepAside(old, f.final, f.disk); err != nil {
			return fmt.Errorf("keeping the earlier run, which lies in %s: %w", old, err)
		}
		return nil
	}
	if err := f.disk.removeAll(old); err != nil {
		f.temp = old // Discard tries once more
		return fmt.Errorf("removing the earlier run, moved to %s: %w", old, err)
	}
	return nil
}

// swap brings the new run to its name, and tells where the old one lies then.
func (f *Folder) swap(there bool) (old string, err error) {
	if !there {
		return "", f.disk.rename(f.temp, f.final)
	}
	if err := f.disk.exchange(f.temp, f.final); !errors.Is(err, errors.ErrUnsupported) {
		return f.temp, err
	}
	old = f.temp + ".old"
	if err := f.disk.rename(f.final, old); err != nil {
		return "", fmt.Errorf("moving the earlier run aside: %w", err)
	}
	if err := f.disk.rename(f.temp, f.final); err != nil {
		return "", errors.Join(err, f.disk.rename(old, f.final))
	}
	return old, nil
}

// seal makes what was written durable and readable by its owner only, whatever
// the umask: the folder holds personal data.
func (f *Folder) seal() error {
	return filepath.WalkDir(f.temp, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		mode := fs.FileMode(0o600)
		if e.IsDir() {
			mode = 0o700
		}
		if err := os.Chmod(path, mode); err != nil {
			return err
		}
		return f.disk.sync(path)
	})
}

// keepAside moves an old run beside the new one: NAME.kept-1, -2, ...
func keepAside(old, final string, d disk) (string, error) {
	for n := 1; ; n++ {
		kept := fmt.Sprintf("%s.kept-%d", final, n)
		if _, err := os.Lstat(kept); errors.Is(err, fs.ErrNotExist) {
			return kept, d.rename(old, kept)
		}
	}
}

// sweep clears away what killed runs left unfinished in a folder of runs. What
// a living run holds stays.
func sweep(parent string) error {
	if !held.Possible {
		return nil
	}
	release, err := lockFolder(parent, publishing)
	if err != nil {
		return fmt.Errorf("looking for unfinished runs: %w", err)
	}
	defer release()
	entries, err := os.ReadDir(parent)
	if err != nil {
		return fmt.Errorf("looking for unfinished runs: %w", err)
	}
	for _, e := range entries {
		name, ok := strings.CutPrefix(e.Name(), unfinished)
		path := filepath.Join(parent, e.Name())
		if folder, isLock := strings.CutSuffix(path, lockSuffix); ok && isLock {
			if _, err := os.Lstat(folder); errors.Is(err, fs.ErrNotExist) {
				forgetLock(folder)
			}
		}
		if !ok || !e.IsDir() {
			continue
		}
		free, err := lockFolder(path, 0)
		if err != nil {
			continue // a run is at work in it
		}
		if at := strings.LastIndexByte(name, '-'); at > 0 {
			err = clearAway(path, filepath.Join(parent, name[:at]), disk{rename: os.Rename, removeAll: os.RemoveAll})
		}
		free()
		if err != nil {
			return fmt.Errorf("clearing away the unfinished run %s: %w", e.Name(), err)
		}
	}
	return nil
}

// clearAway removes an unfinished folder. One that is the old run of a
// publishing that broke off is put back if its name is free, and kept if
// somebody has worked in it.
func clearAway(path, final string, d disk) error {
	if strings.HasSuffix(path, ".old") {
		if _, err := os.Lstat(final); errors.Is(err, fs.ErrNotExist) {
			return d.rename(path, final)
		}
	}
	if _, err := os.Lstat(filepath.Join(path, manifestFile)); err == nil {
		s, err := Inspect(path)
		switch {
		case err == nil && s.Touched():
			_, err := keepAside(path, final, d)
			return err
		case err != nil && strings.HasSuffix(path, ".old"):
			return err
		}
	}
	return d.removeAll(path)
}

// syncPath makes a file or the names in a folder durable. Windows keeps the names
// durable itself, and takes a file only from one who may write it.
func syncPath(path string) error {
	info, err := os.Lstat(path)
	if err != nil {
		return err
	}
	how := os.O_RDWR
	if info.IsDir() {
		if runtime.GOOS == "windows" {
			return nil
		}
		how = os.O_RDONLY
	}
	h, err := os.OpenFile(path, how, 0)
	if err != nil {
		return err
	}
	err = h.Sync()
	return errors.Join(err, h.Close())
}
