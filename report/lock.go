package report

import (
	"errors"
	"os"
	"runtime"
	"time"

	"rowen/ingest/held"
)

// publishing is how long a folder of runs is waited for: another run holds it for
// two renames, a stopped one for ever (our choice).
const publishing = 30 * time.Second

// lockFolder locks a folder for this process alone and waits for it no longer than
// patience. The system lets go of it when the process ends, however it ends.
//
// Where a folder cannot be opened as a file, a file beside it stands for it.
func lockFolder(path string, patience time.Duration) (release func(), err error) {
	h, err := openToLock(path)
	if err != nil {
		return nil, err
	}
	for until := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		err := held.Lock(h, true)
		if err == nil {
			return func() { h.Close() }, nil
		}
		if !errors.Is(err, held.ErrHeld) || !time.Now().Before(until) {
			return nil, errors.Join(&os.PathError{Op: "lock", Path: path, Err: err}, h.Close())
		}
	}
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
