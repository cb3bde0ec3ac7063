//go:build !unix

package ledger

import (
	"context"
	"errors"
)

// lock does nothing where the system has no lock that ends with the program.
func lock(context.Context, string, func(string)) (release func(), err error) {
	return func() {}, nil
}

func lockToRead(string) (release func(), err error) { return func() {}, nil }

// lockAlone: nobody can be known to be reading no longer, so nothing is removed.
func lockAlone(string) (release func(), err error) { return nil, errors.ErrUnsupported }
