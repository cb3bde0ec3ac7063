// Command attack treats the program as somebody who wants it to fail: it stops
// it at random moments, lets single operations of the file system fail, damages
// every kind of file that it reads or wrote, puts special files in its way, fills
// its disk, starts it twice, and writes hostile text into everything.
//
// After each attack: the exit code is a promised one, nothing on the screen is a
// panic, a control sequence or somebody's contact, nothing half written is seen;
// and a run on what is whole again gives the bytes of a run that nobody disturbed.
//
//	go run ./scripts/attack                   everything, about forty minutes
//	go run ./scripts/attack -short            the short version of CI, under a minute
//	go run ./scripts/attack -only kills -times 100
package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// attack is one way of trying to break the program; times is how often.
type attack struct {
	name  string
	long  int // times by hand
	short int // times in CI
	run   func(a *arena, times int)
}

var attacks = []attack{
	{"kills", 120, 4, kills},
	{"faults", 160, 2, faults},
	{"damage", 200, 6, damage},
	{"ledger", 120, 4, damageLedger},
	{"outputs", 80, 3, damageOutputs},
	{"special", 12, 3, special},
	{"twice", 10, 1, twice},
	{"full", 12, 1, full},
	{"hostile", 17, 3, hostile},
}

func main() {
	only := flag.String("only", "", "names of attacks, parted by commas (default: all)")
	times := flag.Int("times", 0, "how often each (default: as each one has it)")
	short := flag.Bool("short", false, "the short version")
	seed := flag.Uint64("seed", uint64(time.Now().UnixNano()), "seed of the moments and the damages")
	keep := flag.String("keep", "", "a folder for the fleets that broke something")
	flag.Parse()
	a, err := newArena(*seed, *keep)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	defer os.RemoveAll(a.dir)
	fmt.Printf("seed %d\n", *seed)
	for _, at := range attacks {
		if *only != "" && !slices.Contains(strings.Split(*only, ","), at.name) {
			continue
		}
		n := at.long
		if *short {
			n = at.short
		}
		if *times > 0 {
			n = *times
		}
		a.begin(at.name)
		at.run(a, n)
		a.end()
	}
	if a.failed > 0 {
		fmt.Printf("%d attacks broke something\n", a.failed)
		os.RemoveAll(a.dir)
		os.Exit(1)
	}
}

// newArena builds the program and makes the fleet with its undisturbed runs.
func newArena(seed uint64, keep string) (*arena, error) {
	dir, err := os.MkdirTemp("", "rowen-attack-")
	if err != nil {
		return nil, err
	}
	a := &arena{dir: dir, keep: keep, program: filepath.Join(dir, "rowen"), rnd: rand.New(rand.NewPCG(seed, 0))}
	build := exec.Command("go", "build", "-o", a.program, "./cmd/rowen")
	build.Env = append(os.Environ(), "CGO_ENABLED=0") // as it is handed out
	if out, err := build.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("building the program: %s", out)
	}
	a.fleet = filepath.Join(dir, "fleet")
	if err := plant(a.fleet); err != nil {
		return nil, err
	}
	r := a.do(a.fleet, "run", a.fleet)
	if r.code != 0 {
		return nil, fmt.Errorf("the undisturbed run: exit %d: %s", r.code, r.said)
	}
	a.took = r.took
	a.want = bytesOf(filepath.Join(a.fleet, "runs"))
	return a, nil
}
