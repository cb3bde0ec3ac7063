package config

import "strings"

// nearest gives the known key that s most likely stands for: the same name in
// another place, else the one the fewest edits away; "" where none is near.
// Of two equally near the first wins.
func nearest(s string, known []string) string {
	last := s[strings.LastIndexAny(s, ". ")+1:]
	best, least := "", max(len(last)/2, 2)+1
	for _, k := range known {
		if strings.HasSuffix(k, "."+last) {
			return k
		}
		d := min(distance(s, k), distance(last, k[strings.LastIndex(k, ".")+1:]))
		if d < least {
			best, least = k, d
		}
	}
	return best
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
