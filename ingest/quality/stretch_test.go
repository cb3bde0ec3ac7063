package quality

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// finer gives the home's channels in quarter hours: each hour's energy, shaped
// so that no two quarters are alike.
func finer(s *ingest.Series) *ingest.Series {
	s.StepMinutes = 15
	s.Fine = &ingest.Fine{Start: s.Start, StepMinutes: 15}
	for k, v := range s.Wh {
		s.Fine.Wh[k] = make([]float32, 4*len(v))
		for h, x := range v {
			for i := range 4 {
				s.Fine.Wh[k][4*h+i] = float32(math.Round(x / 4 * (1 + 0.05*math.Sin(float64(7*h+3*i)))))
			}
		}
		s.Wh[k] = hourly(s.Fine.Wh[k], 4)
	}
	return s
}

// quarters is finer with a production that follows the sun within the hour.
func quarters(s *ingest.Series) {
	finer(s)
	fine := s.Fine.Wh[ingest.Production]
	cloud := 1.0
	for i := range fine {
		if i%96 == 0 {
			cloud = 0.3 + 0.7*math.Abs(math.Sin(float64(i)))
		}
		unix := float64(int64(s.Start))*3600 + (float64(i)+0.5)*900
		fine[i] = float32(math.Round(1200 * cloud * math.Max(0, math.Sin(elevation(unix, lat, lon)*math.Pi/180)) * (0.9 + 0.1*math.Sin(float64(i*i)))))
	}
	s.Wh[ingest.Production] = hourly(fine, 4)
	s.Wh[ingest.Consumption], s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil, nil
}

func codes(found []ingest.Quality) []string {
	var list []string
	for _, q := range found {
		list = append(list, q.Code)
	}
	return list
}

// An export that has rows only while the inverter is awake: its nights count as
// zero and the days as read. A gap of two days stays a gap, nights and all.
func TestNightRows(t *testing.T) {
	for _, fine := range []bool{false, true} {
		s, want := home(), home()
		if fine {
			quarters(s)
			quarters(want)
		}
		per := 1
		if fine {
			per = 4
		}
		blank := func(h int) {
			s.Wh[ingest.Production][h] = math.NaN()
			for i := h * per; fine && i < (h+1)*per; i++ {
				s.Fine.Wh[ingest.Production][i] = float32(math.NaN())
			}
		}
		for h := range s.Wh[ingest.Production] {
			if !fine && s.Wh[ingest.Production][h] == 0 {
				blank(h)
			}
		}
		for i := range 4 * len(s.Wh[0]) {
			if fine && s.Fine.Wh[ingest.Production][i] < 5 { // asleep below 20 W
				s.Fine.Wh[ingest.Production][i] = float32(math.NaN())
				s.Wh[ingest.Production][i/4] = math.NaN()
			}
		}
		for h := 2400; h < 2448; h++ {
			blank(h)
		}
		found := Check(s, denver(t))
		Apply(s, found)
		if !slices.Contains(codes(found), "night_rows_missing") {
			t.Fatalf("fine %v: %v", fine, codes(found))
		}
		for h, x := range s.Wh[ingest.Production] {
			inGap := h >= 2400-14 && h < 2448+14 // with the nights beside it
			edge := h < 24 || h >= len(s.Wh[0])-24
			if x != x && !inGap && !edge || h >= 2400 && h < 2448 && x == x {
				t.Errorf("fine %v: hour %d is %g", fine, h, x)
			}
			if x == x && math.Abs(x-want.Wh[ingest.Production][h]) > 15 { // what a sleeping inverter lost
				t.Errorf("fine %v: hour %d is %g, want %g", fine, h, x, want.Wh[ingest.Production][h])
			}
		}
	}
	// Missing from three in the afternoon: only the night is known.
	s := home()
	noon := 12 + 7 - 6
	for h := 240 + noon + 3; h < 240+24+noon-6; h++ {
		s.Wh[ingest.Production][h] = math.NaN()
	}
	Apply(s, Check(s, denver(t)))
	if x := s.Wh[ingest.Production][240+noon+3]; x == x {
		t.Errorf("an hour of the afternoon became %g", x)
	}
	if x := s.Wh[ingest.Production][240+noon+12]; x != 0 {
		t.Errorf("midnight is %g", x)
	}
}

// A real inverter's export at five minutes: rows only by day, three readings of
// -1000000, and nine months without any.
func TestSentinelsAndNightsOfARealExport(t *testing.T) {
	rows := gzipped(t, outside.Data(t, "pv-labelled-faults", "small_inverter_5min_sentinels.csv.gz"))
	parse := func(row []string) time.Time {
		at, err := time.Parse("2006-01-02 15:04", row[0])
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	from, to := ingest.HourOf(parse(rows[0])), ingest.HourOf(parse(rows[len(rows)-1]))+1
	fine := make([]float32, 12*int(to-from))
	for i := range fine {
		fine[i] = float32(math.NaN())
	}
	for _, row := range rows {
		kw, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		fine[int(parse(row).Unix()-int64(from)*3600)/300] = float32(kw * 1000 / 12)
	}
	s := &ingest.Series{Start: from, StepMinutes: 5, Fine: &ingest.Fine{Start: from, StepMinutes: 5}}
	s.Fine.Wh[ingest.Production], s.Wh[ingest.Production] = fine, hourly(fine, 12)
	loc := time.FixedZone("", -8*3600)
	// The place is about 120 west; the latitude is not given and hardly matters.
	site := Site{LatitudeDeg: 37, LongitudeDeg: -120, Location: loc, RatedDCWatts: 7000}
	before := completeDays(s, loc)
	found := Check(s, site)
	Apply(s, found)
	for _, q := range found {
		t.Log(q.Code, q.Says)
	}
	for _, at := range []string{"2016-04-05 13:30", "2016-07-19 12:55", "2016-08-17 13:10"} {
		for _, zone := range []int{0, 8} { // the stamps of the list are UTC or the site's standard time
			h := ingest.HourOf(parse([]string{at}).Add(time.Duration(zone) * time.Hour))
			if x := s.Wh[ingest.Production][h-from]; x < -100 {
				t.Errorf("%s: %g Wh", at, x)
			}
		}
	}
	days := 0
	for _, x := range s.Wh[ingest.Production] {
		if x < -100 {
			t.Errorf("an hour of %g Wh is left", x)
		}
	}
	days = completeDays(s, loc)
	t.Logf("complete days: %d before, %d after", before, days)
	if before > 20 || days < 180 {
		t.Errorf("%d complete days before, %d after", before, days)
	}
}

// completeDays counts the local days with nine tenths of their hours.
func completeDays(s *ingest.Series, loc *time.Location) (n int) {
	cal := ingest.NewCalendar(loc, s.Start, s.Len())
	for d := range cal.Days() {
		lo, hi := cal.Day(d)
		read := 0
		for _, x := range s.Wh[ingest.Production][lo:hi] {
			if x == x {
				read++
			}
		}
		if 10*read >= 9*cal.DayDue(d) {
			n++
		}
	}
	return n
}

// The whole energy of a gap in the hour after it goes; an evening that is only
// busy stays.
func TestLumpAfterAGap(t *testing.T) {
	s := home()
	use := s.Wh[ingest.Consumption]
	s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
	lump := 0.0
	for h := 1000; h < 1020; h++ {
		lump += use[h]
		use[h] = math.NaN()
	}
	use[1020] += lump
	for h := 2000; h < 2004; h++ {
		use[h] = math.NaN()
	}
	busy := use[2004] * 2
	use[2004] = busy
	found := Check(s, denver(t))
	i := slices.IndexFunc(found, func(q ingest.Quality) bool { return q.Code == "lump_beside_gap" })
	if i < 0 || found[i].Hours != 1 || found[i].From != s.Start+1020 {
		t.Fatalf("%+v", found)
	}
	Apply(s, found)
	if use[1020] == use[1020] || use[2004] != busy {
		t.Errorf("hours 1020 and 2004 are %g and %g", use[1020], use[2004])
	}
}

// No rating of the inverters, but of the modules: 1.3 times that is the most.
func TestBeyondTheModules(t *testing.T) {
	s := finer(home())
	s.Fine.Wh[ingest.Production][4*500+1] = 2500 // 10 kW for a quarter of an hour
	s.Wh[ingest.Production] = hourly(s.Fine.Wh[ingest.Production], 4)
	site := denver(t)
	site.RatedACWatts = 0
	found := Check(s, site)
	i := slices.IndexFunc(found, func(q ingest.Quality) bool { return q.Code == "impossible" })
	if i < 0 || found[i].Hours != 1 || found[i].From != s.Start+500 || !strings.Contains(found[i].Says, "modules of 6.0 kW") {
		t.Errorf("%+v", found)
	}
	// Two months of it are a larger array than the register's.
	for h := range s.Wh[ingest.Production] {
		s.Wh[ingest.Production][h] *= 1.8
		for i := 4 * h; i < 4*h+4; i++ {
			s.Fine.Wh[ingest.Production][i] *= 1.8
		}
	}
	for _, q := range Check(s, site) {
		if len(q.Spans) > 0 && q.Hours > 1 {
			t.Errorf("left out: %+v", q)
		}
	}
}

// Flat tops are the inverter's limit, or the utility's: not stuck. A smooth
// clear sky is no straight line.
func TestFlatTopsAndClearDaysStay(t *testing.T) {
	for _, step := range []int{60, 15, 5} {
		n, per := 60*24, 60/step
		s := &ingest.Series{Start: start, StepMinutes: step}
		v := make([]float32, n*per)
		for i := range v {
			unix := float64(int64(start))*3600 + (float64(i)+0.5)*float64(step)*60
			w := 5200 * math.Max(0, math.Sin(elevation(unix, lat, lon)*math.Pi/180)) // no cloud ever
			if i/per > n/2 {
				w = math.Min(w, 3100) // a limit from the second month on
			}
			v[i] = float32(math.Round(w / float64(per)))
		}
		s.Wh[ingest.Production] = hourly(v, per)
		if step < 60 {
			s.Fine = &ingest.Fine{Start: start, StepMinutes: step}
			s.Fine.Wh[ingest.Production] = v
		}
		for _, q := range Check(s, denver(t)) {
			if len(q.Spans) > 0 {
				t.Errorf("step %d: %s", step, q.Says)
			}
		}
	}
}

// dutch reads columns of an hourly file on the Dutch clock; an hour that the clock
// shows twice is read once.
func dutch(t *testing.T, name string, columns map[int]ingest.Channel, perUnit float64) *ingest.Series {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Amsterdam")
	if err != nil {
		t.Fatal(err)
	}
	rows := gzipped(t, outside.Data(t, "real-homes-events", name))
	at := func(row []string) ingest.Hour {
		x, err := time.ParseInLocation("2006-01-02 15:04", row[0][:16], loc)
		if err != nil {
			t.Fatal(err)
		}
		return ingest.HourOf(x)
	}
	s := &ingest.Series{Start: at(rows[0]), StepMinutes: 60}
	n := int(at(rows[len(rows)-1])-s.Start) + 1
	for _, k := range columns {
		s.Wh[k] = make([]float64, n)
		for i := range s.Wh[k] {
			s.Wh[k][i] = math.NaN()
		}
	}
	for _, row := range rows {
		for column, k := range columns {
			if x, err := strconv.ParseFloat(row[column], 64); err == nil {
				s.Wh[k][at(row)-s.Start] = x * perUnit
			}
		}
	}
	return s
}

// A real export that closes with the import of the three days that follow: its
// publisher's note dates the row.
func TestLumpBeforeAGapOfARealExport(t *testing.T) {
	s := dutch(t, "home_c_net_hourly.csv.gz", map[int]ingest.Channel{5: ingest.Import, 6: ingest.Export}, 1000)
	lump := ingest.HourOf(time.Date(2021, 8, 23, 17, 0, 0, 0, time.UTC)) // 19:00 on the clock
	if x := s.Wh[ingest.Import][lump-s.Start]; math.Abs(x-19115) > 1 {
		t.Fatalf("the row reads %g Wh", x)
	}
	found := Check(s, Site{LatitudeDeg: 52, LongitudeDeg: 5})
	Apply(s, found)
	for _, q := range found {
		t.Log(q.Code, q.Channel, q.Says)
	}
	if x := s.Wh[ingest.Import][lump-s.Start]; x == x {
		t.Errorf("the lump of %g Wh is still there", x)
	}
	charging := ingest.HourOf(time.Date(2021, 9, 12, 20, 0, 0, 0, time.UTC))
	if x := s.Wh[ingest.Import][charging-s.Start]; !(x > 8000) {
		t.Errorf("the first charge of a car reads %g Wh", x)
	}
}

// A real array whose export is empty by night and for an outage of seven weeks.
func TestEmptyNightsOfARealArray(t *testing.T) {
	s := dutch(t, "home_d_pv_hourly.csv.gz", map[int]ingest.Channel{2: ingest.Production}, 1)
	loc := time.FixedZone("", 3600)
	before := completeDays(s, loc)
	found := Check(s, Site{LatitudeDeg: 52, LongitudeDeg: 5, Location: loc})
	Apply(s, found)
	for _, q := range found {
		t.Log(q.Code, q.Says)
	}
	after := completeDays(s, loc)
	t.Logf("complete days: %d before, %d after, of %d", before, after, s.Len()/24)
	if before > 10 || after < 320 {
		t.Errorf("%d complete days before, %d after", before, after)
	}
	for h := ingest.HourOf(time.Date(2024, 12, 5, 0, 0, 0, 0, time.UTC)); h < ingest.HourOf(time.Date(2025, 1, 10, 0, 0, 0, 0, time.UTC)); h++ {
		if x := s.Wh[ingest.Production][h-s.Start]; x == x {
			t.Fatalf("the outage reads %g at %v", x, h.Time())
		}
	}
}
