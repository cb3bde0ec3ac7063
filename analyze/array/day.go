package array

import "math"

// day is one day of the site's calendar.
type day struct {
	measured, expected float64 // over the hours that have both
	full               float64 // expected over all hours whose sky is known
	light, known       float64 // light, and clear-sky light, over the hours whose sky is known
	clear              float64 // clear-sky light of all hours
	open, openDue      float64 // measured and expected over the hours whose direction is not shaded
	low                float64 // of openDue, what a skyline of strength 1 would take
	zero               float64 // part of expected that fell in hours without output
	aside              bool    // meter dead, snow, outage: not for the level
}

// Rules of a usable day, our choice.
const (
	dayMinCover = 0.7  // of the expected energy must have been measured
	dayMinSky   = 0.10 // darker days than this share of a clear one say little of the array
	levelMinSky = 0.30 // and the level is taken on brighter ones
)

// usable tells whether the day says anything of the array.
func (d *day) usable() bool {
	return d.full > 0 && d.expected >= dayMinCover*d.full && d.bright() >= dayMinSky && d.known >= dayMinCover*d.clear
}

// bright is the day's light over a clear day's.
func (d *day) bright() float64 {
	if d.known <= 0 {
		return 0
	}
	return d.light / d.known
}

// index is measured over expected; NaN where the day says too little.
func (d *day) index() float64 {
	if !d.usable() {
		return math.NaN()
	}
	return d.measured / d.expected
}

// level is the index over the hours whose direction is free; NaN on days too
// dark or too gappy to tell the array's level.
func (d *day) level() float64 {
	if !d.usable() || d.aside || d.bright() < levelMinSky || d.openDue < 0.3*d.expected {
		return math.NaN()
	}
	return d.open / d.openDue
}

// beamPart is roughly the beam's part of the light under a sky (our choice: no
// beam below K = 0.3, full beam from 0.9 on).
func beamPart(k float64) float64 { return min(1, max(0, (k-0.3)/0.6)) }

func sq(x float64) float64 { return float64(x * x) }

// zeroShare is the share of the expected energy below which an hour counts as
// without output (our choice).
const zeroShare = 0.02
