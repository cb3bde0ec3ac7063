package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"rowen/analyze"
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

// added is a source whose sites have a load more from a day on.
type added struct {
	ingest.Source
	load  *load
	scale float64
	on    map[string]time.Time
}

func (a added) Load(id string, s *ingest.Series) error {
	if err := a.Source.Load(id, s); err != nil {
		return err
	}
	use := slices.Clone(s.Wh[ingest.Consumption])
	for i := max(int(ingest.HourOf(a.on[id])-s.Start), 0); i < len(use); i++ {
		use[i] += 1000 * a.scale * a.load.at((s.Start + ingest.Hour(i)).Time())
	}
	s.Wh[ingest.Consumption] = use
	return nil
}

// addToInvented adds each load to 40 invented homes without events, at a date
// that moves through two years.
func addToInvented(w io.Writer, car, pump *load) error {
	o := demo.Default()
	o.Seed, o.Sites, o.PlainHomes, o.Faults, o.Events = 9002, 40, true, 0, 0
	made := demo.Make(o)
	fleet, on := made.Fleet(), map[string]time.Time{}
	for k, id := range made.Source().Order() {
		on[id] = time.Date(2025, 3, 1+12*k, 0, 0, 0, 0, fleet.Site(id).Location)
	}
	for _, c := range []struct {
		kind  string
		load  *load
		scale float64
	}{
		{demand.KindEV, car, 1}, {demand.KindEV, car, 2.4}, {demand.KindHeatPump, pump, 1},
	} {
		var m mixed
		err := judge(fleet, added{made.Source(), c.load, c.scale, on}, settings(), func(f *analyze.Finding) {
			m.add(f.Site.ID, c.kind, on[f.Site.ID], f.Demand.Events)
		})
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "  %s x %.1f (%.0f kWh a year) in %d invented homes: found at its date %d, named %d, other events %d\n",
			c.kind, c.scale, c.scale*c.load.yearly(), o.Sites, m.dated, m.named, m.other)
		for i, text := range m.missed {
			if i == 12 {
				fmt.Fprintf(w, "    ... %d more\n", len(m.missed)-i)
				break
			}
			fmt.Fprintln(w, "    "+text)
		}
	}
	return nil
}

// mixed counts what was found of loads added to homes.
type mixed struct {
	dated, named, other int
	missed              []string
}

func (m *mixed) add(id, kind string, on time.Time, events []demand.Event) {
	for i := range events {
		e := &events[i]
		if !near(e, demo.Event{Kind: kind, On: on}) {
			m.other++
			continue
		}
		m.dated++
		if e.Kind == kind {
			m.named++
		} else {
			m.missed = append(m.missed, fmt.Sprintf("%s at %s taken for %s", id, on.Format("2006-01-02"), e.Kind))
		}
		return
	}
	m.missed = append(m.missed, fmt.Sprintf("%s at %s: got %s", id, on.Format("2006-01-02"), describe(events)))
}

// addToReal adds the car to the five real homes, on 1 February of their year.
func addToReal(w io.Writer, dir string, car *load) error {
	loc, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		return err
	}
	register := &ingest.Fleet{Catalogue: ingest.Catalogue{Modules: []ingest.Module{{Model: "M", Watts: 430}}, Inverters: []ingest.Inverter{{Model: "I", Kind: "micro", ACWatts: 380}}}}
	source, on := homes{}, map[string]time.Time{}
	for _, id := range []string{"home_01", "home_02", "home_05", "home_10", "home_16"} {
		if source[id], err = readHome(filepath.Join(dir, id+".csv")); err != nil {
			return err
		}
		on[id] = time.Date(2017, 2, 1, 0, 0, 0, 0, loc)
		register.Sites = append(register.Sites, ingest.Site{ID: id, LatitudeDeg: 34.1, LongitudeDeg: -117.4, Location: time.UTC}) // its rows are its days
	}
	for _, scale := range []float64{0, 1, 2.4} {
		err := judge(register, added{source, car, scale, on}, settings(), func(f *analyze.Finding) {
			fmt.Fprintf(w, "  real %s, car x %.1f from 2017-02-01: %s\n", f.Site.ID, scale, describe(f.Demand.Events))
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// homes are real homes in memory.
type homes map[string]*ingest.Series

func (h homes) Order() []string { return slices.Sorted(maps.Keys(h)) }

func (h homes) Load(id string, s *ingest.Series) error {
	*s = *h[id]
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
