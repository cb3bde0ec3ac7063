package demand

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// quarters is a household in quarter hours: its base by hand, and a load from
// arrival on. Everything expected of it is put in.
type quarters struct {
	seed   uint64
	days   int
	arrive int
	// load gives the kW of a day's 96 quarters.
	load func(rng *rand.Rand, day int) [96]float64
	fine bool
}

var quartersStart = time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)

func (q quarters) input() Input {
	base, load := rand.New(rand.NewPCG(q.seed, 1)), rand.New(rand.NewPCG(q.seed, 2))
	f := &ingest.Fine{Start: ingest.HourOf(quartersStart), StepMinutes: 15}
	s := &ingest.Series{SiteID: "quarters", Start: f.Start, StepMinutes: 15}
	fine, hours := make([]float32, 96*q.days), make([]float64, 24*q.days)
	for d := range q.days {
		var add [96]float64
		if d >= q.arrive {
			add = q.load(load, d)
		}
		factor := math.Exp(0.1 * base.NormFloat64())
		for k := range 96 {
			kw := factor*0.7*eveningShape[k/4] + 0.08*base.Float64() + add[k]
			fine[96*d+k] = float32(250 * kw)
			hours[24*d+k/4] += 250 * kw
		}
	}
	s.Wh[ingest.Consumption] = hours
	f.Wh[ingest.Consumption] = fine
	if q.fine {
		s.Fine = f
	}
	return Input{SiteID: "quarters", LatitudeDeg: 45, Series: s, Window: ingest.Window{Start: s.End() - 8760, N: 8760}}
}

// run fills minutes from start with kw, a switch within a quarter for its share.
func run(day *[96]float64, startMinute, minutes, kw float64) {
	for k := range day {
		lo, hi := max(float64(15*k), startMinute), min(float64(15*k+15), startMinute+minutes)
		if hi > lo {
			day[k] += kw * (hi - lo) / 15
		}
	}
}

// A car at 7.4 kW, four days of seven by chance, for one to two and a half hours.
func wallbox(rng *rand.Rand, _ int) (day [96]float64) {
	if rng.Float64() < 4./7 {
		run(&day, 1080+120*rng.Float64(), 60+90*rng.Float64(), 7.4)
	}
	return day
}

// An oven, hobs and a kettle, every evening: steps of 2 to 6 kW whose height
// jumps from quarter to quarter. 6 kWh a day.
func cooking(rng *rand.Rand, _ int) (day [96]float64) {
	at := 68 + rng.IntN(6)
	for k := range 6 {
		day[at+k] += 4 * (0.3 + 1.4*rng.Float64())
	}
	return day
}

// A central air conditioner of 3.5 kW that cycles through the summer's
// afternoons: 20 minutes on, 15 off.
func cycling(rng *rand.Rand, d int) (day [96]float64) {
	if m := quartersStart.AddDate(0, 0, d).Month(); m >= 6 && m <= 9 {
		for at := 720 + 30*rng.Float64(); at < 1200; at += 35 {
			run(&day, at, 20, 3.5)
		}
	}
	return day
}

// The same, so hot that it never rests for hours.
func unresting(rng *rand.Rand, d int) (day [96]float64) {
	if m := quartersStart.AddDate(0, 0, d).Month(); m >= 6 && m <= 9 {
		run(&day, 760+40*rng.Float64(), 180+120*rng.Float64(), 3.5)
	}
	return day
}

// Two or three showers' worth of a 4.5 kW element a day, 30 to 50 minutes each.
func heater(rng *rand.Rand, _ int) (day [96]float64) {
	for _, at := range [...]float64{390, 1150} {
		run(&day, at+60*rng.Float64(), 30+20*rng.Float64(), 4.5)
	}
	return day
}

// A tank on the controlled hours from 23 o'clock: one block that ends when it
// is hot.
func controlled(rng *rand.Rand, _ int) (day [96]float64) {
	run(&day, 60, 150+40*rng.Float64(), 3.0)
	return day
}

// A pool pump of 1.3 kW from 9:10 to 16:10.
func pump(_ *rand.Rand, _ int) (day [96]float64) {
	run(&day, 550, 420, 1.3)
	return day
}

func eventAt(t *testing.T, r Result, arrive int) *Event {
	t.Helper()
	for i := range r.Events {
		e := &r.Events[i]
		if off := e.On.Sub(quartersStart.AddDate(0, 0, arrive)).Hours() / 24; math.Abs(off) <= 14 {
			return e
		}
	}
	return nil
}

// Loads put in are named, and cars dated, by their quarters.
func TestRectangles(t *testing.T) {
	for _, c := range []struct {
		name, kind, detail, says string
		load                     func(*rand.Rand, int) [96]float64
	}{
		{"wallbox", KindEV, "", "rectangles of 7.", wallbox},
		{"heater", KindWaterHeating, "bursts", "bursts of 4.5 kW", heater},
		{"controlled", KindWaterHeating, "controlled_load", "from about 01:00", controlled},
		{"pump", KindPoolPump, "", "starts at 09:", pump},
	} {
		for seed := uint64(1); seed <= 3; seed++ {
			arrive := 480 + 40*int(seed)
			r := Assess(quarters{seed: seed, days: 913, arrive: arrive, load: c.load, fine: true}.input())
			e := eventAt(t, r, arrive)
			if e == nil {
				t.Errorf("%s, seed %d: nothing at its date: %v", c.name, seed, r.Events)
				continue
			}
			if e.Kind != c.kind || e.Detail != c.detail || e.Score < 0.75 || !strings.Contains(e.Says, c.says) {
				t.Errorf("%s, seed %d: %s (%s), score %.2f: %s", c.name, seed, e.Kind, e.Detail, e.Score, e.Says)
			}
			if c.kind == KindEV {
				first, rng := arrive, rand.New(rand.NewPCG(seed, 2)) // as the load draws
				for c.load(rng, first) == [96]float64{} {
					first++
				}
				if want := quartersStart.AddDate(0, 0, first); !e.On.Equal(want) {
					t.Errorf("%s, seed %d: since %s, the first charge is on %s", c.name, seed, e.On, want)
				}
				if e.OnLow.After(quartersStart.AddDate(0, 0, arrive)) || e.OnHigh.Before(quartersStart.AddDate(0, 0, arrive)) {
					t.Errorf("%s, seed %d: arrival lies outside %s..%s", c.name, seed, e.OnLow, e.OnHigh)
				}
			}
		}
	}
}

// What is no car must not be called one.
func TestNoCar(t *testing.T) {
	for name, load := range map[string]func(*rand.Rand, int) [96]float64{
		"cooking": cooking, "cycling": cycling, "unresting": unresting, "heater": heater, "controlled": controlled, "pump": pump,
	} {
		for seed := uint64(1); seed <= 3; seed++ {
			for _, arrive := range []int{380, 560, 760} {
				r := Assess(quarters{seed: seed, days: 913, arrive: arrive, load: load, fine: true}.input())
				for _, e := range r.Events {
					if e.Kind == KindEV {
						t.Errorf("%s from day %d, seed %d: %s score %.2f", name, arrive, seed, e.Says, e.Score)
					}
				}
			}
		}
	}
}

// Finer readings say the same at 5 minutes as at 15: three of the one are one
// of the other.
func TestFinerSaysTheSame(t *testing.T) {
	in := quarters{seed: 4, days: 913, arrive: 600, load: wallbox, fine: true}.input()
	want := Assess(in)
	five := &ingest.Fine{Start: in.Series.Fine.Start, StepMinutes: 5}
	for _, v := range in.Series.Fine.Wh[ingest.Consumption] {
		five.Wh[ingest.Consumption] = append(five.Wh[ingest.Consumption], v/3, v/3, v/3)
	}
	in.Series.Fine = five
	got := Assess(in)
	if len(got.Events) != 1 || len(want.Events) != 1 || got.Events[0].Says != want.Events[0].Says {
		t.Errorf("at 5 minutes %v, at 15 %v", got.Events, want.Events)
	}
}

// BenchmarkRectangles is what the finer readings of 30 months cost a site with
// an event.
func BenchmarkRectangles(b *testing.B) {
	in := quarters{seed: 1, days: 913, arrive: 600, load: wallbox, fine: true}.input()
	in.Scratch = new(Scratch)
	for _, fine := range []bool{false, true} {
		kept := in
		series := *in.Series
		kept.Series = &series
		if !fine {
			series.Fine = nil
		}
		b.Run(map[bool]string{false: "hours", true: "quarters"}[fine], func(b *testing.B) {
			for b.Loop() {
				Assess(kept)
			}
		})
	}
}
