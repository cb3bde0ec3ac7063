//go:build !unix

package main

import "errors"

// makePipe: a folder holds no pipes on this system.
func makePipe(string) error { return errors.ErrUnsupported }
