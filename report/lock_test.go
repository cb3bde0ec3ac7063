package report

import (
	"errors"
	"testing"
	"time"

	"rowen/ingest/held"
)

// A folder that somebody else holds is waited for, and not for ever.
func TestAHeldFolderIsWaitedFor(t *testing.T) {
	if !held.Possible {
		t.Skip("this system has no such locks")
	}
	dir := t.TempDir()
	release, err := lockFolder(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := lockFolder(dir, 50*time.Millisecond); !errors.Is(err, held.ErrHeld) {
		t.Errorf("held all along: %v, want %v", err, held.ErrHeld)
	}
	time.AfterFunc(50*time.Millisecond, release)
	again, err := lockFolder(dir, time.Minute)
	if err != nil {
		t.Fatalf("let go of after 50 ms: %v", err)
	}
	again()
}
