package report

import (
	"io"
	"os"
	"path/filepath"
	"testing"
)

// explainDamaged explains a site of a run of which one byte is changed, or the
// end is missing: an error or an answer, and no panic.
func explainDamaged(t *testing.T, base, table string, at int, flip byte, length int) error {
	dir := t.TempDir()
	for _, name := range []string{"sites.parquet", "monthly.parquet", "options.parquet"} {
		b, err := os.ReadFile(filepath.Join(base, name))
		if err != nil {
			t.Fatal(err)
		}
		if name == table {
			if at < 0 || at >= len(b) || length < 0 || length > len(b) {
				return nil
			}
			b[at] ^= flip
			b = b[:length]
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	_, err := Compare(dir, dir, 0)
	if e := Explain(io.Discard, dir, "A"); e != nil {
		err = e
	}
	return err
}

// TestDamagedRun: a run's tables cut short at any place, or with a bit turned.
func TestDamagedRun(t *testing.T) {
	base := publishedRun(t, nil)
	for _, table := range []string{"sites.parquet", "monthly.parquet", "options.parquet"} {
		whole, err := os.ReadFile(filepath.Join(base, table))
		if err != nil {
			t.Fatal(err)
		}
		for length := 0; length < len(whole); length += 1 + len(whole)/25 {
			if err := explainDamaged(t, base, table, 0, 0, max(1, length)); err == nil {
				t.Errorf("%s cut to %d bytes is not noticed", table, length)
			}
		}
		for at := 1; at < len(whole); at += 1 + len(whole)/60 {
			explainDamaged(t, base, table, at, 1<<(at%8), len(whole))
			explainDamaged(t, base, table, len(whole)-at, 0xff, len(whole))
		}
	}
}
