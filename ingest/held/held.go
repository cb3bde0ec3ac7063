// Package held locks files between programs. The system lets go of a lock when
// the program that holds it ends, however it ends.
package held

import "errors"

// ErrHeld says that another program holds the lock.
var ErrHeld = errors.New("another program holds it")
