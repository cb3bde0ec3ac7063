package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/readings"
	"rowen/ingest/regular"
)

// sampleFleet is what a sample is held against: the sites of the fleet, where
// its folder has a register, and the zone of the others.
type sampleFleet struct {
	sites []ledger.Site
	zone  *time.Location
}

// match takes the register's sites of these ids; one that is not there is taken
// to stand in the fleet's zone.
func (f sampleFleet) match(ids []string) (sites []ledger.Site, matched, unmatched []string) {
	for _, id := range ids {
		i := slices.IndexFunc(f.sites, func(s ledger.Site) bool { return s.ID == id })
		if i >= 0 {
			sites, matched = append(sites, f.sites[i]), append(matched, id)
			continue
		}
		unmatched = append(unmatched, id)
		sites = append(sites, ledger.Site{ID: id, Location: f.zone, LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()})
	}
	return sites, matched, unmatched
}

// show reads the sample in a folder of its own, as the job would, and prints
// what it understood.
func (f sampleFleet) show(ctx context.Context, w io.Writer, path string, p readings.Proposal) error {
	dir, err := os.MkdirTemp("", "rowen-sample-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	m := p.Mapping
	m.Glob = "readings/*"
	if err := linkInto(filepath.Join(dir, "readings"), path); err != nil {
		return err
	}
	read := func(sites []ledger.Site) (*ledger.Report, error) {
		return ledger.Update(ctx, dir, sites, []readings.Mapping{m}, ledger.Options{Workers: runtime.NumCPU(), Progress: func(ledger.Progress) {}})
	}
	ids, err := sitesIn(ctx, dir, "readings/"+filepath.Base(path), m)
	if err != nil {
		return err
	}
	sites, matched, unmatched := f.match(ids)
	book, err := read(sites)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\nHow the sample reads%s\n", map[bool]string{true: " until the questions are answered:", false: ":"}[len(p.Questions) > 0])
	fmt.Fprintf(w, "  rows: %d read = %d kept + %d set aside; sites: %d\n", book.Rows.Read, book.Rows.Kept, book.Rows.SetAside, len(sites))
	for _, r := range book.Rejects[:min(len(book.Rejects), 3)] {
		fmt.Fprintln(w, "  set aside:", strings.TrimPrefix(describe(r), "readings/"))
	}
	if len(f.sites) > 0 {
		fmt.Fprintf(w, "  in sites.csv: %s; not there: %s\n", orNone(matched), orNone(unmatched))
	}
	if len(sites) == 0 {
		return nil
	}
	source, err := ledger.Open(ctx, dir, sites)
	if err != nil {
		return err
	}
	defer source.Close()
	for _, site := range sites[:min(len(sites), 3)] {
		var s ingest.Series
		if err := source.Load(site.ID, &s); errors.Is(err, ingest.ErrNoReadings) {
			fmt.Fprintf(w, "  %s: no hour is whole\n", site.ID)
			continue
		} else if err != nil {
			return err
		}
		showSeries(w, site, &s)
	}
	return nil
}

// sitesIn lists the sites that a file names, in the order of their ids.
func sitesIn(ctx context.Context, dir, rel string, m readings.Mapping) ([]string, error) {
	f, err := readings.Prepare(dir, rel, m, readings.Limits{})
	if err != nil {
		return nil, err
	}
	names := readings.NewNames()
	for _, part := range f.Parts() {
		if _, err := part.Read(ctx, names, readings.Limits{}, func(*readings.Batch) error { return nil }); err != nil {
			return nil, err
		}
	}
	return slices.Sorted(slices.Values(names.IDs())), nil
}

// linkInto puts the sample into a folder under its own name, without copying it
// where the system can.
func linkInto(dir, path string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	to := filepath.Join(dir, filepath.Base(path))
	if os.Link(path, to) == nil {
		return nil
	}
	in, err := regular.Open(path)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

func orNone(ids []string) string {
	if len(ids) == 0 {
		return "none"
	}
	return firstFew(ids, 5)
}

// showSeries prints one site's readings as they were understood.
func showSeries(w io.Writer, site ledger.Site, s *ingest.Series) {
	cal := ingest.NewCalendar(site.Location, s.Start, s.Len())
	rows := 1440 / max(s.StepMinutes, 1)
	fmt.Fprintf(w, "  %s: %d days of %d-minute readings, %d rows a day, from %s to %s\n", site.ID, cal.Days(), s.StepMinutes, rows,
		cal.Date(0).Format(time.DateOnly), cal.Date(cal.Days()-1).Format(time.DateOnly))
	for c, wh := range s.Wh {
		if wh == nil {
			continue
		}
		days, have := daySums(cal, wh)
		fmt.Fprintf(w, "    %-12s", ingest.Channel(c))
		shown := 0
		for i, v := range wh {
			if !math.IsNaN(v) && shown < 3 {
				fmt.Fprintf(w, " %s %.3f kWh;", (s.Start + ingest.Hour(i)).Time().In(site.Location).Format("2006-01-02 15:04"), v/1000)
				shown++
			}
		}
		if len(days) > 0 {
			fmt.Fprintf(w, " kWh a day: least %.2f, median %.2f, most %.2f (%d whole days);", days[0], (days[(len(days)-1)/2]+days[len(days)/2])/2, days[len(days)-1], len(days))
		}
		fmt.Fprintf(w, " %.0f %% of the hours\n", 100*float64(have)/float64(max(len(wh), 1)))
	}
	if hours, ok := middleAgainstSun(site, s); ok {
		fmt.Fprintf(w, "    clock: the middle of the production lies %+.1f hours from the middle of the sun's day (0 for a south-facing array, about 1 to 2 either way for east and west)\n", hours)
	}
	for _, q := range s.Quality {
		fmt.Fprintf(w, "    %s: %s\n", q.Code, q.Says)
	}
}

// daySums are the whole days' sums in kWh, sorted, and the hours that are there.
func daySums(cal *ingest.Calendar, wh []float64) (sums []float64, have int) {
	for d := range cal.Days() {
		lo, hi := cal.Day(d)
		sum := 0.0
		for i := lo; i < hi; i++ {
			if !math.IsNaN(wh[i]) {
				have++
			}
			sum += wh[i]
		}
		if !math.IsNaN(sum) && hi-lo >= 23 {
			sums = append(sums, sum/1000)
		}
	}
	slices.Sort(sums)
	return sums, have
}

// middleAgainstSun is how many hours the center of the production lies after
// that of the clear light, over all hours that have a value; ok is false where
// the place, hours or production are not known.
func middleAgainstSun(site ledger.Site, s *ingest.Series) (hours float64, ok bool) {
	wh := s.Wh[ingest.Production]
	if wh == nil || s.StepMinutes >= 1440 || math.IsNaN(site.LatitudeDeg) {
		return 0, false
	}
	var model sun.SkyModel
	for m := range model.LinkeTurbidity {
		model.LinkeTurbidity[m] = 3 // its level cancels out
	}
	h := sun.NewHours(sun.Place{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg}, s.Start, len(wh), model)
	made, light := center{}, center{}
	for i, v := range wh {
		if !math.IsNaN(v) {
			at := solarHour(s.Start, i, site.LongitudeDeg)
			made.add(at, v)
			light.add(at, h.ClearGHI[i])
		}
	}
	if made.weight <= 0 || light.weight <= 0 {
		return 0, false
	}
	return made.mean() - light.mean(), true
}

// solarHour is the middle of hour i on mean solar time, so that no day is cut at noon.
func solarHour(start ingest.Hour, i int, longitudeDeg float64) float64 {
	at := float64((int(start)+i)%24) + 0.5 + longitudeDeg/15
	return math.Mod(at+48, 24)
}

type center struct{ sum, weight float64 }

func (c *center) add(at, weight float64) { c.sum, c.weight = c.sum+float64(at*weight), c.weight+weight }
func (c *center) mean() float64          { return c.sum / c.weight }
