package report

import (
	"errors"
	"os"
	"runtime"

	"rowen/ingest/held"
)

// lockFolder locks a folder for this process alone; wait: it waits for the lock.
// The system lets go of it when the process ends, however it ends.
//
// Where a folder cannot be opened as a file, a file beside it stands for it.
func lockFolder(path string, wait bool) (release func(), err error) {
	h, err := openToLock(path)
	if err != nil {
		return nil, err
	}
	if err := held.Lock(h, true, wait); err != nil {
		return nil, errors.Join(&os.PathError{Op: "lock", Path: path, Err: err}, h.Close())
	}
	return func() { h.Close() }, nil
}

// besideFolders tells whether locks are files beside the folders that they stand
// for: Windows opens no folder, and moves none in which a file is open.
const (
	besideFolders = runtime.GOOS == "windows"
	lockSuffix    = ".lock"
)

// forgetLock removes the file that stood for a folder which is gone.
func forgetLock(path string) {
	if besideFolders {
		_ = os.Remove(path + lockSuffix) // what is left the next run removes
	}
}

func openToLock(path string) (*os.File, error) {
	if besideFolders {
		return os.OpenFile(path+lockSuffix, os.O_CREATE|os.O_RDWR, 0o600)
	}
	return os.Open(path)
}
