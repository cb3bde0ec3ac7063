package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/analyze/stat"
)

// Tests below quick share one process, and so do those below middling: the most of
// what they take may be one preparation. A run may take slack times its time
// without a fault, and grace more. Our choice.
const (
	quick    = 300 * time.Millisecond
	middling = 3 * time.Second
	slack    = 10
	grace    = 3 * time.Second
)

type reaching struct {
	name string
	took time.Duration
	seen map[int]bool
}

type runner struct {
	binary, folder string
	flags          []string
	tests          []reaching // the quickest first
	total          time.Duration
	sample         int
}

// newRunner runs each test by itself, for its time and for the faults that it reaches.
func newRunner(binary, folder, dir string, o options) (*runner, error) {
	r := &runner{binary: binary, folder: folder, sample: o.sample}
	if o.short {
		r.flags = append(r.flags, "-test.short")
	}
	if usesRapid(folder) {
		r.flags = append(r.flags, "-rapid.shrinktime=0s", "-rapid.nofailfile")
		if o.checks > 0 {
			r.flags = append(r.flags, fmt.Sprintf("-rapid.checks=%d", o.checks))
		}
	}
	list := exec.Command(binary, "-test.list", ".")
	list.Dir = folder
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("listing the tests of %s: %w", folder, err)
	}
	for _, name := range strings.Fields(string(out)) {
		if strings.HasPrefix(name, "Benchmark") {
			continue
		}
		path := filepath.Join(dir, "seen")
		os.Remove(path)
		if died, _ := r.run(name, 10*time.Minute, "MUTANT_SEEN="+path); died {
			fmt.Printf("left out, fails without a fault: %s\n", name)
			continue
		}
		seen, err := numbers(path)
		if err != nil {
			return nil, err
		}
		start := time.Now()
		r.run(name, 10*time.Minute)
		took := time.Since(start)
		if o.slowest > 0 && took.Seconds() > o.slowest {
			fmt.Printf("left out, takes %.1f s: %s\n", took.Seconds(), name)
			continue
		}
		r.total += took
		r.tests = append(r.tests, reaching{name, took, seen})
	}
	slices.SortStableFunc(r.tests, func(a, b reaching) int { return int(a.took - b.took) })
	return r, nil
}

func usesRapid(folder string) bool {
	paths, _ := filepath.Glob(filepath.Join(folder, "*_test.go"))
	return slices.ContainsFunc(paths, func(path string) bool {
		src, _ := os.ReadFile(path)
		return bytes.Contains(src, []byte(`"pgregory.net/rapid"`))
	})
}

func numbers(path string) (map[int]bool, error) {
	seen := map[int]bool{}
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return seen, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		n, err := strconv.Atoi(s.Text())
		if err != nil {
			return nil, err
		}
		seen[n] = true
	}
	return seen, nil
}

// run says whether the tests failed, and whether they took too long.
func (r *runner) run(names string, limit time.Duration, env ...string) (died, late bool) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	args := append([]string{"-test.failfast", "-test.run", "^(" + names + ")$"}, r.flags...)
	c := exec.CommandContext(ctx, r.binary, args...)
	c.Dir, c.Env = r.folder, append(os.Environ(), append(env, "GOMAXPROCS=1", "GOMEMLIMIT=2GiB")...)
	err := c.Run()
	return err != nil, ctx.Err() != nil
}

// try runs the tests that reach a fault, the quick ones together and first, then the middling ones.
func (r *runner) try(id int) (reached, died, late bool) {
	var runs []reaching // quickest first, as the tests are
	longest := time.Duration(0)
	for _, t := range r.tests {
		switch {
		case !t.seen[id]:
		case len(runs) > 0 && (t.took < quick || quick <= longest && t.took < middling):
			last := &runs[len(runs)-1]
			last.name, last.took, longest = last.name+"|"+t.name, last.took+t.took, t.took
		default:
			runs, longest = append(runs, t), t.took
		}
	}
	for _, t := range runs {
		died, late = r.run(t.name, slack*t.took+grace, "MUTANT="+strconv.Itoa(id))
		if died {
			return true, true, late
		}
	}
	return len(runs) > 0, false, false
}

func (r *runner) report(faults []fault) error {
	ids := rand.New(rand.NewPCG(1, 1)).Perm(len(faults))
	if r.sample > 0 && r.sample < len(ids) {
		ids = ids[:r.sample]
	}
	slices.Sort(ids)
	killed, lived, late, unreached := 0, 0, 0, 0
	for _, i := range ids {
		reached, died, slow := r.try(i + 1)
		switch {
		case !reached:
			unreached++
			fmt.Printf("not reached  %s  %s\n", faults[i].where, faults[i].what)
		case slow:
			late++
		case died:
			killed++
		default:
			lived++
			fmt.Printf("lived  %s  %s\n", faults[i].where, faults[i].what)
		}
	}
	share := 100 * float64(killed) / float64(max(1, killed+lived))
	fmt.Printf("%s: %d faults, %d tried, %d not reached, %d never ended, %d killed, %d lived: %.1f %% killed; tests %.1f s\n",
		r.folder, len(faults), len(ids), unreached, late, killed, lived, share, r.total.Seconds())
	if len(ids) < len(faults) {
		low, high := stat.Wilson(killed, killed+lived, 0.95)
		fmt.Printf("of all faults between %.0f and %.0f %%, with 95 %% confidence\n", 100*low, 100*high)
	}
	return nil
}
