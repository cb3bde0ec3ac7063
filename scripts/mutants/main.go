// Command mutants counts the small faults that a package's tests notice. It builds
// every fault into one test binary, switched on by a number, so that a fault costs a
// run of the tests that reach it and no compilation.
//
//	go run ./scripts/mutants analyze/tariff            the share killed, and every fault that lived
//	go run ./scripts/mutants -sample 300 analyze/array   300 of them, drawn by a fixed seed
//
// The kinds are those of common mutation testers: the operator of a sum or product
// swapped, a limit moved on or off its value, a comparison turned round, ++ for --, a
// sign dropped. Constant expressions are left as they are.
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
)

func main() {
	var o options
	flag.BoolVar(&o.short, "short", false, "run the tests with -short")
	flag.IntVar(&o.sample, "sample", 0, "try only so many faults, drawn by a fixed seed; 0: all")
	flag.IntVar(&o.checks, "checks", 0, "checks of each property test; 0: rapid's own number")
	flag.Float64Var(&o.slowest, "slowest", 0, "leave out tests that take more seconds than this; 0: none")
	flag.StringVar(&o.only, "files", "", "only files whose name contains this")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "usage: mutants [flags] PACKAGE")
		os.Exit(2)
	}
	if err := work(strings.Trim(flag.Arg(0), "./"), o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

type options struct {
	short          bool
	sample, checks int
	slowest        float64
	only           string
}

func work(folder string, o options) error {
	dir, err := os.MkdirTemp("", "mutants")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	faults, overlay, err := weave(folder, dir, o.only)
	if err != nil {
		return err
	}
	binary := dir + "/mutants.test"
	build := exec.Command("go", "test", "-c", "-vet=off", "-overlay", overlay, "-o", binary, "./"+folder)
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("building the tests of %s with the faults in them: %w\n%s", folder, err, out)
	}
	r, err := newRunner(binary, folder, dir, o)
	if err != nil {
		return err
	}
	if r.total == 0 {
		return errors.New("no test of " + folder + " passes, or there is none")
	}
	return r.report(faults)
}
