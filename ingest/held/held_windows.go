package held

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// Possible tells whether the system has such locks.
const Possible = true

// Lock locks an open file, alone or together with others that share it; ErrHeld says
// that another program does. Closing the file lets go. The byte that is locked lies far
// behind the file's text, which stays readable for all.
func Lock(f *os.File, alone bool) error {
	how := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if alone {
		how |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	err := windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, &windows.Overlapped{OffsetHigh: 1 << 20})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return ErrHeld
	}
	return err
}
