package load

import (
	"math"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

// ramp(x, lo, hi) is a straight line from 0 at lo to 1 at hi; the scores below
// are products of such lines at the marks of loads (method, section 8.4).

func TestScoreOfACar(t *testing.T) {
	nan := math.NaN()
	car := marks{known: true, month: 12, aDay: 1, spread: 0.1, cool: 1, warm: 1, days: 0.4, minutes: 120}
	for _, c := range []struct {
		what   string
		change func(*marks)
		want   float64
	}{
		{"a car", func(m *marks) {}, 1},
		{"nothing known", func(m *marks) { m.known = false }, 0},
		{"four in 30 days", func(m *marks) { m.month = 4 }, 1},
		{"fewer", func(m *marks) { m.month = 3.9 }, 0},
		{"half as many before", func(m *marks) { m.monthBefore = 6 }, 1},
		{"more before", func(m *marks) { m.monthBefore = 6.1 }, 0},
		{"two a day", func(m *marks) { m.aDay = 2 }, 1},
		{"two and a half a day", func(m *marks) { m.aDay = 2.5 }, 0.5}, // (3.5 - 2.5 - 0.5)/1
		{"three a day", func(m *marks) { m.aDay = 3 }, 0},
		{"heights within 15 %", func(m *marks) { m.spread = 0.15 }, 1},
		{"heights within 20 %", func(m *marks) { m.spread = 0.20 }, 0.5},
		{"heights within 25 %", func(m *marks) { m.spread = 0.25 }, 0},
		{"a quarter as many in winter", func(m *marks) { m.cool = 0.25 }, 0.5}, // (0.25 - 0.15)/0.2
		{"a quarter as many in summer", func(m *marks) { m.warm = 0.25 }, 0.5},
		{"hardly any in winter", func(m *marks) { m.cool = 0.1 }, 0},
		{"winter not seen", func(m *marks) { m.cool, m.hotHours = nan, 0.5 }, 0.8},
		{"winter not seen, by day", func(m *marks) { m.cool, m.hotHours = nan, 0.6 }, 0.25},
		{"summer not seen, by day", func(m *marks) { m.warm, m.hotHours = nan, 0.6 }, 0.8},
		{"every day, an hour", func(m *marks) { m.days, m.minutes = 0.8, 60 }, 0.5},
		{"every day, 75 minutes", func(m *marks) { m.days, m.minutes = 0.8, 75 }, 0.75},
		{"every day, 90 minutes", func(m *marks) { m.days, m.minutes = 0.8, 90 }, 1},
		{"seven days in ten, an hour", func(m *marks) { m.days, m.minutes = 0.7, 60 }, 1},
	} {
		m := car
		c.change(&m)
		near(t, c.what, m.carShape(), c.want, 1e-9)
	}
}

func TestScoresOfAWaterHeater(t *testing.T) {
	water := marks{known: true, month: 30, days: 0.9, spread: 0.1, start: 92, startDays: 20, sameStart: 0.9, energySpread: 0.2}
	for _, c := range []struct {
		what          string
		change        func(*marks)
		bursts, block float64
	}{
		{"at 23 o'clock", func(m *marks) {}, 1, 1},
		{"nothing known", func(m *marks) { m.known = false }, 0, 0},
		{"half as many before", func(m *marks) { m.monthBefore = 15 }, 1, 1},
		{"more before", func(m *marks) { m.monthBefore = 15.1 }, 0, 0},
		{"five days in eight", func(m *marks) { m.days = 0.625 }, 0.5, 1},
		{"heights within 20 %", func(m *marks) { m.spread = 0.2 }, 0.5, 0.5},
		{"at 6:45", func(m *marks) { m.start = 27 }, 1, 1},
		{"at 7:00", func(m *marks) { m.start = 28 }, 1, 0},
		{"at 19:45", func(m *marks) { m.start = 79 }, 1, 0},
		{"at 20:00", func(m *marks) { m.start = 80 }, 1, 1},
		{"19 days", func(m *marks) { m.startDays = 19 }, 1, 0},
		{"at that hour on 0.725 of the days", func(m *marks) { m.sameStart = 0.725 }, 1, 0.5},
		{"energy within 30 %", func(m *marks) { m.energySpread = 0.3 }, 1, 1},
		{"energy within 37.5 %", func(m *marks) { m.energySpread = 0.375 }, 1, 0.5},
		{"energy within 45 %", func(m *marks) { m.energySpread = 0.45 }, 1, 0},
	} {
		m := water
		c.change(&m)
		near(t, c.what+": bursts", m.burstScore(), c.bursts, 1e-9)
		near(t, c.what+": block", m.blockScore(15), c.block, 1e-9)
	}
	if got := (&Fine{step: 15}).clockOf(27); got != "06:45" {
		t.Errorf("slot 27 is %s", got)
	}
}

func TestUsualStart(t *testing.T) {
	r := &Fine{step: 15}
	for _, c := range []struct {
		starts     []float64
		slot, days int
	}{
		{[]float64{10, 10, 11, 9, 50}, 10, 4},
		{[]float64{0, 95, 95}, 95, 3}, // across midnight
		{[]float64{0, 0, 95}, 0, 3},
		{[]float64{20, 22}, 21, 2},
		{nil, 0, 0},
	} {
		if slot, days := r.usualStart(c.starts); slot != c.slot || days != c.days {
			t.Errorf("%v: slot %d on %d days", c.starts, slot, days)
		}
	}
}

// A load of 2 kW that comes on half way through interval 8 and stays an hour.
func TestLongRise(t *testing.T) {
	kw := make([]float32, 20)
	for k := 8; k < 14; k++ {
		kw[k] = 2
	}
	kw[8] = 1
	if at := longRise(kw, 0, 20, 4, 0.9); at != 8 {
		t.Errorf("at %d", at)
	}
	if at := longRise(kw, 0, 8, 4, 0.9); at != 7 { // the rise of 1 kW within the first interval
		t.Errorf("before it: %d", at)
	}
	if at := longRise(kw, 10, 20, 4, 0.9); at != -1 {
		t.Errorf("behind it: %d", at)
	}
	if at := longRise(kw, 0, 20, 4, 2); at != -1 { // no more than rise
		t.Errorf("a rise of as much: %d", at)
	}
	kw[12], kw[13] = 0, 0 // three intervals and a half: no hour
	if at := longRise(kw, 8, 20, 4, 0.9); at != -1 {
		t.Errorf("a short one: %d", at)
	}
	kw[12], kw[13], kw[5] = 2, 2, 5 // what stood before is higher
	if at := longRise(kw, 8, 9, 4, 0.9); at != -1 {
		t.Errorf("after a higher hour: %d", at)
	}
}

func TestCorrelation(t *testing.T) {
	for _, c := range []struct {
		y    []float64
		want float64
	}{{[]float64{2, 4, 6}, 1}, {[]float64{9, 7, 5}, -1}, {[]float64{1, 3, 2}, 0.5}, {[]float64{4, 4, 4}, 0}} {
		near(t, "correlation", correlation([]float64{1, 2, 3}, c.y), c.want, 1e-12)
		near(t, "correlation", correlation(c.y, []float64{1, 2, 3}), c.want, 1e-12)
	}
}

// In New York the clock skips 2 o'clock on 2026-03-08 and repeats 1 o'clock on
// 2026-11-01.
func TestHoursOfAClockChange(t *testing.T) {
	loc, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		day   time.Time
		hours int
		want  map[int]float64
	}{
		{time.Date(2026, 3, 8, 0, 0, 0, 0, loc), 23, map[int]float64{0: 0, 1: 1, 2: 1, 3: 2, 23: 22}},
		{time.Date(2026, 11, 1, 0, 0, 0, 0, loc), 25, map[int]float64{0: 0, 1: 1.5, 2: 3, 23: 24}},
		{time.Date(2026, 5, 1, 0, 0, 0, 0, loc), 24, map[int]float64{0: 0, 1: 1, 2: 2, 23: 23}},
	} {
		wh := make([]float64, c.hours)
		for i := range wh {
			wh[i] = 1000 * float64(i)
		}
		got := hoursOf(ingest.NewCalendar(loc, ingest.HourOf(c.day), c.hours), wh, 0)
		for h, want := range c.want {
			near(t, c.day.Format(time.DateOnly), got[h], want, 1e-12)
		}
	}
}

// A day of 0.1 kWh an hour at night, 0.2 by day, 3 at 20 o'clock and 0 at two
// hours: the third lowest is 0.1; from 22 to 6 o'clock 8 hours make 0.8; from 8
// to 18 the median is 0.2.
func TestTargetsOfADay(t *testing.T) {
	wh := make([]float64, 48)
	for i := range wh {
		switch h := i % 24; {
		case h >= 22 || h < 6:
			wh[i] = 100
		case h == 20:
			wh[i] = 3000
		case h == 7 || h == 18:
			wh[i] = 0
		default:
			wh[i] = 200
		}
	}
	for i := 8; i < 12; i++ { // four of the ten hours are higher: the median stays
		wh[i] = 900
	}
	d := &fit.Days{KWh: []float64{9, 9}, Counted: []bool{true, false}}
	c := ingest.NewCalendar(time.UTC, 0, 48)
	got := Targets(c, wh, d)
	near(t, "floor", got[change.NightFloor][0], 2.4, 1e-12)
	near(t, "peak", got[change.PeakHour][0], 3, 1e-12)
	near(t, "night", got[change.NightSum][0], 0.8, 1e-12)
	near(t, "midday", got[change.MiddayFlat][0], 2, 1e-12)
	for k := 1; k < int(change.NumTargets); k++ {
		if got[k][1] != 0 {
			t.Errorf("target %d of a day that does not count: %g", k, got[k][1])
		}
	}
	wh[20], wh[2] = math.NaN(), math.NaN() // the highest hour and one of the night are missing
	got = Targets(c, wh, d)
	near(t, "peak of what was read", got[change.PeakHour][0], 0.9, 1e-12)
	near(t, "night of what was read", got[change.NightSum][0], 0.7, 1e-12)
	h := &Home{Calendar: c, Wh: wh, Days: d}
	near(t, "third lowest hour", h.nightMinimum([]int{1}), 0.1, 1e-12)
	if by := h.byHour([]int{1, 0}); by[20][0] != 3 || by[8][0] != 0.2 || by[8][1] != 0.9 {
		t.Errorf("by hour %v %v", by[20], by[8])
	}
}

func flatDays(n int, kWh float64) (v [24][]float64) {
	for h := range v {
		v[h] = make([]float64, n)
		for k := range v[h] {
			v[h][k] = kWh
		}
	}
	return v
}

// 20 days of 0.5 kWh an hour; then on 10 of 20 days 3.5 kWh at 22 and at 23
// o'clock: 6 kWh above the usual on each, 3 kWh a day in the mean.
func TestSessions(t *testing.T) {
	b, a := flatDays(20, 0.5), flatDays(20, 0.5)
	for k := 0; k < 20; k += 2 {
		a[22][k], a[23][k] = 3.5, 3.5
	}
	a[5][1] = 0.5 + sessionRiseKW // at the limit: no session
	var sh Shape
	sh.sessions(b, a, 4)
	near(t, "days", sh.sessionDays, 0.5, 1e-12)
	near(t, "hours", sh.sessionHours, 2, 1e-12)
	near(t, "height", sh.sessionKW, 3, 1e-12)
	near(t, "energy a session day", sh.sessionKWh, 6, 1e-12)
	near(t, "share", sh.sessionShare, 0.75, 1e-12)
	b[10][0] = 9.5 // one day in 20 had a session before: 9 kWh/20 = 0.45 a day
	sh = Shape{}
	sh.sessions(b, a, 3)
	near(t, "days more", sh.sessionDays, 0.45, 1e-12)
	near(t, "share of the change", sh.sessionShare, (3-0.45)/3, 1e-12)
	sh = Shape{}
	sh.sessions(b, flatDays(20, 0.5), 0)
	if sh.sessionKW != 0 || sh.sessionKWh != 0 || sh.sessionHours != 0 || sh.sessionShare != 0 {
		t.Errorf("none: %+v", sh)
	}
}

// Four hours of 1.5 kWh more carry all of the rise: nine tenths take all four.
func TestTimedBlock(t *testing.T) {
	block := func(from int, rises ...float64) Shape {
		var sh Shape
		b, a := flatDays(20, 0.5), flatDays(20, 0.5)
		for i, r := range rises {
			sh.Delta[(from+i)%24] = r
			for k := range 15 {
				a[(from+i)%24][k] = 0.5 + r
			}
		}
		sh.timedBlock(b, a)
		return sh
	}
	for _, c := range []struct {
		what  string
		sh    Shape
		hours int
		day   bool
	}{
		{"10 to 14", block(10, 1.5, 1.5, 1.5, 1.5), 4, true},
		{"16 to 20", block(16, 1.5, 1.5, 1.5, 1.5), 4, true},
		{"17 to 21", block(17, 1.5, 1.5, 1.5, 1.5), 4, false}, // one of four is later
		{"7 to 11", block(7, 1.5, 1.5, 1.5, 1.5), 4, true},
		{"6 to 10", block(6, 1.5, 1.5, 1.5, 1.5), 4, false},
		{"16 to 21", block(16, 1.5, 1.5, 1.5, 1.5, 1.5), 5, true}, // four of five are by day
		{"with an edge", block(10, 1.5, 1.5, 1.5, 0.7), 4, true},
		{"with a thin edge", block(10, 1.5, 1.5, 1.5, 0.4), 3, true}, // 4.5 of 4.9 is over nine tenths
		{"with a thin edge before it", block(10, 0.4, 1.5, 1.6, 1.5), 3, true},
	} {
		if c.sh.block != c.hours || c.sh.dayBlock != c.day {
			t.Errorf("%s: %d hours, by day %v", c.what, c.sh.block, c.sh.dayBlock)
		}
		near(t, c.what+": regularity", c.sh.regularity, 0.75, 1e-12)
	}
	if sh := block(10, -1, 0); sh.block != 0 {
		t.Errorf("no rise: %+v", sh)
	}
}

// Readings of 5 minutes of 100 Wh are 300 Wh a quarter hour: 1.2 kW.
func TestReadFine(t *testing.T) {
	c := ingest.NewCalendar(time.UTC, 0, 24)
	use := func(n int) []float32 {
		v := make([]float32, n)
		for i := range v {
			v[i] = 100
		}
		return v
	}
	for _, x := range []struct {
		minutes, n, step, intervals int
		kw                          float64
	}{{5, 288, 15, 96, 1.2}, {15, 96, 15, 96, 0.4}, {10, 144, 10, 144, 0.6}, {1, 1440, 15, 96, 6}, {20, 72, 0, 0, 0}, {30, 48, 0, 0, 0}, {7, 200, 0, 0, 0}, {0, 10, 0, 0, 0}} {
		r := ReadFine(c, &ingest.Fine{StepMinutes: x.minutes}, use(x.n))
		if r == nil {
			if x.step != 0 {
				t.Errorf("%d minutes: refused", x.minutes)
			}
			continue
		}
		if r.step != x.step || len(r.kw) != x.intervals {
			t.Errorf("%d minutes: %d of %d", x.minutes, len(r.kw), r.step)
			continue
		}
		near(t, "power", float64(r.kw[7]), x.kw, 1e-6)
	}
	if ReadFine(c, &ingest.Fine{StepMinutes: 15}, nil) != nil {
		t.Error("no readings")
	}
	r := &Fine{step: 15, start: 2, calendar: ingest.NewCalendar(time.UTC, 0, 48)}
	for i, want := range map[int][2]int{0: {0, 8}, 5: {0, 13}, 88: {1, 0}, 183: {1, 95}, 184: {-1, 0}} {
		if day, slot := r.slotOf(i); day != want[0] || slot != want[1] {
			t.Errorf("interval %d: day %d, slot %d", i, day, slot)
		}
	}
}

// 28 days with a pulse of 6 kWh on each of the last 14, beside a small and a
// short one: 7 a week after, none before.
func TestPulsesAWeek(t *testing.T) {
	r := &Fine{calendar: ingest.NewCalendar(time.UTC, 0, 28*24)}
	for d := range 28 {
		if d >= 14 {
			r.pulses = append(r.pulses, pulse{day: int32(d), minutes: 45, kwh: 6})
		}
		r.pulses = append(r.pulses, pulse{day: int32(d), minutes: 45, kwh: 5.9}, pulse{day: int32(d), minutes: 44, kwh: 9})
	}
	for day, want := range map[int][2]float64{14: {0, 7}, 7: {0, 14. / 3}, 21: {7. / 3, 7}, 0: {0, 3.5}, 28: {3.5, 0}} {
		before, after := r.LevelPerWeek(6, day)
		near(t, "before", before, want[0], 1e-9)
		near(t, "after", after, want[1], 1e-9)
	}
}

// Half a year of whole days from 1 January: a pulse of 7 kW every second day
// from day 60 on, of 8 kWh, at 22 o'clock.
func TestMarksOfACar(t *testing.T) {
	const n = 180
	d := &fit.Days{KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n)}
	for k := range n {
		d.Share[k], d.Counted[k] = 1, true
	}
	r := &Fine{step: 15, calendar: ingest.NewCalendar(time.UTC, 0, n*24)}
	for k := 0; k < n; k++ {
		r.pulses = append(r.pulses, pulse{day: int32(k), slot: 70, minutes: 45, kw: 3, kwh: 2}) // an oven, always there
		if k >= 60 && k%2 == 0 {
			r.pulses = append(r.pulses, pulse{day: int32(k), slot: 88, minutes: 70, kw: 7, kwh: 8})
		}
	}
	h := &Home{Calendar: r.calendar, Days: d, Fine: r}
	s := SceneOf(h, []change.Group{{Day: 60}}, 0)
	if s.beforeLo != 0 || s.beforeHi != 58 || s.afterLo != 62 || s.afterHi != n {
		t.Fatalf("%+v", s)
	}
	m := s.marksOf(func(p pulse) bool { return p.kw >= rectangleKW && p.minutes >= rectangleMinutes })
	near(t, "in 30 days", m.month, 15, 1e-9) // 59 on 118 days
	near(t, "before", m.monthBefore, 0, 0)
	near(t, "share of the days", m.days, 0.5, 1e-9)
	near(t, "a day", m.aDay, 1, 1e-9)
	near(t, "height", m.kw, 7, 1e-9)
	near(t, "minutes", m.minutes, 70, 1e-9)
	near(t, "energy a day", m.kwhDay, 4, 1e-9)
	near(t, "spread", m.spread, 0, 1e-9)
	near(t, "same start", m.sameStart, 0.5, 1e-9)
	near(t, "in hot hours", m.hotHours, 0, 0)
	// Mid January plus a quarter year is 16 April, day 105 or 106: cool until then.
	near(t, "in the cool half", m.cool, 0.5, 0.02)
	near(t, "in the warm half", m.warm, 0.5, 0.02)
	if m.start != 88 || !m.known {
		t.Errorf("start %d", m.start)
	}
	if day, low, ok := s.firstRectangle(&m); !ok || day != 60 || low > 60 || low < 50 {
		t.Errorf("dated %d, %d, %v", day, low, ok)
	}
	// Between other groups, and a year at most.
	s = SceneOf(&Home{Days: &fit.Days{KWh: make([]float64, 900)}}, []change.Group{{Day: 60}, {Day: 200}, {Day: 300}}, 1)
	if s.beforeLo != 60 || s.beforeHi != 198 || s.afterLo != 202 || s.afterHi != 300 {
		t.Errorf("%+v", s)
	}
	s = SceneOf(&Home{Days: &fit.Days{KWh: make([]float64, 900)}}, []change.Group{{Day: 60}}, 0)
	if s.afterHi != 62+365 {
		t.Errorf("%+v", s)
	}
}
