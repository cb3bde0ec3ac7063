package report

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// byBranch splits the list by branch, in the order of the branches' names; the
// rows keep their order.
func byBranch(rows []CallRow) [][]CallRow {
	at := map[string]int{}
	var names []string
	for _, r := range rows {
		if _, ok := at[r.Branch]; !ok {
			at[r.Branch] = 0
			names = append(names, r.Branch)
		}
	}
	slices.Sort(names)
	parts := make([][]CallRow, len(names))
	for i, n := range names {
		at[n] = i
	}
	for _, r := range rows {
		parts[at[r.Branch]] = append(parts[at[r.Branch]], r)
	}
	return parts
}

// sheetName makes a name that a workbook accepts and that is not taken: at most
// 31 characters, none of :\/?*[], no apostrophe at either end, and no two names
// that differ in case alone.
func sheetName(branch string, taken map[string]bool) string {
	name := strings.Map(func(r rune) rune {
		if r < ' ' || r == utf8.RuneError || strings.ContainsRune(`:\/?*[]'`, r) {
			return ' '
		}
		return r
	}, branch)
	if name = strings.TrimSpace(name); name == "" || strings.EqualFold(name, "history") { // Excel keeps this one for itself
		name = strings.TrimSpace("branch " + name)
	}
	for i := 1; ; i++ {
		try := cut(name, 31)
		if i > 1 {
			tail := fmt.Sprintf(" (%d)", i)
			try = cut(name, 31-len(tail)) + tail
		}
		if !taken[strings.ToLower(try)] {
			taken[strings.ToLower(try)] = true
			return try
		}
	}
}

// cut keeps the first n of a text's UTF-16 units, which is how a workbook counts.
func cut(s string, n int) string {
	units := 0
	for i, r := range s {
		units++
		if r > 0xffff {
			units++
		}
		if units > n {
			return s[:i]
		}
	}
	return s
}
