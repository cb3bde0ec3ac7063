package sun

import (
	"math"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Hours is the sun of one place, hour by hour: the table that all light is
// computed from. Every slice has N values; none may be changed, since sites
// share them.
//
// East, North and Up are the unit vector to the sun, averaged over the part
// of the hour in which the sun is up: Up is the mean cosine of the true
// zenith, and the dot product with a plane's normal the mean cosine of
// incidence. At night all is 0, and AirMass NaN.
//
// Irradiances are means over the whole hour, its dark part counting 0. So
// ExtraWm2 in an hour that is lit for a third is a third of that at noon:
// then GHI/(ExtraWm2 Up) is clearness and DNI/ExtraWm2 the beam's share in
// every hour, and ClearGHI = ClearDNI Up + ClearDHI.
type Hours struct {
	Place           Place
	Start           ingest.Hour
	N               int
	East, North, Up []float64
	ExtraWm2        []float64 // extraterrestrial, normal to the beam
	AirMass         []float64 // relative
	ClearGHI        []float64
	ClearDNI        []float64
	ClearDHI        []float64
}

// columns lists the slices, for what is done to all alike.
func (h *Hours) columns() [8]*[]float64 {
	return [8]*[]float64{&h.East, &h.North, &h.Up, &h.ExtraWm2, &h.AirMass, &h.ClearGHI, &h.ClearDNI, &h.ClearDHI}
}

// End is the hour after the last.
func (h *Hours) End() ingest.Hour { return h.Start + ingest.Hour(h.N) }

// Lit tells whether the sun is up in some part of hour i.
func (h *Hours) Lit(i int) bool { return h.Up[i] > 0 }

// Slice gives n hours from start on, which must lie inside, without copying.
func (h *Hours) Slice(start ingest.Hour, n int) *Hours {
	s := &Hours{Place: h.Place, Start: start, N: n}
	from := int(start - h.Start)
	to := s.columns()
	for k, c := range h.columns() {
		*to[k] = (*c)[from : from+n : from+n]
	}
	return s
}

// NewHours computes the sun of a place over n hours.
//
// Declination and hour angle come from PSA+ once a day and on the line in
// between; the means over the hour are exact integrals over the lit part, as
// the hour angle w runs from a to b:
//
//	East  = -cos d mean(sin w)
//	North = sin d cos phi - cos d sin phi mean(cos w)
//	Up    = sin d sin phi + cos d cos phi mean(cos w)
//
// Clear skies are IneichenPerez (or Haurwitz) at the hour's mean zenith; where
// the sun is low, rises or sets, their mean at three Gauss points of the lit
// part.
//
//	In:      place; first hour; how many; the sky.
//	Out:     the same values for an hour whatever the range it is asked in.
//	Refuses: a place that is none (a latitude beyond 90, not a number): all NaN.
//	Edges:   polar day and night; the lit part is by the sun's centre on the
//	         true horizon.
//	Source:  as the functions used; within 1.4e-4 of SPA's hourly means, with
//	         sunrise or sunset 1.2e-3 (TestHoursAgainstSPA).
//	Cost:    173 ns an hour (BenchmarkNewHours); eight slices of n in one block.
func NewHours(p Place, start ingest.Hour, n int, sky SkyModel) *Hours {
	return widen(&Hours{Start: start}, p, start, n, sky)
}

// widen is NewHours where the hours of known, which lie inside, are copied.
func widen(known *Hours, p Place, start ingest.Hour, n int, sky SkyModel) *Hours {
	if p.ElevationM != p.ElevationM {
		p.ElevationM = 0
	}
	h := &Hours{Place: p, Start: start, N: n}
	block := make([]float64, len(h.columns())*n)
	from, old := int(known.Start-start), known.columns()
	for k, c := range h.columns() {
		*c = block[k*n : (k+1)*n : (k+1)*n]
		copy((*c)[from:], *old[k])
	}
	if !p.onEarth() {
		for i := range block {
			block[i] = math.NaN()
		}
		return h
	}
	b := newHourBuilder(p, sky.orDefault())
	for i := range n {
		if i < from || i >= from+known.N {
			b.fill(h, i)
		}
	}
	return h
}

// hourBuilder holds what stays the same over a place, and over a day.
type hourBuilder struct {
	place          Place
	model          SkyModel
	sinPhi, cosPhi float64
	absolute       float64 // air pressure over that at sea level
	air            *airPath

	day          int // days since 1970 of what follows
	decl0, dDecl float64
	hour0, dHour float64 // hour angle at 0 h UTC and its change an hour [rad]
	extra        float64
	sky          ineichen // at the day's turbidity
}

func newHourBuilder(p Place, sky SkyModel) *hourBuilder {
	pressure := PressurePa(p.ElevationM)
	b := &hourBuilder{place: p, model: sky, sky: newIneichen(p.ElevationM), absolute: pressure / 101325,
		air: newAirPath(pressure), day: math.MinInt}
	b.sinPhi, b.cosPhi = samebits.Sincos(p.LatitudeDeg * rad)
	return b
}

// startDay sets declination and hour angle over a day of UTC.
func (b *hourBuilder) startDay(day int) {
	b.day = day
	n := float64(day) - 10957.5
	ra0, decl0 := psaEquatorial(n)
	ra1, decl1 := psaEquatorial(n + 1)
	b.decl0, b.dDecl = decl0, (decl1-decl0)/24
	gmst := 6.697096103 + float64(6.570984737e-2*n)
	b.hour0 = float64((float64(15*gmst)+b.place.LongitudeDeg)*rad) - ra0
	// A sidereal hour less the sun's own way eastward.
	b.dHour = (15*(1+6.570984737e-2/24))*rad - mod(ra1-ra0, 2*math.Pi)/24
	doy := ingest.Hour(day * 24).Time().YearDay()
	b.extra = extraterrestrial(float64(doy), b.model.SolarConstantWm2)
	b.sky.setTurbidity(b.model.turbidity(b.place.LatitudeDeg, doy))
}

// fill computes hour i.
func (b *hourBuilder) fill(h *Hours, i int) {
	hour := int(h.Start) + i
	day := hour / 24
	if hour < day*24 {
		day--
	}
	if day != b.day {
		b.startDay(day)
	}
	t := float64(hour-day*24) + 0.5
	var d declination
	d.sin, d.cos = samebits.Sincos(b.decl0 + float64(b.dDecl*t))
	w := halfTurn(b.hour0 + float64(b.dHour*t))
	half := float64(b.dHour / 2)

	upConst, upCos := float64(d.sin*b.sinPhi), float64(d.cos*b.cosPhi)
	sinW, cosW := samebits.Sincos(w)
	// The sun is never higher in the hour than this: a cheap way out by night.
	if upConst+float64(upCos*min(1, cosW+half)) <= 0 {
		b.night(h, i)
		return
	}
	sunset := halfDay(upConst, upCos)
	if math.Abs(w)+half <= sunset && upConst+float64(upCos*cosW) > lowSun { // lit throughout
		k := samebits.Sin(half) / half
		cosZ, am := b.light(h, i, d, sinW*k, cosW*k, 1)
		b.clear(h, i, b.skyAt(cosZ, am))
		return
	}
	b.low(h, i, d, w, half, sunset)
}

// halfTurn brings an angle to -pi..pi: math.Remainder by 2 pi, exact as that is
// (what is left of a whole number of turns has a float64 of its own, which one
// rounding finds), in a tenth of its time.
func halfTurn(x float64) float64 {
	const turn = 2 * math.Pi
	n := math.RoundToEven(x / turn)
	r := math.FMA(-n, turn, x)
	switch {
	case r > math.Pi:
		return math.FMA(-(n + 1), turn, x)
	case r < -math.Pi:
		return math.FMA(-(n - 1), turn, x)
	}
	return r
}

// lowSun is the mean cosine of zenith (20 degrees of height) below which the
// clear sky bends too much within an hour to be taken at its middle: there
// GHI would be 1 % off, at 5 degrees 10 % (see TestClearHoursAgainstMinutes).
const lowSun = 0.35

// halfDay is the hour angle of sunset, 0 where the sun does not rise and
// pi where it does not set.
func halfDay(upConst, upCos float64) float64 {
	switch c := -upConst / upCos; {
	case c >= 1:
		return 0
	case c <= -1:
		return math.Pi
	default:
		return samebits.Acos(c)
	}
}

func (b *hourBuilder) night(h *Hours, i int) {
	h.AirMass[i] = math.NaN()
}

// declination is the sun's, in the middle of an hour.
type declination struct{ sin, cos float64 }

// light fills an hour's geometry from the mean sine and cosine of the hour
// angle over its lit share.
func (b *hourBuilder) light(h *Hours, i int, d declination, sinW, cosW, share float64) (cosApparent, airMass float64) {
	east := -d.cos * sinW
	north := float64(d.sin*b.cosPhi) - float64(d.cos*b.sinPhi*cosW)
	up := float64(d.sin*b.sinPhi) + float64(d.cos*b.cosPhi*cosW)
	// Parallax: z grows by p sin z.
	k := 1 + float64(parallax*up)
	h.East[i], h.North[i] = east*k, north*k
	h.Up[i] = max(up-float64(parallax*(1-float64(up*up))), 1e-9)
	cosZ, am := b.air.at(h.Up[i])
	h.AirMass[i], h.ExtraWm2[i] = am, b.extra*share
	return cosZ, am
}

// gauss3 are the nodes and weights of three-point Gauss-Legendre quadrature on
// -1..1, the weights for a mean.
var gauss3 = [3][2]float64{{-0.7745966692414834, 5.0 / 18}, {0, 8.0 / 18}, {0.7745966692414834, 5.0 / 18}}

// low fills an hour with the sun low, rising or setting: the part of
// w-half..w+half that lies within -sunset..sunset, also one turn on and back
// (the midnight sun). The clear sky is its mean at three moments of each part.
func (b *hourBuilder) low(h *Hours, i int, d declination, w, half, sunset float64) {
	var sinSum, cosSum, lit float64
	var sky Light
	for turn := -1.0; turn <= 1; turn++ {
		from := max(w-half, float64(turn*2*math.Pi)-sunset)
		to := min(w+half, float64(turn*2*math.Pi)+sunset)
		if to <= from {
			continue
		}
		lit += to - from
		sinFrom, cosFrom := samebits.Sincos(from)
		sinTo, cosTo := samebits.Sincos(to)
		sinSum += cosFrom - cosTo
		cosSum += sinTo - sinFrom
		for _, g := range gauss3 {
			up := float64(d.sin*b.sinPhi) + float64(d.cos*b.cosPhi*samebits.Cos((from+to+float64(g[0]*(to-from)))/2))
			l := b.skyAt(b.air.at(up))
			part := g[1] * (to - from) / (2 * half)
			sky.GHI, sky.DNI = sky.GHI+float64(l.GHI*part), sky.DNI+float64(l.DNI*part)
		}
	}
	if lit <= 0 {
		b.night(h, i)
		return
	}
	b.light(h, i, d, sinSum/lit, cosSum/lit, min(1, lit/(2*half)))
	b.clear(h, i, sky)
}

// clear keeps ClearGHI = ClearDNI Up + ClearDHI to the last digit, by true Up.
func (b *hourBuilder) clear(h *Hours, i int, l Light) {
	h.ClearDNI[i] = min(l.DNI, l.GHI/h.Up[i])
	h.ClearGHI[i] = l.GHI
	h.ClearDHI[i] = max(l.GHI-float64(h.ClearDNI[i]*h.Up[i]), 0)
}

func (b *hourBuilder) skyAt(cosApparent, airMass float64) Light {
	if b.model.Haurwitz {
		return ErbsDriesse(haurwitz(cosApparent), cosApparent, b.extra)
	}
	return b.sky.at(cosApparent, airMass*b.absolute, b.extra)
}

// airPath tabulates light's way through the air of a place by the cosine of
// the true zenith: the cosine of the apparent zenith, and one over the air
// mass, both nearly straight lines. Against the functions themselves it is
// exact to 4e-7 and 4e-5 of its size (TestAirPath), and takes NewHours from
// 303 to 173 ns an hour (BenchmarkNewHours, the least of nine runs each).
type airPath [airSteps + 1]struct{ cos, perAirMass float64 }

const airSteps = 1024

func newAirPath(pressurePa float64) *airPath {
	t := new(airPath)
	for i := range t {
		z := ApparentZenith(float64(samebits.Acos(float64(i)/airSteps)*deg), pressurePa)
		t[i].cos, t[i].perAirMass = samebits.Cos(z*rad), 1/AirMass(z)
	}
	return t
}

func (t *airPath) at(up float64) (cosApparent, airMass float64) {
	x := float64(clamp(up, 0, 1) * airSteps)
	k := min(int(x), airSteps-1)
	f := x - float64(k)
	a, b := &t[k], &t[k+1]
	return a.cos + float64(f*(b.cos-a.cos)), 1 / (a.perAirMass + float64(f*(b.perAirMass-a.perAirMass)))
}
