package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestScripts runs the whole program as users do: testdata/script has one file a
// behavior. Each begins in a folder with a small fleet, fleet/; exits CODE is a
// call of rowen that must end with that code.
func TestScripts(t *testing.T) {
	fleet := theSmallFleet(t)
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(e *testscript.Env) error {
			return os.CopyFS(filepath.Join(e.WorkDir, "fleet"), os.DirFS(fleet))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE arguments of rowen")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var exit *exec.ExitError
	switch err := ts.Exec("rowen", args[1:]...); {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit %d, want %d", got, want)
	}
}

// cleaning are the tests with what is cleared away after them.
type cleaning struct{ *testing.M }

func (c cleaning) Run() int {
	code := c.M.Run()
	os.RemoveAll(smallDir)
	if dir, _ := theDemoDir(); dir != "" {
		os.RemoveAll(filepath.Dir(dir))
	}
	return code
}

func TestMain(m *testing.M) {
	testscript.Main(cleaning{m}, map[string]func(){"rowen": main})
}
