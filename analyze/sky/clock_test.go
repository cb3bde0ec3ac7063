package sky

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/scripts/outside"
)

// readingsOf reads a column of a public file onto hours: stamped as a clock
// says, some rows an hour. Hours with a row missing are missing.
type readingsOf struct {
	file, stamp, column, layout string
	each                        int // rows an hour
	scale                       float64
}

func (r readingsOf) hours(t *testing.T, clock *time.Location) (start ingest.Hour, wh []float64) {
	t.Helper()
	f, err := os.Open(outside.Data(t, strings.Split(r.file, "/")...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(r.file, ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int {
		for i, n := range rows[0] {
			if n == name {
				return i
			}
		}
		t.Fatalf("%s has no column %s", r.file, name)
		return 0
	}
	value, stamp := column(r.column), -1
	if r.stamp != "" {
		stamp = column(r.stamp)
	}
	sums, counts := map[ingest.Hour]float64{}, map[ingest.Hour]int{}
	var last ingest.Hour
	for i, row := range rows[1:] {
		at := time.Date(2016, 8, 1, i, 0, 0, 0, time.UTC) // a bare calendar: no clock change in it
		if stamp >= 0 {
			if at, err = time.Parse(r.layout, row[stamp]); err != nil {
				t.Fatal(err)
			}
		}
		h := ingest.HourOf(time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), 0, 0, 0, clock))
		if v, err := strconv.ParseFloat(row[value], 64); err == nil && counts[h] < r.each {
			sums[h] += max(0, v) * r.scale
			counts[h]++
		}
		if start == 0 || h < start {
			start = h
		}
		last = max(last, h)
	}
	wh = make([]float64, last-start+1)
	for i := range wh {
		if wh[i] = math.NaN(); counts[start+ingest.Hour(i)] == r.each {
			wh[i] = sums[start+ingest.Hour(i)]
		}
	}
	return start, wh
}

var (
	golden15  = readingsOf{"pv-known-tilt-colorado/ac_15min.csv.gz", "label_time", "ac_w", "2006-01-02 15:04", 4, 0.25}
	fontana01 = readingsOf{"fontana-5homes/home_01.csv", "", "solar_generation", "", 1, 1}
	fontana05 = readingsOf{"fontana-5homes/home_05.csv", "", "solar_generation", "", 1, 1}
	fontana10 = readingsOf{"fontana-5homes/home_10.csv", "", "solar_generation", "", 1, 1}
	golden    = sun.Place{LatitudeDeg: 39.7406, LongitudeDeg: -105.1775, ElevationM: 1790}
	fontana   = sun.Place{LatitudeDeg: 34.1, LongitudeDeg: -117.44, ElevationM: 400}
)

// TestClockOfRealReadings: files whose stamps follow summer time without saying
// so (their own notes), read as a fixed zone and as the civil clock; and one
// whose notes say that its clock is one to two hours off about 5 to 20 March.
func TestClockOfRealReadings(t *testing.T) {
	for _, c := range []struct {
		name   string
		from   readingsOf
		place  sun.Place
		zone   string
		fixed  int // hours of UTC that the stamps are read as; 0: the civil clock
		summer float64
		off    []string // a day in each stretch
	}{
		{"Golden read as UTC-7", golden15, golden, "America/Denver", -7, 1, nil},
		{"Golden, civil clock", golden15, golden, "America/Denver", 0, 0, nil},
		{"Fontana 01 read as UTC-8", fontana01, fontana, "America/Los_Angeles", -8, 1, nil},
		{"Fontana 01, civil clock", fontana01, fontana, "America/Los_Angeles", 0, 0, nil},
		{"Fontana 05 read as UTC-8", fontana05, fontana, "America/Los_Angeles", -8, 1, nil},
		{"Fontana 05, civil clock", fontana05, fontana, "America/Los_Angeles", 0, 0, nil},
		{"Fontana 10, civil clock", fontana10, fontana, "America/Los_Angeles", 0, 0, []string{"2017-03-05", "2017-03-15"}},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		clock := zone
		if c.fixed != 0 {
			clock = time.FixedZone("fixed", c.fixed*3600)
		}
		start, wh := c.from.hours(t, clock)
		h := sun.NewHours(c.place, start, len(wh), sun.SkyModel{})
		cal := ingest.NewCalendar(zone, start, len(wh))
		site := &ingest.Site{ID: c.name, LatitudeDeg: c.place.LatitudeDeg, LongitudeDeg: c.place.LongitudeDeg, Location: zone,
			Arrays: []ingest.Array{{ID: "A", Modules: 1, ModuleWatts: 4000, TiltDeg: math.NaN(), AzimuthDeg: math.NaN()}}}
		got := FindClock(Hourly{Sun: h, Calendar: cal, Wh: wh, TempC: Temperature(nil, h)}, site, &ingest.Catalogue{})
		if got.Late != 0 || got.Summer != c.summer || len(got.Stretches) != len(c.off) {
			t.Errorf("%s: %g h late, %+g h in summer, stretches %v; want 0, %+g and %d", c.name, got.Late, got.Summer, got.Stretches, c.summer, len(c.off))
			continue
		}
		for i, day := range c.off {
			at, _ := time.ParseInLocation(time.DateOnly, day, zone)
			if d := cal.DayOf(ingest.HourFrom(at)); d < got.Stretches[i].From || d > got.Stretches[i].To || got.Stretches[i].Late > -1 || got.Stretches[i].Late < -2.5 {
				t.Errorf("%s: stretch %d is days %d to %d, %g h; %s is day %d", c.name, i, got.Stretches[i].From, got.Stretches[i].To, got.Stretches[i].Late, day, d)
			}
		}
	}
}

// TestKnownRoof: two arrays at Golden whose owner states tilt 45 and azimuth
// 158. The truth lies within the radius that holds nine of ten.
func TestKnownRoof(t *testing.T) {
	truth := sun.Plane{TiltDeg: 45, AzimuthDeg: 158}
	for _, c := range []struct {
		name  string
		from  readingsOf
		place sun.Place
		clock *time.Location
	}{
		{"first", golden15, golden, mustZone(t, "America/Denver")},
		{"second", readingsOf{"pv-known-tilt-colorado/second_array_ac_15min_2016.csv.gz", "time_utc_minus7", "ac_w", "2006-01-02 15:04", 4, 0.25},
			sun.Place{LatitudeDeg: 39.742, LongitudeDeg: -105.1727, ElevationM: 1790}, time.FixedZone("fixed", -7*3600)},
	} {
		start, wh := c.from.hours(t, c.clock)
		h := sun.NewHours(c.place, start, len(wh), sun.SkyModel{})
		site := &ingest.Site{Arrays: []ingest.Array{{ID: "A", Modules: 1, ModuleWatts: 4000, TiltDeg: math.NaN(), AzimuthDeg: math.NaN()}}}
		fits := Facings(Hourly{Sun: h, Calendar: ingest.NewCalendar(c.clock, start, len(wh)), Wh: wh, TempC: Temperature(nil, h)}, site, &ingest.Catalogue{})
		if len(fits) != 1 {
			t.Errorf("%s: %d planes", c.name, len(fits))
			continue
		}
		off := sun.AngleDeg(fits[0].Plane, truth)
		t.Logf("%s: %+v, %.1f degrees off, sd %.1f", c.name, fits[0].Plane, off, fits[0].SDDeg)
		if off > 2.15*fits[0].SDDeg || off > 10 {
			t.Errorf("%s: %+v is %.1f degrees off, sd %.1f", c.name, fits[0].Plane, off, fits[0].SDDeg)
		}
	}
}

func mustZone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// TestFlatTop: 500 readings of which 39 are labelled by hand as held at the
// inverter's limit; and the same without them.
func TestFlatTop(t *testing.T) {
	f, err := os.Open(outside.Data(t, "pv-labelled-faults", "clipping_labelled_15min.csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all, free []float64
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[1], 64)
		if err != nil {
			continue
		}
		if all = append(all, v); r[2] == "1" {
			low, high = min(low, v), max(high, v)
		} else if v < 0.97 {
			free = append(free, v)
		}
	}
	if top := FlatTop(all); !(top > low-0.005 && top < high+0.005) {
		t.Errorf("flat top at %.4f, labelled from %.4f to %.4f", top, low, high)
	}
	if top := FlatTop(free); top == top {
		t.Errorf("flat top at %.4f of readings without one", top)
	}
}

// TestDullAfternoons: a year's readings at Golden, in which we set four weeks of
// afternoons to a quarter of their output: the middle of those days lies early,
// their first and last light does not, and nothing is said of the clock. The same
// weeks stamped an hour early are said.
func TestDullAfternoons(t *testing.T) {
	zone := mustZone(t, "America/Denver")
	start, wh := golden15.hours(t, zone)
	h := sun.NewHours(golden, start, len(wh), sun.SkyModel{})
	cal := ingest.NewCalendar(zone, start, len(wh))
	day := func(date string) int {
		at, err := time.ParseInLocation(time.DateOnly, date, zone)
		if err != nil {
			t.Fatal(err)
		}
		return cal.DayOf(ingest.HourFrom(at))
	}
	from, to := day("2012-08-01"), day("2012-08-29")
	dull, early := append([]float64(nil), wh...), append([]float64(nil), wh...)
	for d := from; d < to; d++ {
		lo, hi := cal.Day(d)
		for i := lo; i < hi; i++ {
			if early[i] = wh[i+1]; h.East[i] < 0 {
				dull[i] = wh[i] / 4
			}
		}
	}
	site := &ingest.Site{ID: "golden", LatitudeDeg: golden.LatitudeDeg, LongitudeDeg: golden.LongitudeDeg, Location: zone,
		Arrays: []ingest.Array{{ID: "A", Modules: 1, ModuleWatts: 4000, TiltDeg: 45, AzimuthDeg: 158}}}
	find := func(wh []float64) Clock {
		return FindClock(Hourly{Sun: h, Calendar: cal, Wh: wh, TempC: Temperature(nil, h)}, site, &ingest.Catalogue{})
	}
	if got := find(dull); !got.Right() {
		t.Errorf("dull afternoons: %+v", got.Stretches)
	}
	got := find(early)
	if len(got.Stretches) != 1 || got.Stretches[0].Late != -1 || got.Late != 0 || got.Summer != 0 {
		t.Fatalf("an hour early: %g h, %+g h in summer, stretches %+v", got.Late, got.Summer, got.Stretches)
	}
	if s := got.Stretches[0]; max(s.From-from, from-s.From) > 7 || max(s.To+1-to, to-s.To-1) > 7 {
		t.Errorf("an hour early from day %d to %d, said of %d to %d", from, to-1, s.From, s.To)
	}
}
