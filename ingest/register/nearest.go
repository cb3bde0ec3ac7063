package register

import "fmt"

// didYouMean ends a message with the known word nearest to s; "" where none is
// near.
func didYouMean(s string, known []string) string {
	best, least := "", max(len(s)/2, 2)+1
	for _, k := range known {
		if d := distance(s, k); d < least {
			best, least = k, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(": did you mean %q?", best)
}

// distance is the number of single-letter insertions, deletions and
// replacements between two words (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diagonal
			if a[i] != b[j] {
				d++
			}
			diagonal = row[j+1]
			row[j+1] = min(d, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
