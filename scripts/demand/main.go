// Command demand measures the product's judgement of demand against fleets whose truth
// is known: invented ones from seeds that the method was not tuned on, and the
// metered car and heat pump of a real home added to other homes.
//
//	go run ./scripts/demand                     300 plain homes of seed 9001, and the real loads
//	go run ./scripts/demand -seeds 1,2 -v       more seeds, every failure named
package main

import (
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"

	"rowen/ingest/demo"
)

func main() {
	seeds := flag.String("seeds", "9001", "comma-separated seeds of the invented fleets")
	sites := flag.Int("sites", 300, "sites a fleet")
	months := flag.Int("months", 30, "months of readings")
	step := flag.Int("step", 60, "minutes of the readings; 15 and less are judged by their rectangles too")
	events := flag.Float64("events", 0.5, "share of the sites with an event")
	kinds := flag.String("kinds", "", "comma-separated kinds of event to draw; empty: all")
	weather := flag.Bool("weather", true, "use the station's temperatures where the region has one")
	realLoads := flag.Bool("real", true, "add the real car and heat pump to other homes")
	cast := flag.Bool("cast", false, "the demo's whole cast of cases instead of plain homes")
	ends := flag.Int("ends", 0, "judge at so many successive month ends instead, and count what vanishes, moves or changes its kind")
	named := flag.Int("named", 60, "how many failures to name")
	flag.Parse()

	all := newTally(*named)
	for _, text := range strings.Split(*seeds, ",") {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			fmt.Fprintf(os.Stderr, "reading -seeds: %q must be a whole number\n", text)
			os.Exit(2)
		}
		o := demo.Default()
		o.Seed, o.Sites, o.Months, o.StepMinutes, o.PlainHomes = seed, *sites, *months, *step, !*cast
		o.Events, o.Faults, o.Weather = *events, 0, *weather
		if *kinds != "" {
			o.EventKinds = strings.Split(*kinds, ",")
		}
		if *ends > 0 {
			if err := flicker(os.Stdout, o, *ends, *named); err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
			continue
		}
		if err := all.fleet(o); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	if *ends > 0 {
		return
	}
	all.print(os.Stdout)
	if *realLoads {
		if err := realHomes(os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}
