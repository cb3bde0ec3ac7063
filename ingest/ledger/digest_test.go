package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The digest that is taken while a file is read is that of the file: of one with notes
// before its table, without a last line break, read twice for a quoted field, empty.
func TestDigestOnTheWay(t *testing.T) {
	head := "site_id,start,production_wh\n"
	var long strings.Builder
	for i := range 30_000 {
		fmt.Fprintf(&long, "A,2026-03-%02dT%02d:%02d:00Z,%d\n", 1+i/1440, i/60%24, i%60, i%900)
	}
	for name, text := range map[string]string{
		"long": head + long.String(), "no last break": head + strings.TrimSuffix(long.String(), "\n"),
		"quoted": head + long.String() + "\"A\n\",2026-04-01T00:00:00Z,1\n", "head only": head,
		"byte order mark": "\ufeff" + head + "A,2026-03-01T00:00:00Z,1\nA,2026-03-01T01:00:00Z,1\n",
	} {
		dir := t.TempDir()
		path := filepath.Join(dir, "readings", "a.csv")
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		report, err := Update(t.Context(), dir, nil, nil, Options{Workers: 2})
		if err != nil {
			t.Fatal(err)
		}
		want := sha256.Sum256([]byte(text))
		for _, f := range report.Files {
			if f.Digest != hex.EncodeToString(want[:]) {
				t.Errorf("%s: digest %s", name, f.Digest)
			}
		}
		if len(report.Files) == 0 && len(report.Rejects) == 0 {
			t.Errorf("%s: not read", name)
		}
	}
}
