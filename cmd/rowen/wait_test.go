//go:build unix

package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rowen/ingest/held"
)

// A run that waits for another one, to write its ledger or to read it, says for
// whom; an interrupt ends the wait with 130 and leaves nothing unfinished.
func TestAnInterruptEndsTheWait(t *testing.T) {
	dir := smallFleet(t)
	if code, _, errs := rowenRun("run", dir); code != 0 {
		t.Fatal(errs)
	}
	for _, name := range []string{"lock", "readers"} {
		f, err := os.OpenFile(filepath.Join(dir, ".rowen", "ledger", name), os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		if err := held.Lock(f, true); err != nil {
			t.Fatal(err)
		}
		f.WriteString("process 4242 on roofhost\n")
		said := heard{word: make(chan struct{}), what: "waiting for another run (process 4242 on roofhost)"}
		c := exec.Command("rowen", "run", dir, "--replace") // as script_test.go puts it on the path
		c.Stderr = &said
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		select {
		case <-said.word:
		case <-time.After(20 * time.Second):
			t.Errorf("%s: does not say for whom it waits", name)
		}
		c.Process.Signal(syscall.SIGINT)
		late := time.AfterFunc(10*time.Second, func() { c.Process.Kill() })
		err = c.Wait()
		late.Stop()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != 130 {
			t.Errorf("%s: %v, want exit 130: %s", name, err, said.text.String())
		}
		f.Close()
		if left, _ := filepath.Glob(filepath.Join(dir, "runs", ".unfinished-*")); len(left) > 0 {
			t.Errorf("%s: leaves %v", name, left)
		}
	}
	if code, _, errs := rowenRun("run", dir, "--replace"); code != 0 {
		t.Errorf("the run after it: %s", errs)
	}
}

// heard collects what a program says and tells when a word was among it.
type heard struct {
	mu   sync.Mutex
	text strings.Builder
	what string
	word chan struct{}
	once sync.Once
}

func (h *heard) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.text.Write(b)
	if strings.Contains(h.text.String(), h.what) {
		h.once.Do(func() { close(h.word) })
	}
	return len(b), nil
}
