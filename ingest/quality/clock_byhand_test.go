package quality

import (
	"math"
	"slices"
	"testing"
	"time"

	"rowen/ingest"
)

// Of the night's energy the limit is 1 % of the rating, or of the highest hour; a
// fifth of all energy costs the channel.
func TestNightProductionByHand(t *testing.T) {
	for _, c := range []struct {
		what        string
		rated       float64
		nights      []float64 // at 0 o'clock of the first days
		estimated   bool
		consequence ingest.Consequence
		words       string
	}{
		{"1 % of the highest hour", 0, []float64{10}, false, stands, ""},
		{"more", 0, []float64{11}, false, stands, "above 10 Wh in 1 hours of night, 0.0 % of its energy, the first on 2026-01-01"},
		{"1 % of the rating", 5000, []float64{50}, false, stands, ""},
		{"more", 5000, []float64{51, 51}, false, stands, "above 50 Wh in 2 hours"},
		{"estimated", 0, []float64{11}, true, stands, ""},
		{"a fifth of the energy", 0, []float64{42000}, false, stands, "20.0 %"}, // of 168,000 by day and 42,000 by night
		{"more", 0, []float64{42000, 600}, false, refused, "20.2 %"},
	} {
		v := dayNight(14*24, 1000, 0)
		rated := c.rated
		if c.nights[0] > 1000 {
			rated = 5000 // the highest hour is by night
		}
		s := one(pv, v)
		s.Estimated = make([]bool, len(v))
		for d, wh := range c.nights {
			v[24*d], s.Estimated[24*d] = wh, c.estimated
		}
		said(t, c.what, oneRule(t, "night_production", s, Site{RatedACWatts: rated}, plainSun(len(v), 12)), c.consequence, len(c.nights), c.words)
	}
	said(t, "a short record", oneRule(t, "night_production", one(pv, dayNight(335, 1000, 50)), Site{}, plainSun(335, 12)), stands, 0, "")
}

// A day that produces from 8 to 19 o'clock has its middle at 13:30, an hour and a
// half after noon; from 7 to 12 o'clock it is too short for one, and so are days
// under a fifth of the most. Of 1 kWh at 10, 2 at 11 and 1 at 16 o'clock the
// energy's middle is (10.5 + 2·11.5 + 16.5)/4 - 12 = 0.5 hours after noon.
func TestMiddlesOfDays(t *testing.T) {
	v := make([]float64, 6*24)
	for h := 8; h < 19; h++ {
		v[h] = 1000
	}
	for h := 7; h < 14; h++ { // seven hours: no more than 1.2 times half a day
		v[24+h] = 1000
	}
	for h := 8; h < 19; h++ {
		v[2*24+h], v[3*24+h], v[4*24+h] = 200, 201, 10
	}
	v[5*24+10], v[5*24+11], v[5*24+16], v[5*24+17] = 1000, 2000, 1000, 11 // under 1 % of the most: night
	for _, noon := range []float64{12, 12.25} {
		c := &checker{s: one(pv, v), sun: plainSun(len(v), noon)}
		c.surveyChannel(int(pv))
		c.level[pv].max = 1001 // the threshold lies between 10 and 11
		m := c.dayMiddles()
		if !slices.Equal(m.day, []int{0, 3, 5}) {
			t.Fatalf("days %v", m.day)
		}
		for k, want := range [][2]float64{{1.5, 1.5}, {1.5, 1.5}, {2, 0.5 + 5*11/4011.0}} {
			// The last: from 10 to 18 o'clock, and 11 Wh at 17:30 pull by (5.5 - 0.5)·11 of 4,011.
			if math.Abs(m.middle[k]-want[0]-12+noon) > 1e-12 || math.Abs(m.centre[k]-want[1]-12+noon) > 1e-12 {
				t.Errorf("noon at %g, day %d: middle %g, centre %g, want %v", noon, m.day[k], m.middle[k], m.centre[k], want)
			}
		}
	}
	if got := window([]int{3, 5, 8, 9}, []float64{30, 50, 80, 90}, 5, 8); !slices.Equal(got, []float64{50, 80}) {
		t.Errorf("days 5 to 8: %v", got)
	}
}

// producing is days of production from one hour of the day to another.
func producing(days, from, to int) []float64 {
	v := make([]float64, days*24)
	for h := range v {
		if clock := h % 24; clock >= from && clock < to {
			v[h] = 1000
		}
	}
	return v
}

// The middle of the days may lie 0.75 hours from noon, and 2.5 cost the channel.
func TestShiftedClockByHand(t *testing.T) {
	for _, c := range []struct {
		what           string
		days, from, to int
		noon           float64
		consequence    ingest.Consequence
		words          string
	}{
		{"half an hour late", 30, 7, 18, 12, stands, ""},
		{"0.75 hours late", 30, 7, 18, 11.75, stands, "0.8 hours late against the sun (median of 30 days): stamps at the end"},
		{"an hour early", 30, 6, 16, 12, stands, "1.0 hours early against the sun"},
		{"2.5 hours late", 30, 9, 20, 12, stands, "2.5 hours late"},
		{"three hours late", 30, 10, 20, 12, refused, "3.0 hours late against the sun (median of 30 days): the zone of the stamps is wrong"},
		{"three hours early", 30, 4, 14, 12, refused, "3.0 hours early"},
		{"20 days", 20, 8, 18, 12, stands, "median of 20 days"},
		{"19 days", 19, 8, 18, 12, stands, ""},
	} {
		v := producing(c.days, c.from, c.to)
		said(t, c.what, oneRule(t, "clock_shifted", one(pv, v), Site{}, plainSun(len(v), c.noon)), c.consequence, 24*c.days, c.words)
	}
}

// New York's clock goes forward on 8 March 2026, day 66 of the series, and back on
// 1 November, day 304.
func TestJumpsAtClockChangesByHand(t *testing.T) {
	loc, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what   string
		days   int
		spring int // hours that production goes with the clock there, and in autumn
		autumn int
		from   int // first day with production
		words  string
	}{
		{"summer time in the stamps", 330, 1, 1, 0, "at 2 of 2 clock changes: the stamps go with summer time"},
		{"standard time read as civil", 330, -1, -1, 0, "at 2 of 2 clock changes: the stamps keep standard time"},
		{"at one of two", 330, 1, 0, 0, "at 1 of 2"},
		{"true time", 330, 0, 0, 0, ""},
		{"one change", 100, 1, 0, 0, "at 1 of 1"},
		{"a week before and after", 74, 1, 0, 59, "at 1 of 1"},
		{"six days before", 128, 1, 0, 60, ""},
		{"six days after", 73, 1, 0, 0, ""},
	} {
		v := make([]float64, c.days*24)
		for d := c.from; d < c.days; d++ {
			late := 0
			if d > 66 {
				late += c.spring
			}
			if d > 304 {
				late -= c.autumn
			}
			for h := 7; h < 17; h++ {
				v[24*d+h+late] = 1000
			}
		}
		s := one(pv, v)
		said(t, c.what, oneRule(t, "clock_changes", s, Site{Location: loc}, plainSun(len(v), 12)), stands, len(v), c.words)
	}
}

// Over three tenths of the export and under a twentieth of the import by night.
func TestSwappedGridMetersByHand(t *testing.T) {
	for _, c := range []struct {
		what              string
		exported          float64 // by night, of 1000 by day
		imported          float64
		consequenceOfBoth bool
	}{
		{"31 % and 4 %", 450, 42, true}, {"30 % of the export", 428.5, 42, false}, {"5 % of the import", 450, 53, false},
	} {
		s := one(ingest.Import, dayNight(336, 1000, c.imported))
		s.Wh[ingest.Export] = dayNight(336, 1000, c.exported)
		found := oneRule(t, "import_export_swapped", s, Site{}, plainSun(336, 12))
		if (len(found) == 2) != c.consequenceOfBoth {
			t.Errorf("%s: %+v", c.what, found)
		}
		if len(found) == 2 && (found[0].Channel != ingest.Import || found[1].Channel != ingest.Export || found[0].Hours != 336 || found[0].To-found[0].From != 336) {
			t.Errorf("%s: %+v", c.what, found)
		}
	}
}

// 24 kWh a day are used. On broken days the import is short; a fifth of the days
// must be, by more than 2 % (480 Wh), and by more than 20 % in the median of all.
func TestBalanceByHand(t *testing.T) {
	for _, c := range []struct {
		what         string
		days, broken int
		short        float64 // a day, Wh
		consequence  ingest.Consequence
		words        string
	}{
		{"2 % on all days", 20, 20, 480, stands, ""},
		{"more", 20, 20, 481, stands, "by more than 2 % on 20 of 20 days, by 2 % in the median"},
		{"too much", 20, 20, -481, stands, "on 20 of 20 days"},
		{"a fifth of the days", 20, 4, 2400, stands, "on 4 of 20 days, by 0 % in the median"},
		{"fewer", 20, 3, 2400, stands, ""},
		{"20 %", 20, 20, 4800, stands, "by 20 % in the median"},
		{"more than 20 %", 20, 20, 4824, refused, "by 20 % in the median"},
		{"14 days", 14, 14, 2400, stands, "on 14 of 14 days"},
	} {
		n := c.days * 24
		s := one(use, runs(float64(n), 1000))
		s.Wh[pv], s.Wh[ingest.Import], s.Wh[ingest.Export] = runs(float64(n), 700), runs(float64(n), 500), runs(float64(n), 200)
		for d := 2; d < 2+c.broken; d++ {
			s.Wh[ingest.Import][d%c.days*24+5] -= c.short
		}
		found := oneRule(t, "balance", s, Site{}, nil)
		said(t, c.what, found, c.consequence, 24*c.broken, c.words)
		if c.broken == 4 && len(found) == 1 && (found[0].From != s.Start+48 || found[0].To != s.Start+6*24) {
			t.Errorf("%s: from %d to %d", c.what, found[0].From-s.Start, found[0].To-s.Start)
		}
	}
	s := one(use, runs(336, 10)) // of 240 Wh a day: held against 1 kWh
	s.Wh[pv], s.Wh[ingest.Import], s.Wh[ingest.Export] = runs(336, 5), runs(336, 5.9), runs(336, 0)
	said(t, "21.6 Wh of next to nothing", oneRule(t, "balance", s, Site{}, nil), stands, 336, "by 2 % in the median")
	s.Wh[use] = runs(336, 0)
	said(t, "nothing used", oneRule(t, "balance", s, Site{}, nil), stands, 0, "")
}

// 100 hours of 500 + 300 - 200 Wh, and three of 100 + 0 - 350: -250 each.
func TestDerivedBelowNothingByHand(t *testing.T) {
	s := one(pv, runs(40, 500, 3, 100, 60, 500))
	s.Wh[ingest.Import], s.Wh[ingest.Export] = runs(40, 300, 3, 0, 60, 300), runs(40, 200, 3, 350, 60, 200)
	s.Wh[ingest.Export][41] = 450
	found := oneRule(t, "derived_negative", s, Site{}, nil)
	said(t, "three hours", found, stands, 3, "in 3 hours, down to -0.35 kWh, -0.8 kWh in all of 59 kWh") // 60,000 - 850
	if len(found) == 1 && (found[0].From != s.Start+40 || found[0].To != s.Start+43) {
		t.Errorf("%+v", found[0])
	}
	s.Wh[ingest.Import][41] = 350 // exactly nothing
	said(t, "two hours", oneRule(t, "derived_negative", s, Site{}, nil), stands, 2, "in 2 hours")
	s.Wh[use] = runs(103, 400) // four days of a meter of its own are too few to judge by
	said(t, "few hours metered", oneRule(t, "derived_negative", s, Site{}, nil), stands, 2, "in 2 hours")
}

// A gap between two days under a sun from 6 to 18 o'clock: its hours of night are
// nothing; the two hours of low light on either side as well where the reading
// beside it is a tenth of the most at most.
func TestSleepingInverterByHand(t *testing.T) {
	for _, c := range []struct {
		what     string
		from, to int // o'clock, the second on the next day
		edges    [2]float64
		want     [2]int // hours that count as zero
	}{
		{"from sunset to sunrise", 18, 6, [2]float64{1000, 1000}, [2]int{18, 6}},
		{"asleep two hours before and after", 16, 8, [2]float64{100, 100}, [2]int{16, 8}},
		{"in full light in the evening", 16, 8, [2]float64{101, 100}, [2]int{18, 8}},
		{"in full light in the morning", 16, 8, [2]float64{100, 101}, [2]int{16, 6}},
		{"three hours before", 15, 8, [2]float64{100, 100}, [2]int{18, 8}},
		{"three hours after", 16, 9, [2]float64{100, 100}, [2]int{16, 6}},
		{"23 hours", 13, 12, [2]float64{1000, 1000}, [2]int{18, 6}},
		{"a day is a gap", 12, 12, [2]float64{1000, 1000}, [2]int{}},
	} {
		for _, per := range []int{1, 4} {
			v := dayNight(30*24, 1000, 0)
			from, to := 240+c.from, 264+c.to
			for h := from; h < to; h++ {
				v[h] = nan
			}
			v[from-1], v[to] = c.edges[0], c.edges[1]
			s := one(pv, v)
			if per == 4 {
				s.StepMinutes, s.Fine = 15, &ingest.Fine{Start: s.Start, StepMinutes: 15, Wh: [ingest.NumChannels][]float32{}}
				for h := range v {
					for range 4 {
						s.Fine.Wh[pv] = append(s.Fine.Wh[pv], float32(v[h]/4))
					}
				}
			}
			found := oneRule(t, "night_rows_missing", s, Site{}, plainSun(len(v), 12))
			if c.want == [2]int{} {
				said(t, c.what, found, goes, 0, "")
				continue
			}
			n := 24 + c.want[1] - c.want[0]
			said(t, c.what, found, ingest.CountAsZero, n, "no readings in")
			if len(found) == 1 && found[0].From != s.Start+ingest.Hour(240+c.want[0]) {
				t.Errorf("%s: from %d", c.what, found[0].From-s.Start-240)
			}
		}
	}
}

// Noon and the day's length by another algorithm (Michalsky 1988): the sun is at its
// highest at noon, and on the horizon half a day's length before and after, to a
// degree.
func TestNoonAndDayLength(t *testing.T) {
	for _, place := range [][2]float64{{lat, lon}, {-33.9, 151.2}, {0.5, -78}, {58, 12}} {
		from := ingest.HourOf(time.Date(2026, 1, 1, 3, 0, 0, 0, time.UTC))
		s := newSunDays(place[0], place[1], from, 8000)
		if s.offset != 3 {
			t.Fatalf("offset %d", s.offset)
		}
		for h := 500; h < 8000; h += 397 {
			day, since, half := s.around(h)
			if since < -12.6 || since > 12.6 {
				t.Errorf("%v: hour %d lies %g hours from noon", place, h, since)
			}
			noon := (float64(from) + float64(h) - since) * 3600
			top := elevation(noon, place[0], place[1])
			// Ten minutes are 2.5 degrees of the sun's way round: alike before and after noon.
			before, after := elevation(noon-3*3600, place[0], place[1]), elevation(noon+3*3600, place[0], place[1])
			if math.Abs(before-after) > 1 || top < before {
				t.Errorf("%v, day %d: %.2f and %.2f degrees three hours before and after noon", place, day, before, after)
			}
			for _, edge := range []float64{-half, half} {
				if e := elevation(noon+edge*3600, place[0], place[1]); math.Abs(e) > 1 {
					t.Errorf("%v, day %d: %.2f degrees %g hours from noon", place, day, e, edge)
				}
			}
			if at, _, _ := s.at(float64(h)); at != day {
				t.Errorf("hour %d is of day %d and %d", h, day, at)
			}
		}
	}
	for a, want := range map[int64]int64{5: 5, 24: 0, -1: 23, -24: 0, -25: 23} {
		if got := floorMod(a, 24); got != want {
			t.Errorf("%d mod 24 is %d", a, got)
		}
	}
}
