package main

import (
	"strings"
	"testing"
)

// Every command has help in our layout, with an example; the overview lists it.
func TestHelpOfEveryCommand(t *testing.T) {
	code, overview, _ := rowenRun("--help")
	if code != 0 || !strings.Contains(overview, "Every month") {
		t.Fatalf("exit %d: %s", code, overview)
	}
	n := 0
	for _, s := range stages {
		for _, name := range s.commands {
			if !strings.Contains(overview, "  rowen "+name) {
				continue // not in this version
			}
			n++
			code, out, _ := rowenRun(name, "--help")
			for _, want := range []string{"rowen " + name + ": ", "\nUse\n", "\nFor example\n  rowen " + name, "\nOptions\n"} {
				if code != 0 || !strings.Contains(out, want) {
					t.Errorf("rowen %s --help: exit %d, no %q in:\n%s", name, code, want, out)
				}
			}
		}
	}
	if n < 8 {
		t.Errorf("the overview lists %d commands:\n%s", n, overview)
	}
	if code, out, _ := rowenRun("help", "scheduling"); code != 0 || !strings.Contains(out, "OnCalendar") || strings.Contains(out, "Options") {
		t.Errorf("exit %d: %s", code, out)
	}
}
