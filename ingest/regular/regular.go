package readings

import (
	"errors"
	"io/fs"
	"os"
)

var errNotRegular = errors.New("it is no regular file")

// OpenRegular opens a file to read, unless it is a pipe, a device or anything
// else that may never end or never answer.
func OpenRegular(path string) (*os.File, error) {
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
