package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// A file that is there and cannot be read is missing from the record, and that is
// said; one that is not there is no file.
func TestDigestsTellWhatTheyCouldNotRead(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "sites.csv"), []byte("site_id\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"planes.csv", "weather/a.epw"} { // a folder in a file's place
		if err := os.MkdirAll(filepath.Join(dir, filepath.FromSlash(name)), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	inputs, unread := digests(dir, "")
	// SHA-256 of "site_id\n" by sha256sum.
	const sum = "e453922637119954eff7ed3a07b8d39c76e685f05c2f02661e0a94c6f09aae4c"
	if len(inputs) != 1 || inputs[0].File != "sites.csv" || inputs[0].Bytes != 8 || inputs[0].SHA256 != sum {
		t.Errorf("inputs %v", inputs)
	}
	if !slices.Equal(unread, []string{"planes.csv", "weather/a.epw"}) {
		t.Errorf("unread %q", unread)
	}

	var l lacking
	l.unrecorded(unread, []ingest.Reject{{File: "planes.csv", Reason: "a folder"}})
	if len(l.says) != 1 || !strings.Contains(l.says[0], "1 file of the fleet's folder could not be read") || !strings.Contains(l.says[0], "weather/a.epw") {
		t.Errorf("says %q", l.says)
	}
	if l.verdict("see run.json") == nil {
		t.Error("the run ends as if nothing were missing")
	}
}
