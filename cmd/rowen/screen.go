package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// screen is the terminal, or what stands in its place. Text from files may hold
// what a terminal would obey: it is shown as text. The first error of writing
// is kept: a full disk or a closed pipe is an error of the whole command.
type screen struct {
	out io.Writer
	err error
}

func (s *screen) Write(b []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	if _, err := io.WriteString(s.out, visible(string(b), "\n\t")); err != nil {
		s.err = fmt.Errorf("writing the output: %w", err)
		return 0, s.err
	}
	return len(b), nil
}

// Bytes is the way around the screen, for what is not text.
func (s *screen) Bytes() io.Writer { return s.out }

// visible shows what a terminal would obey as text: control characters but
// those that are allowed, marks that turn the direction of writing, and bytes
// that are no UTF-8.
func visible(text, allowed string) string {
	plain := true
	for i := range len(text) {
		if c := text[i]; c < ' ' || c >= 0x7f {
			plain = false
			break
		}
	}
	if plain {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(text[i:], "\ufffd"):
			fmt.Fprintf(&b, `\x%02x`, text[i])
		case strings.ContainsRune(allowed, r):
			b.WriteRune(r)
		case r < ' ' || r >= 0x7f && r < 0xa0:
			fmt.Fprintf(&b, `\x%02x`, r)
		case r == 0x200e || r == 0x200f || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
