//go:build unix

package ledger

import (
	"fmt"
	"os"
	"syscall"
)

// lock keeps two updates of one ledger apart. The system lets go of it when
// the program ends, however it ends.
func lock(path string) (release func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("another run is updating %s: wait for it", path)
	}
	return func() { f.Close() }, nil
}
