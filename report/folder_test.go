package report

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var errDisk = errors.New("the disk said no")

// failing lets the call with number n fail, counted over all calls.
func failing(d disk, n int) (disk, *int) {
	calls := new(int)
	fails := func() bool { *calls++; return *calls-1 == n }
	return disk{
		exchange: func(a, b string) error {
			if fails() {
				return errDisk
			}
			return d.exchange(a, b)
		},
		rename: func(a, b string) error {
			if fails() {
				return errDisk
			}
			return d.rename(a, b)
		},
		sync: func(p string) error {
			if fails() {
				return errDisk
			}
			return d.sync(p)
		},
		removeAll: func(p string) error {
			if fails() {
				return errDisk
			}
			return d.removeAll(p)
		},
	}, calls
}

func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// writeRun makes a small run of files that all say one text.
func writeRun(t *testing.T, dir, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(dir, "briefs"), 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(dir, "index.html"), text)
	put(t, filepath.Join(dir, "briefs", "A.html"), text)
	digests, err := outputDigests(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := writeJSON(filepath.Join(dir, "run.json"), Manifest{Program: "rowen", Outputs: digests}); err != nil {
		t.Fatal(err)
	}
}

// holds tells which run a folder holds: "", "old", "new", or "part".
func holds(dir string) string {
	if _, err := os.Stat(dir); err != nil {
		return ""
	}
	a, _ := os.ReadFile(filepath.Join(dir, "briefs", "A.html"))
	b, _ := os.ReadFile(filepath.Join(dir, "index.html"))
	if s, err := Inspect(dir); err != nil || s.Touched() || string(a) != string(b) {
		return "part"
	}
	return string(a)
}

// TestPublishIsWholeOrNothing lets each operation on the disk fail in turn until
// publishing succeeds. Whenever one fails that must be said, the name must hold
// the whole old run or the whole new one, and nothing else may be left.
func TestPublishIsWholeOrNothing(t *testing.T) {
	cannot := func(string, string) error { return errors.ErrUnsupported }
	for _, c := range []struct {
		earlier  string
		exchange func(a, b string) error
	}{{"", exchange}, {"old", exchange}, {"old", cannot}} {
		succeeded := false
		for n := 0; !succeeded; n++ {
			if n > 20 {
				t.Fatal("publishing never succeeds")
			}
			parent := t.TempDir()
			final := filepath.Join(parent, "2026-10")
			if c.earlier != "" {
				writeRun(t, final, "old")
			}
			f, err := NewFolder(final, false)
			if err != nil {
				t.Fatal(err)
			}
			writeRun(t, f.Path(""), "new")
			f.disk.exchange = c.exchange
			calls := new(int)
			f.disk, calls = failing(f.disk, n)
			err = f.Publish()
			succeeded = *calls <= n
			got := holds(final)
			switch {
			case succeeded && (err != nil || got != "new"):
				t.Errorf("nothing failed: holds %q, %v", got, err)
			case !succeeded && !errors.Is(err, errDisk):
				t.Errorf("call %d failed and was not said: %v", n, err)
			case !succeeded && got != c.earlier && got != "new":
				t.Errorf("call %d failed: the name holds %q, want %q or the new run", n, got, c.earlier)
			}
			f.Discard()
			if holds(final) != got {
				t.Errorf("call %d failed: discarding changed %q to %q", n, got, holds(final))
			}
			if got == "" {
				only(t, parent)
			} else {
				only(t, parent, "2026-10")
			}
		}
	}
}

// only checks what a folder holds.
func only(t *testing.T, dir string, names ...string) {
	t.Helper()
	var got []string
	left, _ := os.ReadDir(dir)
	for _, e := range left {
		got = append(got, e.Name())
	}
	if !slices.Equal(got, names) {
		t.Errorf("the folder holds %v, want %v", got, names)
	}
}

// TestTwoFailures: where the new run cannot be moved in and the old one not
// back, the old one is not thrown away, and the next run puts it back.
func TestTwoFailures(t *testing.T) {
	parent := t.TempDir()
	final := filepath.Join(parent, "2026-10")
	writeRun(t, final, "old")
	f, err := NewFolder(final, false)
	if err != nil {
		t.Fatal(err)
	}
	writeRun(t, f.Path(""), "new")
	f.disk.exchange = func(string, string) error { return errors.ErrUnsupported }
	renames := 0
	f.disk.rename = func(a, b string) error {
		if renames++; renames > 1 {
			return errDisk
		}
		return os.Rename(a, b)
	}
	if err := f.Publish(); !errors.Is(err, errDisk) {
		t.Error(err)
	}
	f.Discard()
	if kept, _ := filepath.Glob(filepath.Join(parent, ".unfinished-*.old", "run.json")); len(kept) != 1 {
		t.Errorf("the earlier run is gone: %v", kept)
	}
	next, err := NewFolder(filepath.Join(parent, "2026-11"), false)
	if err != nil {
		t.Fatal(err)
	}
	next.Discard()
	if holds(final) != "old" {
		t.Errorf("the next run did not put the earlier one back: %q", holds(final))
	}
	only(t, parent, "2026-10")
}

// TestWhatAPersonChangedIsKept: notes beside a run, a changed list, both in a
// sub-folder too: refused and left alone; with replace kept beside the new run.
func TestWhatAPersonChangedIsKept(t *testing.T) {
	for name, touch := range map[string]func(dir string){
		"notes.txt":      func(dir string) { put(t, filepath.Join(dir, "notes.txt"), "dear") },
		"briefs/my.html": func(dir string) { put(t, filepath.Join(dir, "briefs", "my.html"), "dear") },
		"index.html":     func(dir string) { put(t, filepath.Join(dir, "index.html"), "dear") },
		"briefs/A.html":  func(dir string) { put(t, filepath.Join(dir, "briefs", "A.html"), "dear") },
	} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			final := filepath.Join(parent, "2026-10")
			writeRun(t, final, "old")
			late, err := NewFolder(final, false) // begun before the change
			if err != nil {
				t.Fatal(err)
			}
			writeRun(t, late.Path(""), "new")
			touch(final)
			dear := func(dir string) {
				t.Helper()
				if b, _ := os.ReadFile(filepath.Join(dir, name)); string(b) != "dear" {
					t.Errorf("%s holds %q", name, b)
				}
			}
			if err := late.Publish(); err == nil || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "--replace") {
				t.Errorf("published over a changed file: %v", err)
			}
			late.Discard()
			dear(final)
			if _, err := NewFolder(final, false); err == nil || !strings.Contains(err.Error(), name) {
				t.Errorf("not said before the work: %v", err)
			}
			only(t, parent, "2026-10")

			f, err := NewFolder(final, true)
			if err != nil {
				t.Fatal(err)
			}
			writeRun(t, f.Path(""), "new")
			if err := f.Publish(); err != nil {
				t.Fatal(err)
			}
			if holds(final) != "new" || f.Kept != final+".kept-1" {
				t.Errorf("holds %q, kept %q", holds(final), f.Kept)
			}
			dear(f.Kept)
			only(t, parent, "2026-10", "2026-10.kept-1")
		})
	}
}

// TestSweepAfterKills: what killed runs left goes, what a living run holds and
// what somebody worked in stays.
func TestSweepAfterKills(t *testing.T) {
	parent := t.TempDir()
	living, err := NewFolder(filepath.Join(parent, "2026-10"), false)
	if err != nil {
		t.Fatal(err)
	}
	put(t, living.Path("half"), "x")
	put(t, filepath.Join(mkdir(t, parent, ".unfinished-2026-09-1"), "half"), "x")
	writeRun(t, filepath.Join(parent, ".unfinished-2026-09-2"), "whole, never published")
	writeRun(t, filepath.Join(parent, ".unfinished-2026-08-3"), "old, exchanged")
	put(t, filepath.Join(parent, ".unfinished-2026-08-3", "notes.txt"), "dear")
	if err := sweep(parent); err != nil {
		t.Fatal(err)
	}
	only(t, parent, filepath.Base(living.temp), "2026-08.kept-1")
	if _, err := os.Stat(living.Path("half")); err != nil {
		t.Error(err)
	}
	living.Discard()
	only(t, parent, "2026-08.kept-1")
}

func mkdir(t *testing.T, parts ...string) string {
	t.Helper()
	dir := filepath.Join(parts...)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestRefusesToReplaceWhatIsNoRun: other folders, files, links and folders with
// any run.json are left as they are.
func TestRefusesToReplaceWhatIsNoRun(t *testing.T) {
	for name, make := range map[string]func(path string){
		"holds no run.json": func(path string) { put(t, filepath.Join(mkdir(t, path), "a.jpg"), "dear") },
		"lists no files": func(path string) {
			put(t, filepath.Join(mkdir(t, path), "a.jpg"), "dear")
			put(t, filepath.Join(path, "run.json"), "{}")
		},
		"is no regular file": func(path string) { os.Symlink("/dev/zero", filepath.Join(mkdir(t, path), "run.json")) },
		"it is a file":       func(path string) { put(t, path, "dear") },
		"it is a link": func(path string) {
			writeRun(t, path+"-real", "old")
			if err := os.Symlink(path+"-real", path); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			for _, replace := range []bool{false, true} {
				parent := t.TempDir()
				path := filepath.Join(parent, "photos")
				make(path)
				before := treeOf(t, parent)
				if _, err := NewFolder(path, replace); err == nil || !strings.Contains(err.Error(), name) {
					t.Errorf("%v", err)
				}
				if after := treeOf(t, parent); after != before {
					t.Errorf("before %s\nafter %s", before, after)
				}
			}
		})
	}

	empty := t.TempDir()
	f, err := NewFolder(filepath.Join(empty, "run"), false)
	if err != nil {
		t.Fatal(err)
	}
	mkdir(t, empty, "run")
	writeRun(t, f.Path(""), "new")
	if err := f.Publish(); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	f.Discard() // does nothing any more
	if holds(filepath.Join(empty, "run")) != "new" {
		t.Error("an empty folder was not taken")
	}
}

func treeOf(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	filepath.WalkDir(dir, func(path string, e fs.DirEntry, _ error) error {
		var text []byte
		if e.Type().IsRegular() {
			text, _ = os.ReadFile(path)
		}
		fmt.Fprintln(&b, strings.TrimPrefix(path, dir), e.Type(), string(text))
		return nil
	})
	return b.String()
}

// TestOnlyItsOwnerReadsARun, whatever the umask and the modes it was written with.
func TestOnlyItsOwnerReadsARun(t *testing.T) {
	parent := t.TempDir()
	f, err := NewFolder(filepath.Join(parent, "2026-10"), false)
	if err != nil {
		t.Fatal(err)
	}
	writeRun(t, f.Path(""), "new")
	os.Chmod(f.Path("index.html"), 0o666)
	if err := f.Publish(); err != nil {
		t.Fatal(err)
	}
	filepath.WalkDir(f.Final(), func(path string, e fs.DirEntry, _ error) error {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		want := fs.FileMode(0o600)
		if e.IsDir() {
			want = 0o700
		}
		if info.Mode().Perm() != want {
			t.Errorf("%s has mode %v, want %v", path, info.Mode().Perm(), want)
		}
		return nil
	})
}

func TestNewFolderSaysWhere(t *testing.T) {
	parent := t.TempDir()
	put(t, filepath.Join(parent, "file"), "x")
	if _, err := NewFolder(filepath.Join(parent, "file", "2026-10"), false); err == nil || !strings.Contains(err.Error(), "making the folder of runs") {
		t.Errorf("%v", err)
	}
}
