package pulse

import (
	"math"
	"math/rand/v2"
	"testing"
)

// home is a quiet household by the hour: 0.3 kW with noise and an evening, and
// from day arrive on a charger of 7 kW for three hours every third night.
func home(days, arrive int) *Intervals {
	r := rand.New(rand.NewPCG(7, 11))
	v := &Intervals{PerDay: 24, FirstDay: 19000, KW: make([]float64, 24*days)}
	for i := range v.KW {
		day, hour := i/24, i%24
		v.KW[i] = 0.3 + 0.1*r.Float64()
		if hour >= 18 && hour < 22 {
			v.KW[i] += 0.5 * r.Float64()
		}
		if day >= arrive && day%3 == 0 && hour >= 1 && hour < 4 {
			v.KW[i] += 7
		}
	}
	return v
}

// The truth is how the home was made: 21 kWh every third day are 2,557 kWh a year.
func TestArrivals(t *testing.T) {
	got := Arrivals(home(500, 250))
	if len(got) != 1 || got[0].Left || got[0].Low > 252 || got[0].Top < 250 || math.Abs(float64(got[0].Day-250)) > 7 || math.Abs(got[0].KWhYr-2557) > 256 {
		t.Errorf("a car from day 250 on: %+v", got)
	}
	if got := Arrivals(home(500, 500)); len(got) != 0 {
		t.Errorf("no car: %+v", got)
	}
	if got := Arrivals(home(500, 0)); len(got) != 0 {
		t.Errorf("a car all along: %+v", got)
	}
	if got := Arrivals(home(70, 30)); got != nil {
		t.Errorf("ten weeks only: %+v", got)
	}
}
