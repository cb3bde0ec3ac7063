package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// months are small files of the contract's table, one a month.
func months(n int) map[string]string {
	files := map[string]string{}
	for k := range n {
		rows := invented(3, 2, 60)
		for i := range rows {
			rows[i].at = rows[i].at.AddDate(0, k, 0)
		}
		files[fmt.Sprintf("readings/%02d.csv", k+1)] = text(rows, contractColumns, 1, 1)
	}
	return files
}

func missingPaths(r *Report) (paths []string) {
	for _, m := range r.Missing {
		paths = append(paths, m.Path)
	}
	return paths
}

// A file that could not be read once is read when it can be, though its size
// and its time are the same.
func TestFailedFilesAreTriedAgain(t *testing.T) {
	files := months(3)
	want, _ := fresh(t, files, nil)
	spoil := map[string]func(path string) (mend func()){
		"no permission": func(path string) func() {
			if os.Getuid() == 0 {
				return nil // root reads everything; the failing disk below stands for it
			}
			os.Chmod(path, 0)
			return func() { os.Chmod(path, 0o644) }
		},
		"a failing disk": func(string) func() { return func() {} },
		"cut": func(path string) func() {
			whole, info := read(t, path), stat(t, path)
			os.WriteFile(path, append([]byte("\xff\xfe"), whole[2:]...), 0o644) // of the same size
			os.Chtimes(path, info.ModTime(), info.ModTime())
			return func() {
				os.WriteFile(path, whole, 0o644)
				os.Chtimes(path, info.ModTime(), info.ModTime())
			}
		},
	}
	for name, do := range spoil {
		dir := fleetDir(t, files)
		mend := do(filepath.Join(dir, "readings", "03.csv"))
		if mend == nil {
			continue
		}
		o := Options{}
		if name == "a failing disk" {
			o.before = func(op, path string) error {
				if op == "open" && filepath.Base(path) == "03.csv" {
					return syscall.EIO
				}
				return nil
			}
		}
		for range 2 { // it is said each time
			_, rep := readAll(t, dir, nil, nil, o)
			if d := cmp.Diff([]string{"readings/03.csv"}, missingPaths(rep)); d != "" || rep.MissingPct() < 30 || rep.MissingPct() > 36 {
				t.Errorf("%s: %s, %g %%", name, d, rep.MissingPct())
			}
		}
		mend()
		got, rep := readAll(t, dir, nil, nil, Options{})
		if !cmp.Equal(want, got, exactSeries) || len(rep.Missing) > 0 {
			t.Errorf("%s: it stays missing: %v", name, rep.Missing)
		}
	}
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func stat(t *testing.T, path string) os.FileInfo {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// What the ledger has of a file that cannot be opened now is used, and said.
func TestFileThatCannotBeOpenedNow(t *testing.T) {
	dir := fleetDir(t, months(3))
	want, _ := readAll(t, dir, nil, nil, Options{})
	for _, failing := range []string{"open 02.csv", "readdir readings"} {
		got, rep := readAll(t, dir, nil, nil, Options{before: func(op, path string) error {
			if op+" "+filepath.Base(path) == failing {
				return syscall.EIO
			}
			return nil
		}})
		if !cmp.Equal(want, got, exactSeries) || len(rep.Missing) == 0 || rep.MissingPct() != 0 {
			t.Errorf("%s: %v, %g %%", failing, rep.Missing, rep.MissingPct())
		}
	}
	if got, rep := readAll(t, dir, nil, nil, Options{}); !cmp.Equal(want, got, exactSeries) || len(rep.Missing) > 0 {
		t.Error(rep.Missing)
	}
}

// A file that vanished is missing in every later run, until it is back under
// any name or the user says that it was taken away.
func TestVanishedFilesAreRemembered(t *testing.T) {
	files := months(3)
	dir := fleetDir(t, files)
	readAll(t, dir, nil, nil, Options{})
	os.Remove(filepath.Join(dir, "readings", "02.csv"))
	for range 3 {
		_, rep := readAll(t, dir, nil, nil, Options{})
		if len(rep.Missing) != 1 || !rep.Missing[0].Gone || rep.Missing[0].Path != "readings/02.csv" || rep.MissingPct() < 30 || rep.MissingPct() > 36 {
			t.Errorf("%v, %g %%", rep.Missing, rep.MissingPct())
		}
	}
	put(t, dir, "readings/two.csv", files["readings/02.csv"])
	if _, rep := readAll(t, dir, nil, nil, Options{}); len(rep.Missing) > 0 {
		t.Errorf("it is back under another name: %v", rep.Missing)
	}
	os.Remove(filepath.Join(dir, "readings", "two.csv"))
	if _, rep := readAll(t, dir, nil, nil, Options{AcceptMissing: true}); len(rep.Missing) > 0 {
		t.Errorf("accepted: %v", rep.Missing)
	}
	if _, rep := readAll(t, dir, nil, nil, Options{}); len(rep.Missing) > 0 {
		t.Errorf("accepted before: %v", rep.Missing)
	}
	os.Rename(filepath.Join(dir, "readings", "03.csv"), filepath.Join(dir, "readings", "moved.csv"))
	if _, rep := readAll(t, dir, nil, nil, Options{}); len(rep.Missing) > 0 {
		t.Errorf("moved: %v", rep.Missing)
	}
}

// Another content of the same size and time is noticed: at once where the
// system keeps the time of change, by the sample where it does not, and by
// Verify whatever the sample missed.
func TestSameSizeAndTime(t *testing.T) {
	first := text(invented(40, 40, 60), contractColumns, 1, 1)
	second := strings.ReplaceAll(first, "03-1", "04-1")
	one := []byte(first)
	at := len(one) / (sampleBlocks + 1) * 3 / 2 // between two blocks of the sample
	for one[at] < '0' || one[at] > '9' {
		at++
	}
	one[at] ^= 1 // another digit
	for _, c := range []struct {
		name    string
		content string
		o       Options
		forget  bool // the system keeps no time of change
	}{{"change time", second, Options{}, false}, {"sample", second, Options{}, true}, {"verify", string(one), Options{Verify: true}, true}} {
		dir := fleetDir(t, map[string]string{"readings/a.csv": first})
		path := filepath.Join(dir, "readings", "a.csv")
		info := stat(t, path)
		readAll(t, dir, nil, nil, Options{})
		os.WriteFile(path, []byte(c.content), 0o644)
		os.Chtimes(path, info.ModTime(), info.ModTime())
		if c.forget {
			m, err := readManifest(disk{}, ledgerDir(dir))
			if err != nil {
				t.Fatal(err)
			}
			m.Files[0].ChangeTime = changeTime(stat(t, path))
			m.publish(disk{}, ledgerDir(dir))
		}
		if _, rep := readAll(t, dir, nil, nil, c.o); rep.FilesRead != 1 {
			t.Errorf("%s: the new content is not read", c.name)
		}
	}
}

// Pipes, devices, sockets, folders and links: regular files only, links once
// and inside the fleet's folder, each problem its own file's.
func TestSpecialFiles(t *testing.T) {
	files := months(2)
	want, _ := fresh(t, files, nil)
	outside := fleetDir(t, map[string]string{"secret.csv": files["readings/01.csv"]})
	dir := fleetDir(t, files)
	in := func(name string) string { return filepath.Join(dir, "readings", name) }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(makePipe(in("pipe.csv")))
	must(os.Symlink("/dev/zero", in("zero.csv")))
	must(os.Symlink(filepath.Join(outside, "secret.csv"), in("outside.csv")))
	must(os.Symlink(outside, in("out")))
	must(os.Symlink("nowhere", in("dangling.csv")))
	must(os.Symlink("loop.csv", in("loop.csv")))
	must(os.Symlink("..", in("up")))            // the fleet's own folder: all is read already
	must(os.Symlink("01.csv", in("again.csv"))) // read by its own name
	must(os.Mkdir(in("folder.csv"), 0o755))
	must(os.MkdirAll(filepath.Join(dir, "archive"), 0o755))
	must(os.Rename(in("02.csv"), filepath.Join(dir, "archive", "02.csv")))
	must(os.Symlink(filepath.Join(dir, "archive"), in("older"))) // inside the fleet's folder

	done := make(chan struct{})
	var got map[string]ingest.Series
	var rep *Report
	go func() { defer close(done); got, rep = readAll(t, dir, nil, nil, Options{}) }()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("it never ends")
	}
	if d := cmp.Diff(want, got, exactSeries); d != "" {
		t.Error(d)
	}
	reason := map[string]string{}
	for _, m := range rep.Missing {
		reason[filepath.Base(m.Path)] = m.Reason
	}
	for name, says := range map[string]string{"pipe.csv": "pipe", "zero.csv": "out of the fleet", "outside.csv": "out of the fleet",
		"dangling.csv": "nowhere", "loop.csv": "circle"} {
		if !strings.Contains(reason[name], says) {
			t.Errorf("%s: says %q, want %q", name, reason[name], says)
		}
	}
	if len(reason) != 5 {
		t.Errorf("%d files: %v", len(reason), reason)
	}
}

// A glob cannot name what lies outside the fleet's folder.
func TestGlobsStayInside(t *testing.T) {
	for _, glob := range []string{"../*.csv", "/etc/*.csv", "readings/../../x/*.csv", `..\x\*.csv`, "{..,readings}/*.csv", "readings/[a.csv", "readings/{a,b.csv"} {
		if _, err := Update(context.Background(), t.TempDir(), nil, []readings.Mapping{{Glob: glob}}, Options{}); err == nil || !strings.Contains(err.Error(), "glob") {
			t.Errorf("%s: %v", glob, err)
		}
	}
}

// Any flipped bit of any file of the ledger is noticed, said and mended, with a
// new month beside it or not, and never trusted.
func TestFlippedBits(t *testing.T) {
	files := months(2)
	want, _ := fresh(t, files, nil)
	base := fleetDir(t, files)
	readAll(t, base, nil, nil, Options{})
	more := months(3)
	wantMore, _ := fresh(t, more, nil)
	names, _ := list(ledgerDir(base))
	tried := 0
	for _, name := range names {
		if name == lockName || name == readersName {
			continue
		}
		whole := read(t, filepath.Join(ledgerDir(base), name))
		for at := 0; at < len(whole); at += max(1, len(whole)/6) {
			for _, month := range []bool{false, true} {
				dir := t.TempDir()
				if err := os.CopyFS(dir, os.DirFS(base)); err != nil {
					t.Fatal(err)
				}
				bad := slices.Clone(whole)
				bad[at] ^= 1 << (at % 8)
				os.WriteFile(filepath.Join(ledgerDir(dir), name), bad, 0o600)
				right := want
				if month {
					put(t, dir, "readings/03.csv", more["readings/03.csv"])
					right = wantMore
				}
				got, rep := readAll(t, dir, nil, nil, Options{})
				if !cmp.Equal(right, got, exactSeries) {
					t.Fatalf("%s, byte %d: other readings", name, at)
				}
				if name == rememberedName { // it is worked out again, and nobody lacks anything
					tried++
					continue
				}
				if !strings.Contains(strings.Join(rep.Notes, " "), "read again") || len(rep.Missing) > 0 {
					t.Fatalf("%s, byte %d: not said: %v %v", name, at, rep.Notes, rep.Missing)
				}
				tried++
			}
		}
	}
	t.Logf("%d bits flipped", tried)
}

// A damaged part of the ledger whose file is gone too is a loss, and said.
func TestDamageBesideALoss(t *testing.T) {
	dir := fleetDir(t, months(2))
	readAll(t, dir, nil, nil, Options{})
	each(ledgerDir(dir), "bucket-*", func(p string) { os.Truncate(p, 10) })
	os.Remove(filepath.Join(dir, "readings", "02.csv"))
	if _, rep := readAll(t, dir, nil, nil, Options{}); len(rep.Missing) != 1 || !rep.Missing[0].Gone {
		t.Error(rep.Missing)
	}
}

// A bucket that is damaged after it was opened is that site's error and no
// panic.
func TestDamageWhileItIsRead(t *testing.T) {
	dir := fleetDir(t, months(1))
	readAll(t, dir, nil, nil, Options{})
	l, err := Open(context.Background(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	each(ledgerDir(dir), "bucket-*", func(p string) { os.Truncate(p, 300) })
	var s ingest.Series
	if err := l.Load("S-000", &s); err == nil || !strings.Contains(err.Error(), "run again") {
		t.Error(err)
	}
}

// What a run reads stays until the run is done with it, whatever another run
// does in between; then it goes.
func TestReadersKeepWhatTheyRead(t *testing.T) {
	files := months(3)
	dir := fleetDir(t, map[string]string{"readings/01.csv": files["readings/01.csv"]})
	want, _ := readAll(t, dir, nil, nil, Options{})
	l, _, err := UpdateAndOpen(context.Background(), dir, nil, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, "readings/02.csv", files["readings/02.csv"])
	readAll(t, dir, nil, nil, Options{})
	put(t, dir, "readings/03.csv", files["readings/03.csv"])
	readAll(t, dir, nil, nil, Options{})
	for id, right := range want {
		var s ingest.Series
		if err := l.Load(id, &s); err != nil || !cmp.Equal(right, s, exactSeries) {
			t.Errorf("%s: %v", id, err)
		}
	}
	old, _ := filepath.Glob(filepath.Join(ledgerDir(dir), "bucket-*-1.parquet"))
	if l.Close(); len(old) == 0 {
		t.Error("the test is broken: no old bucket")
	}
	readAll(t, dir, nil, nil, Options{})
	if left, _ := filepath.Glob(filepath.Join(ledgerDir(dir), "bucket-*-[12].parquet")); len(left) > 0 {
		t.Errorf("left when nobody reads: %v", left)
	}
}

// The second of two updates waits, and says for whom.
func TestSecondUpdateWaits(t *testing.T) {
	dir := fleetDir(t, months(1))
	readAll(t, dir, nil, nil, Options{})
	release, err := lock(context.Background(), filepath.Join(ledgerDir(dir), lockName), nil)
	if err != nil {
		t.Fatal(err)
	}
	said := make(chan string, 1)
	done := make(chan error, 1)
	go func() {
		_, err := Update(context.Background(), dir, nil, nil, Options{Waiting: func(who string) { said <- who }})
		done <- err
	}()
	if who := <-said; !strings.Contains(who, fmt.Sprint("process ", os.Getpid())) {
		t.Errorf("waits for %q", who)
	}
	select {
	case err := <-done:
		t.Fatalf("it did not wait: %v", err)
	case <-time.After(300 * time.Millisecond):
	}
	release()
	if err := <-done; err != nil {
		t.Error(err)
	}
	release, _ = lock(context.Background(), filepath.Join(ledgerDir(dir), lockName), nil)
	defer release()
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, err := Update(ctx, dir, nil, nil, Options{}); err == nil || !strings.Contains(err.Error(), "waiting for another run") {
		t.Error(err)
	}
}

// Who wants to read a ledger that another run clears up waits, says for whom, and
// no longer than it is wanted.
func TestReadingWaits(t *testing.T) {
	dir := fleetDir(t, months(1))
	readAll(t, dir, nil, nil, Options{})
	release, err := lockAlone(filepath.Join(ledgerDir(dir), readersName))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	who := fmt.Sprint("waiting for another run (process ", os.Getpid())
	if _, err := Open(ctx, dir, nil); !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), who) {
		t.Errorf("%v, want %q", err, who)
	}
	said := make(chan string, 1)
	done := make(chan error, 1)
	go func() {
		l, err := open(context.Background(), dir, nil, func(who string) { said <- who })
		if err == nil {
			err = l.Close()
		}
		done <- err
	}()
	if who := <-said; !strings.Contains(who, fmt.Sprint("process ", os.Getpid())) {
		t.Errorf("waits for %q", who)
	}
	release()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
