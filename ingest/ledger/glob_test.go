package ledger

import "testing"

// Expectations by hand, from what the manual promises: ** is any depth, {a,b}
// either, and a packed file answers to its name without the packing.
func TestMatches(t *testing.T) {
	for _, c := range []struct {
		glob, name string
		want       bool
	}{
		{"readings/*.csv", "readings/a.csv", true},
		{"readings/*.csv", "readings/a.csv.gz", true},
		{"readings/*.csv", "readings/a.csv.ZST", true},
		{"readings/*.csv.gz", "readings/a.csv.gz", true},
		{"readings/*.csv", "readings/b/a.csv", false},
		{"readings/*.csv", "readings/a.csv.bak", false},
		{"readings/**/*.csv", "readings/a.csv", true},
		{"readings/**/*.csv", "readings/2026/10/a.csv", true},
		{"readings/**", "readings/2026/10/a.csv", true},
		{"**/*.csv", "a.csv", true},
		{"readings/{old,new}/*.{csv,txt}", "readings/new/a.txt.zip", true},
		{"readings/{old,new}/*.{csv,txt}", "readings/other/a.txt", false},
		{"readings/20[0-9][0-9].csv", "readings/2026.csv", true},
		{"readings/?.csv", "readings/ab.csv", false},
		{"readings/A.csv", "readings/a.csv", false},
	} {
		if got := matches(c.glob, c.name); got != c.want {
			t.Errorf("%s, %s: %v", c.glob, c.name, got)
		}
	}
}

func TestFixedFolder(t *testing.T) {
	for glob, want := range map[string]string{
		"readings/*.csv": "readings", "*.csv": "", "a.csv": "", "exports/2026/a.csv": "exports/2026",
		"exports/{a,b}/*.csv": "exports", "exports/**/x.csv": "exports", "in/20??/x.csv": "in",
	} {
		if got := fixedFolder(glob); got != want {
			t.Errorf("%s: %q, want %q", glob, got, want)
		}
	}
}
