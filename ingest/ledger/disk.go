package ledger

import (
	"io/fs"
	"os"
	"path/filepath"
)

// disk is every change that an update makes to the file system, one call each,
// so that a test can stop it at any of them.
type disk struct {
	before func(op, path string) error // nil but in tests
}

func (d disk) step(op, path string) error {
	if d.before == nil {
		return nil
	}
	return d.before(op, path)
}

func (d disk) mkdir(path string) error {
	if err := d.step("mkdir", path); err != nil {
		return err
	}
	return os.MkdirAll(path, 0o755)
}

func (d disk) create(path string) (*os.File, error) {
	if err := d.step("create", path); err != nil {
		return nil, err
	}
	return os.Create(path)
}

// write makes a file durable with what fill writes.
func (d disk) write(path string, fill func(f *os.File) error) error {
	f, err := d.create(path)
	if err != nil {
		return err
	}
	if err = d.step("write", path); err == nil {
		err = fill(f)
	}
	if err == nil {
		if err = d.step("sync", path); err == nil {
			err = f.Sync()
		}
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

func (d disk) rename(from, to string) error {
	if err := d.step("rename", to); err != nil {
		return err
	}
	return os.Rename(from, to)
}

func (d disk) remove(path string) error {
	if err := d.step("remove", path); err != nil {
		return err
	}
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) {
		return err
	}
	return nil
}

// syncDir makes the names in a folder durable; where a system cannot, its own
// order of writes has to do.
func (d disk) syncDir(path string) error {
	if err := d.step("syncdir", path); err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	_ = f.Sync()
	return nil
}

// list names the files of a folder; none where it does not exist.
func list(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		if os.IsNotExist(err) {
			return nil, nil
		}
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// findFiles lists the files under a folder, as paths relative to root with
// slashes, sorted; folders whose names begin with a dot are left alone.
func findFiles(root, under string) ([]string, error) {
	var found []string
	err := filepath.WalkDir(filepath.Join(root, filepath.FromSlash(under)), func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			if os.IsNotExist(err) {
				return nil
			}
			return err
		}
		name := e.Name()
		if len(name) > 1 && name[0] == '.' {
			if e.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if e.IsDir() {
			return nil
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		found = append(found, filepath.ToSlash(rel))
		return nil
	})
	return found, err
}
