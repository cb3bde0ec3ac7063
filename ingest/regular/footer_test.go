package regular

import (
	"strings"
	"testing"
)

// The last eight bytes of a Parquet file are its footer's length, the lowest byte
// first, and PAR1 (the format's specification).
func TestFooterFits(t *testing.T) {
	const head = "PAR1......" // ten bytes before the end
	for _, c := range []struct{ text, says string }{
		{head + "\x0a\x00\x00\x00PAR1", ""},
		{head + "\x06\x00\x00\x00PAR1", ""},
		{head + "\x0b\x00\x00\x00PAR1", "the footer claims 11 bytes of a file of 18"},
		{head + "\x06\x00\x00\x80PAR1", "the footer claims 2147483654 bytes of a file of 18"},
		{"PAR1", "the file has 4 bytes"},
		{"", "the file has 0 bytes"},
	} {
		err := FooterFits(strings.NewReader(c.text), int64(len(c.text)))
		if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%q: %v, want %q", c.text, err, c.says)
		}
	}
}
