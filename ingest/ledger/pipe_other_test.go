//go:build !unix

package ledger

import "errors"

// makePipe: a folder holds no pipes on this system.
func makePipe(string) error { return errors.ErrUnsupported }
