package report

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// exchange lets two folders change places in one step.
func exchange(a, b string) error {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) {
		return fmt.Errorf("exchanging folders: %w", errors.ErrUnsupported)
	}
	if err != nil {
		return &os.LinkError{Op: "exchange", Old: a, New: b, Err: err}
	}
	return nil
}
