package ledger

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"
	"time"

	"rowen/ingest/held"
)

// lockPatience is how long an update waits for another one (our choice).
const lockPatience = 30 * time.Minute

// lock keeps two updates of one ledger apart: the second waits, and says for
// whom. The system lets go of it when the program ends, however it ends.
func lock(ctx context.Context, path string, waiting func(string)) (release func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := wait(ctx, f, true, waiting); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	sign(f)
	return func() { f.Close() }, nil
}

// wait waits until an open file can be locked, and says for whom; no longer than
// the job is wanted.
func wait(ctx context.Context, f *os.File, alone bool, waiting func(string)) error {
	until := time.Now().Add(lockPatience)
	for said := false; ; said = true {
		err := held.Lock(f, alone)
		if !errors.Is(err, held.ErrHeld) {
			return err
		}
		who := holder(f)
		if !said && waiting != nil {
			waiting(who)
		}
		if time.Now().After(until) {
			return fmt.Errorf("%s has held %s for %s: end it, or wait for it", who, f.Name(), lockPatience)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("waiting for %s: %w", who, ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// sign writes into a lock's file who holds it alone: for people, the lock itself
// is the system's.
func sign(f *os.File) {
	host, _ := os.Hostname()
	if err := f.Truncate(0); err == nil {
		_, _ = f.WriteAt(fmt.Appendf(nil, "process %d on %s\n", os.Getpid(), host), 0)
	}
}

// holder says who holds the lock.
func holder(f *os.File) string {
	b, err := io.ReadAll(io.NewSectionReader(f, 0, 200))
	if who := strings.TrimSpace(string(b)); err == nil && who != "" {
		return "another run (" + who + ")"
	}
	return "another run"
}

// lockToRead joins those that read a ledger, and waits for whoever clears it up.
// Where the folder cannot be written to nobody removes anything there, and no lock
// is needed.
func lockToRead(ctx context.Context, path string, waiting func(string)) (release func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if errors.Is(err, os.ErrNotExist) || errors.Is(err, os.ErrPermission) || errors.Is(err, syscall.EROFS) {
		return func() {}, nil
	}
	if err != nil {
		return nil, err
	}
	if err := wait(ctx, f, false, waiting); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return func() { f.Close() }, nil
}

// lockAlone holds the readers' lock while nobody reads; an error where somebody
// does.
func lockAlone(path string) (release func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := held.Lock(f, true); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	sign(f)
	return func() { f.Close() }, nil
}
