package held

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// TestOneAloneOrManyShared: who holds a file alone keeps all others out, and those
// who share it only the one who wants it alone. Two open files of one process are
// two holders.
func TestOneAloneOrManyShared(t *testing.T) {
	path := filepath.Join(os.TempDir(), fmt.Sprintf("rowen-held-%d", os.Getpid())) // Wine cannot remove a TempDir
	defer os.Remove(path)
	open := func() *os.File {
		f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	a, b, c := open(), open(), open()
	if err := Lock(a, true); err != nil {
		t.Fatal(err)
	}
	if err := Lock(b, true); !errors.Is(err, ErrHeld) {
		t.Errorf("a second holder: %v, want %v", err, ErrHeld)
	}
	a.Close()
	if err := errors.Join(Lock(b, false), Lock(c, false)); err != nil {
		t.Errorf("two readers: %v", err)
	}
	a = open()
	if err := Lock(a, true); !errors.Is(err, ErrHeld) {
		t.Errorf("alone among readers: %v, want %v", err, ErrHeld)
	}
	b.Close()
	c.Close()
	if err := Lock(a, true); err != nil {
		t.Errorf("after the readers: %v", err)
	}
	a.Close()
}
