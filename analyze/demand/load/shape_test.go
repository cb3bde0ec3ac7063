package load

import (
	"math"
	"testing"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
)

// 1 kWh an hour; from day 60 on 2 kWh more from 19 to 23 and from 6 to 8 o'clock and
// half a kWh from 12 to 14: 13 kWh a day, of which 8 + 2 lie between 18 and 7.
func TestShapeOfAChange(t *testing.T) {
	h := homeOf(120, func(day, hour int) float64 {
		switch {
		case day < 60:
		case hour >= 19 && hour < 23, hour == 6, hour == 7:
			return 3
		case hour == 12 || hour == 13:
			return 1.5
		}
		return 1
	})
	sh := sceneAt(h, 60, 13).Shape()
	near(t, "at 19 o'clock", sh.Delta[19], 2, 1e-12)
	near(t, "at 18 o'clock", sh.Delta[18], 0, 1e-12)
	near(t, "before", sh.before[19], 1, 1e-12)
	near(t, "between 18 and 7 o'clock", sh.nightShare, 10./13, 1e-12)
	near(t, "the quietest hours", sh.flatShare, 0, 1e-12)
	near(t, "the nightly minimum", sh.baseRise, 0, 1e-12)
	near(t, "sessions", sh.sessionDays, 1, 1e-12)
	near(t, "hours of them", sh.sessionHours, 6, 1e-12)
	if !sh.Known || sh.paired || sh.block != 6 { // 12 of 13 kWh lie in six hours
		t.Errorf("%+v", sh)
	}
	// Half a kWh in every hour: all alike. And twice the shape of before.
	h = homeOf(120, func(day, hour int) float64 {
		v := 1 + 0.1*float64(hour%5)
		if day >= 60 {
			v *= 1.5
		}
		return v
	})
	sh = sceneAt(h, 60, 13).Shape()
	sum := 0.5 * (24 + 0.1*(4*10+0+1+2+3)) // the hours' tenths: four times 0 to 4, then 0 to 3
	near(t, "the fourth smallest rise over the mean", sh.flatShare, 24*0.5/sum, 1e-9)
	near(t, "as before", sh.likeBefore, 1, 1e-9)
	near(t, "the third lowest hour", sh.baseRise, 0.5, 1e-9)
	if (&Scene{Home: &Home{}}).Shape().Known {
		t.Error("a shape of days")
	}
	for _, c := range []struct {
		n, day int
		known  bool
	}{{100, 16, true}, {100, 15, false}, {100, 84, true}, {100, 85, false}} { // two days are left out on either side
		if got := sceneAt(homeOf(c.n, func(int, int) float64 { return 1 }), c.day, 1).Shape(); got.Known != c.known {
			t.Errorf("day %d of %d: known %v", c.day, c.n, got.Known)
		}
	}
}

// Days 52 weeks apart where there are 28 of them; else the 120 days on either side.
func TestDaysThatAreCompared(t *testing.T) {
	flat := func(int, int) float64 { return 1 }
	for _, c := range []struct {
		what          string
		n, day        int
		before, after int
		first, last   int // of those before
		paired        bool
	}{
		{"a year and more on both sides", 800, 400, 360, 360, 38, 397, true},           // to day 402 + 365, less those whose day before is no longer before
		{"28 pairs", 428, 398, 28, 28, 36, 63, true},                                   // days 400 to 427
		{"27 pairs", 427, 398, 120, 27, 276, 395, false},                               // the last 120 days before day 396
		{"36 days of a second year", 400, 200, 36, 36, 0, 35, true},                    // days 364 to 399
		{"100 days before, too few of a year before", 230, 100, 98, 120, 0, 97, false}, // to day 222
	} {
		before, after, paired := sceneAt(homeOf(c.n, flat), c.day, 1).compared()
		if len(before) != c.before || len(after) != c.after || paired != c.paired || before[0] != c.first || before[len(before)-1] != c.last {
			t.Errorf("%s: %d and %d days, before from %d to %d, paired %v", c.what, len(before), len(after), before[0], before[len(before)-1], paired)
		}
	}
	// Only days on which the load could show count, but for the last 59 before.
	h := homeOf(230, flat)
	for k := range h.Columns.Answers[0].X {
		if k%2 == 0 {
			h.Columns.Answers[0].X[k] = 0
		}
	}
	h.Days.Counted[97], h.Days.Counted[103] = false, false
	before, after, _ := sceneAt(h, 100, 1).compared()
	if len(before) != 19+58 || len(after) != 59 { // odd days to 37 and those from 39 on, without day 97; odd days of 102 to 221 without 103
		t.Errorf("%d days before, %d after", len(before), len(after))
	}
	h = homeOf(800, flat)
	h.Days.Counted[500], h.Days.Counted[600-364] = false, false
	h.Columns.Answers[0].X[700] = 0
	if _, after, _ := sceneAt(h, 400, 1).compared(); len(after) != 357 {
		t.Errorf("%d pairs", len(after))
	}
}

// A pulse before, of another height or on days left out says nothing of what came:
// heights of 6.5, 7 and 7.5 kW have a MAD of 0.5, energies of 6, 8 and 10 kWh one of 2.
func TestMarksByHand(t *testing.T) {
	h := homeOf(400, func(int, int) float64 { return 1 })
	h.Fine = &Fine{step: 15, calendar: h.Calendar, start: h.Calendar.Start}
	put := func(day, slot int, kw, kwh float32) {
		h.Fine.pulses = append(h.Fine.pulses, pulse{day: int32(day), slot: int16(slot), minutes: 60, kw: kw, kwh: kwh})
	}
	for k := range 100 { // 99, but for the day left out
		day := 202 + k
		put(day, 40+k%3*20, 6.5+0.5*float32(k%3), 6+2*float32(k%3)) // at 10:00, 15:00 and 20:00
		if k%10 == 0 {
			put(day, 40+k%3*20, 6.5+0.5*float32(k%3), 6+2*float32(k%3)) // twice a day
		}
	}
	put(199, 10, 7, 50) // too near the change
	put(100, 10, 7, 99)
	put(101, 10, 7, 99)
	put(250, 10, 30, 9) // of another height
	h.Days.Counted[301] = false
	m := sceneAt(h, 200, 5).marksOf(func(p pulse) bool { return true })
	near(t, "before", m.monthBefore, 30*2/198., 1e-9)
	near(t, "in 30 days", m.month, 30*109/197., 1e-9) // of days 202 to 399 without one
	near(t, "share of the days", m.days, 99/197., 1e-9)
	near(t, "on a day that has any", m.aDay, 109./99, 1e-9)
	near(t, "height", m.kw, 7, 1e-6)
	near(t, "spread", m.spread, 1.4826*0.5/7, 1e-6)
	near(t, "energies", m.energySpread, 1.4826*2/8, 1e-6)
	// By k%3: 33 of 6 kWh, 33 of 8, 33 of 10 (k of 99 is the day left out); the tens are 0, 10, 20 … 90: 4, 3 and 3.
	energy := 33.*(6+8+10) + 4*6 + 3*8 + 3*10
	near(t, "energy a day", m.kwhDay, energy/197-2*99./198, 1e-6)
	near(t, "from 11 to 18 o'clock", m.hotHours, 36/109., 1e-9) // those at 15:00
	if m.start != 40 || m.startDays != 37 {
		t.Errorf("at slot %d on %d days", m.start, m.startDays)
	}
	for slot, hot := range map[int]float64{43: 0, 44: 1, 71: 1, 72: 0} {
		h := finely(180, 1, pulse{slot: int16(slot), minutes: 60, kw: 7, kwh: 6})
		near(t, "hot hours", sceneAt(h, 60, 5).marksOf(func(pulse) bool { return true }).hotHours, hot, 0)
	}
}

// Fourteen whole days on either side; 30 of a season for its rate.
func TestMarksNeedDays(t *testing.T) {
	all := func(pulse) bool { return true }
	for _, c := range []struct {
		n, day int
		known  bool
	}{{100, 16, true}, {100, 15, false}, {100, 84, true}, {100, 85, false}} {
		h := finely(c.n, 1, pulse{minutes: 60, kw: 7, kwh: 6})
		if got := sceneAt(h, c.day, 5).marksOf(all); got.known != c.known {
			t.Errorf("day %d of %d: known %v", c.day, c.n, got.known)
		}
	}
	// Winter is over on 18 April 2026, day 107 of the year: from day 62 on 46 cool days.
	for n, want := range map[int][2]bool{92: {true, false}, 91: {false, false}, 138: {true, true}, 136: {true, false}} {
		h := finely(n, 1, pulse{minutes: 60, kw: 7, kwh: 6})
		m := sceneAt(h, 60, 5).marksOf(all)
		if (m.cool == m.cool) != want[0] || (m.warm == m.warm) != want[1] {
			t.Errorf("%d days: cool %g, warm %g", n, m.cool, m.warm)
		}
		if m.cool == m.cool {
			near(t, "a day in winter", m.cool, 1, 1e-9)
		}
	}
}

// What was there before at the same rate is not new, whatever it is; of two heights
// that came the one with more energy is taken, to 15 % and a step of 5 %.
func TestHeightThatIsNew(t *testing.T) {
	h := homeOf(500, func(int, int) float64 { return 1 })
	h.Fine = &Fine{step: 15, calendar: h.Calendar, start: h.Calendar.Start}
	add := func(lo, hi int, kw, kwh float32) {
		for k := lo; k < hi; k++ {
			h.Fine.pulses = append(h.Fine.pulses, pulse{day: int32(k), minutes: 60, kw: kw, kwh: kwh})
		}
	}
	all := func(pulse) bool { return true }
	add(0, 400, 3, 3.1)
	add(400, 500, 3, 3)
	s := sceneAt(h, 400, 5)
	if keep := s.atNewHeight(all); keep(pulse{kw: 3}) {
		t.Error("what comes no more often than before is new")
	}
	add(402, 500, 7, 3.5)
	add(402, 500, 11, 3)
	for kw, want := range map[float32]bool{3: false, 5.8: false, 6.2: true, 7: true, 8: true, 8.4: false, 11: false} {
		if got := s.atNewHeight(all)(pulse{kw: kw}); got != want {
			t.Errorf("%g kW is kept: %v", kw, got)
		}
	}
	if s.atNewHeight(func(p pulse) bool { return p.kw < 7 })(pulse{kw: 7}) {
		t.Error("what keep leaves out is kept")
	}
}

// A pulse a day from day 60 on, none before: the rates are 1 and 0.1/30 a day, so
// that a day without one makes the change less likely by e^0.997, and two days are
// within a factor of ten, three are not; of a pulse every second day four are.
func TestDateByRectangles(t *testing.T) {
	for every, low := range map[int]int{1: 58, 2: 56} {
		h := finely(180, every, pulse{minutes: 60, kw: 7, kwh: 8})
		h.Fine.pulses = append(h.Fine.pulses, pulse{day: 40, minutes: 60, kw: 9, kwh: 8}, pulse{day: 41, minutes: 44, kw: 7}, pulse{day: 42, minutes: 60, kw: 2.7})
		s := sceneAt(h, 75, 5) // the days' sums date it later
		car := marks{month: 30 / float64(every), kw: 7}
		if day, first, ok := s.firstRectangle(&car); !ok || day != 60 || first != low {
			t.Errorf("every %d days: day %d, from %d on, %v", every, day, first, ok)
		}
		for what, m := range map[string]marks{"few": {month: 3.9, kw: 7}, "as many as a quarter before": {month: 30, monthBefore: 7.6, kw: 7}, "of another height": {month: 30, kw: 4}} {
			if _, _, ok := s.firstRectangle(&m); ok {
				t.Errorf("%s: dated", what)
			}
		}
	}
	// From a quarter of a pulse a day to one: a day without one is less likely by e^0.75.
	s := sceneAt(finely(180, 1, pulse{minutes: 60, kw: 7, kwh: 8}), 75, 5)
	if day, low, ok := s.firstRectangle(&marks{month: 30, monthBefore: 7.5, kw: 7}); !ok || day != 60 || low != 57 {
		t.Errorf("with some before: day %d, from %d on, %v", day, low, ok)
	}
	h := finely(180, 1, pulse{minutes: 60, kw: 7, kwh: 8}) // 46 days off: out of sight
	if day, _, ok := sceneAt(h, 106, 5).firstRectangle(&marks{month: 30, kw: 7}); !ok || day != 61 {
		t.Errorf("from day 61 on is looked at: %d", day)
	}
}

// Pulses at the limits of what is one: a rise of 1.8 kW, a plateau within 10 % of the
// height and what the household under it may do, an end at 0.4 of it, 16 hours.
func TestPulsesAtTheirLimits(t *testing.T) {
	flat := func(n int, kw float32) (v []float32) {
		for range n {
			v = append(v, kw)
		}
		return v
	}
	for _, c := range []struct {
		what    string
		base    float32
		kw      []float32 // above nothing, from interval 40 on
		minutes float64   // 0: none
	}{
		{"1.81 kW", 0, flat(4, 1.81), 60},
		{"1.79 kW", 0, flat(4, 1.79), 0},
		{"1.79 kW over 0.4", 0.4, flat(4, 2.19), 0},
		{"one interval", 0, flat(1, 3), 15},
		{"over a household of 1 kW", 1, flat(4, 3), 60},
		{"less than 1.8 kW over it", 1, flat(4, 2.75), 0},
		{"a rise in two steps", 0.5, []float32{0.7, 3.5, 3.5, 3.5}, 45 + 15*0.2/3},
		{"sinks by a tenth", 0, []float32{4, 4, 3.61, 4}, 60},
		{"sinks by more", 0, []float32{4, 4, 3.5, 3.5, 4}, 0}, // it ends where nothing has ended
		{"the household goes out", 0.5, []float32{4.5, 4.5, 3.65, 4.5}, 60},
		{"a quarter of it higher", 0, []float32{4, 4, 4, 6}, 60},
		{"more of it higher", 0, []float32{4, 4, 6, 4, 6}, 0},
		{"ends at 0.4 of it", 1, []float32{6, 6, 6, 2.9}, 45 + 15*1.9/5},
		{"ends at less than half", 0, []float32{5, 5, 5, 2.5, 2.5, 2.5}, 0},
		{"16 hours", 0, flat(64, 4), 960},
		{"a quarter more", 0, flat(65, 4), 0},
	} {
		r := &Fine{step: 15, kw: flat(192, c.base), calendar: homeOf(2, func(int, int) float64 { return 1 }).Calendar, start: 20454 * 24}
		copy(r.kw[40:], c.kw)
		r.findPulses()
		switch {
		case c.minutes == 0:
			for _, p := range r.pulses {
				if p.slot == 40 {
					t.Errorf("%s: %+v", c.what, p)
				}
			}
		case len(r.pulses) != 1 || math.Abs(float64(r.pulses[0].minutes)-c.minutes) > 0.6 || r.pulses[0].slot != 40:
			t.Errorf("%s: %+v, want %g minutes", c.what, r.pulses, c.minutes)
		}
	}
	// What the plateau's readings have in the mean over what was there, without the
	// one that something else lifted; two pulses are two.
	r := &Fine{step: 15, kw: flat(192, 1), calendar: homeOf(2, func(int, int) float64 { return 1 }).Calendar, start: 20454 * 24}
	copy(r.kw[40:], []float32{5, 5.3, 4.7, 8, 5.2, 4.8, 1, 1, 4, 4, 4})
	if r.findPulses(); len(r.pulses) != 2 || r.pulses[1].slot != 48 {
		t.Fatalf("%+v", r.pulses)
	}
	near(t, "height", float64(r.pulses[0].kw), 4, 1e-6)
	near(t, "energy", float64(r.pulses[0].kwh), (4+4+3.7+4+4+3.8)/4, 1e-6) // each to the height at most
	d := &fit.Days{KWh: []float64{12}, Counted: []bool{true}}              // two hours of 5 and 7 kWh are known
	h := homeOf(1, func(_, hour int) float64 {
		if hour == 3 || hour == 4 {
			return float64(2*hour - 1)
		}
		return math.NaN()
	})
	near(t, "the third lowest of two", Targets(h.Calendar, h.Wh, d)[change.NightFloor][0], 24*7, 1e-12)
}

// A load of 2 kW over a household of 1.5 that comes half way through interval 8.
func TestLongRiseOverAHousehold(t *testing.T) {
	over := make([]float32, 20)
	for k := range over {
		if over[k] = 1.5; k == 8 {
			over[k] = 2.5
		} else if k > 8 && k < 14 {
			over[k] = 3.5
		}
	}
	if at := longRise(over, 0, 20, 4, 0.9); at != 8 {
		t.Errorf("at %d", at)
	}
	if at := longRise(over, 0, 20, 4, 2.1); at != -1 {
		t.Errorf("a rise of less: at %d", at)
	}
}

// An hour of a block is up where it has 0.6 of the rise.
func TestDaysOfABlock(t *testing.T) {
	for share, want := range map[float64]float64{0.59: 0, 0.61: 1} {
		sh := Shape{Delta: [24]float64{10: 1.5, 11: 1.5}}
		b, a := flatDays(20, 0.5), flatDays(20, 0.5+share*1.5)
		sh.timedBlock(b, a)
		near(t, "up on days of a part of the rise", sh.regularity, want, 0)
	}
}
