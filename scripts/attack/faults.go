package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// calls are the operations of the file system, each made to fail. Closing is left
// out: the system has done it when it answers with an error.
var calls = []string{"openat", "read", "pread64", "write", "pwrite64", "fsync", "renameat", "renameat2", "unlinkat", "mkdirat",
	"newfstatat", "getdents64", "ftruncate", "flock", "fchmodat"}

// attempts a hit: most numbers drawn are beyond the calls that a job makes.
const attempts = 6

// faults lets one operation on a file of the fleet fail in each job. Only those
// count that hit such a file; a job that ends with 0 must have lost nothing.
func faults(a *arena, times int) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		fmt.Println("  faults: NOT TRIED: strace is not installed")
		return
	}
	hits := 0
	for i := 0; hits < times && i < attempts*times; i++ {
		dir, kind := a.ready()
		log := dir + ".strace"
		call := calls[i%len(calls)]
		nth := 1 << a.rnd.IntN(8) // of one thread: each counts its own calls
		nth += a.rnd.IntN(nth)
		failure := []string{"EIO", "ENOSPC", "EACCES"}[a.rnd.IntN(3)]
		r := a.wait(dir, exec.Command(strace, "-f", "-qq", "-y", "-o", log, "-e", "trace="+call,
			"-e", fmt.Sprintf("inject=%s:error=%s:when=%d", call, failure, nth), a.program, "run", dir), nil)
		if where := hit(log, dir); where != "" {
			hits++
			what := fmt.Sprintf("%s of %s, %s", failure, where, kind)
			a.promised(dir, what, r, 0, 1, 3)
			if r.code == 0 {
				a.same(dir, what)
			}
			a.whole(dir, what)
			a.recovers(dir, what)
		}
		os.Remove(log)
		os.RemoveAll(dir)
	}
	if hits < times {
		fmt.Printf("  faults: %d of %d hit a file of the fleet\n", hits, times)
	}
}

// hit is the call of the log that was made to fail on a file of the fleet; blank:
// none was, or the screen took nothing either (each thread has its own nth call),
// so that the program could not say what happened.
func hit(log, dir string) string {
	f, err := os.Open(log)
	if err != nil {
		return ""
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	where := ""
	for lines.Scan() {
		l := lines.Text()
		switch {
		case !strings.Contains(l, "(INJECTED)"):
		case strings.Contains(l, "write(1<"), strings.Contains(l, "write(2<"):
			return ""
		case where == "" && strings.Contains(l, dir+"/"):
			_, l, _ = strings.Cut(l, " ")
			where = strings.ReplaceAll(strings.TrimSpace(l), dir+"/", "")
		}
	}
	return where
}
