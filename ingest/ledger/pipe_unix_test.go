//go:build unix

package ledger

import "syscall"

// makePipe makes what never ends to be read.
func makePipe(path string) error { return syscall.Mkfifo(path, 0o600) }
