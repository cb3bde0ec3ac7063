package readings

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"rowen/ingest"
)

// standard is a file that carries its place and keeps local standard time with
// hours labelled by their end, 1 to 24.
type standard struct {
	id             string
	lat, lon, zone float64
	typical        bool // the file says so
	read           []standardHour
}

type standardHour struct {
	year, month, day, hour int
	v                      [len(weatherColumns)]float64
}

// addStandard turns such a file into a station. The months of a typical year
// come from different years: they are laid out as the year 2001, and the
// station is marked.
func (w *weather) addStandard(s *standard) error {
	if len(s.read) == 0 {
		return errors.New("the file holds no hours")
	}
	id := strings.Map(func(r rune) rune {
		if r < 128 && idByte[byte(r)] {
			return r
		}
		return '_'
	}, s.id)
	if reason := idReason([]byte(id)); reason != "" {
		return fmt.Errorf("station %q: %s", clip([]byte(s.id)), reason)
	}
	if !(math.Abs(s.lat) <= 90 && math.Abs(s.lon) <= 180 && math.Abs(s.zone) <= 14) {
		return errors.New("the place in the header must be a latitude, a longitude and a time zone in hours")
	}
	typical := s.typical
	for i := 1; i < len(s.read); i++ {
		typical = typical || s.read[i].year < s.read[i-1].year
	}
	h := newHourly()
	zone := int64(math.Round(s.zone * 3600))
	for i := range s.read {
		r := &s.read[i]
		year := r.year
		if typical {
			year = 2001 // no leap day, as in the files
		}
		date := time.Date(year, time.Month(r.month), r.day, 0, 0, 0, 0, time.UTC).Unix()
		t := date + int64(r.hour-1)*3600 - zone
		h.add(ingest.Hour(floorDiv(t, 3600)), &r.v)
		if floorMod(t, 3600) != 0 {
			// A zone of half hours: an hour of UTC is the mean of the two that
			// lie half in it.
			h.add(ingest.Hour(floorDiv(t, 3600))+1, &r.v)
		}
	}
	place := &ingest.Station{ID: id, LatitudeDeg: s.lat, LongitudeDeg: s.lon, Typical: typical}
	if w.station[id] != nil && w.station[id].Len() > 0 {
		// A second file of the same station, for example another month.
		return w.extend(w.station[id], h)
	}
	w.station[id] = place
	return h.fill(place)
}

// extend adds the hours of another file to a station.
func (w *weather) extend(s *ingest.Station, h *hourly) error {
	for k := range s.Len() {
		var v [len(weatherColumns)]float64
		for i, src := range weatherSlices(s) {
			v[i] = math.NaN()
			if *src != nil {
				v[i] = (*src)[k]
			}
		}
		t := s.Start + ingest.Hour(k)
		if h.hour[t] != nil {
			return fmt.Errorf("station %s stands in an earlier file too, for %s", s.ID, t.Time().Format(time.DateOnly))
		}
		h.add(t, &v)
	}
	return h.fill(s)
}

// standardRows gives the rows of such a file as texts. Its quotes are few and
// never span lines.
type standardRows struct {
	in  *textRows
	rec []string
}

func (w *weather) standardRows(in io.Reader) *standardRows {
	r := &standardRows{in: newTextRows(in, ',', w.limits.lineBytes())}
	r.in.loose = true
	return r
}

func (r *standardRows) next() (rec []string, line int, err error) {
	fields, _, err := r.in.next()
	r.rec = r.rec[:0]
	for _, f := range fields {
		r.rec = append(r.rec, string(f))
	}
	return r.rec, r.in.line, err
}

// epw reads an EPW file.
//
// Source: the format's published data dictionary (from memory), held against
// the sample file: hour 1 to 24 by its end, local standard time, 99.9, 9999 and
// 999 missing.
func (w *weather) epw(rel string) error {
	in, err := openText(filepath.Join(w.dir, rel), w.limits)
	if err != nil {
		return err
	}
	defer in.Close()
	r := w.standardRows(in)
	s := standard{}
	for {
		rec, line, err := r.next()
		if errors.Is(err, io.EOF) {
			return w.addStandard(&s)
		}
		if err != nil {
			return err
		}
		switch {
		case line == 1:
			if len(rec) < 10 {
				return errors.New("its LOCATION line has fewer than ten fields")
			}
			s.id, s.typical = strings.TrimSpace(rec[5]), strings.Contains(rec[4], "TMY")
			s.lat, s.lon, s.zone = number(rec[6]), number(rec[7]), number(rec[8])
		case line > 8:
			w.epwRow(rel, line, &s, rec)
		}
	}
}

// The fields of EPW that hold the weather's columns, and what says that a value
// is missing.
var (
	epwColumn  = [len(weatherColumns)]int{6, 13, 14, 15, 21}
	epwMissing = [len(weatherColumns)]float64{99.9, 9999, 9999, 9999, 999}
)

// epwRow reads a row of EPW: year, month, day and hour, then variables.
func (w *weather) epwRow(rel string, line int, s *standard, rec []string) {
	at := func(i int) string {
		if i < len(rec) {
			return rec[i]
		}
		return ""
	}
	var d [4]int
	for i := range d {
		v, err := strconv.Atoi(strings.TrimSpace(at(i)))
		if err != nil {
			w.rejects = append(w.rejects, fault{reason: "the row must begin with year, month, day and hour"}.reject(folder+rel, int64(line)))
			return
		}
		d[i] = v
	}
	h := standardHour{year: d[0], month: d[1], day: d[2], hour: d[3]}
	for i, c := range epwColumn {
		h.v[i] = within(number(at(c)), i)
		if number(at(c)) >= epwMissing[i] {
			h.v[i] = math.NaN()
		}
	}
	w.addHour(rel, line, s, h)
}

func (w *weather) addHour(rel string, line int, s *standard, h standardHour) {
	if h.hour < 1 || h.hour > 24 || !validDate(int64(h.year), int64(h.month), int64(h.day)) || h.year < 1970 || h.year >= 2200 {
		w.rejects = append(w.rejects, fault{reason: "the row's date must be one from 1970 to 2200 and its hour 1 to 24"}.reject(folder+rel, int64(line)))
		return
	}
	s.read = append(s.read, h)
}

// number reads a number; NaN where there is none.
func number(s string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// within gives x, or NaN where it is outside what variable i can be.
func within(x float64, i int) float64 {
	if lim := weatherLimits[i]; !(x >= lim[0] && x <= lim[1]) {
		return math.NaN()
	}
	return x
}

// tmy3 reads a file in the TMY3 layout, typical or measured.
//
// Source: the published TMY3 user's manual (from memory), held against the
// sample files: local standard time, hours by their end, -9900 missing.
func (w *weather) tmy3(rel string) error {
	in, err := openText(filepath.Join(w.dir, rel), w.limits)
	if err != nil {
		return err
	}
	defer in.Close()
	r := w.standardRows(in)
	place, _, err := r.next()
	if err != nil || len(place) < 7 {
		return errors.New("its first line must hold the station, its name, state, time zone, latitude, longitude and elevation")
	}
	s := standard{id: strings.TrimSpace(place[0]), zone: number(place[3]), lat: number(place[4]), lon: number(place[5])}
	header, _, err := r.next()
	if err != nil {
		return err
	}
	var column [len(weatherColumns)]int
	for i, name := range [...]string{"Dry-bulb (C)", "GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)", "Wspd (m/s)"} {
		column[i] = slices.Index(header, name)
	}
	for {
		rec, line, err := r.next()
		if errors.Is(err, io.EOF) {
			return w.addStandard(&s)
		}
		if err != nil {
			return err
		}
		date, err := time.Parse("1/2/2006", strings.TrimSpace(rec[0]))
		hour := -1
		if len(rec) > 1 {
			text, _, _ := strings.Cut(strings.TrimSpace(rec[1]), ":")
			if v, err := strconv.Atoi(text); err == nil {
				hour = v
			}
		}
		if err != nil {
			hour = -1
		}
		h := standardHour{year: date.Year(), month: int(date.Month()), day: date.Day(), hour: hour}
		for i, c := range column {
			h.v[i] = math.NaN()
			if c >= 0 && c < len(rec) {
				h.v[i] = within(number(rec[c]), i)
			}
		}
		w.addHour(rel, line, &s, h)
	}
}
