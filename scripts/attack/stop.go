package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"
)

// ready is a fleet for a job that reads everything, or one file more than the
// ledger has.
func (a *arena) ready() (dir, kind string) {
	if a.rnd.IntN(2) == 0 {
		return a.copy(false), "reading everything"
	}
	dir = a.copy(false)
	files, _ := filepath.Glob(filepath.Join(dir, "readings", "*"))
	late := files[a.rnd.IntN(len(files))]
	aside := filepath.Join(dir, "late")
	os.Rename(late, aside)
	if r := a.do(dir, "run", dir); r.code != 0 {
		a.breaks(dir, "the run before: exit %d\n%s", r.code, tail(r.said))
	}
	os.Rename(aside, late)
	return dir, "reading one file more"
}

// kills stops jobs at random moments.
func kills(a *arena, times int) {
	for range times {
		dir, kind := a.ready()
		s := []syscall.Signal{syscall.SIGKILL, syscall.SIGTERM, syscall.SIGINT}[a.rnd.IntN(3)]
		after := time.Duration(a.rnd.Float64() * 1.1 * float64(a.took))
		r := a.wait(dir, exec.Command(a.program, "run", dir), func(p *os.Process) {
			time.Sleep(after)
			p.Signal(s)
		})
		what := fmt.Sprintf("signal %d after %v, %s", s, after.Round(time.Millisecond), kind)
		a.promised(dir, what, r, 0, 128+int(s))
		if s != syscall.SIGKILL {
			a.nothingUnfinished(dir, what)
		}
		a.whole(dir, what)
		a.recovers(dir, what)
		os.RemoveAll(dir)
	}
}

// twice starts two jobs on one fleet.
func twice(a *arena, times int) {
	for range times {
		dir, kind := a.ready()
		var both sync.WaitGroup
		results := make([]result, 2)
		for i := range results {
			both.Add(1)
			go func() {
				defer both.Done()
				results[i] = (&arena{program: a.program}).do(dir, "run", dir)
			}()
		}
		both.Wait()
		for _, r := range results {
			a.promised(dir, "two at once, "+kind, r, 0, 1)
		}
		a.whole(dir, "two at once")
		a.recovers(dir, "two at once")
		os.RemoveAll(dir)
	}
}

// full gives the job a disk that is too small.
func full(a *arena, times int) {
	for i := range times {
		disk, err := os.MkdirTemp(a.dir, "disk-")
		if err != nil {
			panic(err)
		}
		size := sizeOf(a.fleet, "readings") + sizeOf(a.fleet, "weather") + (1+int64(i))<<18
		if err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%d", size), "tmpfs", disk).Run(); err != nil {
			fmt.Println("  full: NOT TRIED: a small disk can only be mounted by root")
			return
		}
		dir := a.copy(false)
		if err := os.CopyFS(disk, os.DirFS(dir)); err != nil {
			fmt.Printf("  full: the fleet itself does not fit: %v\n", err)
		} else {
			a.promised(disk, fmt.Sprintf("a disk of %d kB", size>>10), a.do(disk, "run", disk), 0, 1)
			a.whole(disk, "a full disk")
			a.nothingUnfinished(disk, "a full disk")
			os.RemoveAll(filepath.Join(dir, ".rowen"))
			if err := os.CopyFS(filepath.Join(dir, ".rowen"), os.DirFS(filepath.Join(disk, ".rowen"))); err == nil {
				a.recovers(dir, "a ledger of a full disk")
			}
		}
		exec.Command("umount", disk).Run()
		os.RemoveAll(dir)
	}
	r := a.wait("", exec.Command("sh", "-c", `"$0" explain "$1" OM-0001 >/dev/full`, a.program, a.firstRun()), nil)
	a.promised("", "a screen that takes no more", r, 1)
}

func (a *arena) firstRun() string {
	runs, _ := filepath.Glob(filepath.Join(a.fleet, "runs", "2*"))
	return runs[0]
}

func sizeOf(parts ...string) (sum int64) {
	filepath.WalkDir(filepath.Join(parts...), func(_ string, d os.DirEntry, err error) error {
		if info, e := d.Info(); err == nil && e == nil && !d.IsDir() {
			sum += (info.Size() + 4095) &^ 4095
		}
		return nil
	})
	return sum
}
