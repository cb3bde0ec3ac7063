//go:build unix

package report

import (
	"errors"
	"os"
	"syscall"
)

const canLock = true

// lockFolder locks a folder for this process alone; wait: it waits for the lock.
// The system lets go of it when the process ends, however it ends.
func lockFolder(path string, wait bool) (release func(), err error) {
	h, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	how := syscall.LOCK_EX
	if !wait {
		how |= syscall.LOCK_NB
	}
	for {
		if err = syscall.Flock(int(h.Fd()), how); !errors.Is(err, syscall.EINTR) {
			break
		}
	}
	if err != nil {
		return nil, errors.Join(&os.PathError{Op: "lock", Path: path, Err: err}, h.Close())
	}
	return func() { h.Close() }, nil
}
