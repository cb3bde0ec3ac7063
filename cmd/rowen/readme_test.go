package main

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rowen/analyze/rank"
	"rowen/report"
)

// TestReadmeIsTheDictionary: the README's table of a run's folder is the
// dictionary's, it names every lane, and every command in it exists.
func TestReadmeIsTheDictionary(t *testing.T) {
	text := read(t, filepath.Join("..", "..", "README.md"))
	var want, tables []string
	for _, f := range report.Files() {
		if strings.HasSuffix(f.Name, ".parquet") {
			tables = append(tables, "`"+f.Name+"`")
			continue
		}
		want = append(want, fmt.Sprintf("| `%s` | %s |", f.Name, f.Says))
	}
	want = append(want, "| "+strings.Join(tables, ", ")+" | the tables; `rowen schema` describes every column |")
	if whole := "| file | what it is |\n| --- | --- |\n" + strings.Join(want, "\n") + "\n\n"; !strings.Contains(text, whole) {
		t.Errorf("the README's table of a run's folder is not the dictionary's:\n%s", whole)
	}
	lanes := text[strings.Index(text, "Each site is in one lane"):]
	for _, l := range rank.Lanes {
		if !strings.Contains(lanes[:400], "`"+string(l)+"`") {
			t.Errorf("the README does not name the lane %s", l)
		}
	}
	n := 0
	for _, m := range regexp.MustCompile("(?m)^(?:    |\\| `)rowen ([a-z]+)([^`\n]*)").FindAllStringSubmatch(text, -1) {
		n++
		code, out, _ := rowenRun(m[1], "--help")
		if m[1] == "help" {
			code, out, _ = rowenRun("help", "scheduling")
		}
		if code != 0 {
			t.Errorf("the README has rowen %s, which is no command", m[1])
		}
		for _, flag := range regexp.MustCompile(`--[a-z-]+`).FindAllString(m[2], -1) {
			if !strings.Contains(out, flag) {
				t.Errorf("the README has rowen %s %s, which its help lacks", m[1], flag)
			}
		}
	}
	if n < 10 {
		t.Errorf("only %d commands were found in the README: the look for them is broken", n)
	}
}
