package ledger

import (
	"io"
	"os"
	"rowen/ingest/regular"
)

// disk is what an update asks of the file system, one call each, so that a test
// can stop it at any of them, or let any of them fail.
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
	return os.MkdirAll(path, 0o700)
}

func (d disk) create(path string) (*os.File, error) {
	if err := d.step("create", path); err != nil {
		return nil, err
	}
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
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

func (d disk) open(path string) (*os.File, error) {
	if err := d.step("open", path); err != nil {
		return nil, err
	}
	return regular.Open(path)
}

func (d disk) stat(path string) (os.FileInfo, error) {
	if err := d.step("stat", path); err != nil {
		return nil, err
	}
	return os.Stat(path)
}

func (d disk) readDir(path string) ([]os.DirEntry, error) {
	if err := d.step("readdir", path); err != nil {
		return nil, err
	}
	return os.ReadDir(path)
}

func (d disk) readFile(path string) ([]byte, error) {
	f, err := d.open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(f)
}
