package sky

import (
	"math"
	"math/rand/v2"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// TestAgeingOfCohorts: arrays that truly lose 0.3 % a year and were granted 0.6
// stand 0.3 % a year of age too high; regions differ by far more than that. The
// slope is found and drawn a little towards the prior (0.15 % a year against the
// slope's own doubt), whatever regions the arrays stand in; a quarter of sick
// arrays does not move it.
func TestAgeingOfCohorts(t *testing.T) {
	const gain = 0.003
	rng := rand.New(rand.NewPCG(3, 4))
	var cells [][]aged
	for range 40 {
		region := 0.85 + 0.15*rng.Float64()
		var c []aged
		for range 10 {
			age := 10 * rng.Float64()
			f := region * math.Exp(gain*age+0.01*rng.NormFloat64())
			if rng.IntN(4) == 0 {
				f *= 0.7
			}
			c = append(c, aged{f, age})
		}
		cells = append(cells, c)
	}
	a := ageingOf(cells)
	if math.Abs(a.Gain-gain) > 3*a.SD || a.SD > 0.0008 {
		t.Errorf("gain %.4f a year with sd %.4f, truly %.4f", a.Gain, a.SD, gain)
	}
	for i := range cells {
		for j := range cells[i] {
			cells[i][j].ageYears = math.NaN()
		}
	}
	if a := ageingOf(cells); a.Gain != 0 || a.SD != priorAgeingSD {
		t.Errorf("arrays of no known age tell %+v, want the prior", a)
	}
}

// TestAgeAt: 3 kW of 2016 and 1 kW of 2020 are (3 x 5 + 1 x 1)/4 = 4 years old
// in 2021; an undated kilowatt beside them changes nothing, and the age is not
// known where most watts are not dated.
func TestAgeAt(t *testing.T) {
	year := func(y float64) ingest.Hour { return ingest.Hour(400000 + y*hoursPerYear) }
	m := Model{Groups: []Group{{Watts: 3000, From: year(6), Born: year(6)}, {Watts: 1000, From: year(10), Born: year(10)},
		{Watts: 1000, Born: year(10), Plane: sun.Plane{TiltDeg: 20}}}}
	if got := m.AgeAt(year(11)); math.Abs(got-4) > 1e-9 {
		t.Errorf("%.3f years old, want 4", got)
	}
	m.Groups[2].Watts = 5000
	if got := m.AgeAt(year(11)); got == got {
		t.Errorf("%.3f years old where five of nine kilowatts have no date", got)
	}
}
