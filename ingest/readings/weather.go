package readings

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"rowen/ingest"
)

// ReadWeather reads a fleet's weather folder: stations.csv with hourly tables
// of its stations, and EPW and TMY3 files, which carry their own place. No
// folder gives no stations. Rejects name files as weather/NAME.
//
// Stations are sorted by id. A file that cannot be used is one reject, and the
// others go on. Finer rows are averaged over the hour.
func ReadWeather(dir string, o Limits) ([]ingest.Station, []ingest.Reject, error) {
	w := &weather{dir: dir, limits: o, station: map[string]*ingest.Station{}}
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	w.places()
	for _, e := range entries {
		if name := e.Name(); !e.IsDir() && name != "stations.csv" && name[0] != '.' {
			err := w.inside(name)
			if err == nil {
				err = w.file(name)
			}
			if err != nil {
				w.rejects = append(w.rejects, ingest.Reject{File: folder + name, Reason: "the file cannot be read: " + reasonOf(err)})
			}
		}
	}
	var list []ingest.Station
	for _, s := range w.station {
		if s.Len() > 0 {
			list = append(list, *s)
		}
	}
	slices.SortFunc(list, func(a, b ingest.Station) int { return cmp.Compare(a.ID, b.ID) })
	return list, w.rejects, nil
}

// inside makes sure that a link stays inside the fleet's folder.
func (w *weather) inside(name string) error {
	real, err := filepath.EvalSymlinks(filepath.Join(w.dir, name))
	if err != nil {
		return errors.New("the link leads nowhere, or in a circle")
	}
	root, err := filepath.EvalSymlinks(filepath.Dir(filepath.Clean(w.dir)))
	if err == nil && !strings.HasPrefix(real, root+string(filepath.Separator)) {
		return errors.New("the link leads out of the fleet's folder: copy the file into it")
	}
	return err
}

// reasonOf says an error without the path of this machine.
func reasonOf(err error) string {
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Op + ": " + p.Err.Error()
	}
	return ingest.Short(err.Error())
}

const folder = "weather/"

type weather struct {
	dir     string
	limits  Limits
	station map[string]*ingest.Station
	rejects []ingest.Reject
}

// The variables of a station, as the contract's columns name them.
var weatherColumns = [...]string{"temp_c", "ghi_w_m2", "dni_w_m2", "dhi_w_m2", "wind_m_s"}

// Limits outside which a value is no weather: methods.md section 13 for
// irradiance; the extremes ever measured on the ground, widened, for the rest.
var weatherLimits = [len(weatherColumns)][2]float64{{-95, 65}, {-6, 1500}, {-6, 1500}, {-6, 1500}, {0, 120}}

func weatherSlices(s *ingest.Station) [len(weatherColumns)]*[]float64 {
	return [...]*[]float64{&s.TempC, &s.GHIWm2, &s.DNIWm2, &s.DHIWm2, &s.WindMs}
}

// hourly gathers the values of one station by hour.
type hourly struct {
	has        [len(weatherColumns)]bool
	hour       map[ingest.Hour]*[len(weatherColumns)]mean
	first, end ingest.Hour
}

type mean struct {
	sum float64
	n   int
}

func newHourly() *hourly { return &hourly{hour: map[ingest.Hour]*[len(weatherColumns)]mean{}} }

func (h *hourly) add(t ingest.Hour, v *[len(weatherColumns)]float64) {
	if len(h.hour) == 0 {
		h.first, h.end = t, t+1
	}
	h.first, h.end = min(h.first, t), max(h.end, t+1)
	m := h.hour[t]
	if m == nil {
		m = new([len(weatherColumns)]mean)
		h.hour[t] = m
	}
	for i, x := range v {
		if x == x {
			m[i].sum += x
			m[i].n++
			h.has[i] = true
		}
	}
}

const maxWeatherHours = 60 * 8784 // our choice: sixty years

// fill writes the gathered hours into a station.
func (h *hourly) fill(s *ingest.Station) error {
	n := int(h.end - h.first)
	if n > maxWeatherHours {
		return fmt.Errorf("the rows span %d hours, more than sixty years", n)
	}
	s.Start = h.first
	for i, dst := range weatherSlices(s) {
		if !h.has[i] {
			continue
		}
		*dst = make([]float64, n)
		for k := range *dst {
			(*dst)[k] = math.NaN()
			if m := h.hour[h.first+ingest.Hour(k)]; m != nil && m[i].n > 0 {
				(*dst)[k] = m[i].sum / float64(m[i].n)
			}
		}
	}
	return nil
}

// places reads stations.csv.
func (w *weather) places() {
	const rel = "stations.csv"
	err := w.table(rel, []string{"station_id", "latitude", "longitude"}, nil, func(line int, get func(string) string) fault {
		id := get("station_id")
		if reason := idReason([]byte(id)); reason != "" {
			return fault{"station_id", clip([]byte(id)), strings.Replace(reason, "site", "station", 1)}
		}
		if w.station[id] != nil {
			return fault{"station_id", id, "the station stands twice: the first row is kept"}
		}
		s := &ingest.Station{ID: id}
		for _, c := range []struct {
			name  string
			limit float64
			to    *float64
		}{{"latitude", 90, &s.LatitudeDeg}, {"longitude", 180, &s.LongitudeDeg}} {
			v, err := strconv.ParseFloat(get(c.name), 64)
			if err != nil || !(math.Abs(v) <= c.limit) {
				return fault{c.name, clip([]byte(get(c.name))), fmt.Sprintf("must be a number from -%g to %g", c.limit, c.limit)}
			}
			*c.to = v
		}
		w.station[id] = s
		return fault{}
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		w.rejects = append(w.rejects, ingest.Reject{File: folder + rel, Reason: "the file cannot be read: " + reasonOf(err)})
	}
}

// file reads one file of weather by what it shows itself to be.
func (w *weather) file(rel string) error {
	in, err := openText(filepath.Join(w.dir, rel), w.limits)
	if err != nil {
		return err
	}
	start := make([]byte, 4096)
	n, err := io.ReadFull(in, start)
	in.Close()
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return err
	}
	lines := strings.SplitN(string(start[:n]), "\n", 3)
	switch {
	case strings.HasPrefix(lines[0], "LOCATION,"):
		return w.epw(rel)
	case len(lines) > 1 && strings.HasPrefix(lines[1], "Date (MM/DD/YYYY)"):
		return w.tmy3(rel)
	}
	return w.hours(rel)
}

// unnamed is a station of which a table has rows and stations.csv none: one error
// tells of all its rows.
type unnamed struct {
	id         string
	line, rows int
}

// mostUnnamed is how many such stations are counted by themselves: more are damage.
const mostUnnamed = 20

// hours reads the contract's table of stations.csv's stations.
func (w *weather) hours(rel string) error {
	by := map[string]*hourly{}
	var nameless []unnamed // in the order of the file
	before := len(w.rejects)
	clock := newClock(Time{Format: "rfc3339"})
	err := w.table(rel, []string{"station_id", "start"}, weatherColumns[:], func(line int, get func(string) string) fault {
		id := get("station_id")
		if w.station[id] == nil {
			i := slices.IndexFunc(nameless, func(u unnamed) bool { return u.id == id })
			if i < 0 {
				if len(nameless) == mostUnnamed {
					return fault{"station_id", clip([]byte(id)), "weather/stations.csv does not name the station"}
				}
				i, nameless = len(nameless), append(nameless, unnamed{id: id, line: line})
			}
			nameless[i].rows++
			return fault{}
		}
		t, _, reason := clock.parse([]byte(get("start")))
		if reason != "" {
			return fault{"start", clip([]byte(get("start"))), reason}
		}
		var v [len(weatherColumns)]float64
		for i, c := range weatherColumns {
			v[i] = math.NaN()
			text := []byte(strings.TrimSpace(get(c)))
			if isNothing(text) {
				continue
			}
			x, err := strconv.ParseFloat(string(text), 64)
			if lim := weatherLimits[i]; err != nil || !(x >= lim[0] && x <= lim[1]) {
				return fault{c, clip(text), fmt.Sprintf("must be a number from %g to %g", lim[0], lim[1])}
			}
			v[i] = x
		}
		if by[id] == nil {
			by[id] = newHourly()
		}
		by[id].add(ingest.Hour(floorDiv(t, 3600)), &v)
		return fault{}
	})
	for _, u := range nameless {
		w.rejects = append(w.rejects, fault{"station_id", clip([]byte(u.id)),
			fmt.Sprintf("weather/stations.csv does not name the station, so its rows are left out, %d in all: add it there", u.rows)}.reject(folder+rel, int64(u.line)))
	}
	slices.SortStableFunc(w.rejects[before:], func(a, b ingest.Reject) int { return a.Line - b.Line })
	if err != nil {
		return err
	}
	for id, h := range by {
		s := w.station[id]
		if s.Len() > 0 {
			return fmt.Errorf("station %s stands in an earlier file too: keep one file for each station", id)
		}
		if err := h.fill(s); err != nil {
			return err
		}
	}
	return nil
}

func headerError(err error) error {
	if errors.Is(err, io.EOF) {
		return errors.New("the file is empty: it must have a header row")
	}
	return err
}

// table reads a table with a header; row gets a getter of its cells by name,
// blank where the column is not there.
func (w *weather) table(rel string, required, optional []string, row func(line int, get func(string) string) fault) error {
	in, err := openText(filepath.Join(w.dir, rel), w.limits)
	if err != nil {
		return err
	}
	defer in.Close()
	r := newTextRows(in, ',', w.limits.lineBytes())
	header, bad, err := r.next()
	if err != nil {
		return headerError(err)
	}
	if bad != "" {
		return errors.New(bad)
	}
	at := map[string]int{}
	columns := len(header)
	for i, h := range header {
		at[strings.TrimSpace(strings.TrimPrefix(string(h), "\ufeff"))] = i
	}
	for _, c := range required {
		if _, ok := at[c]; !ok {
			return fmt.Errorf("column %q is missing", c)
		}
	}
	for {
		rec, bad, err := r.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if bad == "" && len(rec) != columns {
			r.giveBack()
			bad = fmt.Sprintf("the row has %d fields and the header %d", len(rec), columns)
		}
		if bad != "" {
			w.rejects = append(w.rejects, fault{reason: bad}.reject(folder+rel, int64(r.line)))
			continue
		}
		get := func(name string) string {
			if i, ok := at[name]; ok {
				return string(rec[i])
			}
			return ""
		}
		if f := row(r.line, get); f.bad() {
			w.rejects = append(w.rejects, f.reject(folder+rel, int64(r.line)))
		}
	}
}
