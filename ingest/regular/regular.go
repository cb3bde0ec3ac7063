// Package regular opens regular files only. A pipe, a device or a socket in
// a file's place would stop a job for ever, or never end.
package regular

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

var errNotRegular = errors.New("it is no regular file")

// Open opens a file to read, unless it is a pipe, a device or anything
// else that may never end or never answer.
func Open(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|openWithoutWaiting, 0)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "open", Path: path, Err: errNotRegular}
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// MaxTable bounds the files that are read whole: the tables and documents of
// the register, and the settings. Our choice: a million sites' rows have about
// 200 MB.
const MaxTable = 512 << 20

// ReadFile reads a whole file of at most MaxTable bytes.
func ReadFile(path string) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, MaxTable+1))
	if err == nil && len(b) > MaxTable {
		err = &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("it has more than %d MB", MaxTable>>20)}
	}
	return b, err
}
