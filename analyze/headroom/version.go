package headroom

import (
	"strings"
)

// compareVersions orders two software versions part by part as numbers:
// -1 where a is older than b, 0 where equal, 1 where newer.
//
// In:      "8.10.2": parts between dots, an optional leading v, letters after a
//
//	number ("5.2.1180-rc1") only break ties, as text.
//
// Out:     8.10.2 is newer than 8.9.40; a missing part counts as 0, so 5.2 = 5.2.0.
// Refuses: a version without a leading number (ok is false): it is not known.
// Edges:   numbers of any length, compared as digit strings: no overflow.
func compareVersions(a, b string) (order int, ok bool) {
	pa, oka := versionParts(a)
	pb, okb := versionParts(b)
	if !oka || !okb {
		return 0, false
	}
	for i := 0; i < len(pa) || i < len(pb); i++ {
		var x, y part
		if i < len(pa) {
			x = pa[i]
		}
		if i < len(pb) {
			y = pb[i]
		}
		if c := x.compare(y); c != 0 {
			return c, true
		}
	}
	return 0, true
}

// part is one part of a version: its number without leading zeros, and what
// stands behind it.
type part struct{ digits, rest string }

func (p part) compare(q part) int {
	if len(p.digits) != len(q.digits) {
		if len(p.digits) < len(q.digits) {
			return -1
		}
		return 1
	}
	if c := strings.Compare(p.digits, q.digits); c != 0 {
		return c
	}
	// A release is newer than what precedes it: "1180" after "1180-rc1".
	switch {
	case p.rest == q.rest:
		return 0
	case p.rest == "":
		return 1
	case q.rest == "":
		return -1
	}
	return strings.Compare(p.rest, q.rest)
}

func versionParts(v string) ([]part, bool) {
	v = strings.TrimPrefix(strings.TrimPrefix(strings.TrimSpace(v), "v"), "V")
	if v == "" || v[0] < '0' || v[0] > '9' {
		return nil, false
	}
	var parts []part
	for _, field := range strings.Split(v, ".") {
		n := 0
		for n < len(field) && field[n] >= '0' && field[n] <= '9' {
			n++
		}
		parts = append(parts, part{strings.TrimLeft(field[:n], "0"), field[n:]})
	}
	return parts, true
}
