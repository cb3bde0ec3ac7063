package demo

import (
	"math"

	"rowen/ingest"
)

// rad is one degree.
const rad = math.Pi / 180

// sunPosition gives the sun's declination (rad) and its hour angle at the
// meridian of Greenwich (rad) at a Unix time.
//
//	EoT = 4·(180/π)·(y sin 2L0 − 2e sin M + 4e·y sin M cos 2L0 − ½y² sin 4L0 − 1.25e² sin 2M)   [min]
//	H0  = (UTC_minutes + EoT)/4 − 180                                                              [deg]
//
// Source: the NOAA form of Meeus' low-precision sun (published; worst case
// 0.018° against SPA between 60°S and 66°N, computed). True position, without
// refraction.
func sunPosition(unix float64) (decl, h0 float64) {
	t := (unix/86400 - 10957.5) / 36525
	l0 := float64((280.46646 + float64(t*(36000.76983+float64(0.0003032*t)))) * rad)
	m := float64((357.52911 + float64(t*(35999.05029-float64(0.0001537*t)))) * rad)
	e := 0.016708634 - float64(t*(0.000042037+float64(1.267e-7*t)))
	c := float64(math.Sin(m)*(1.914602-float64(t*(0.004817+float64(1.4e-5*t))))) + float64(math.Sin(2*m)*(0.019993-float64(0.000101*t))) + float64(0.000289*math.Sin(3*m))
	node := (125.04 - float64(1934.136*t)) * rad
	lambda := l0 + float64((c-0.00569-float64(0.00478*math.Sin(node)))*rad)
	eps0 := 23 + (26+(21.448-float64(t*(46.815+float64(t*(0.00059-float64(0.001813*t))))))/60)/60
	eps := (eps0 + float64(0.00256*math.Cos(node))) * rad
	decl = math.Asin(math.Sin(eps) * math.Sin(lambda))
	y := math.Pow(math.Tan(eps/2), 2)
	eot := float64(4 / rad * (float64(y*math.Sin(2*l0)) - float64(2*e*math.Sin(m)) + float64(4*e*y*math.Sin(m)*math.Cos(2*l0)) -
		float64(y*y/2*math.Sin(4*l0)) - float64(1.25*e*e*math.Sin(2*m))))
	minutes := float64(math.Mod(unix, 86400) / 60)
	return decl, (float64((minutes+eot)/4) - 180) * rad
}

// timeline is the fleet's common time axis with the sun's place-independent
// part: every site reads its sun from it with a few multiplications.
type timeline struct {
	start      ingest.Hour
	n          int // steps
	dtMinutes  int
	perHour    int
	sinD, cosD []float64 // declination at the middle of the step
	sinH, cosH []float64 // hour angle at Greenwich
}

func newTimeline(start, end ingest.Hour, dtMinutes int) *timeline {
	perHour := 60 / dtMinutes
	n := int(end-start) * perHour
	tl := &timeline{start: start, n: n, dtMinutes: dtMinutes, perHour: perHour,
		sinD: make([]float64, n), cosD: make([]float64, n), sinH: make([]float64, n), cosH: make([]float64, n)}
	for i := range n {
		d, h := sunPosition(tl.unix(i) + float64(float64(dtMinutes)*30))
		tl.sinD[i], tl.cosD[i] = math.Sincos(d)
		tl.sinH[i], tl.cosH[i] = math.Sincos(h)
	}
	return tl
}

// unix is the beginning of step i.
func (tl *timeline) unix(i int) float64 {
	return float64(float64(tl.start)*3600) + float64(i*tl.dtMinutes*60)
}

// step is the index of the step that begins with the hour.
func (tl *timeline) step(h ingest.Hour) int { return int(h-tl.start) * tl.perHour }

// place is a spot on the earth, ready to take the sun from a timeline.
type place struct{ sinLat, cosLat, sinLon, cosLon float64 }

func newPlace(latDeg, lonDeg float64) place {
	var p place
	p.sinLat, p.cosLat = math.Sincos(latDeg * rad)
	p.sinLon, p.cosLon = math.Sincos(lonDeg * rad)
	return p
}

// sun is the unit vector to the sun, east, north and up, at step i:
// up is the cosine of the zenith angle.
func (p place) sun(tl *timeline, i int) (east, north, up float64) {
	sinW := float64(tl.sinH[i]*p.cosLon) + float64(tl.cosH[i]*p.sinLon)
	cosW := float64(tl.cosH[i]*p.cosLon) - float64(tl.sinH[i]*p.sinLon)
	sd, cd := tl.sinD[i], tl.cosD[i]
	return -cd * sinW, float64(sd*p.cosLat) - float64(cd*p.sinLat*cosW), float64(sd*p.sinLat) + float64(cd*p.cosLat*cosW)
}

// normal is the unit vector that a plane looks along.
func normal(tiltDeg, azimuthDeg float64) (east, north, up float64) {
	sb, cb := math.Sincos(tiltDeg * rad)
	sa, ca := math.Sincos(azimuthDeg * rad)
	return sb * sa, sb * ca, cb
}
