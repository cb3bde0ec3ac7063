package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/parquet-go/parquet-go"
)

// readTable reads one table of a run.
func readTable[T any](run, name string) ([]T, error) {
	path := filepath.Join(run, name)
	rows, err := parquet.ReadFile[T](path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("reading the run: %s is not there; name a run's folder, such as fleet/runs/2026-10", path)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the run: %s: %w", path, err)
	}
	return rows, nil
}

// siteRows reads sites.parquet of a run.
func siteRows(run string) ([]SiteRow, error) { return readTable[SiteRow](run, "sites.parquet") }
