// Peer holds the program against a pipeline that a good analyst would write with
// general open libraries: both judge the same invented fleet, in turn, and their
// speed and their truth stand side by side.
//
//	PEER_SCRIPT=path/to/peer.py go run ./scripts/bench/peer -sites 250 -months 30 -step 15 -rounds 5
//
// The peer is called as PYTHON peer.py FLEET OUT and writes OUT/sites.parquet with
// the columns of the contract. A requirements.txt beside it pins its packages: the
// environment is made in -dir once, or named with -python. Fleet and environment
// are kept in -dir for the next measurement. The first round, which compiles and
// fills caches, is not counted.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"

	"rowen/ingest/demo"
)

// bench is one comparison.
type bench struct {
	dir, peer, python, program, fleet string
	rounds                            int
	options                           demo.Options
}

func main() {
	b := bench{options: demo.Default(), peer: os.Getenv("PEER_SCRIPT")}
	b.options.Months, b.options.StepMinutes = 30, 15
	flag.IntVar(&b.options.Sites, "sites", 250, "sites of the fleet")
	flag.IntVar(&b.options.Months, "months", b.options.Months, "months of readings")
	flag.IntVar(&b.options.StepMinutes, "step", b.options.StepMinutes, "minutes between readings")
	flag.Uint64Var(&b.options.Seed, "seed", 4711, "the fleet's seed; another than the demo's")
	flag.IntVar(&b.rounds, "rounds", 5, "rounds that count")
	flag.StringVar(&b.dir, "dir", filepath.Join(os.TempDir(), "rowen-peer"), "where fleets and the environment are kept")
	flag.StringVar(&b.python, "python", "", "the peer's Python (default: made in -dir)")
	flag.Parse()
	if err := b.run(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "peer:", err)
		os.Exit(1)
	}
}

func (b *bench) run(out io.Writer) error {
	if b.peer == "" {
		return errors.New("the environment names no peer: set PEER_SCRIPT to the path of its script")
	}
	if b.rounds < 1 {
		return fmt.Errorf("-rounds %d must be 1 or more", b.rounds)
	}
	if err := b.prepare(); err != nil {
		return err
	}
	made := demo.Make(b.options)
	if _, err := os.Stat(filepath.Join(b.fleet, "sites.csv")); err != nil {
		if err := made.Write(b.fleet, demo.WriteOptions{}); err != nil {
			return err
		}
	}
	cost, err := b.measure()
	if err != nil {
		return err
	}
	printCost(out, b.options, b.rounds, cost)
	ours, err := b.rows("rowen")
	if err != nil {
		return err
	}
	theirs, err := b.rows("peer")
	if err != nil {
		return err
	}
	printTruth(out, judge(made, b.options, ours), judge(made, b.options, theirs))
	return nil
}

// prepare builds the program and makes the peer's environment.
func (b *bench) prepare() error {
	b.fleet = filepath.Join(b.dir, fmt.Sprintf("fleet-%d-%d-%d-%d", b.options.Seed, b.options.Sites, b.options.Months, b.options.StepMinutes))
	if err := os.MkdirAll(b.dir, 0o755); err != nil {
		return err
	}
	b.program = filepath.Join(b.dir, "rowen")
	if err := loud(exec.Command("go", "build", "-trimpath", "-o", b.program, "./cmd/rowen")); err != nil {
		return err
	}
	if b.python != "" {
		return nil
	}
	env := filepath.Join(b.dir, "python")
	b.python = filepath.Join(env, "bin", "python")
	done := filepath.Join(env, "done")
	if _, err := os.Stat(done); err == nil {
		return nil
	}
	needs := filepath.Join(filepath.Dir(b.peer), "requirements.txt")
	if err := errors.Join(loud(exec.Command("python3", "-m", "venv", env)),
		loud(exec.Command(b.python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", needs))); err != nil {
		return fmt.Errorf("making the peer's environment from %s: %w", needs, err)
	}
	return os.WriteFile(done, nil, 0o644)
}

// loud runs a command and says what it said where it failed.
func loud(c *exec.Cmd) error {
	if said, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", c.Args[0], err, said)
	}
	return nil
}
