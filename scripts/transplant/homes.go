package main

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"rowen/analyze/demand"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// home is a household without an event that is known of: consumption by
// interval of the wall clock, whole days, taken as if that clock were UTC.
type home struct {
	name  string
	step  int // minutes
	first time.Time
	kwh   []float64 // NaN: missing
	tempC []float64 // by hour; nil: no thermometer
	made  bool      // generated, not real
	net   bool      // a net meter's import
	lat   float64
}

func (h *home) slots() int { return 1440 / h.step }
func (h *home) days() int  { return len(h.kwh) / h.slots() }

// cut is the days from a to b.
func (h *home) cut(a, b int) *home {
	c := *h
	c.first = h.first.AddDate(0, 0, a)
	c.kwh = append([]float64(nil), h.kwh[a*h.slots():b*h.slots()]...)
	if h.tempC != nil {
		c.tempC = h.tempC[a*24 : b*24]
	}
	return &c
}

// coarser sums intervals to a longer step.
func (h *home) coarser(step int) *home {
	c, k := *h, step/h.step
	c.step, c.name = step, fmt.Sprintf("%s_%d", h.name, step)
	c.kwh = make([]float64, len(h.kwh)/k)
	for i := range c.kwh {
		for _, v := range h.kwh[i*k : (i+1)*k] {
			c.kwh[i] += v
		}
	}
	return &c
}

// input is the home as the job would hand it to the judgement of demand.
func (h *home) input() demand.Input {
	s := &ingest.Series{SiteID: h.name, Start: ingest.HourOf(h.first), StepMinutes: h.step}
	hourly := make([]float64, h.days()*24)
	perHour := 60 / h.step
	for i := range hourly {
		for _, v := range h.kwh[i*perHour : (i+1)*perHour] {
			hourly[i] += 1000 * v
		}
	}
	channel := ingest.Consumption
	if h.net {
		channel = ingest.Import
	}
	s.Wh[channel] = hourly
	if h.step < 60 {
		fine := make([]float32, len(h.kwh))
		for i, v := range h.kwh {
			fine[i] = float32(1000 * v)
		}
		s.Fine = &ingest.Fine{Start: s.Start, StepMinutes: h.step}
		s.Fine.Wh[channel] = fine
	}
	year := min(h.days(), 365)
	return demand.Input{SiteID: h.name, LatitudeDeg: h.lat, Series: s, TempC: h.tempC,
		Window: ingest.Window{Start: s.Start + ingest.Hour(24*(h.days()-year)), N: 24 * year}}
}

// put lays stamped values on a home's calendar; what is stamped twice counts
// once, what no home uses in an interval is missing.
func put(name string, step int, stamps []time.Time, kwh []float64) *home {
	first, last := stamps[0], stamps[0]
	for _, t := range stamps {
		if t.Before(first) {
			first = t
		}
		if t.After(last) {
			last = t
		}
	}
	first = first.Truncate(24 * time.Hour)
	h := &home{name: name, step: step, first: first, lat: 45}
	h.kwh = make([]float64, (int(last.Sub(first).Hours()/24)+1)*h.slots())
	for i := range h.kwh {
		h.kwh[i] = math.NaN()
	}
	for i, t := range stamps {
		k := int(t.Sub(first).Minutes()) / step
		if v := kwh[i]; math.IsNaN(h.kwh[k]) && v >= -0.05 && v <= 20 {
			h.kwh[k] = math.Max(v, 0)
		}
	}
	return h
}

// table reads a CSV file, gzipped or not, by column.
func table(path string) (rows []map[string]string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var r io.Reader = bufio.NewReader(f)
	if strings.HasSuffix(path, ".gz") {
		if r, err = gzip.NewReader(r); err != nil {
			return nil, fmt.Errorf("reading %s: %w", path, err)
		}
	}
	all, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	for _, rec := range all[1:] {
		row := map[string]string{}
		for k, v := range rec {
			row[all[0][k]] = v
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// realHomes are the homes of the data sets beside the project that have no known
// event, or whose own car can be taken out.
func realHomes(data string) (homes []*home, err error) {
	for _, f := range []func(string) ([]*home, error){fontana, konstanz, homeA, homeB} {
		h, err := f(data)
		if err != nil {
			return nil, err
		}
		homes = append(homes, h...)
	}
	return homes, nil
}

func fontana(data string) (homes []*home, err error) {
	for _, id := range []string{"01", "02", "05", "10", "16"} {
		rows, err := table(filepath.Join(data, "fontana-5homes", "home_"+id+".csv"))
		if err != nil {
			return nil, err
		}
		var stamps []time.Time
		var v []float64
		for i, r := range rows {
			stamps = append(stamps, time.Date(2016, 8, 1, i, 0, 0, 0, time.UTC))
			v = append(v, number(r["non_shiftable_load"]))
		}
		homes = append(homes, put("fontana"+id, 60, stamps, v))
	}
	return homes, nil
}

// konstanzCounters are the home's counters, differenced, by local hour.
func konstanzCounters(data, name string) (stamps []time.Time, kwh []float64, err error) {
	rows, err := table(filepath.Join(data, "konstanz-home4", "household_data_60min_residential4.csv"))
	if err != nil {
		return nil, nil, err
	}
	for k := range rows[1:] {
		t, err := time.Parse("2006-01-02T15:04:05", rows[k]["cet_cest_timestamp"][:19])
		if err != nil {
			return nil, nil, err
		}
		stamps = append(stamps, t)
		kwh = append(kwh, number(rows[k+1]["DE_KN_residential4_"+name])-number(rows[k]["DE_KN_residential4_"+name]))
	}
	return stamps, kwh, nil
}

func konstanz(data string) ([]*home, error) {
	var sum []float64
	var stamps []time.Time
	for name, sign := range map[string]float64{"grid_import": 1, "grid_export": -1, "pv": 1, "ev": -1} {
		st, v, err := konstanzCounters(data, name)
		if err != nil {
			return nil, err
		}
		if sum == nil {
			sum, stamps = make([]float64, len(v)), st
		}
		for i, x := range v {
			if math.IsNaN(x) && (name == "pv" || name == "ev") {
				continue
			}
			sum[i] += sign * x
		}
	}
	return []*home{put("konstanz", 60, stamps, sum)}, nil
}

func homeA(data string) ([]*home, error) {
	rows, err := table(filepath.Join(data, "real-homes-events", "home_a_counters.csv.gz"))
	if err != nil {
		return nil, err
	}
	last := map[string]float64{}
	var stamps, late []time.Time
	var imported, use []float64
	for i, r := range rows {
		unix, _ := strconv.ParseInt(r["unix_utc"], 10, 64)
		t := time.Unix(unix, 0).UTC() // the hour's end by UTC is its beginning in Central Europe's winter
		d := map[string]float64{}
		for _, k := range []string{"import_low_wh", "import_high_wh", "export_low_wh", "export_high_wh", "pv_wh"} {
			if v := number(r[k]); !math.IsNaN(v) {
				if was, ok := last[k]; ok {
					d[k] = (v - was) / 1000
				}
				last[k] = v
			}
		}
		if i == 0 {
			continue
		}
		in := d["import_low_wh"] + d["import_high_wh"]
		stamps, imported = append(stamps, t), append(imported, in)
		if !t.Before(time.Date(2018, 8, 16, 0, 0, 0, 0, time.UTC)) {
			late, use = append(late, t), append(use, in-d["export_low_wh"]-d["export_high_wh"]+math.Max(0, d["pv_wh"]))
		}
	}
	net := put("home_a_net", 60, stamps, imported)
	net.net = true
	return []*home{put("home_a", 60, late, use), net}, nil
}

func homeB(data string) ([]*home, error) {
	rows, err := table(filepath.Join(data, "real-homes-events", "home_b_hourly.csv.gz"))
	if err != nil {
		return nil, err
	}
	var stamps []time.Time
	var use, imported []float64
	for _, r := range rows {
		t, err := time.Parse("2006-01-02 15:04", r["local_time"])
		if err != nil {
			return nil, err
		}
		stamps, use, imported = append(stamps, t), append(use, number(r["load_wh"])/1000), append(imported, number(r["import_wh"])/1000)
	}
	net := put("home_b_net", 60, stamps, imported)
	net.net = true
	return []*home{put("home_b", 60, stamps, use), net}, nil
}

// moreHomes reads the files of a folder: a line "minutes,first day", then a value
// in kWh a line, empty where missing.
func moreHomes(dir string) (homes []*home, err error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil {
		return nil, err
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
		minutes, day, _ := strings.Cut(lines[0], ",")
		h := &home{name: strings.TrimSuffix(filepath.Base(file), ".csv"), lat: 45}
		if h.step, err = strconv.Atoi(minutes); err != nil {
			return nil, fmt.Errorf("reading %s:1: step %q must be minutes: %w", file, minutes, err)
		}
		if h.first, err = time.Parse("2006-01-02", strings.TrimSpace(day)); err != nil {
			return nil, fmt.Errorf("reading %s:1: %w", file, err)
		}
		for _, line := range lines[1:] {
			h.kwh = append(h.kwh, number(line))
		}
		h.kwh = h.kwh[:h.days()*h.slots()]
		homes = append(homes, h)
		for _, step := range []int{30, 60} {
			if step > h.step {
				homes = append(homes, h.coarser(step))
			}
		}
	}
	return homes, nil
}

// madeHomes are generated homes without an event, some of them with heating
// whose switching looks like charging: the hard controls.
func madeHomes(seed uint64, sites, step int) ([]*home, error) {
	o := demo.Default()
	o.Seed, o.Sites, o.StepMinutes, o.PlainHomes, o.Faults, o.Events = seed, sites, step, true, 0, 0
	made := demo.Make(o)
	var homes []*home
	for k, id := range made.Source().Order() {
		var s ingest.Series
		if err := made.Source().Load(id, &s); err != nil {
			return nil, err
		}
		site := made.Fleet().Site(id)
		h := &home{name: fmt.Sprintf("made_%s_%d", id, step), step: step, made: true, lat: site.LatitudeDeg}
		// Its local days: the clock's offset in winter, as if it never changed.
		_, offset := time.Date(2026, 1, 1, 0, 0, 0, 0, site.Location).Zone()
		skip := ((-int(s.Start)-offset/3600)%24 + 24) % 24
		h.first = (s.Start + ingest.Hour(skip)).Time().Add(time.Duration(offset) * time.Second)
		use := s.Wh[ingest.Consumption]
		days := (len(use) - skip) / 24
		h.kwh = make([]float64, days*h.slots())
		perHour := 60 / step
		for i := range h.kwh {
			h.kwh[i] = use[skip+i/perHour] / 1000
			if step < 60 {
				h.kwh[i] = float64(s.Fine.Wh[ingest.Consumption][skip*perHour+i]) / 1000
			}
		}
		for j := range made.Fleet().Stations {
			st := &made.Fleet().Stations[j]
			if k%2 == 0 && math.Hypot(st.LatitudeDeg-site.LatitudeDeg, st.LongitudeDeg-site.LongitudeDeg) < 1 {
				h.tempC = make([]float64, days*24)
				for i := range h.tempC {
					at := int(s.Start-st.Start) + skip + i
					if h.tempC[i] = math.NaN(); at >= 0 && at < len(st.TempC) {
						h.tempC[i] = st.TempC[at]
					}
				}
			}
		}
		h.heat(k%4, uint64(k)+seed)
		homes = append(homes, h)
	}
	return homes, nil
}
