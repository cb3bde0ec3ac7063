package parts

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func names(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return strings.Join(all, " ")
}

func text(s string) func() ([]byte, error) { return func() ([]byte, error) { return []byte(s), nil } }

// TestFirstAttemptWins: a part is made once; what killed and late attempts have left
// is gone afterwards, and neither changes it.
func TestFirstAttemptWins(t *testing.T) {
	f := Folder{filepath.Join(t.TempDir(), "work"), "k"}
	id := ID{"judge", 3}
	if _, err := f.Read(id); err == nil || !strings.Contains(err.Error(), "run that stage first") {
		t.Fatalf("a part that nobody made: %v", err)
	}
	os.MkdirAll(filepath.Join(f.Dir, ".judge-00003.attempt-killed"), 0o700)
	os.MkdirAll(filepath.Join(f.Dir, ".judge-00004.attempt-runs"), 0o700)
	made, err := f.Make(id, func(dir string) error {
		// Another attempt overtakes this one, and sweeps it.
		if first, err := f.Write(id, text("first")); !first || err != nil {
			t.Errorf("the second attempt: %t, %v", first, err)
		}
		return os.WriteFile(filepath.Join(dir, oneFile), []byte("late"), 0o600)
	})
	if made || err != nil {
		t.Errorf("an attempt that was overtaken: %t, %v", made, err)
	}
	if again, err := f.Write(id, text("again")); again || err != nil {
		t.Errorf("a part that is there: %t, %v", again, err)
	}
	if b, err := f.Read(id); string(b) != "first" || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	if is := names(t, f.Dir); is != ".judge-00004.attempt-runs judge-00003" {
		t.Errorf("left: %s", is)
	}
	for _, path := range []string{f.Dir, filepath.Join(f.Dir, "judge-00003"), filepath.Join(f.Dir, "judge-00003", oneFile)} {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s is open to others: %v, %v", path, info.Mode(), err)
		}
	}
}

// TestHalfAPart: an attempt that fails leaves nothing, and what lies in a part's
// place but is not as written is said, never used and never replaced.
func TestHalfAPart(t *testing.T) {
	f := Folder{t.TempDir(), "k"}
	broken := errors.New("the disk is full")
	if _, err := f.Write(ID{"survey", 0}, func() ([]byte, error) { return nil, broken }); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	if is := names(t, f.Dir); is != "" {
		t.Errorf("left: %s", is)
	}
	for what, damage := range map[string]func(dir string) error{
		"not as it was written":         func(dir string) error { return os.WriteFile(filepath.Join(dir, oneFile), []byte("x"), 0o600) },
		"no part that this version":     func(dir string) error { return os.Remove(filepath.Join(dir, sealName)) },
		"is not as it was written: del": func(dir string) error { return os.Remove(filepath.Join(dir, oneFile)) },
		"belongs to another plan":       func(string) error { f.Key = "other"; return nil },
	} {
		f.Key = "k"
		os.RemoveAll(filepath.Join(f.Dir, "merge-00000"))
		if _, err := f.Write(ID{"merge", 0}, text("whole")); err != nil {
			t.Fatal(err)
		}
		if err := damage(filepath.Join(f.Dir, "merge-00000")); err != nil {
			t.Fatal(err)
		}
		if _, err := f.Read(ID{"merge", 0}); err == nil || !strings.Contains(err.Error(), what) {
			t.Errorf("want %q, got %v", what, err)
		}
		if made, err := f.Write(ID{"merge", 0}, text("new")); made || err == nil {
			t.Errorf("%s: replaced without a word: %t, %v", what, made, err)
		}
	}
}
