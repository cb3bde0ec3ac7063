package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"
)

// arena is the program, a fleet that nobody touches, and what its undisturbed
// run gives.
type arena struct {
	dir, keep, program, fleet string
	want                      map[string]string // digests of the outputs by name
	took                      time.Duration     // of the undisturbed run
	rnd                       *rand.Rand

	name          string
	tried, failed int
	broken        int // of this attack
	ends          map[string]int
	mostKB        int64
}

func (a *arena) begin(name string) {
	a.name, a.tried, a.broken, a.ends, a.mostKB = name, 0, 0, map[string]int{}, 0
}

func (a *arena) end() {
	var ends []string
	for e, n := range a.ends {
		ends = append(ends, fmt.Sprintf("%s: %d", e, n))
	}
	slices.Sort(ends)
	fmt.Printf("%-8s %4d tried, %d broke something; %s; most memory %d MB\n", a.name, a.tried, a.broken, strings.Join(ends, ", "), a.mostKB/1024)
}

// breaks notes that an attack succeeded.
func (a *arena) breaks(dir, format string, args ...any) {
	a.failed++
	a.broken++
	fmt.Printf("  BROKEN by %s: %s\n", a.name, strings.ReplaceAll(fmt.Sprintf(format, args...), "\n", "\n    "))
	if a.keep != "" && dir != "" {
		to := filepath.Join(a.keep, fmt.Sprintf("%s-%d", a.name, a.failed))
		if err := os.CopyFS(to, os.DirFS(dir)); err == nil {
			fmt.Printf("    kept in %s\n", to)
		}
	}
}

// result is how one call of the program ended.
type result struct {
	code int
	said string
	took time.Duration
	kB   int64
}

// patience is how long a call may take at most.
const patience = 2 * time.Minute

// do calls the program and waits.
func (a *arena) do(dir string, args ...string) result {
	return a.wait(dir, exec.Command(a.program, args...), nil)
}

// wait runs a command; meanwhile, where given, is called when it has started.
func (a *arena) wait(dir string, c *exec.Cmd, meanwhile func(*os.Process)) result {
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // whatever traces it ends with it
	from := time.Now()
	if err := c.Start(); err != nil {
		return result{code: -1, said: err.Error()}
	}
	late := time.AfterFunc(patience, func() { syscall.Kill(-c.Process.Pid, syscall.SIGKILL) })
	if meanwhile != nil {
		meanwhile(c.Process)
	}
	err := c.Wait()
	r := result{said: said.String(), took: time.Since(from)}
	if !late.Stop() {
		a.breaks(dir, "%v had not ended after %v", c.Args[1:], patience)
	}
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		r.code = exit.ExitCode()
		if s, ok := exit.Sys().(syscall.WaitStatus); ok && s.Signaled() {
			r.code = 128 + int(s.Signal())
		}
	}
	if u, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
		r.kB = u.Maxrss
		a.mostKB = max(a.mostKB, u.Maxrss)
	}
	return r
}

var mustNotBeSaid = regexp.MustCompile(`panic:|goroutine \d+|runtime error|SIGSEGV|\x1b|` + regexp.QuoteMeta(secret))

// promised checks how a call ended: with one of these codes, in plain words.
func (a *arena) promised(dir, what string, r result, codes ...int) bool {
	a.tried++
	a.ends[fmt.Sprintf("exit %d", r.code)]++
	switch {
	case !slices.Contains(codes, r.code):
		a.breaks(dir, "%s: exit %d, promised were %v\n%s", what, r.code, codes, tail(r.said))
	case mustNotBeSaid.MatchString(r.said):
		a.breaks(dir, "%s: says %q\n%s", what, mustNotBeSaid.FindString(r.said), tail(r.said))
	case r.code != 0 && r.code < 128 && strings.TrimSpace(r.said) == "":
		a.breaks(dir, "%s: exit %d without a word", what, r.code)
	case len(r.said) > 1<<17:
		a.breaks(dir, "%s: says %d bytes", what, len(r.said))
	case r.kB > 600<<10:
		a.breaks(dir, "%s: %d MB of memory", what, r.kB>>10)
	default:
		return true
	}
	return false
}

func tail(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return strings.Join(lines[max(0, len(lines)-12):], "\n")
}

// copy gives a copy of the fleet, with its ledger and runs or without.
func (a *arena) copy(withRuns bool) string {
	dir, err := os.MkdirTemp(a.dir, "try-")
	if err != nil {
		panic(err)
	}
	if err := os.CopyFS(dir, os.DirFS(a.fleet)); err != nil {
		panic(err)
	}
	if !withRuns {
		os.RemoveAll(filepath.Join(dir, ".rowen"))
		os.RemoveAll(filepath.Join(dir, "runs"))
	}
	return dir
}

// same checks that a job that ended with 0 has lost nothing: its lists and tables are
// those of the undisturbed run. Its record and its page may warn.
func (a *arena) same(dir, what string) {
	d := slices.DeleteFunc(differences(a.want, bytesOf(filepath.Join(dir, "runs"))), func(name string) bool {
		return filepath.Base(name) == "run.json" || filepath.Base(name) == "index.html"
	})
	if len(d) > 0 {
		a.breaks(dir, "%s: it ends with 0 and differs in %v", what, d)
	}
}

// restore puts everything that the job reads back as it was; the ledger stays.
func (a *arena) restore(dir string) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		panic(err)
	}
	for _, e := range entries {
		if e.Name() != ".rowen" {
			os.RemoveAll(filepath.Join(dir, e.Name()))
		}
	}
	clean := a.copy(false)
	defer os.RemoveAll(clean)
	if err := os.CopyFS(dir, os.DirFS(clean)); err != nil {
		panic(err)
	}
}

// recovers checks that a run on what is whole again gives the undisturbed bytes,
// and that nothing unfinished is left.
func (a *arena) recovers(dir, what string, args ...string) {
	r := a.do(dir, append([]string{"run", dir}, args...)...)
	if r.code != 0 {
		a.breaks(dir, "%s: the run after it ends with %d\n%s", what, r.code, tail(r.said))
		return
	}
	if d := differences(a.want, bytesOf(filepath.Join(dir, "runs"))); len(d) > 0 {
		a.breaks(dir, "%s: the run after it differs in %v", what, d)
	}
	a.nothingUnfinished(dir, what)
}

func (a *arena) nothingUnfinished(dir, what string) {
	for _, pattern := range []string{"runs/.unfinished-*", "runs/.old-*", ".rowen/ledger/*tmp*"} {
		if left, _ := filepath.Glob(filepath.Join(dir, pattern)); len(left) > 0 {
			a.breaks(dir, "%s: leaves %v", what, left)
		}
	}
}

// whole checks that every run that can be seen was finished: its record is there,
// and every output stands as the record has it.
func (a *arena) whole(dir, what string) {
	runs, _ := filepath.Glob(filepath.Join(dir, "runs", "2*"))
	for _, run := range runs {
		b, err := os.ReadFile(filepath.Join(run, "run.json"))
		if err != nil {
			a.breaks(dir, "%s: %s is seen without its record", what, filepath.Base(run))
			continue
		}
		var record struct{ Outputs map[string]string }
		if err := json.Unmarshal(b, &record); err != nil || len(record.Outputs) == 0 {
			a.breaks(dir, "%s: the record of %s cannot be read: %v", what, filepath.Base(run), err)
		}
		for name, digest := range record.Outputs {
			b, err := os.ReadFile(filepath.Join(run, name))
			if err != nil || fmt.Sprintf("%x", sha256.Sum256(b)) != digest {
				a.breaks(dir, "%s: %s of %s is not as its record has it", what, name, filepath.Base(run))
			}
		}
	}
}

// bytesOf gives the digests of all files below a folder; a run's record counts
// without its timings.
func bytesOf(dir string) map[string]string {
	out := map[string]string{}
	filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return nil
		}
		if d.Name() == "run.json" {
			var m map[string]any
			if json.Unmarshal(b, &m) == nil {
				delete(m, "timings")
				b, _ = json.Marshal(m)
			}
		}
		rel, _ := filepath.Rel(dir, path)
		out[rel] = fmt.Sprintf("%x", sha256.Sum256(b))
		return nil
	})
	return out
}

func differences(want, got map[string]string) (names []string) {
	for name, d := range want {
		if got[name] != d {
			names = append(names, name)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			names = append(names, "+"+name)
		}
	}
	slices.Sort(names)
	return names
}
