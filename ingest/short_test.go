package ingest

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// A short text stays as it is, a long one keeps both ends and is text still.
func TestShort(t *testing.T) {
	if s := strings.Repeat("a", 400); Short(s) != s {
		t.Error("400 bytes are cut")
	}
	got := Short("begins " + strings.Repeat("é", 1<<20) + " ends")
	if len(got) > 410 || !strings.HasPrefix(got, "begins ") || !strings.HasSuffix(got, " ends") || !utf8.ValidString(got) {
		t.Errorf("%d bytes: %q", len(got), got)
	}
}
