package config

import "strings"

// Violation is one thing wrong with the settings.
type Violation struct {
	Where string // rowen.yaml:12, ROWEN_WORKERS, --workers; "" for a default
	Key   string
	Value string
	Limit string // "must be >= 0 % a year"
	Mend  string
}

func (v Violation) String() string {
	var b strings.Builder
	for _, s := range []string{v.Where, v.Key} {
		if s != "" {
			b.WriteString(s + ": ")
		}
	}
	if v.Value != "" {
		b.WriteString(v.Value + " ")
	}
	b.WriteString(v.Limit)
	if v.Mend != "" {
		b.WriteString(": " + v.Mend)
	}
	return b.String()
}

// Error is everything that is wrong with the settings, in the order of the
// file, then the environment, the flags and the keys.
type Error struct {
	Violations []Violation
}

func (e *Error) Error() string {
	lines := make([]string, len(e.Violations))
	for i, v := range e.Violations {
		lines[i] = v.String()
	}
	return strings.Join(lines, "\n")
}
