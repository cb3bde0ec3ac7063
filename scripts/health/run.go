package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"syscall"
	"time"

	"rowen/analyze"
	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/demo"
)

type options struct {
	seed                           uint64
	fleets, sites, months, workers int
	faults                         float64
	verbose, demo, alone           bool
	site                           string
}

// judged is one site with its truth.
type judged struct {
	fleet  uint64
	site   *ingest.Site
	truth  demo.Truth
	result array.Result
	planes []plane
	fitted []fitted
}

// fitted is an array whose facing was struck from the register and fitted.
type fitted struct {
	arrays  int // of the site
	off     float64
	sd      float64
	tilt    float64 // true
	azimuth float64 // true
	found   sun.Plane
}

// plane is a candidate plane's year, found and true.
type plane struct {
	id           string
	turnDeg      float64 // between the azimuths of the old modules and this plane
	tilt         float64
	found, truth float64 // kWh of one module
	relSD        float64
}

func run(w io.Writer, opt options) error {
	var all []judged
	var spent time.Duration
	years := 0.0
	for f := range opt.fleets {
		o := demo.Default()
		o.Seed, o.Sites, o.Months, o.Faults, o.Events = opt.seed+uint64(f), opt.sites, opt.months, opt.faults, 0.2
		o.PlainHomes = !opt.demo
		c := crowd{made: demo.Make(o), seed: o.Seed}
		before := processTime()
		if err := c.judge(opt); err != nil {
			return err
		}
		spent += processTime() - before
		y, err := c.strike()
		if err != nil {
			return err
		}
		all, years = append(all, c.out...), years+y
	}
	fmt.Fprintf(w, "%d sites, seeds %d to %d, %d months, %.0f site-years; the whole judgement took %.1f ms of processor a site-year\n\n",
		len(all), opt.seed, opt.seed+uint64(opt.fleets)-1, opt.months, years, 1000*spent.Seconds()/years)
	if opt.site != "" {
		one(w, all, opt.site)
		return nil
	}
	health(w, all, opt.verbose)
	facings(w, all)
	planes(w, all)
	return fontana(w)
}

// settings are the product's own defaults; the prices do not reach the array.
func settings(workers int) analyze.Options {
	return analyze.Options{Workers: workers, DefaultModule: "TN-430", DefaultInverter: "KV2-410", DefaultTariff: "tou-a", WeatherMaxKM: 60,
		Sky: sky.Defaults(), Array: array.Defaults(), Headroom: headroom.DefaultOptions(), Rank: rank.Defaults(),
		Money: option.Money{DiscountRatePct: 5, HorizonYears: 25, CostPerModule: 780, CostPerVisit: 1400, Doubt: option.DefaultDoubt()}}
}

// crowd is one invented fleet on its way.
type crowd struct {
	made *demo.Made
	seed uint64
	out  []judged
}

// judge runs both passes over the fleet; alone: as if no site had neighbours.
func (c *crowd) judge(opt options) error {
	fleets := []*ingest.Fleet{c.made.Fleet()}
	if opt.alone {
		fleets = fleets[:0]
		for i := range c.made.Fleet().Sites {
			one := *c.made.Fleet()
			one.Sites = one.Sites[i : i+1 : i+1]
			fleets = append(fleets, &one)
		}
	}
	for _, f := range fleets {
		if err := c.judgeFleet(analyze.NewFleet(f, c.made.Source(), settings(opt.workers))); err != nil {
			return err
		}
	}
	return nil
}

func (c *crowd) judgeFleet(fl *analyze.Fleet) error {
	survey, err := fl.Survey(context.Background())
	if err != nil {
		return err
	}
	err = fl.Judge(context.Background(), survey, analyze.Whole, func(f *analyze.Finding) error {
		truth := c.made.Truth(f.Site.ID)
		switch {
		case f.Failed != "":
			return fmt.Errorf("judging %s: %s", f.Site.ID, f.Failed)
		case f.StepMinutes == 0:
			return nil // it has no readings
		case f.Window != truth.Window:
			return fmt.Errorf("judging %s: the report year is %v, the truth's %v", f.Site.ID, f.Window, truth.Window)
		}
		j := judged{fleet: c.seed, site: f.Site, truth: truth, result: f.Array}
		for _, p := range f.Site.Planes {
			u := f.Array.ModuleOutput(p, f.Module, f.Inverter)
			if u.Wh == nil || len(truth.Arrays) == 0 {
				continue
			}
			t := c.made.CandidateTruth(f.Site.ID, p.ID, f.Module.Watts, f.Module.TempCoefficientPctPC, f.Inverter.ACWatts, truth.Window)
			j.planes = append(j.planes, plane{id: p.ID, tilt: p.TiltDeg, turnDeg: turn(truth.Arrays, p.AzimuthDeg),
				found: sumKWh(u.Wh), truth: sumKWh(t), relSD: u.RelSD})
		}
		j.result.ExpectedWh, j.result.YearWh = nil, nil
		c.out = append(c.out, j)
		return nil
	})
	return err
}

// strike fits every site's facings as if the register had none, and counts the
// years that were read.
func (c *crowd) strike() (years float64, err error) {
	fleet, source := c.made.Fleet(), c.made.Source()
	tables, places := sun.NewCache(24, sun.SkyModel{}), sky.NewPlaces(fleet)
	for i := range c.out {
		j := &c.out[i]
		var s ingest.Series
		if err := source.Load(j.site.ID, &s); errors.Is(err, ingest.ErrNoReadings) {
			continue
		} else if err != nil {
			return 0, fmt.Errorf("loading site %s: %w", j.site.ID, err)
		}
		years += float64(s.Len()) / 8766
		j.fitted = strike(j.site, &fleet.Catalogue, &s, tables.Hours(places.Of(j.site), s.Start, s.Len()), j.truth)
	}
	return years, nil
}

// processTime is the processor time used so far, by all threads: on a busy
// machine it is steadier than the clock on the wall.
func processTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// strike fits the facing of a healthy site's arrays as if the register had
// none, on days that look clear.
func strike(site *ingest.Site, cat *ingest.Catalogue, s *ingest.Series, h *sun.Hours, truth demo.Truth) []fitted {
	if len(truth.Faults) > 0 || len(truth.Flaws) > 0 || len(site.Arrays) > 2 {
		return nil
	}
	var which []int
	for i := range site.Arrays {
		which = append(which, i)
	}
	fits := sky.FitArrays(sky.Hourly{Sun: h, Calendar: ingest.NewCalendar(site.Location, s.Start, s.Len()), Wh: s.Wh[ingest.Production], TempC: sky.Temperature(nil, h)}, site, cat, which)
	var out []fitted
	for _, f := range fits {
		for _, a := range truth.Arrays {
			if a.ID == f.ArrayIDs[0] {
				out = append(out, fitted{arrays: len(site.Arrays), sd: f.SDDeg, tilt: a.TiltDeg, azimuth: a.AzimuthDeg, found: f.Plane,
					off: sun.AngleDeg(f.Plane, sun.Plane{TiltDeg: a.TiltDeg, AzimuthDeg: a.AzimuthDeg})})
			}
		}
	}
	return out
}
