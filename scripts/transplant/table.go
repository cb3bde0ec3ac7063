package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"rowen/analyze/stat"
)

// parallel judges homes on all cores; the answers are in the homes' order.
func parallel(homes []*home, judge judgeFunc) []judged {
	out := make([]judged, len(homes))
	work := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range work {
				out[i] = judge(homes[i])
			}
		})
	}
	for i := range homes {
		work <- i
	}
	close(work)
	wg.Wait()
	return out
}

// group is a line of the table: which cars, and what came of them.
type group struct {
	name string
	in   func(p *planted) bool

	n, found, named, elsewhere, silent int
}

func groups() []*group {
	perDay := func(lo, hi float64) func(*planted) bool {
		return func(p *planted) bool { return p.perDay >= lo && p.perDay < hi }
	}
	before := func(lo, hi int) func(*planted) bool {
		return func(p *planted) bool { return p.arrive >= lo && p.arrive < hi }
	}
	return []*group{
		{name: "all", in: func(*planted) bool { return true }},
		{name: "under 3 kWh a day", in: perDay(0, 3)}, {name: "3 and more", in: perDay(3, 1e9)},
		{name: "  3 to 6", in: perDay(3, 6)}, {name: "  6 to 10", in: perDay(6, 10)}, {name: "  over 10", in: perDay(10, 1e9)},
		{name: "15 or 30 minutes", in: func(p *planted) bool { return p.step < 60 }},
		{name: "hourly", in: func(p *planted) bool { return p.step == 60 }},
		{name: "thermometer", in: func(p *planted) bool { return p.tempC != nil }},
		{name: "real homes", in: func(p *planted) bool { return !p.made }},
		{name: "generated homes", in: func(p *planted) bool { return p.made }},
		{name: "under 120 days before", in: before(0, 120)}, {name: "120 to 364", in: before(120, 365)}, {name: "365 and more", in: before(365, 1e9)},
		{name: "under 365 days in all", in: func(p *planted) bool { return p.days() < 365 }},
	}
}

// nearDays is how close a date must be.
const nearDays = 14

// carTable sets cars in and says how many are found, by size, step and history.
func carTable(w io.Writer, cars []planted, judge judgeFunc, verbose bool) {
	homes := make([]*home, len(cars))
	for i := range cars {
		homes[i] = cars[i].home
	}
	lines := groups()
	var errs, sizes, off []float64
	inRange, inDates, found, events, wrong := 0, 0, 0, 0, 0
	for i, j := range parallel(homes, judge) {
		p := &cars[i]
		hit := -1
		for k, e := range j.events {
			if abs(e.day-p.arrive) <= nearDays && e.kwh > 0 && (hit < 0 || abs(e.day-p.arrive) < abs(j.events[hit].day-p.arrive)) {
				hit = k
			}
		}
		elsewhere := 0
		for k := range j.events {
			if k != hit {
				elsewhere++
			}
		}
		events += len(j.events)
		wrong += elsewhere
		for _, g := range lines {
			if !g.in(p) {
				continue
			}
			g.n++
			switch {
			case hit >= 0:
				g.found++
				if j.events[hit].kind == "ev_charging" {
					g.named++
				}
			case len(j.events) == 0:
				g.silent++
			}
			if elsewhere > 0 {
				g.elsewhere++
			}
		}
		if hit >= 0 {
			e, true := j.events[hit], p.perDay*365.25
			found++
			errs, sizes = append(errs, e.kwh/true-1), append(sizes, math.Abs(e.kwh/true-1))
			off = append(off, math.Abs(float64(e.day-p.arrive)))
			if true >= e.kwhLow && true <= e.kwhHigh {
				inRange++
			}
			if p.arrive >= e.low && p.arrive <= e.top {
				inDates++
			}
		}
		if verbose && (hit < 0 || elsewhere > 0) {
			fmt.Fprintf(w, "  %s, %d minutes: car of %.1f kWh a day (%.1f kW, %.1f a week) on day %d of %d: %v\n", p.source, p.step, p.perDay, p.kW, p.perWeek, p.arrive, p.days(), j.events)
		}
	}
	fmt.Fprintf(w, "%-24s %5s %8s %7s %7s %10s %7s\n", "cars set in", "cars", "found", "share", "as car", "elsewhere", "silent")
	for _, g := range lines {
		if g.n > 0 {
			fmt.Fprintf(w, "%-24s %5d %8d %7.2f %7d %10d %7d\n", g.name, g.n, g.found, float64(g.found)/float64(g.n), g.named, g.elsewhere, g.silent)
		}
	}
	fmt.Fprintf(w, "said %d, of which at another date %d (%.1f %%)\n", events, wrong, 100*float64(wrong)/float64(max(events, 1)))
	if found > 0 {
		fmt.Fprintf(w, "found: days off median %.0f, 90th percentile %.0f; true date in the range %.0f %%; kWh a year off by median %+.0f %%, size of it %.0f %%, in the range %.0f %%\n",
			stat.Median(off), stat.Quantile(off, 0.9), 100*float64(inDates)/float64(found), 100*stat.Median(errs), 100*stat.Median(sizes), 100*float64(inRange)/float64(found))
	}
}

func abs(x int) int { return max(x, -x) }

// alwaysTable gives homes a car from the first day on.
func alwaysTable(w io.Writer, homes []*home, us []user, seed uint64, judge judgeFunc, verbose bool) {
	rng := rand.New(rand.NewPCG(seed, 2))
	var with []*home
	years := 0.0
	for _, h := range homes {
		length := min(h.days(), 730)
		if length < 250 {
			continue
		}
		c := h.cut(h.days()-length, h.days())
		u := us[rng.IntN(len(us))]
		for k, e := range plant(&u, c, -90-rng.IntN(60)) { // past its first weeks
			c.kwh[k] += e
		}
		with = append(with, c)
		years += float64(length) / 365.25
	}
	arrivals := 0
	for i, j := range parallel(with, judge) {
		for _, e := range j.events {
			if e.kwh > 0 && e.kind == "ev_charging" {
				arrivals++
				if verbose {
					fmt.Fprintf(w, "  car all along in %s: %v\n", with[i].name, e)
				}
			}
		}
	}
	fmt.Fprintf(w, "a car all along: %d arrivals of a car in %.0f home-years (%.3f a home-year)\n", arrivals, years, float64(arrivals)/years)
}

// leftTable turns time round: the same homes, the car there from the first day
// and gone on the mirrored date.
func leftTable(w io.Writer, cars []planted, judge judgeFunc, verbose bool) {
	var homes []*home
	var gone []int
	for i := range cars {
		p := &cars[i]
		if p.perDay < 3 {
			continue
		}
		c := *p.home
		c.kwh = make([]float64, len(p.kwh))
		per, n := p.slots(), p.days()
		for d := range n {
			copy(c.kwh[d*per:(d+1)*per], p.kwh[(n-1-d)*per:(n-d)*per])
		}
		if p.tempC != nil {
			c.tempC = make([]float64, len(p.tempC))
			for d := range n {
				copy(c.tempC[d*24:(d+1)*24], p.tempC[(n-1-d)*24:(n-d)*24])
			}
		}
		homes, gone = append(homes, &c), append(gone, n-p.arrive)
	}
	found, elsewhere, silent := 0, 0, 0
	for i, j := range parallel(homes, judge) {
		hit := false
		for _, e := range j.events {
			if abs(e.day-gone[i]) <= nearDays && e.kwh < 0 {
				hit = true
			} else {
				elsewhere++
			}
		}
		if hit {
			found++
		} else if len(j.events) == 0 {
			silent++
		}
		if verbose && !hit {
			fmt.Fprintf(w, "  %s: car gone on day %d of %d: %v\n", homes[i].name, gone[i], homes[i].days(), j.events)
		}
	}
	fmt.Fprintf(w, "cars of 3 kWh a day and more that leave (the same homes, days in reverse): found %d of %d, silent %d; events at another date %d\n", found, len(homes), silent, elsewhere)
}

// controlTable judges the untouched homes, each once over all its days and, where
// they are many, once over each half.
func controlTable(w io.Writer, homes []*home, judge judgeFunc, verbose bool) {
	for _, made := range []bool{false, true} {
		var cuts []*home
		years, overlapping := 0.0, 0.0
		for _, h := range homes {
			if h.made != made {
				continue
			}
			years += float64(h.days()) / 365.25
			for _, length := range []int{h.days(), 545, 365} {
				for a := 0; a+length <= h.days(); a += 182 {
					cuts = append(cuts, h.cut(a, a+length))
					overlapping += float64(length) / 365.25
					if length == h.days() {
						break
					}
				}
				if h.days() <= 365 {
					break
				}
			}
		}
		n := 0
		for i, j := range parallel(cuts, judge) {
			n += len(j.events)
			if verbose && len(j.events) > 0 {
				fmt.Fprintf(w, "  nothing happened in %s, %d days from %s: %v\n", cuts[i].name, cuts[i].days(), cuts[i].first.Format("2006-01-02"), j.events)
			}
		}
		name := "real"
		if made {
			name = "generated (a quarter each plain, storage heating, panels, instant water heater)"
		}
		fmt.Fprintf(w, "untouched %s homes: %d events in %d windows, %.0f home-years of %.0f (%.3f a home-year)\n", name, n, len(cuts), overlapping, years, float64(n)/math.Max(overlapping, 1))
	}
}
