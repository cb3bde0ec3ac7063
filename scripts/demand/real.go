package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"rowen/analyze/demand"
	"rowen/ingest"
	"rowen/ingest/demo"
	"rowen/scripts/outside"
)

// realHomes adds the car and the heat pump of one real home, metered apart, to
// other homes at dates of our choosing, and looks for them: to invented homes
// of 30 months, and the car to five real homes of one year.
func realHomes(w io.Writer) error {
	dir := filepath.Join(outside.Root(), "..", "shared", "data")
	car, pump, err := readCounters(filepath.Join(dir, "konstanz-home4", "household_data_60min_residential4.csv"))
	if errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(w, "real loads: the data are not on this machine, left out")
		return nil
	}
	if err != nil {
		return fmt.Errorf("reading the real loads: %w", err)
	}
	fmt.Fprintf(w, "\nreal loads added to other homes: a car of %.0f kWh and a heat pump of %.0f kWh a year\n", car.yearly(), pump.yearly())
	if err := addToInvented(w, car, pump); err != nil {
		return err
	}
	return addToReal(w, filepath.Join(dir, "fontana-5homes"), car)
}

// load is a real appliance by hour of its record, kWh; NaN: not metered.
type load struct {
	start time.Time // UTC
	kwh   []float64
}

func (l *load) yearly() float64 {
	sum, n := 0.0, 0
	for _, v := range l.kwh {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / float64(n) * 8760
}

// at is the load at the same hour of a week and of a season as t: the record
// repeats by 52 weeks.
func (l *load) at(t time.Time) float64 {
	const year = 364 * 24
	h := int(t.Sub(l.start).Hours())
	h = ((h % year) + year) % year
	for ; h < len(l.kwh); h += year {
		if !math.IsNaN(l.kwh[h]) {
			return l.kwh[h]
		}
	}
	return 0
}

func readCounters(path string) (car, pump *load, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, nil, err
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	read := func(name string) (*load, error) {
		l := &load{}
		previous := math.NaN()
		for i, r := range rows[1:] {
			at, err := time.Parse(time.RFC3339, r[column["utc_timestamp"]])
			if err != nil {
				return nil, err
			}
			if i == 0 {
				l.start = at
			}
			v, err := strconv.ParseFloat(r[column[name]], 64)
			if err != nil {
				v = math.NaN()
			}
			l.kwh = append(l.kwh, v-previous)
			if !math.IsNaN(v) {
				previous = v
			}
		}
		return l, nil
	}
	if car, err = read("DE_KN_residential4_ev"); err != nil {
		return nil, nil, err
	}
	pump, err = read("DE_KN_residential4_heat_pump")
	return car, pump, err
}

// addToInvented adds each load to 40 invented homes without events, at a date
// that moves through two years.
func addToInvented(w io.Writer, car, pump *load) error {
	o := demo.Default()
	o.Seed, o.Sites, o.PlainHomes, o.Faults, o.Events = 9002, 40, true, 0, 0
	made := demo.Make(o)
	fleet := made.Fleet()
	for _, c := range []struct {
		kind  string
		load  *load
		scale float64
	}{
		{demand.KindEV, car, 1}, {demand.KindEV, car, 2.4}, {demand.KindHeatPump, pump, 1},
	} {
		hit, dated, other := 0, 0, 0
		var missed []string
		for k, id := range made.Source().Order() {
			var s ingest.Series
			if err := made.Source().Load(id, &s); err != nil {
				return err
			}
			site := fleet.Site(id)
			on := time.Date(2025, 3, 1+12*k, 0, 0, 0, 0, site.Location)
			addLoad(&s, c.load, on, c.scale)
			r := demand.Assess(demand.Input{SiteID: id, Location: site.Location, LatitudeDeg: site.LatitudeDeg,
				Series: &s, TempC: temperatures(fleet.Stations, site, &s), Window: made.Truth(id).Window})
			found := false
			for i := range r.Events {
				e := &r.Events[i]
				if near(e, demo.Event{Kind: c.kind, On: on}) {
					found = true
					dated++
					if e.Kind == c.kind {
						hit++
					} else {
						missed = append(missed, fmt.Sprintf("%s at %s taken for %s", id, on.Format("2006-01-02"), e.Kind))
					}
					break
				}
				other++
			}
			if !found {
				missed = append(missed, fmt.Sprintf("%s at %s: got %s", id, on.Format("2006-01-02"), describe(r.Events)))
			}
		}
		fmt.Fprintf(w, "  %s x %.1f (%.0f kWh a year) in %d invented homes: found at its date %d, named %d, other events %d\n", c.kind, c.scale, c.scale*c.load.yearly(), o.Sites, dated, hit, other)
		for i, m := range missed {
			if i == 12 {
				fmt.Fprintf(w, "    ... %d more\n", len(missed)-i)
				break
			}
			fmt.Fprintln(w, "    "+m)
		}
	}
	return nil
}

func addLoad(s *ingest.Series, l *load, on time.Time, scale float64) {
	from := int(ingest.HourOf(on) - s.Start)
	for i := max(from, 0); i < s.Len(); i++ {
		s.Wh[ingest.Consumption][i] += 1000 * scale * l.at((s.Start + ingest.Hour(i)).Time())
	}
}

// addToReal adds the car to the five real homes, on 1 February of their year.
func addToReal(w io.Writer, dir string, car *load) error {
	loc, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		return err
	}
	for _, home := range []string{"home_01", "home_02", "home_05", "home_10", "home_16"} {
		for _, scale := range []float64{0, 1, 2.4} {
			s, err := readHome(filepath.Join(dir, home+".csv"))
			if err != nil {
				return err
			}
			on := time.Date(2017, 2, 1, 0, 0, 0, 0, loc)
			addLoad(s, car, on, scale)
			r := demand.Assess(demand.Input{SiteID: home, LatitudeDeg: 34, Series: s, Window: ingest.Window{Start: s.Start, N: s.Len()}})
			fmt.Fprintf(w, "  real %s, car x %.1f from 2017-02-01: %s\n", home, scale, describe(r.Events))
		}
	}
	return nil
}

// readHome reads a year of hours on a wall clock, kept as it stands: every day
// has 24 rows.
func readHome(path string) (*ingest.Series, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	s := &ingest.Series{Start: ingest.HourOf(time.Date(2016, 7, 31, 23, 0, 0, 0, time.UTC)), StepMinutes: 60}
	for _, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[7], 64)
		if err != nil {
			v = math.NaN()
		}
		s.Wh[ingest.Consumption] = append(s.Wh[ingest.Consumption], 1000*v)
	}
	return s, nil
}
