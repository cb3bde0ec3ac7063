// Package sun knows where the sun is and what its light does on a plane: the
// sun's place, clear skies, the split of light into beam and diffuse, light on
// tilted planes, losses at the glass, cell temperature, and power; and the way
// back from power to light.
//
// It is the ground floor of analyze: it knows nothing of sites or meters.
// Angles are degrees; azimuth 0 = north, 90 = east; tilt 0 = flat; longitude
// east positive; irradiance W/m2. A result that cannot be given is NaN.
//
// The hot path is Hours: the sun of a place hour by hour, computed once and
// shared through a Cache, so that light on any plane costs a dot product.
package sun

import "math"

// Place is where on Earth.
type Place struct {
	LatitudeDeg, LongitudeDeg float64
	ElevationM                float64 // NaN: not known, taken as 0
}

// onEarth tells whether there is such a place.
func (p Place) onEarth() bool {
	return math.Abs(p.LatitudeDeg) <= 90 && math.Abs(p.LongitudeDeg) <= 360 && math.Abs(p.ElevationM) < 9000
}

const (
	rad = math.Pi / 180
	deg = 180 / math.Pi
)

// SolarConstantWm2 is the irradiance outside the atmosphere at the mean
// distance. One value everywhere: the check values use it (ASTM E490-00, from
// memory); with 1361.1 clearness would be 0.4 % higher.
const SolarConstantWm2 = 1366.1

// mod is the remainder of a/b that is never negative.
// mod is a without the whole multiples of b, from 0 on: as exact as math.Mod,
// whose remainder has a float64 of its own.
func mod(a, b float64) float64 {
	if a >= 0 && a < b*(1<<40) {
		n := math.Floor(a / b)
		switch m := math.FMA(-n, b, a); {
		case m < 0:
			return math.FMA(-(n - 1), b, a)
		case m >= b:
			return math.FMA(-(n + 1), b, a)
		default:
			return m
		}
	}
	if m := math.Mod(a, b); m < 0 {
		return m + b
	} else {
		return m
	}
}

func clamp(v, lo, hi float64) float64 { return min(max(v, lo), hi) }
