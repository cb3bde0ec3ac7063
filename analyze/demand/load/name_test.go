package load

import (
	"strings"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

// homeOf is n whole days of UTC from 2026-01-01 on with the given kWh by day and
// hour, all of it level.
func homeOf(n int, kWh func(day, hour int) float64) *Home {
	d := &fit.Days{First: 20454, KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n)}
	h := &Home{Calendar: ingest.NewCalendar(time.UTC, 20454*24, n*24), Wh: make([]float64, n*24), Days: d}
	ones := make([]float64, n)
	for k := range n {
		d.Share[k], d.Counted[k], ones[k] = 1, true, 1
		for hour := range 24 {
			h.Wh[24*k+hour] = 1000 * kWh(k, hour)
			d.KWh[k] += kWh(k, hour)
		}
	}
	d.Recount()
	h.Columns = &fit.Columns{Answers: []fit.Column{{What: fit.ToNothing, X: ones, Year: 365.25}}}
	return h
}

// sceneAt is the scene of one step of the level.
func sceneAt(h *Home, day int, beta float64) *Scene {
	s := SceneOf(h, []change.Group{{Day: day, Parts: change.Steps{{Step: fit.Step{Day: day, Beta: beta}}}}}, 0)
	return &s
}

// Each score is a product of lines from 0 to 1 (see ramp), half way where it says
// half; what scores 0.3 and less has no name.
func TestNamesByShape(t *testing.T) {
	car := Shape{Known: true, sessionDays: 0.25, sessionShare: 0.6, nightShare: 0.6, sessionKW: 2.7}
	pump := Shape{Known: true, regularity: 0.8, block: 11, dayBlock: true}
	base := Shape{Known: true, flatShare: 0.6, baseRise: 0.6 * 1000 / 24 / 365}
	grown := Shape{Known: true, likeBefore: 0.8}
	with := func(sh Shape, change func(*Shape)) Shape {
		change(&sh)
		return sh
	}
	level := change.Energy{Level: 1000}
	for _, c := range []struct {
		what  string
		sh    Shape
		e     change.Energy
		car   marks
		after int // days read after it
		kind  string
		score float64
	}{
		{"a heat pump", Shape{}, change.Energy{Cold: 1500}, marks{}, 90, HeatPump, 1},
		{"half of it in cold weather", Shape{}, change.Energy{Cold: 1500, Level: 1500}, marks{}, 90, HeatPump, 2. / 3}, // (0.5 - 0.3)/0.3
		{"1,000 kWh in cold weather", Shape{}, change.Energy{Cold: 1000}, marks{}, 90, HeatPump, 0.5},
		{"seen for 0.06 of a year", Shape{}, change.Energy{Cold: 1500}, marks{}, 22, HeatPump, 22 / 365.25 / 0.08},
		{"cooling", Shape{}, change.Energy{Heat: 500}, marks{}, 90, Cooling, 1},
		{"325 kWh of it", Shape{}, change.Energy{Heat: 325}, marks{}, 90, Cooling, 0.5},
		{"half of it in hot weather", Shape{}, change.Energy{Heat: 500, Level: 500}, marks{}, 90, Cooling, 2. / 3},
		{"and half by the calendar", Shape{}, change.Energy{Heat: 500, Summer: 500}, marks{}, 90, Cooling, 1},
		{"a car", car, level, marks{}, 90, EV, 1},
		{"0.55 of the change a level", car, change.Energy{Level: 550, Cold: 225, Summer: 225}, marks{}, 130, EV, 0.5},
		{"one that came this winter", car, change.Energy{Cold: 1500}, marks{}, 90, EV, 1},
		{"blocks that after half a year still answer to the cold", car, change.Energy{Cold: 1500}, marks{}, 130, HeatPump, 1},
		{"sessions on 0.165 of the days", with(car, func(s *Shape) { s.sessionDays = 0.165 }), level, marks{}, 90, EV, 0.5},
		{"0.525 of the energy in them", with(car, func(s *Shape) { s.sessionShare = 0.525 }), level, marks{}, 90, EV, 0.75},
		{"0.45 by night", with(car, func(s *Shape) { s.nightShare = 0.45 }), level, marks{}, 90, EV, 0.55 + 0.45/2},
		{"all by day", with(car, func(s *Shape) { s.nightShare = 0.1 }), level, marks{}, 90, EV, 0.55},
		{"a fast one without rectangles", with(car, func(s *Shape) { s.sessionKW = 2.8 }), level, marks{known: true, month: 1.9}, 90, Other, 0.3},
		{"with two more in 30 days", with(car, func(s *Shape) { s.sessionKW = 2.8 }), level, marks{known: true, month: 5, monthBefore: 3}, 90, EV, 1},
		{"with fewer than two more", with(car, func(s *Shape) { s.sessionKW = 2.8 }), level, marks{known: true, month: 5, monthBefore: 3.1}, 90, Other, 0.3},
		{"with fewer than a fifth of its sessions", with(car, func(s *Shape) { s.sessionKW, s.sessionDays = 2.8, 1 }), level, marks{known: true, month: 5.9}, 90, Other, 0.3},
		{"with a fifth of its sessions", with(car, func(s *Shape) { s.sessionKW, s.sessionDays = 2.8, 1 }), level, marks{known: true, month: 6}, 90, EV, 1},
		{"a slow one shows none", with(car, func(s *Shape) { s.sessionKW = 2.7 }), level, marks{known: true}, 90, EV, 1},
		{"a pool pump", pump, level, marks{}, 90, PoolPump, 1},
		{"on 0.65 of the days", with(pump, func(s *Shape) { s.regularity = 0.65 }), level, marks{}, 90, PoolPump, 0.5},
		{"for 12 hours", with(pump, func(s *Shape) { s.block = 12 }), level, marks{}, 90, PoolPump, 2. / 3},
		{"by night", with(pump, func(s *Shape) { s.dayBlock = false }), level, marks{}, 90, Other, 0.3},
		{"a load that runs all the time", base, level, marks{}, 90, Baseload, 1},
		{"0.65 of it a level", base, change.Energy{Level: 650, Cold: 175, Summer: 175}, marks{}, 90, Baseload, 0.5},
		{"the quietest hours at 0.45 of the mean", with(base, func(s *Shape) { s.flatShare = 0.45 }), level, marks{}, 90, Baseload, 0.5},
		{"the night's least at 0.525 of it", with(base, func(s *Shape) { s.baseRise *= 0.525 / 0.6 }), level, marks{}, 90, Baseload, 0.75},
		{"a household that grew", grown, level, marks{}, 90, Other, 0.8},
		{"alike by 0.6", with(grown, func(s *Shape) { s.likeBefore = 0.6 }), level, marks{}, 90, Other, 0.4},
		{"0.55 of it a level", grown, change.Energy{Level: 550, Cold: 225, Summer: 225}, marks{}, 90, Other, 0.4},
		{"no hours are known", Shape{}, level, marks{}, 90, Other, 0.3},
	} {
		s := sceneAt(homeOf(100+c.after, func(int, int) float64 { return 1 }), 100, 1)
		got := s.byShape(&c.sh, c.e, &c.car)
		if got.Kind != c.kind {
			t.Errorf("%s: %+v", c.what, got)
		}
		near(t, c.what, got.Score, c.score, 1e-9)
		if says, ok := map[string]string{"a car": "on 25 % of the days, 60 % of it between", "a load that runs all the time": "rose by 68 W"}[c.what]; ok && !strings.Contains(got.Because, says) {
			t.Errorf("%s: %s", c.what, got.Because)
		}
	}
}

// Of 24 kWh a day, 8,766 a year, a fall by 15 % scores 0.75; where it lies as the
// consumption lay before, someone moved out.
func TestDepartures(t *testing.T) {
	h := homeOf(200, func(int, int) float64 { return 1 })
	for _, c := range []struct {
		share  float64
		sh     Shape
		detail string
		score  float64
	}{
		{0.15, Shape{}, "use_fell", 0.75}, {0.04, Shape{}, "use_fell", 0.5}, {0.25, Shape{Known: true, likeBefore: 0.6}, "moved_out", 1},
		{0.25, Shape{Known: true, likeBefore: 0.5}, "use_fell", 1}, {0.25, Shape{likeBefore: 0.6}, "use_fell", 1},
	} {
		v, day, low := sceneAt(h, 100, -24*c.share).Name(&c.sh)
		if v.Kind != Departure || v.Detail != c.detail || day != -1 || low != -1 {
			t.Errorf("a fall by %g: %+v on day %d", c.share, v, day)
		}
		near(t, "score", v.Score, c.score, 1e-9)
		if c.share == 0.15 && !strings.Contains(v.Because, "fell by 1315 kWh a year") { // 0.15 · 8,766
			t.Error(v.Because)
		}
	}
}

// finely gives a home pulses from day 60 on, one every so many days.
func finely(n, every int, p pulse) *Home {
	h := homeOf(n, func(int, int) float64 { return 1 })
	h.Fine = &Fine{step: 15, start: h.Calendar.Start, calendar: h.Calendar}
	for k := 60; k < n; k += every {
		p.day = int32(k)
		h.Fine.pulses = append(h.Fine.pulses, p)
	}
	return h
}

// Rectangles name an event by themselves where they carry 0.45 of its energy (half
// way from 0.3 to 0.6) and look the part.
func TestNamesByRectangles(t *testing.T) {
	charge := pulse{slot: 88, minutes: 70, kw: 7, kwh: 8}
	burst := pulse{slot: 30, minutes: 30, kw: 3, kwh: 1.5}
	block := pulse{slot: 92, minutes: 180, kw: 3, kwh: 9}
	for _, c := range []struct {
		what         string
		every        int
		p            pulse
		kWhDay       float64 // of the change
		kind, detail string
		score        float64
	}{
		{"a car of 4 kWh a day", 2, charge, 4, EV, "", 1},
		{"half of the energy and more", 2, charge, 4 / 0.5, EV, "", 2. / 3},
		{"0.44 of the energy", 2, charge, 4 / 0.44, "", "", 0},
		{"bursts of a water heater", 1, burst, 1.5, WaterHeating, "bursts", 1},
		{"for 75 minutes", 1, pulse{slot: 30, minutes: 75, kw: 3, kwh: 1.5}, 1.5, WaterHeating, "bursts", 1},
		{"of 5.5 kW", 1, pulse{slot: 30, minutes: 30, kw: 5.5, kwh: 1.5}, 1.5, WaterHeating, "bursts", 1},
		{"of 5.6 kW is none", 1, pulse{slot: 30, minutes: 30, kw: 5.6, kwh: 1.5}, 1.5, "", "", 0},
		{"of less than 1.8 kW is none", 1, pulse{slot: 30, minutes: 30, kw: 1.79, kwh: 1.5}, 1.5, "", "", 0},
		{"with 0.44 of the energy", 1, burst, 1.5 / 0.44, "", "", 0},
		{"a controlled load", 1, block, 9, WaterHeating, "controlled_load", 1},
		{"with 0.44 of the energy", 1, block, 9 / 0.44, "", "", 0},
		{"a slow car every second day", 2, pulse{slot: 60, minutes: 180, kw: 2.8, kwh: 8.4}, 4.2, EV, "", 1},
		{"of less than 2.8 kW", 2, pulse{slot: 60, minutes: 180, kw: 2.79, kwh: 8.4}, 4.2, "", "", 0},
		{"in 44 minutes", 2, pulse{slot: 60, minutes: 44, kw: 11, kwh: 8}, 4, "", "", 0},
	} {
		s := sceneAt(finely(180, c.every, c.p), 60, c.kWhDay)
		v, car, ok := s.byRectangles(&Shape{}, c.kWhDay*365.25)
		if ok != (c.kind != "") || ok && (v.Kind != c.kind || v.Detail != c.detail || !car.known) {
			t.Errorf("%s: %v %+v", c.what, ok, v)
			continue
		}
		near(t, c.what, v.Score, c.score, 0.02) // 59 and 60 of 118 days
		if v.Detail == "bursts" && !strings.Contains(v.Because, "on 100 % of the days") {
			t.Error(v.Because)
		}
	}
	s := sceneAt(finely(180, 2, charge), 60, 4)
	var sh Shape
	for h := range sh.Delta {
		sh.Delta[h] = 0.5 // 12 kWh a day: the car would carry a third
	}
	if _, _, ok := s.byRectangles(&sh, 4*365.25); !ok {
		t.Error("hours that are not known were asked")
	}
	sh.Known = true
	if v, _, ok := s.byRectangles(&sh, 4*365.25); ok {
		t.Errorf("by the hours the car carries a third: %+v", v)
	}
	v, day, low := s.Name(&Shape{})
	if v.Kind != EV || day != 60 || low != 56 || !strings.Contains(v.Because, "7.0 kW for about 1.2 hours, 15 in 30 days against 0") {
		t.Errorf("day %d or %d: %+v", day, low, v)
	}
}

// A pump of 3 kW that starts after half past nine on 25 of 50 days: the timer is
// found where there are 20 of them. A load of 1 kW on the other days is none of it.
func TestTimerOfAPump(t *testing.T) {
	for on, found := range map[int]bool{25: true, 20: true, 19: false} {
		h := homeOf(82, func(int, int) float64 { return 1 })
		h.Fine = &Fine{step: 15, start: h.Calendar.Start + 24, calendar: h.Calendar, kw: make([]float32, 81*96)}
		for k := range 50 {
			load := float32(3)
			if k >= on {
				load = 1
			}
			for i := 38; i < 38+20; i++ { // of day 32 and on: the readings begin a day later
				h.Fine.kw[(31+k)*96+i] = load
			}
			h.Fine.kw[(31+k)*96+38] /= 2 // half way through the interval
		}
		for i := 10; i < 30; i++ { // before the change it came at another time
			h.Fine.kw[20*96+i] = 3
		}
		s := sceneAt(h, 30, 3)
		sh := Shape{Known: true, regularity: 0.62, block: 5, dayBlock: true} // a score of 0.4
		sh.Delta[10] = 3
		start, days, of := s.timer(&sh)
		if start != "09:30" || days != on || of != 50 {
			t.Errorf("starts at %s on %d of %d days, want %d", start, days, of, on)
		}
		v := s.byShape(&sh, change.Energy{Level: 1000}, &marks{})
		if strings.Contains(v.Because, "starts at 09:30, give or take one interval, on") != found {
			t.Error(v.Because)
		}
		want := 0.4
		if found {
			want = max(want, (float64(on)/50-0.3)/0.3)
		}
		near(t, "score", v.Score, want, 1e-9)
		for k := range 50 {
			h.Days.Counted[32+k] = k < 10
		}
		if _, _, of := s.timer(&sh); of != 10 {
			t.Errorf("of %d whole days", of)
		}
	}
	if _, days, of := sceneAt(homeOf(62, func(int, int) float64 { return 1 }), 30, 3).timer(&Shape{}); days != 0 || of != 0 {
		t.Error("a timer without finer readings")
	}
}
