package main

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"rowen/ingest/demo"
)

// row is what is judged of a site, by the contract's names.
type row struct {
	SiteID     string   `json:"site_id"`
	Lane       string   `json:"lane"`
	Use        *float64 `json:"consumption_kwh_yr"`
	Production *float64 `json:"production_kwh_yr"`
	Index      *float64 `json:"production_index"`
	Growth     *float64 `json:"consumption_growth_pct_yr"`
	GrowthLow  *float64 `json:"consumption_growth_low_pct_yr"`
	GrowthHigh *float64 `json:"consumption_growth_high_pct_yr"`
	Events     []struct {
		On   string `json:"on"`
		Kind string `json:"kind"`
	} `json:"load_events"`
	Faults  []string `json:"array_faults"`
	Roof    *float64 `json:"roof_modules"`
	Service *float64 `json:"service_modules"`
}

//go:embed rows.py
var rowsScript string

// rows reads what a contestant wrote, by a library that neither wrote it with.
func (b *bench) rows(who string) ([]row, error) {
	cmd := exec.Command(b.python, "-c", rowsScript, filepath.Join(b.out(who), "sites.parquet"))
	text, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("reading what %s wrote: %w", who, err)
	}
	var rows []row
	return rows, json.Unmarshal(text, &rows)
}

// score is what a contestant's rows come to.
type score struct {
	sites, laneRight                      int
	use, production, index, growth        []float64 // absolute deviations
	growthAsked, growthHeld               int
	events, eventsFound, kindsFound       int
	eventsFalse                           int
	faults, faultsFound, faultsFalse      int
	roof, roofWithin, service, serviceHit int
}

// Rules of the comparison, our choice: an event counts if it changes the year by
// 500 kWh or more and three months of readings lie on both sides; it is found if
// dated within 31 days. A fault counts while it lasts and takes 3 % or more.
// Roofs are right within the range that the generator itself leaves open.
const (
	leastEventKWhYr = 500
	monthsAside     = 3
	sameEventDays   = 31
	leastLossPct    = 3
)

func judge(made *demo.Made, o demo.Options, rows []row) score {
	var s score
	for i := range rows {
		r := &rows[i]
		t := made.Truth(r.SiteID)
		s.sites++
		if r.Lane == t.IntendedLane || slices.Contains(t.MayLanes, r.Lane) {
			s.laneRight++
		}
		deviation(&s.use, r.Use, t.UseKWhYr)
		deviation(&s.production, r.Production, t.ProductionKWhYr)
		if r.Index != nil && t.MendedKWhYr > 0 {
			s.index = append(s.index, 100*math.Abs(*r.Index-t.ProductionKWhYr/t.MendedKWhYr))
		}
		if r.Growth != nil {
			s.growth = append(s.growth, math.Abs(*r.Growth-t.GrowthPctYr))
		}
		if r.GrowthLow != nil && r.GrowthHigh != nil {
			s.growthAsked++
			if *r.GrowthLow <= t.GrowthPctYr && t.GrowthPctYr <= *r.GrowthHigh {
				s.growthHeld++
			}
		}
		s.judgeEvents(r, &t, o.Months)
		s.judgeFaults(r, &t)
		if r.Roof != nil {
			s.roof++
			if n := int(*r.Roof); n >= t.RoofModulesLow && n <= t.RoofModulesHigh {
				s.roofWithin++
			}
		}
		if r.Service != nil && t.ServiceModules.Known {
			s.service++
			if int(*r.Service) == t.ServiceModules.V {
				s.serviceHit++
			}
		}
	}
	return s
}

func deviation(into *[]float64, got *float64, so float64) {
	if got != nil && so > 0 {
		*into = append(*into, 100*math.Abs(*got-so)/so)
	}
}

func (s *score) judgeEvents(r *row, t *demo.Truth, months int) {
	end := t.Window.Start.Time().AddDate(1, 0, 0)
	begin := end.AddDate(0, -months, 0)
	taken := make([]bool, len(r.Events))
	for _, e := range t.Events {
		if e.Kind == "absence" || e.Kind == "tenants" {
			continue
		}
		near := -1
		for i, got := range r.Events {
			on, err := time.Parse(time.DateOnly, got.On)
			if err == nil && !taken[i] && math.Abs(on.Sub(e.On).Hours()) <= 24*sameEventDays {
				near = i
			}
		}
		if near >= 0 {
			taken[near] = true
		}
		if math.Abs(e.KWhYr) < leastEventKWhYr || !e.Until.IsZero() || e.On.Before(begin.AddDate(0, monthsAside, 0)) || e.On.After(end.AddDate(0, -monthsAside, 0)) {
			continue
		}
		s.events++
		if near >= 0 {
			s.eventsFound++
			if r.Events[near].Kind == e.Kind {
				s.kindsFound++
			}
		}
	}
	for _, x := range taken {
		if !x {
			s.eventsFalse++
		}
	}
}

func (s *score) judgeFaults(r *row, t *demo.Truth) {
	real := map[string]bool{"clipping": t.ClippedKWhYr > 0} // the truth lists it from 2 % on
	for _, f := range t.Faults {
		if !f.Live() {
			continue
		}
		real[f.Code] = true
		if math.Abs(f.LossPct) < leastLossPct {
			continue
		}
		s.faults++
		if slices.Contains(r.Faults, f.Code) {
			s.faultsFound++
		}
	}
	for _, code := range r.Faults {
		if !real[code] {
			s.faultsFalse++
		}
	}
}

func printTruth(w io.Writer, ours, theirs score) {
	fmt.Fprintln(w, "\n| against the truth | rowen | peer |\n| --- | --- | --- |")
	line := func(name string, of func(*score) string) {
		fmt.Fprintf(w, "| %s | %s | %s |\n", name, of(&ours), of(&theirs))
	}
	of := func(n, all int) string { return fmt.Sprintf("%d of %d", n, all) }
	off := func(x []float64) string {
		if len(x) == 0 {
			return "no number"
		}
		slices.Sort(x)
		return fmt.Sprintf("%.2f, %.2f (%d sites)", quantile(x, 0.5), quantile(x, 0.95), len(x))
	}
	line("sites in a lane that an honest judge may choose", func(s *score) string { return of(s.laneRight, s.sites) })
	line("consumption of the year, % off: median, 95th percentile", func(s *score) string { return off(s.use) })
	line("production of the year, % off", func(s *score) string { return off(s.production) })
	line("production index, points off", func(s *score) string { return off(s.index) })
	line("growth, points a year off", func(s *score) string { return off(s.growth) })
	line("growth inside its 90 % interval", func(s *score) string { return of(s.growthHeld, s.growthAsked) })
	line("events found within 31 days", func(s *score) string { return of(s.eventsFound, s.events) })
	line("of which with the right kind", func(s *score) string { return of(s.kindsFound, s.eventsFound) })
	line("events that are none", func(s *score) string { return fmt.Sprint(s.eventsFalse) })
	line("live faults of 3 % and more found", func(s *score) string { return of(s.faultsFound, s.faults) })
	line("faults that are none", func(s *score) string { return fmt.Sprint(s.faultsFalse) })
	line("roof limit within the true range", func(s *score) string { return of(s.roofWithin, s.roof) })
	line("service limit exact", func(s *score) string { return of(s.serviceHit, s.service) })
}
