package sun

import (
	"math"
	"time"
)

// noaa is the sun by Meeus' low-precision series: declination and equation of
// time.
//
//	Source: NOAA solar calculator, after Meeus (published), as methods 1.3.
func noaa(unix float64) (declRad, eotMin float64) {
	t := (unix/86400 - 10957.5) / 36525
	l0 := mod(280.46646+t*(36000.76983+0.0003032*t), 360) * rad
	m := (357.52911 + t*(35999.05029-0.0001537*t)) * rad
	e := 0.016708634 - t*(0.000042037+1.267e-7*t)
	c := math.Sin(m)*(1.914602-t*(0.004817+1.4e-5*t)) + math.Sin(2*m)*(0.019993-0.000101*t) + 0.000289*math.Sin(3*m)
	node := (125.04 - 1934.136*t) * rad
	lambda := l0 + (c-0.00569-0.00478*math.Sin(node))*rad
	eps0 := 23 + (26+(21.448-t*(46.815+t*(0.00059-0.001813*t)))/60)/60
	eps := (eps0 + 0.00256*math.Cos(node)) * rad
	declRad = math.Asin(math.Sin(eps) * math.Sin(lambda))
	y := math.Tan(eps/2) * math.Tan(eps/2)
	eotMin = 4 * deg * (y*math.Sin(2*l0) - 2*e*math.Sin(m) + 4*e*y*math.Sin(m)*math.Cos(2*l0) -
		y*y/2*math.Sin(4*l0) - 1.25*e*e*math.Sin(2*m))
	return declRad, eotMin
}

// EquationOfTime is apparent less mean solar time, in minutes (NOAA).
func EquationOfTime(unix float64) float64 {
	_, eot := noaa(unix)
	return eot
}

// Daylight tells whether the sun rises and sets on a day.
type Daylight int

// The kinds of day.
const (
	NormalDay  Daylight = iota
	PolarDay            // the sun does not set
	PolarNight          // the sun does not rise
)

// Day is the sun's day at a place, in seconds since 1970 UTC.
type Day struct {
	Kind               Daylight
	Rise, Transit, Set float64 // Rise and Set are NaN where there is none
}

// RiseSet gives sunrise, solar noon and sunset of a local calendar date.
//
//	cos H0 = (sin(-0.8333) - sin phi sin d)/(cos phi cos d)
//	minutes of UTC = 720 - 4 lon - EoT -+ 4 H0, from 00:00 UTC of that date
//
//	In:      the local date; place in degrees, longitude within -180..180.
//	Out:     the upper limb at the horizon under mean refraction.
//	Edges:   polar day and night by the sun at each event; grazing events (the
//	         first and last of the season) can differ by minutes.
//	Source:  NOAA, declination and EoT evaluated again at the event, three
//	         passes (methods 1.5: two stay within 3 s of roots of SPA; the
//	         third is for high latitudes, our choice).
func RiseSet(year int, month time.Month, day int, latDeg, lonDeg float64) Day {
	midnight := float64(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix())
	d := Day{Rise: math.NaN(), Set: math.NaN()}
	d.Transit = midnight + 60*(720-4*lonDeg)
	for range 3 {
		_, eot := noaa(d.Transit)
		d.Transit = midnight + 60*(720-4*lonDeg-eot)
	}
	rise, kind := horizonCrossing(midnight, d.Transit, latDeg, lonDeg, -1)
	set, kindSet := horizonCrossing(midnight, d.Transit, latDeg, lonDeg, +1)
	if d.Kind = kind; kind == NormalDay {
		d.Kind = kindSet
	}
	if d.Kind == NormalDay {
		d.Rise, d.Set = rise, set
	}
	return d
}

// horizonCrossing finds the event before (-1) or after (+1) solar noon.
func horizonCrossing(midnight, transit, latDeg, lonDeg, side float64) (unix float64, kind Daylight) {
	sinPhi, cosPhi := math.Sincos(latDeg * rad)
	unix = transit
	for range 3 {
		decl, eot := noaa(unix)
		sinD, cosD := math.Sincos(decl)
		cosH := (math.Sin(-0.8333*rad) - sinPhi*sinD) / (cosPhi * cosD)
		if cosH < -1 {
			return math.NaN(), PolarDay
		}
		if cosH > 1 {
			return math.NaN(), PolarNight
		}
		unix = midnight + 60*(720-4*lonDeg-eot+side*4*math.Acos(cosH)*deg)
	}
	return unix, NormalDay
}
