package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestPartsGiveTheBytesOfOneProcess: the fleet judged in one shard and in seven, in
// any order, with attempts that are killed, repeated and overtaken, gives every file
// that one process gives.
func TestPartsGiveTheBytesOfOneProcess(t *testing.T) {
	fleet := filepath.Join(t.TempDir(), "fleet")
	if code, _, errs := rowenRun("demo", "--dir", fleet, "--sites", "18", "--months", "16", "--seed", "3"); code != 0 {
		t.Fatal(errs)
	}
	// A site whose own row cannot be used, and one that no readings are of.
	write(t, fleet, "sites.csv", read(t, filepath.Join(fleet, "sites.csv"))+"ZZ-1,91\nAA-1,39.7,-104.9\n")
	want := filepath.Join(t.TempDir(), "whole")
	code, said, errs := rowenRun("run", fleet, "--out", want)
	if code != 0 && code != 3 {
		t.Fatal(errs)
	}
	for _, shards := range []int{1, 7} {
		p := parted{T: t, work: filepath.Join(t.TempDir(), "work"), out: filepath.Join(t.TempDir(), "out"), shards: shards}
		p.must(0, "plan", fleet, p.work, "--shards", strconv.Itoa(shards), "--out", p.out)
		p.must(0, "read", p.work)
		p.each("survey")
		p.must(0, "merge", p.work)
		p.each("judge")
		p.must(0, "rank", p.work)
		p.each("render")
		if is := p.must(code, "finish", p.work); strings.ReplaceAll(is, p.out, want) != said {
			t.Errorf("%d shards: finish says\n%s\nand run says\n%s", shards, is, said)
		}
		sameRun(t, want, p.out)
		sameRun(t, p.out, want) // no file more either
		p.forItsOwnerAlone()
	}
	loop, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("the shell loop was not run: no bash")
	}
	out := filepath.Join(t.TempDir(), "out")
	c := exec.Command(loop, filepath.Join("..", "..", "scripts", "parts", "loop"), fleet, filepath.Join(t.TempDir(), "work"), "3", "2", "--out", out)
	if said, err := c.CombinedOutput(); c.ProcessState.ExitCode() != code {
		t.Fatalf("the shell loop: %v: %s", err, said)
	}
	sameRun(t, want, out)
}

// parted is one job in parts.
type parted struct {
	*testing.T
	work, out string
	shards    int
}

func (p *parted) must(code int, args ...string) string {
	p.Helper()
	got, out, errs := rowenRun(append([]string{"part"}, args...)...)
	if got != code {
		p.Fatalf("rowen part %s: exit %d, want %d: %s", strings.Join(args, " "), got, code, errs)
	}
	return out
}

// each runs a stage on every shard, the last one first. The first attempt at the
// last one is killed; the part of the first one is lost and made again.
func (p *parted) each(stage string) {
	p.killed(stage, p.shards-1)
	for n := p.shards - 1; n >= 0; n-- {
		p.must(0, stage, p.work, strconv.Itoa(n))
	}
	lost := filepath.Join(p.work, stage+"-00000")
	before := filesBelow(p.T, lost)
	os.RemoveAll(lost)
	p.must(0, stage, p.work, "0", "--workers", "3")
	p.must(0, stage, p.work, "0")
	if !maps.EqualFunc(before, filesBelow(p.T, lost), bytes.Equal) {
		p.Errorf("two attempts at %s gave different bytes", stage)
	}
	if left, _ := filepath.Glob(filepath.Join(p.work, ".*")); len(left) > 0 {
		p.Errorf("after %s these are left: %v", stage, left)
	}
}

// killed runs a stage in a process of its own and kills it once it has begun to
// write.
func (p *parted) killed(stage string, shard int) {
	c := exec.Command("rowen", "part", stage, p.work, strconv.Itoa(shard))
	if err := c.Start(); err != nil {
		p.Fatal(err)
	}
	begun := func() int {
		left, _ := filepath.Glob(filepath.Join(p.work, fmt.Sprintf(".%s-%05d.attempt-*", stage, shard)))
		return len(left)
	}
	for until := time.Now().Add(20 * time.Second); begun() == 0 && time.Now().Before(until); {
		time.Sleep(time.Millisecond)
	}
	c.Process.Kill()
	c.Wait()
	if begun() == 0 {
		p.Errorf("the attempt at %s left nothing: it was not killed at work", stage)
	}
}

// forItsOwnerAlone: parts may hold what a customer said.
func (p *parted) forItsOwnerAlone() {
	for path := range filesBelow(p.T, p.work) {
		for at := filepath.Join(p.work, path); len(at) >= len(p.work); at = filepath.Dir(at) {
			if info, err := os.Stat(at); err != nil || info.Mode().Perm()&0o077 != 0 {
				p.Errorf("%s is open to others: %v", at, err)
			}
		}
	}
}

func filesBelow(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		files[rel], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}
