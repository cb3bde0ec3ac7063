//go:build unix

package held

import (
	"errors"
	"os"
	"syscall"
)

// Possible tells whether the system has such locks.
const Possible = true

// Lock locks an open file, alone or together with others that share it; ErrHeld says
// that another program does. Closing the file lets go.
func Lock(f *os.File, alone bool) error {
	how := syscall.LOCK_SH | syscall.LOCK_NB
	if alone {
		how = syscall.LOCK_EX | syscall.LOCK_NB
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
