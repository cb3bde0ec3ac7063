package sun

import "math"

// DefaultAR is the Martin-Ruiz coefficient of usual clean glass (IEC 61853-3,
// methods 3.3).
const DefaultAR = 0.16

// ASHRAE is the incidence-angle modifier of the ASHRAE form.
//
//	IAM = max(0, 1 - b0 (1/cos th - 1));  0 where th >= 90
//
//	Source: ASHRAE 93-77 (published); b0 0.05, 0.04 with anti-reflective glass
//	        (common practice).
func ASHRAE(cosIncidence, b0 float64) float64 {
	if cosIncidence <= 0 {
		return 0
	}
	return max(0, 1-b0*(1/cosIncidence-1))
}

// Glass is a cover as optics sees it.
type Glass struct {
	N       float64 // refractive index
	KPerM   float64 // extinction
	ThickM  float64
	Coating float64 // refractive index of an anti-reflective film; 0: none
}

// UsualGlass is De Soto's cover: n 1.526, K 4 /m, 2 mm (published).
var UsualGlass = Glass{N: 1.526, KPerM: 4, ThickM: 0.002}

// Physical is the incidence-angle modifier by refraction and absorption.
//
//	sin thr = sin th/n;  tau = (1 - (rs + rp)/2) exp(-K L/cos thr);  IAM = tau(th)/tau(0)
//	rs = ((cos th - n cos thr)/(cos th + n cos thr))^2
//	rp = ((cos thr - n cos th)/(cos thr + n cos th))^2
//
//	With a coating the light passes two such faces, air to film and film to
//	glass, each polarisation by itself, with what goes to and fro between
//	them: tau = (1 - r1)(1 - r2)/(1 - r1 r2).
//
//	Source: De Soto and others, Solar Energy 80 (2006) 78 (published; its
//	        equation 14 prints the refraction the wrong way round).
func Physical(cosIncidence float64, g Glass) float64 {
	if cosIncidence <= 0 {
		return 0
	}
	return g.transmittance(cosIncidence) / g.transmittance(1)
}

func (g Glass) transmittance(c float64) float64 {
	film := g.Coating
	if film == 0 {
		film = 1 // a film of air: nothing
	}
	s1, p1, inFilm := fresnel(c, 1, film)
	s2, p2, inGlass := fresnel(inFilm, film, g.N)
	s := (1 - s1) * (1 - s2) / (1 - s1*s2)
	p := (1 - p1) * (1 - p2) / (1 - p1*p2)
	return (s + p) / 2 * math.Exp(-g.KPerM*g.ThickM/inGlass)
}

// fresnel gives the reflectances of both polarisations where light that comes
// at an angle of cosine c goes from index n1 into n2, and the cosine inside.
func fresnel(c, n1, n2 float64) (s, p, inside float64) {
	sin := math.Sqrt(1-c*c) * n1 / n2
	inside = math.Sqrt(1 - sin*sin)
	s = (n1*c - n2*inside) / (n1*c + n2*inside)
	p = (n1*inside - n2*c) / (n1*inside + n2*c)
	return s * s, p * p, inside
}

// MartinRuiz is the incidence-angle modifier for the beam.
//
//	IAM = (1 - exp(-cos th/ar))/(1 - exp(-1/ar))
//
//	Source: Martin and Ruiz, Sol. Energy Mater. Sol. Cells 70 (2001) 25 with
//	        the corrigendum 110:154; IEC 61853-3 (published).
func MartinRuiz(cosIncidence, ar float64) float64 {
	if cosIncidence <= 0 {
		return 0
	}
	return (1 - math.Exp(-cosIncidence/ar)) / (1 - math.Exp(-1/ar))
}

// MartinRuizDiffuse is the modifier for diffuse light of the sky and of the
// ground on a plane of that tilt.
//
//	IAM = 1 - exp(-(c1 + c2 T) T/ar);  c1 = 4/(3 pi), c2 = ar/2 - 0.154
//	Ts = sin b + (pi - b - sin b)/(1 + cos b);  Tg = sin b + (b - sin b)/(1 - cos b)
//
//	Edges:  tilt 0 is taken as 1e-6 deg: no ground is in view.
//	Source: as MartinRuiz; c1 rounded to 0.4244 as in the check values.
func MartinRuizDiffuse(tiltDeg, ar float64) (sky, ground float64) {
	if tiltDeg == 0 {
		tiltDeg = 1e-6
	}
	const c1 = 0.4244
	c2 := ar/2 - 0.154
	b := tiltDeg * rad
	sinB, cosB := math.Sincos(b)
	ts := sinB + (math.Pi-b-sinB)/(1+cosB)
	tg := sinB + (b-sinB)/(1-cosB)
	return 1 - math.Exp(-(c1+c2*ts)*ts/ar), 1 - math.Exp(-(c1+c2*tg)*tg/ar)
}

// SkyMean is the mean of a beam modifier over the isotropic sky that a plane
// of that tilt sees, weighted by the cosine.
//
//	In:     the modifier by cosine of incidence.
//	Source: Marion, Solar Energy 147 (2017) 344 (from memory); midpoint rule
//	        on 720 steps of zenith angle and 360 of azimuth.
//	Cost:   a quarter of a million modifiers: once a plane, never an hour.
func SkyMean(tiltDeg float64, iam func(cosIncidence float64) float64) float64 {
	const zSteps, aSteps = 720, 360
	sinB, cosB := math.Sincos(tiltDeg * rad)
	num, den := 0.0, 0.0
	for i := range zSteps {
		sinZ, cosZ := math.Sincos((float64(i) + 0.5) * math.Pi / 2 / zSteps)
		for j := range aSteps {
			c := cosB*cosZ + sinB*sinZ*math.Cos((float64(j)+0.5)*math.Pi/aSteps)
			if c > 0 {
				num += iam(c) * c * sinZ
				den += c * sinZ
			}
		}
	}
	return num / den
}

// beamIAM is MartinRuiz with DefaultAR from a table, exact to 5e-6 (see
// TestBeamTable; BenchmarkBeamIAM says what it saves).
func beamIAM(c float64) float64 {
	if !(c >= 0 && c < 1) {
		return min(max(c, 0), 1) // NaN stays NaN
	}
	x := c * beamSteps
	k := int(x)
	return beamTable[k] + (x-float64(k))*(beamTable[k+1]-beamTable[k])
}

const beamSteps = 1024

var beamTable = func() (t [beamSteps + 1]float64) {
	for i := range t {
		t[i] = MartinRuiz(float64(i)/beamSteps, DefaultAR)
	}
	return t
}()
