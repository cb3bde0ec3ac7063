package sun

import (
	"math"
	"testing"

	"rowen/ingest"
)

// A clear sky under one of turbidity more is what the model gives for that turbidity:
// GHI by exp(-cg2 fh2 AM), the beam by exp(-0.09 AM) where nothing caps it.
func TestHazeIsAnotherTurbidity(t *testing.T) {
	even := func(tl float64) (s SkyModel) {
		for k := range s.LinkeTurbidity {
			s.LinkeTurbidity[k] = tl
		}
		return s
	}
	place := Place{40, -105, 1600}
	low, high := NewHours(place, 490_000, 2000, even(4)), NewHours(place, 490_000, 2000, even(5))
	z, compared := low.Haze(), 0
	for i := range low.N {
		same := z.Clear(i, 0)
		if same != (Light{GHI: low.ClearGHI[i], DNI: low.ClearDNI[i], DHI: low.ClearDHI[i]}) {
			t.Fatalf("hour %d: no more haze, another sky: %+v", i, same)
		}
		l := z.Clear(i, 1)
		if low.Lit(i) {
			near(t, "GHI = DNI up + DHI", l.GHI, l.DNI*low.Up[i]+l.DHI, 1e-9)
		}
		if low.Up[i] < 0.4 { // lower suns are means over the hour
			continue
		}
		near(t, "GHI", l.GHI, high.ClearGHI[i], 1e-6*l.GHI)
		if beam := 0.09 * low.AirMass[i] * PressurePa(1600) / 101325; math.Abs(high.ClearDNI[i]/low.ClearDNI[i]-math.Exp(-beam)) < 1e-6 {
			near(t, "DNI", l.DNI, high.ClearDNI[i], 1e-6*l.DNI)
			compared++
		}
	}
	if compared < 100 {
		t.Errorf("the beam was compared in %d hours", compared)
	}
	unknown := NewHours(Place{40, -105, math.NaN()}, 490_000, 24, even(4)).Haze() // a height not known is none
	sea := NewHours(Place{40, -105, 0}, 490_000, 24, even(4)).Haze()
	for i := range 24 {
		if unknown.Clear(i, 1) != sea.Clear(i, 1) {
			t.Fatalf("hour %d: %+v and %+v", i, unknown.Clear(i, 1), sea.Clear(i, 1))
		}
	}
}

func TestAngleBetweenPlanes(t *testing.T) {
	for _, c := range []struct {
		a, b Plane
		want float64
	}{
		{Plane{0, 0}, Plane{90, 222}, 90}, {Plane{30, 180}, Plane{30, 180}, 0}, {Plane{30, 180}, Plane{30, 0}, 60},
		{Plane{90, 90}, Plane{90, 180}, 90}, {Plane{90, 90}, Plane{90, 270}, 180}, {Plane{20, 135}, Plane{50, 135}, 30},
	} {
		near(t, "angle", AngleDeg(c.a, c.b), c.want, 1e-5)
		near(t, "angle the other way", AngleDeg(c.b, c.a), c.want, 1e-5)
	}
}

// At 40 degrees the warmest hour of the year has 27 - 13.6 + 12 + 5 = 30.4 °C, on the
// 205th day at 15 o'clock of the sun, wherever that is on the clock; the coldest
// is 34 degrees colder. In the south it comes 182.6 days later.
func TestTypicalTempByHand(t *testing.T) {
	at := func(lat, lon float64, day, hour int) float64 {
		return TypicalTempC(lat, lon, ingest.Hour(24*day+hour))
	}
	near(t, "warmest", at(40, 7.5, 204, 14), 30.4, 0.01) // the hour's middle is 14:30, half an hour before the sun's 15:00 at 7.5 degrees east
	near(t, "a quarter of the way round", at(40, 97.5, 204, 8), 30.4, 0.01)
	near(t, "in the south", at(-40, 7.5, 204-183, 14), 30.4, 0.01)
	near(t, "coldest", at(40, 7.5, 204-183, 2), 30.4-34, 0.02)
	near(t, "at 60 degrees no more than 15 from the season", at(60, 7.5, 204, 14), 27-30.6+15+5, 0.01)
}

// The sun keeps its way over the beginning of 1970: an hour has nearly the sun of the
// day before.
func TestSunBefore1970(t *testing.T) {
	h := NewHours(Place{40, -105, 0}, -72, 144, SkyModel{})
	for i := 24; i < h.N; i++ {
		near(t, "east", h.East[i], h.East[i-24], 0.01)
		near(t, "up", h.Up[i], h.Up[i-24], 0.01)
	}
}
