package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// harms are the ways in which bytes are damaged.
var harms = []struct {
	name string
	do   func(b []byte, rnd *rand.Rand) []byte
}{
	{"a bit flipped", func(b []byte, rnd *rand.Rand) []byte { b[rnd.IntN(len(b))] ^= 1 << rnd.IntN(8); return b }},
	{"forty bytes changed", func(b []byte, rnd *rand.Rand) []byte {
		for range 40 {
			b[rnd.IntN(len(b))] = byte(rnd.IntN(256))
		}
		return b
	}},
	{"cut off", func(b []byte, rnd *rand.Rand) []byte { return b[:rnd.IntN(len(b))] }},
	{"its beginning lost", func(b []byte, rnd *rand.Rand) []byte { return b[rnd.IntN(len(b)):] }},
	{"emptied", func([]byte, *rand.Rand) []byte { return nil }},
	{"a block of zeros", func(b []byte, rnd *rand.Rand) []byte {
		from := rnd.IntN(len(b))
		clear(b[from:min(len(b), from+4096)])
		return b
	}},
	{"a part twice", func(b []byte, rnd *rand.Rand) []byte {
		from := rnd.IntN(len(b))
		return slices.Concat(b[:from], b[from/2:from], b[from:])
	}},
	{"a stray quote", insert(`"`)},
	{"a byte of another alphabet", insert("\xff\xfe")},
	{"a number beyond all numbers", insert("1e999")},
	{"a line of five megabytes", insert(strings.Repeat("A", 5<<20))},
	{"another file's bytes behind it", func(b []byte, _ *rand.Rand) []byte { return append(b, "PK\x03\x04 PAR1 <feed>\n"...) }},
}

func insert(what string) func([]byte, *rand.Rand) []byte {
	return func(b []byte, rnd *rand.Rand) []byte {
		at := rnd.IntN(len(b) + 1)
		return slices.Concat(b[:at], []byte(what), b[at:])
	}
}

// harm damages one of the files in some way and says what it did; undo mends it.
func (a *arena) harm(dir string, files []string) (what string, undo func()) {
	path := files[a.rnd.IntN(len(files))]
	before, err := os.ReadFile(path)
	if err != nil || len(before) == 0 {
		return "nothing", func() {}
	}
	h := harms[a.rnd.IntN(len(harms))]
	if err := os.WriteFile(path, h.do(bytes.Clone(before), a.rnd), 0o666); err != nil {
		panic(err)
	}
	rel, _ := filepath.Rel(dir, path)
	return fmt.Sprintf("%s: %s", rel, h.name), func() { os.WriteFile(path, before, 0o666) }
}

func filesBelow(dir string, skip ...string) (files []string) {
	filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.IsDir() && slices.Contains(skip, d.Name()) {
			return filepath.SkipDir
		}
		if err == nil && !d.IsDir() {
			files = append(files, path)
		}
		return nil
	})
	return files
}

// damage harms what the job reads: readings of every format, registers, settings.
func damage(a *arena, times int) {
	for range times {
		dir := a.copy(a.rnd.IntN(2) == 0)
		what, undo := a.harm(dir, filesBelow(dir, ".rowen", "runs"))
		for _, verb := range []string{"check", "run"} {
			r := a.do(dir, verb, dir)
			if a.promised(dir, verb+", "+what, r, 0, 1, 2, 3) && r.code != 0 && !names(r.said, what) {
				a.breaks(dir, "%s, %s: exit %d, and the file is not named\n%s", verb, what, r.code, tail(r.said))
			}
		}
		a.whole(dir, what)
		undo()
		os.RemoveAll(filepath.Join(dir, "runs")) // of the damaged fleet
		a.recovers(dir, what)
		os.RemoveAll(dir)
	}
}

// names tells that what a run says leads to the file that was damaged: itself or, of
// the register, a table whose rows no longer find their site; or the tariffs.
func names(said, what string) bool {
	file, _, _ := strings.Cut(what, ": ")
	return strings.Contains(said, filepath.Base(file)) || !strings.Contains(file, "/") && strings.Contains(said, "register's rows (of ") ||
		file == "tariffs.yaml" && strings.Contains(said, "tariffs cannot be used")
}

// replaces checks the run that takes a damaged one's place: it has the bytes of one
// that nobody disturbed. Without a manifest a folder is nobody's to replace, and that a
// list of the same month cannot be read is a warning on the page and in the record.
func (a *arena) replaces(dir, run, what string) {
	r := a.do(dir, "run", dir, "--replace")
	noManifest := strings.Contains(what, "run.json: ") && strings.Contains(r.said, "its run.json")
	noList := strings.Contains(what, "sites.parquet: ") && strings.Contains(r.said, "its sites.parquet is missing or damaged")
	d := differences(bytesOf(a.firstRun()), bytesOf(run))
	switch {
	case r.code == 1 && noManifest, r.code == 0 && len(d) == 0,
		r.code == 0 && noList && slices.Equal(d, []string{"index.html", "run.json"}):
	case r.code != 0:
		a.breaks(dir, "%s: the run that replaces it ends with %d\n%s", what, r.code, tail(r.said))
	default:
		a.breaks(dir, "%s: the run that replaces it differs in %v", what, d)
	}
}

// damageLedger harms the ledger: it is a cache, and the job goes on.
func damageLedger(a *arena, times int) {
	for range times {
		dir := a.copy(true)
		os.RemoveAll(filepath.Join(dir, "runs")) // its outputs are to be made anew
		what, _ := a.harm(dir, filesBelow(filepath.Join(dir, ".rowen")))
		if a.promised(dir, what, a.do(dir, "run", dir), 0) {
			a.same(dir, what)
		}
		a.recovers(dir, what)
		os.RemoveAll(dir)
	}
}

// damageOutputs harms what a run wrote and reads it by every command that does.
func damageOutputs(a *arena, times int) {
	for range times {
		dir := a.copy(true)
		run := filepath.Join(dir, "runs", filepath.Base(a.firstRun()))
		what, _ := a.harm(dir, filesBelow(run))
		for _, args := range [][]string{{"explain", run, "OM-0001"}, {"compare", a.firstRun(), run}, {"history", dir}, {"export", run, "--files", filepath.Join(dir, "exported")}} {
			a.promised(dir, args[0]+", "+what, a.do(dir, args...), 0, 1, 2, 3)
		}
		a.replaces(dir, run, what)
		os.RemoveAll(dir)
	}
}
