//go:build unix

package regular

import "syscall"

// openWithoutWaiting: a pipe without a writer is opened at once, and then
// refused. On a regular file it has no effect.
const openWithoutWaiting = syscall.O_NONBLOCK
