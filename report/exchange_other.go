//go:build !linux

package report

import "errors"

func exchange(string, string) error { return errors.ErrUnsupported }
