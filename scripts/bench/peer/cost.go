package main

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest/demo"
)

// cost is what one run took.
type cost struct{ wall, cpu, memoryMB float64 }

//go:embed start.py
var startScript string

// shippedProfiles are the service profiles of a catalogue that has none.
const shippedProfiles = "ingest/register/profiles/profiles.yaml"

// contestants in the order of the table; again: rowen in a folder it has read.
const (
	ours   = "rowen"
	theirs = "peer"
	again  = "again"
)

// measure runs all in turn, in another order each round, so that what the machine
// does besides falls on all alike.
func (b *bench) measure() (map[string][]cost, error) {
	took := map[string][]cost{}
	for round := range b.rounds + 1 {
		order := []string{ours, again, theirs}
		if round%2 == 1 {
			order = []string{theirs, ours, again}
		}
		for _, who := range order {
			c, err := b.once(who)
			if err != nil {
				return nil, fmt.Errorf("round %d: %w", round, err)
			}
			if round > 0 {
				took[who] = append(took[who], c)
			}
		}
	}
	return took, nil
}

func (b *bench) out(who string) string { return filepath.Join(b.dir, "out-"+who) }

func (b *bench) once(who string) (cost, error) {
	var cmd *exec.Cmd
	switch who {
	case theirs:
		if err := os.RemoveAll(b.out(theirs)); err != nil {
			return cost{}, err
		}
		cmd = exec.Command(b.python, "-c", startScript, shippedProfiles, b.peer, b.fleet, b.out(theirs))
	case ours:
		if err := errors.Join(os.RemoveAll(filepath.Join(b.fleet, ".rowen")), os.RemoveAll(b.out(ours))); err != nil {
			return cost{}, err
		}
		cmd = exec.Command(b.program, "run", b.fleet, "--out", b.out(ours))
	default:
		cmd = exec.Command(b.program, "run", b.fleet, "--out", b.out(ours))
	}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return cost{}, err
	}
	stop, peak := make(chan struct{}), make(chan float64)
	go watch(cmd.Process.Pid, stop, peak)
	err := cmd.Wait()
	c := cost{wall: time.Since(began).Seconds()}
	close(stop)
	c.memoryMB = <-peak
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() == 3 { // done, but some rows were set aside
		err = nil
	}
	if err != nil {
		return c, fmt.Errorf("%s: %w\n%s", who, err, said.String())
	}
	c.cpu = cmd.ProcessState.UserTime().Seconds() + cmd.ProcessState.SystemTime().Seconds()
	return c, nil
}

// watch looks ten times a second at the memory of a process and all below it,
// shared pages counted once, until told to stop. NaN-free: 0 where the system
// does not tell.
func watch(pid int, stop <-chan struct{}, peak chan<- float64) {
	most := 0.0
	for tick := time.NewTicker(100 * time.Millisecond); ; {
		select {
		case <-stop:
			tick.Stop()
			peak <- most
			return
		case <-tick.C:
			most = max(most, treeMB(pid))
		}
	}
}

// treeMB is the proportional set size of a process and its descendants.
func treeMB(pid int) float64 {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	total := 0.0
	if b, err := os.ReadFile(filepath.Join(proc, "smaps_rollup")); err == nil {
		for _, line := range strings.Split(string(b), "\n") {
			if f := strings.Fields(line); len(f) == 3 && f[0] == "Pss:" {
				kb, _ := strconv.ParseFloat(f[1], 64)
				total = kb / 1024
			}
		}
	}
	lists, _ := filepath.Glob(filepath.Join(proc, "task", "*", "children"))
	for _, l := range lists {
		b, _ := os.ReadFile(l)
		for _, child := range strings.Fields(string(b)) {
			if n, err := strconv.Atoi(child); err == nil {
				total += treeMB(n)
			}
		}
	}
	return total
}

func printCost(w io.Writer, o demo.Options, rounds int, took map[string][]cost) {
	fmt.Fprintf(w, "%d sites, %d months of %d minutes, seed %d; medians of %d rounds in turn (least to most)\n\n", o.Sites, o.Months, o.StepMinutes, o.Seed, rounds)
	fmt.Fprintln(w, "| | rowen | peer | peer / rowen | rowen again, from its ledger |\n| --- | --- | --- | --- | --- |")
	for _, m := range []struct {
		name string
		of   func(cost) float64
	}{
		{"wall, s", func(c cost) float64 { return c.wall }},
		{"CPU, s", func(c cost) float64 { return c.cpu }},
		{"peak memory, MB", func(c cost) float64 { return c.memoryMB }},
	} {
		var cells []string
		middle := map[string]float64{}
		for _, who := range []string{ours, theirs, again} {
			var x []float64
			for _, c := range took[who] {
				x = append(x, m.of(c))
			}
			slices.Sort(x)
			middle[who] = quantile(x, 0.5)
			cells = append(cells, fmt.Sprintf("%.1f (%.1f to %.1f)", middle[who], x[0], x[len(x)-1]))
		}
		fmt.Fprintf(w, "| %s | %s | %s | %.1f | %s |\n", m.name, cells[0], cells[1], middle[theirs]/middle[ours], cells[2])
	}
}

// quantile is that of sorted values, type 7 of Hyndman and Fan 1996.
func quantile(x []float64, q float64) float64 {
	at := q * float64(len(x)-1)
	i := int(at)
	if i+1 >= len(x) {
		return x[len(x)-1]
	}
	return x[i] + (at-float64(i))*(x[i+1]-x[i])
}
