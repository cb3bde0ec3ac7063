package readings

import (
	"regexp"
	"strings"
)

// numbers tells how an export writes its numbers.
type numbers struct {
	decimal   string // "." or ","
	thousands string // "" : none
	unsure    bool   // "1,234" may be 1.234 or 1234
	example   string
}

var (
	anyNumber = regexp.MustCompile(`^[+-]?(\d+([.,'_ ]\d+)*|[.,]\d+)([eE][+-]?\d+)?$`)
	oneSign   = regexp.MustCompile(`^[+-]?(\d*)([.,])(\d+)$`)
	grouped   = regexp.MustCompile(`^[+-]?[1-9]\d{0,2}([.,' _])\d{3}((?:[.,' _]\d{3})*)([.,]\d+)?$`)
)

// isNumeric tells whether a cell may be a number, however it is written.
func isNumeric(cell string) bool { return anyNumber.MatchString(strings.TrimSpace(cell)) }

// numbersIn finds the decimal sign and the sign between thousands in a column's
// cells. "0,173" and "1234,5" can only have a decimal comma, "1.234,50" a
// thousands point; "1,234" alone may be either.
func numbersIn(cells []string) numbers {
	n := numbers{}
	sure := map[string]bool{}      // signs that can only be the decimal one
	sureGroup := map[string]bool{} // signs that can only part thousands
	maybe := map[string]string{}   // signs that may be either, with an example
	for _, c := range cells {
		c = strings.TrimSpace(c)
		if m := oneSign.FindStringSubmatch(c); m != nil {
			if len(m[3]) == 3 && len(m[1]) >= 1 && len(m[1]) <= 3 && m[1][0] != '0' {
				maybe[m[2]] = c
			} else {
				sure[m[2]] = true
			}
			continue
		}
		if m := grouped.FindStringSubmatch(c); m != nil {
			if m[3] != "" && m[3][:1] != m[1] {
				sureGroup[m[1]], sure[m[3][:1]] = true, true
			} else if m[2] != "" {
				sureGroup[m[1]] = true
			}
		}
	}
	for g := range sureGroup {
		n.thousands = g
	}
	switch {
	case sure[","]:
		n.decimal = ","
	case sure["."]:
		n.decimal = "."
	case n.thousands == ".":
		n.decimal = ","
	case n.thousands != "":
		n.decimal = "."
	default:
		for _, sign := range []string{",", "."} {
			if example, ok := maybe[sign]; ok {
				return numbers{decimal: sign, unsure: true, example: example}
			}
		}
		n.decimal = "."
	}
	if other := map[string]string{",": ".", ".": ","}[n.decimal]; n.thousands == "" && maybe[other] != "" {
		n.thousands = other
	}
	return n
}

// milli reads a cell by what is known of the numbers, in thousandths; ok is
// false for none.
func (n numbers) milli(cell string) (int64, bool) {
	cell = strings.TrimSpace(cell)
	if n.thousands != "" {
		cell = strings.ReplaceAll(cell, n.thousands, "")
	}
	v, reason := parseMilli([]byte(cell), n.decimal[0], 1000)
	return v, reason == "" && v != Missing
}
