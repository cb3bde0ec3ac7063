// Command health measures how well arrays are judged: it invents fleets whose
// truth is known, by physics that shares no line with the analysis, runs both
// passes over them in memory, and prints what was found, what was missed and
// how far the figures are off, worst cases named.
//
//	go run ./scripts/health [-seed 8801] [-fleets 1] [-sites 200] [-months 30] [-faults 0.5] [-v]
//
// The default seed was not used while the methods were made.
package main

import (
	"flag"
	"fmt"
	"os"
)

func main() {
	opt := options{}
	flag.Uint64Var(&opt.seed, "seed", 8801, "seed of the first fleet; the next ones count on from it")
	flag.IntVar(&opt.fleets, "fleets", 1, "how many fleets")
	flag.IntVar(&opt.sites, "sites", 200, "sites a fleet")
	flag.IntVar(&opt.months, "months", 30, "months of readings")
	flag.Float64Var(&opt.faults, "faults", 0.5, "share of sites with a fault")
	flag.BoolVar(&opt.verbose, "v", false, "list every miss")
	flag.BoolVar(&opt.demo, "demo", false, "the demo's whole cast instead of plain homes")
	flag.StringVar(&opt.site, "site", "", "print what is known of one site, and stop")
	flag.BoolVar(&opt.alone, "alone", false, "judge every site as if it had no neighbours")
	flag.IntVar(&opt.workers, "workers", 2, "sites at a time")
	flag.Parse()
	if err := run(os.Stdout, opt); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
