// Command lanes measures the whole judgement: it invents demo fleets of other
// seeds than the demo's own, has the program judge each from its files, and
// holds every site's lane against what the site was made for, or what an honest
// judge may say of it. Every site that stands elsewhere is named with the
// reasons given.
//
//	go run ./scripts/lanes [-seeds 9701,9702] [-sites 240] [-months 25]
package main

import (
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest/demo"
	"rowen/report"
)

func main() {
	o := demo.Default()
	seeds := flag.String("seeds", "9701,9702", "seeds of the fleets")
	flag.IntVar(&o.Sites, "sites", o.Sites, "sites a fleet")
	flag.IntVar(&o.Months, "months", o.Months, "months of readings")
	flag.Parse()
	if err := run(os.Stdout, o, strings.Split(*seeds, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "lanes:", err)
		os.Exit(1)
	}
}

func run(out io.Writer, o demo.Options, seeds []string) error {
	temp, err := os.MkdirTemp("", "rowen-lanes-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(temp)
	program := filepath.Join(temp, "rowen")
	if b, err := exec.Command("go", "build", "-o", program, "./cmd/rowen").CombinedOutput(); err != nil {
		return fmt.Errorf("building rowen: %w\n%s", err, b)
	}
	stands := map[string]map[string]int{} // by the lane made for, by the lane given
	all, as, exactly := 0, 0, 0
	for _, s := range seeds {
		if o.Seed, err = strconv.ParseUint(s, 10, 64); err != nil {
			return err
		}
		rows, err := judged(program, filepath.Join(temp, s), o)
		if err != nil {
			return fmt.Errorf("seed %s: %w", s, err)
		}
		made := demo.Make(o)
		for _, r := range rows {
			all++
			truth := made.Truth(r.SiteID)
			if stands[truth.IntendedLane] == nil {
				stands[truth.IntendedLane] = map[string]int{}
			}
			stands[truth.IntendedLane][r.Lane]++
			switch {
			case r.Lane == truth.IntendedLane:
				exactly++
				continue
			case slices.Contains(truth.MayLanes, r.Lane):
				as++
				continue
			}
			fmt.Fprintf(out, "seed %s %s (%s): %s, made for %s: %s\n", s, r.SiteID, truth.Archetype, r.Lane, truth.IntendedLane, strings.Join(r.Reasons, ", "))
		}
	}
	fmt.Fprintf(out, "%d of %d sites stand where they were made for, %d more where an honest judge may put them\n", exactly, all, as)
	for _, lane := range slices.Sorted(maps.Keys(stands)) {
		fmt.Fprintf(out, "made for %-15s stand in %v\n", lane, stands[lane])
	}
	return nil
}

// judged runs the demo of a seed and reads its rows.
func judged(program, dir string, o demo.Options) ([]report.SiteRow, error) {
	cmd := exec.Command(program, "demo", "--dir", dir, "--seed", fmt.Sprint(o.Seed), "--sites", fmt.Sprint(o.Sites), "--months", fmt.Sprint(o.Months))
	if b, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("running the demo: %w\n%s", err, b)
	}
	defer os.RemoveAll(dir)
	found, err := filepath.Glob(filepath.Join(dir, "runs", "*", "sites.parquet"))
	if err != nil || len(found) != 1 {
		return nil, fmt.Errorf("%d runs were made (%v)", len(found), err)
	}
	return parquet.ReadFile[report.SiteRow](found[0])
}
