package main

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync"
	"syscall"
	"time"

	"rowen/analyze/array"
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
		made := demo.Make(o)
		j, d, y, err := judge(made, o.Seed, opt.workers, opt.alone)
		if err != nil {
			return err
		}
		all, spent, years = append(all, j...), spent+d, years+y
	}
	fmt.Fprintf(w, "%d sites, seeds %d to %d, %d months, %.0f site-years; both passes took %.1f ms of processor a site-year: %.0f site-years a second on two cores (wanted: 200)\n\n",
		len(all), opt.seed, opt.seed+uint64(opt.fleets)-1, opt.months, years, 1000*spent.Seconds()/years, 2*years/spent.Seconds())
	if opt.site != "" {
		one(w, all, opt.site)
		return nil
	}
	health(w, all, opt.verbose)
	facings(w, all)
	planes(w, all)
	return fontana(w)
}

// judge runs both passes over one fleet; alone: as if no site had neighbours.
func judge(made *demo.Made, seed uint64, workers int, alone bool) ([]judged, time.Duration, float64, error) {
	fleet, source := made.Fleet(), made.Source()
	cache := sun.NewCache(400, sun.SkyModel{})
	field := sky.NewField(sky.Options{})
	places := sky.NewPlaces(fleet.Sites)
	ids := source.Order()
	out := make([]judged, len(ids))
	failed := make([]error, len(ids))
	own := make([]*sky.Estimate, len(ids))
	hours := 0
	var spent time.Duration
	var mu sync.Mutex
	each := func(f func(i int, site *ingest.Site, s *ingest.Series, h *sun.Hours)) {
		var wg sync.WaitGroup
		next := make(chan int)
		for range workers {
			wg.Go(func() {
				runtime.LockOSThread() // the thread's own processor time is taken
				defer runtime.UnlockOSThread()
				for i := range next {
					var s ingest.Series
					if err := source.Load(ids[i], &s); err != nil {
						if !errors.Is(err, ingest.ErrNoReadings) {
							failed[i] = err
						}
						continue
					}
					site := fleet.Site(ids[i])
					h := cache.Hours(places.Of(site), s.Start, s.Len())
					t := threadTime()
					f(i, site, &s, h)
					d := threadTime() - t
					mu.Lock()
					spent += d
					mu.Unlock()
				}
			})
		}
		for i := range ids {
			next <- i
		}
		close(next)
		wg.Wait()
	}
	each(func(i int, site *ingest.Site, s *ingest.Series, h *sun.Hours) {
		e, err := sky.FromSite(sky.Input{Site: site, Catalogue: &fleet.Catalogue, Series: s, Calendar: ingest.NewCalendar(site.Location, s.Start, s.Len()), Sun: h})
		if err == nil {
			if !alone {
				field.Add(e)
			}
			own[i] = &e
		}
		mu.Lock()
		hours += s.Len()
		mu.Unlock()
	})
	field.Close()
	module, inverter := fleet.Catalogue.Module("TN-430"), fleet.Catalogue.Inverter("KV2-380")
	truths := make([]demo.Truth, len(ids))
	for i, id := range ids {
		truths[i] = made.Truth(id)
	}
	each(func(i int, site *ingest.Site, s *ingest.Series, h *sun.Hours) {
		r := array.Assess(array.Input{Site: site, Catalogue: &fleet.Catalogue, Series: s, Calendar: ingest.NewCalendar(site.Location, s.Start, s.Len()), Sun: h,
			Sky: field.At(h.Place, s.Start, s.Len(), own[i]), Window: truths[i].Window})
		out[i] = judged{fleet: seed, site: site, truth: truths[i], result: r}
	})
	each(func(i int, site *ingest.Site, s *ingest.Series, h *sun.Hours) {
		out[i].fitted = strike(site, &fleet.Catalogue, s, h, truths[i])
	})
	for i := range out {
		truth, site, r := truths[i], out[i].site, &out[i].result
		if site == nil {
			continue
		}
		for _, p := range site.Planes {
			u := r.ModuleOutput(p, *module, *inverter)
			if u.Wh == nil || len(truth.Arrays) == 0 {
				continue
			}
			t := made.CandidateTruth(ids[i], p.ID, module.Watts, module.TempCoefficientPctPC, inverter.ACWatts, truth.Window.Start, truth.Window.N)
			out[i].planes = append(out[i].planes, plane{id: p.ID, tilt: p.TiltDeg, turnDeg: turn(truth.Arrays, p.AzimuthDeg),
				found: sumKWh(u.Wh), truth: sumKWh(t), relSD: u.RelSD})
		}
	}
	for i, err := range failed {
		if err != nil {
			return nil, 0, 0, fmt.Errorf("loading site %s: %w", ids[i], err)
		}
	}
	kept := out[:0]
	for _, j := range out {
		if j.site != nil {
			kept = append(kept, j)
		}
	}
	return kept, spent, float64(hours) / 8766, nil
}

// threadTime is the processor time that this thread has used; collecting
// garbage happens on other threads and is not in it.
func threadTime() time.Duration {
	const thread = 1 // RUSAGE_THREAD of Linux
	var u syscall.Rusage
	if err := syscall.Getrusage(thread, &u); err != nil {
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
					off: array.AngleDeg(f.Plane, sun.Plane{TiltDeg: a.TiltDeg, AzimuthDeg: a.AzimuthDeg})})
			}
		}
	}
	return out
}
