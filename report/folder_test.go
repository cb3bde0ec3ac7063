package report

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var errDisk = errors.New("the disk said no")

// failing lets the call with number n fail, counted over all calls.
func failing(d disk, n int) (disk, *int) {
	calls := new(int)
	fails := func() bool { *calls++; return *calls-1 == n }
	return disk{
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

// holds tells which run a folder holds: "", "old", "new", or "part".
func holds(dir string) string {
	if _, err := os.Stat(dir); err != nil {
		return ""
	}
	a, _ := os.ReadFile(filepath.Join(dir, "run.json"))
	b, _ := os.ReadFile(filepath.Join(dir, "index.html"))
	if string(a) != string(b) {
		return "part"
	}
	return string(a)
}

// TestPublishIsWholeOrNothing lets each operation on the disk fail in turn until
// publishing succeeds. Whenever one fails that must be said, the name must hold
// the whole old run or the whole new one, and nothing else may be left.
func TestPublishIsWholeOrNothing(t *testing.T) {
	for _, earlier := range []string{"", "old"} {
		succeeded := false
		for n := 0; !succeeded; n++ {
			if n > 20 {
				t.Fatal("publishing never succeeds")
			}
			parent := t.TempDir()
			final := filepath.Join(parent, "2026-10")
			if earlier != "" {
				os.Mkdir(final, 0o755)
				put(t, filepath.Join(final, "run.json"), "old")
				put(t, filepath.Join(final, "index.html"), "old")
			}
			f, err := NewFolder(final)
			if err != nil {
				t.Fatal(err)
			}
			put(t, f.Path("run.json"), "new")
			put(t, f.Path("index.html"), "new")
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
			case !succeeded && got != earlier && got != "new":
				t.Errorf("call %d failed: the name holds %q, want %q or the new run", n, got, earlier)
			}
			f.Discard()
			if holds(final) != got {
				t.Errorf("call %d failed: discarding changed %q to %q", n, got, holds(final))
			}
			left, _ := os.ReadDir(parent)
			for _, e := range left {
				if e.Name() != "2026-10" {
					t.Errorf("call %d failed: %s is left", n, e.Name())
				}
			}
		}
	}
}

// TestTwoFailures: where the new run cannot be moved in and the old one not back,
// the old one is not thrown away.
func TestTwoFailures(t *testing.T) {
	parent := t.TempDir()
	final := filepath.Join(parent, "2026-10")
	os.Mkdir(final, 0o755)
	put(t, filepath.Join(final, "run.json"), "old")
	f, err := NewFolder(final)
	if err != nil {
		t.Fatal(err)
	}
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
	kept, _ := filepath.Glob(filepath.Join(parent, ".unfinished-*.old", "run.json"))
	if len(kept) != 1 {
		t.Errorf("the earlier run is gone: %v", kept)
	}
}

func TestRefusesToReplaceWhatIsNoRun(t *testing.T) {
	parent := t.TempDir()
	final := filepath.Join(parent, "photos")
	os.Mkdir(final, 0o755)
	put(t, filepath.Join(final, "a.jpg"), "dear")
	f, err := NewFolder(final)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Publish(); err == nil || !strings.Contains(err.Error(), "holds no run.json") {
		t.Errorf("%v", err)
	}
	f.Discard()
	if b, _ := os.ReadFile(filepath.Join(final, "a.jpg")); string(b) != "dear" {
		t.Error("the folder was touched")
	}
	file := filepath.Join(parent, "file")
	put(t, file, "dear")
	if f, err = NewFolder(file); err != nil {
		t.Fatal(err)
	}
	if err := f.Publish(); err == nil {
		t.Error("a file was replaced by a run")
	}
	f.Discard()
	if left, _ := filepath.Glob(filepath.Join(parent, ".unfinished*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}

	empty := filepath.Join(parent, "empty")
	os.Mkdir(empty, 0o755)
	if f, err = NewFolder(empty); err != nil {
		t.Fatal(err)
	}
	put(t, f.Path("run.json"), "new")
	if err := f.Publish(); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	f.Discard() // does nothing any more
	if _, err := os.Stat(filepath.Join(empty, "run.json")); err != nil {
		t.Error(err)
	}
}

func TestNewFolderSaysWhere(t *testing.T) {
	parent := t.TempDir()
	put(t, filepath.Join(parent, "file"), "x")
	if _, err := NewFolder(filepath.Join(parent, "file", "2026-10")); err == nil || !strings.Contains(err.Error(), "making the folder of runs") {
		t.Errorf("%v", err)
	}
}
