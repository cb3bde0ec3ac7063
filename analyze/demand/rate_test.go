package demand

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
	"rowen/ingest"
)

// A home whose days swing by a third of its consumption, at random and without a
// thermometer, and a car of 3.6 kW for an hour on every second evening from day
// 640 of 700 on: 657 kWh a year by hand, which the days' sums alone do not tell from
// the swing.
func TestArrivalByRate(t *testing.T) {
	start := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	const days, arrive = 700, 640
	s := &ingest.Series{SiteID: "A", Start: ingest.HourFrom(start), StepMinutes: 60}
	s.Wh[ingest.Consumption] = make([]float64, days*24)
	swing := uint64(7)
	for d := range days {
		swing = swing*6364136223846793005 + 1442695040888963407
		level := 0.6 + 0.8*float64(swing>>40)/float64(1<<24)
		for h := range 24 {
			wh := 900 * level
			if d >= arrive && d%2 == 0 && h == 20 {
				wh += 3600
			}
			s.Wh[ingest.Consumption][d*24+h] = wh
		}
	}
	r := Assess(Input{Series: s, Location: time.UTC, LatitudeDeg: 45})
	if len(r.Events) != 1 {
		t.Fatalf("events %v", r.Events)
	}
	e := r.Events[0]
	if e.Kind != KindEV || math.Abs(e.On.Sub(start).Hours()/24-arrive) > 14 || math.Abs(e.KWhYr-657) > 80 || e.KWhYrLow > 657 || e.KWhYrHigh < 657 {
		t.Errorf("%s on %s, %.0f kWh a year (%.0f to %.0f)", e.Kind, e.On.Format(time.DateOnly), e.KWhYr, e.KWhYrLow, e.KWhYrHigh)
	}
}

// The days' sums and the rate saw one change where they are near in time and go the
// same way.
func TestUnseenRates(t *testing.T) {
	columns := fit.Columns{Answers: []fit.Column{{What: fit.ToNothing, Year: 365.25}}}
	rise := []change.Group{{Day: 300, Low: 295, Top: 305, Parts: change.Steps{{Step: fit.Step{Day: 300, Beta: 2}}}}}
	got := unseen([]pulse.Change{{Day: 345, Low: 340, Top: 352}, {Day: 360, Low: 352, Top: 366}, {Day: 240, Low: 230, Top: 249},
		{Day: 301, Low: 299, Top: 303, Left: true}}, rise, &columns)
	if len(got) != 3 || got[0].Day != 360 || got[1].Day != 240 || !got[2].Left {
		t.Errorf("unseen %v", got)
	}
}

// What growing use looks like needs more to be said; a load that leaves needs a
// small car's energy.
func TestLimitsOfRates(t *testing.T) {
	for _, c := range []struct {
		name   string
		change pulse.Change
		want   limits
	}{
		{"a date of five weeks", pulse.Change{Low: 100, Top: 135, PerWeek: 3}, clearArrival},
		{"a day more", pulse.Change{Low: 100, Top: 136, PerWeek: 3}, dimArrival},
		{"half of it was there", pulse.Change{PerWeek: 3, BeforePerWeek: 1.5}, clearArrival},
		{"more was there", pulse.Change{PerWeek: 3, BeforePerWeek: 1.6}, dimArrival},
		{"by day", pulse.Change{PerWeek: 3, DayShare: 0.6}, clearArrival},
		{"by day, in half a summer", pulse.Change{PerWeek: 3, OneSeason: true, EachKWh: 20, DayShare: 0.41}, dayArrival},
		{"a heater's, in a year with one winter", pulse.Change{PerWeek: 3, OneSeason: true, EachKWh: 7.9}, never},
		{"a car's, in a year with one winter", pulse.Change{PerWeek: 3, OneSeason: true, EachKWh: 8}, clearArrival},
		{"it left", pulse.Change{Left: true, PerWeek: 3, BeforePerWeek: 1.6}, departure},
	} {
		if got := limitsOf(&c.change); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// A home read for 250 days only, and a car of 3.6 kW for three hours on every second
// evening from day 100 on: 1,972 kWh a year by hand. The year's use stays refused,
// the car is told. The same days in reverse: a load that left.
func TestShortHomeTellsItsCar(t *testing.T) {
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	const days, arrive = 250, 100
	for _, gone := range []bool{false, true} {
		s := &ingest.Series{SiteID: "A", Start: ingest.HourFrom(start), StepMinutes: 60}
		s.Wh[ingest.Consumption] = make([]float64, days*24)
		on := arrive
		if gone {
			on = days - arrive
		}
		for d := range days {
			for h := range 24 {
				wh := 500.0
				if (d >= on) != gone && d%2 == 0 && h >= 20 && h <= 22 {
					wh += 3600
				}
				s.Wh[ingest.Consumption][d*24+h] = wh
			}
		}
		r := Assess(Input{Series: s, Location: time.UTC, LatitudeDeg: 45})
		if r.Refusal != RefusedTooShort || !math.IsNaN(r.LevelKWhYr) {
			t.Errorf("refusal %q, level %g", r.Refusal, r.LevelKWhYr)
		}
		if len(r.Events) != 1 {
			t.Fatalf("gone %v: events %v", gone, r.Events)
		}
		e, kind, want := r.Events[0], KindEV, 1972.0
		if gone {
			kind, want = KindDeparture, -1972
		}
		if e.Kind != kind || math.Abs(e.On.Sub(start).Hours()/24-float64(on)) > 14 || math.Abs(e.KWhYr-want) > 300 {
			t.Errorf("gone %v: %s on %s, %.0f kWh a year", gone, e.Kind, e.On.Format(time.DateOnly), e.KWhYr)
		}
	}
}

// What the hours name already keeps its name.
func TestOfPulses(t *testing.T) {
	a := &pulse.Change{Score: 5, MinKW: 2.5, PerWeek: 3, BeforePerWeek: 1}
	if v := ofPulses(load.Verdict{Kind: KindHeatPump}, a, nil); v.Kind != KindHeatPump {
		t.Errorf("a heat pump became %s", v.Kind)
	}
	v := ofPulses(load.Verdict{Kind: KindOther}, a, nil)
	if v.Kind != KindEV || math.Abs(v.Score-0.8) > 1e-12 || v.Because != "loads of 2.5 kW and more began or grew: about 4 a week, 1 before" {
		t.Errorf("%+v", v)
	}
}

// A spring day has 23 hours and an autumn day 25 in Berlin: every hour keeps its
// place on the clock, the skipped one is missing.
func TestIntervalsOnTheClock(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 28, 0, 0, 0, 0, zone)
	const hours = 24 + 23 + 24
	h := household{in: &Input{Series: &ingest.Series{StepMinutes: 60}}, basis: basis{name: BasisMeter, gross: true, wh: make([]float64, hours)}, calendar: new(ingest.Calendar)}
	h.calendar.Lay(zone, ingest.HourFrom(start), hours)
	for i := range hours {
		h.wh[i] = float64(1000 * h.calendar.Local(i).Hour())
	}
	h.days = &fit.Days{KWh: make([]float64, 3)}
	v := h.intervals()
	for d := range 3 {
		for hour := range 24 {
			got := v.KW[d*24+hour]
			if d == 1 && hour == 2 {
				if !math.IsNaN(got) {
					t.Errorf("the skipped hour has %g", got)
				}
			} else if got != float64(hour) {
				t.Errorf("day %d, hour %d: %g", d, hour, got)
			}
		}
	}
}

// A date that one month moves stays where two months had it; what they do not agree
// on, what is another change, and what went the other way do not hold it.
func TestSteadyDates(t *testing.T) {
	at := func(days ...int) (out []pulse.Change) {
		for _, d := range days {
			out = append(out, pulse.Change{Day: max(d, -d), Left: d < 0})
		}
		return out
	}
	for _, c := range []struct {
		name              string
		now, last, before []pulse.Change
		want              []pulse.Change
	}{
		{"two months agree", at(200), at(300), at(310), at(300)},
		{"moved the other way", at(300), at(200), at(231), at(200)},
		{"the month before was another", at(200), at(300), at(332), at(200)},
		{"a new date that the last month had too", at(200), at(231), at(300), at(200)},
		{"just over a month is a move", at(200), at(232), at(232), at(232)},
		{"half a year is a move", at(200), at(382), at(382), at(382)},
		{"further is another change", at(200), at(383), at(383), at(200)},
		{"what left holds no arrival", at(200), at(-300), at(-300), at(200)},
		{"what left is held by what left", at(-200), at(-300), at(-300), at(-300)},
		{"each for itself", at(200, -500), at(300, -600), at(300), at(300, -500)},
		{"nothing before", at(200), nil, nil, at(200)},
	} {
		if got := steady(c.now, c.last, func() []pulse.Change { return c.before }); !cmp.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
