package fit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// placeOf makes n days with a temperature of a place, a fleet that follows a
// temperature by 3 % a K of cold below 15 °C, and a household that does so too.
func placeOf(n int, fleetC func(day int) float64) (*Days, *Signal) {
	d := &Days{First: 19800, KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n)}
	s := &Signal{Sites: 20, First: d.First, Log: make([]float64, n)}
	for k := range n {
		s.Log[k] = 0.03 * max(15-fleetC(k), 0)
		d.KWh[k], d.Share[k], d.Counted[k] = 20*math.Exp(s.Log[k]), 1, true
	}
	d.Targets = [][]float64{d.KWh}
	d.Recount()
	return d, s
}

// days of weather: a yearly wave of 10 K and spells of their own.
func wave(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	out, spell := make([]float64, n), 0.0
	for k := range out {
		spell = 0.8*spell + 2*rng.NormFloat64()
		out[k] = 10 - 10*math.Cos(angle(19800+k-17)) + spell
	}
	return out
}

func hourly(c []float64) Weather {
	w := Weather{DayC: c, HourC: make([]float64, 24*len(c)), DayHours: func(d int) (int, int) { return 24 * d, 24*d + 24 }}
	for i := range w.HourC {
		w.HourC[i] = c[i/24]
	}
	return w
}

// A station of the place is used; one that has the same seasons and other
// spells is refused, though its raw temperatures correlate by 0.9.
func TestWeatherFromElsewhere(t *testing.T) {
	const n = 900
	here, elsewhere := wave(1, n), wave(2, n)
	d, signal := placeOf(n, func(k int) float64 { return here[k] })
	for _, c := range []struct {
		station []float64
		method  string
	}{{here, MethodDegreeDays}, {elsewhere, MethodSeason}} {
		w := hourly(c.station)
		w.Signal = signal
		got := NewColumns(new(Workspace), d, w)
		if got.Method != c.method || (got.WeatherR >= LeastR) != (c.method == MethodDegreeDays) {
			t.Errorf("method %s with a correlation of %.2f, want %s", got.Method, got.WeatherR, c.method)
		}
	}
}

// Temperatures of a part of the days are used on them; the other days get the
// season's usual weather: in the mean of a winter as many K·days as were measured
// in the other winter, within a fifth.
func TestTemperaturesOfAPart(t *testing.T) {
	const n = 900
	c := wave(3, n)
	d, _ := placeOf(n, func(k int) float64 { return c[k] })
	whole := NewColumns(new(Workspace), d, hourly(c))
	part := make([]float64, n)
	for k := range part {
		part[k] = math.NaN()
		if k >= 500 {
			part[k] = c[k]
		}
	}
	got := NewColumns(new(Workspace), d, hourly(part))
	if got.Method != MethodDegreeDays || got.Measured[499] || !got.Measured[500] {
		t.Fatalf("method %s", got.Method)
	}
	for k := 500; k < n; k++ {
		near(t, "a day that was measured", got.Answers[1].X[k], whole.Answers[1].X[k], 1e-9)
	}
	sum := func(x []float64) float64 {
		s := 0.0
		for _, v := range x[:500] {
			s += v
		}
		return s
	}
	near(t, "K·days of the days that were not", sum(got.Answers[1].X), sum(whole.Answers[1].X), 0.2*sum(whole.Answers[1].X))
	// Thirty days of temperatures say too little.
	for k := range part {
		if k < n-30 {
			part[k] = math.NaN()
		}
	}
	if got := NewColumns(new(Workspace), d, hourly(part)); got.Method != MethodCalendar {
		t.Errorf("thirty days of temperatures: method %s", got.Method)
	}
}
