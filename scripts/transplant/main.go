// Command transplant measures how cars, heat pumps and departures are found in
// homes that exist. Real charging sessions (energy from plug-in on, at the user's
// power) and a real heat pump's counter are set into homes without an event at
// known dates; the untouched homes, and generated ones with heating that switches
// like a car, are the controls; homes with a car all along are controls too.
// Everything is judged at the product's defaults, and a seed gives the same table
// every time.
//
//	go run ./scripts/transplant                        the homes of ../shared/data
//	go run ./scripts/transplant -more DIR              and those of DIR/*.csv (see moreHomes)
//	go run ./scripts/transplant -flicker               ten successive month ends
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"rowen/scripts/outside"
)

func main() {
	o := options{}
	flag.StringVar(&o.data, "data", filepath.Join(outside.Root(), "..", "shared", "data"), "folder of the data sets")
	flag.StringVar(&o.more, "more", "", "folder of further homes")
	flag.Uint64Var(&o.seed, "seed", 5, "seed of the draws")
	flag.IntVar(&o.cars, "cars", 120, "cars to set in")
	flag.IntVar(&o.made, "made", 24, "generated homes, half at 15 minutes; 0: real ones alone")
	flag.BoolVar(&o.raw, "raw", false, "judge by the search for pulses alone")
	flag.BoolVar(&o.flicker, "flicker", false, "judge at ten successive month ends instead")
	flag.BoolVar(&o.verbose, "v", false, "name every miss and every false event")
	flag.Parse()
	if err := measure(os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "transplant:", err)
		os.Exit(1)
	}
}

type options struct {
	data, more            string
	seed                  uint64
	cars, made            int
	raw, flicker, verbose bool
}

func measure(w io.Writer, o options) error {
	homes, err := realHomes(o.data)
	if err != nil {
		return err
	}
	if o.more != "" {
		more, err := moreHomes(o.more)
		if err != nil {
			return err
		}
		homes = append(homes, more...)
	}
	us, err := users(o.data)
	if err != nil {
		return err
	}
	for _, step := range []int{15, 60} {
		if o.made < 2 {
			break
		}
		made, err := madeHomes(o.seed, o.made/2, step)
		if err != nil {
			return err
		}
		homes = append(homes, made...)
	}
	judge := judgeDemand
	if o.raw {
		judge = judgeRaw
	}
	cars := transplants(homes, us, o.seed, o.cars)
	if o.flicker {
		return flickers(w, homes, cars, judge)
	}
	carTable(w, cars, judge, o.verbose)
	alwaysTable(w, homes, us, o.seed, judge, o.verbose)
	leftTable(w, cars, judge, o.verbose)
	if !o.raw {
		if err := pumpTable(w, o.data, homes, o.seed, judge, o.verbose); err != nil {
			return err
		}
	}
	controlTable(w, homes, judge, o.verbose)
	return nil
}
