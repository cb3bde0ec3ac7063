//go:build !windows

package parts

import (
	"errors"
	"os"
)

// syncFolder brings a folder's entries to disk.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
