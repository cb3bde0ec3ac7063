//go:build unix

package readings

import "syscall"

// makePipe makes what never ends to be read.
func makePipe(path string) error { return syscall.Mkfifo(path, 0o600) }
