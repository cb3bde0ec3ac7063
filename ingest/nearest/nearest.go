// Package nearest finds the known word that a misspelt one most likely stands
// for. It imports nothing of the project, so that settings and tables share it.
package nearest

import (
	"fmt"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Word returns the known word that s most likely stands for: the same last part
// in another place ("horizon_years" for "money.horizon_years"), else the one
// the fewest edits away (Levenshtein 1966); "" where none is near. Of two
// equally near words the first wins.
func Word(s string, known []string) string {
	last := lastPart(s)
	best, least := "", max(len(last)/2, 2)+1
	for _, k := range known {
		if strings.HasSuffix(k, "."+last) {
			return k
		}
		d := min(levenshtein.ComputeDistance(s, k), levenshtein.ComputeDistance(last, lastPart(k)))
		if d < least {
			best, least = k, d
		}
	}
	return best
}

// lastPart is what follows the last dot or space of a key.
func lastPart(s string) string { return s[strings.LastIndexAny(s, ". ")+1:] }

// Hint ends a message with the word that s most likely stands for; "" where
// none is near.
func Hint(s string, known []string) string {
	if w := Word(s, known); w != "" {
		return fmt.Sprintf(": did you mean %q?", w)
	}
	return ""
}
