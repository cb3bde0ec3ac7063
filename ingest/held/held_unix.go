//go:build unix

package held

import (
	"errors"
	"os"
	"syscall"
)

// Possible tells whether the system has such locks.
const Possible = true

// Lock locks an open file, alone or together with others that share it; wait: it
// waits for the lock, otherwise ErrHeld says that it must. Closing the file lets
// go.
func Lock(f *os.File, alone, wait bool) error {
	how := syscall.LOCK_SH
	if alone {
		how = syscall.LOCK_EX
	}
	if !wait {
		how |= syscall.LOCK_NB
	}
	for {
		err := syscall.Flock(int(f.Fd()), how)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return ErrHeld
		}
		return err
	}
}
