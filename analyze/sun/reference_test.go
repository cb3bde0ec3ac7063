package sun

import "math"

// Forms of the models by the moment, which the checks of published values and
// the tests of the table need; the product works by the hour.

// Position gives the true (unrefracted) zenith and the azimuth of the sun.
//
//	In:      seconds since 1970 UTC; place in degrees.
//	Out:     zenith 0..180, azimuth 0..360 from north, eastward.
//	Edges:   made for 2020 to 2050; against SPA 0.0085 deg at most over
//	         2000-2040 (computed, methods 1.1). Add Refraction for the
//	         apparent place.
//	Source:  PSA+ : Blanco, Milidonis, Bonanos, Solar Energy 212 (2020) 339
//	         (published).
func Position(unix, latDeg, lonDeg float64) (zenithDeg, azimuthDeg float64) {
	n := unix/86400 - 10957.5
	ra, decl := psaEquatorial(n)
	h := mod(unix, 86400) / 3600
	gmst := 6.697096103 + 6.570984737e-2*n + h
	w := (15*gmst+lonDeg)*rad - ra
	sinW, cosW := math.Sincos(w)
	sinPhi, cosPhi := math.Sincos(latDeg * rad)
	sinD, cosD := math.Sincos(decl)
	zenith := math.Acos(clamp(cosPhi*cosW*cosD+sinD*sinPhi, -1, 1))
	azimuth := math.Atan2(-sinW, sinD/cosD*cosPhi-sinPhi*cosW)
	zenith += parallax * math.Sin(zenith)
	return zenith * deg, mod(azimuth*deg, 360)
}

// CosIncidence is the cosine of the angle between the sun and a plane's
// normal, within -1..1.
//
//	cos th = cos b cos z + sin b sin z cos(A_sun - A_plane)
func CosIncidence(p Plane, zenithDeg, azimuthDeg float64) float64 {
	sinB, cosB := math.Sincos(p.TiltDeg * rad)
	sinZ, cosZ := math.Sincos(zenithDeg * rad)
	return clamp(cosB*cosZ+sinB*sinZ*math.Cos((azimuthDeg-p.AzimuthDeg)*rad), -1, 1)
}

// Extraterrestrial is the irradiance normal to the beam outside the atmosphere
// on a day of the year (1..366).
//
//	B = 2 pi (doy-1)/365
//	I0n = Isc (1.00011 + 0.034221 cos B + 0.00128 sin B + 0.000719 cos 2B + 0.000077 sin 2B)
//
//	Source: Spencer 1971 (published); against SPA's distance 0.12 % at most
//	        (computed, methods 1.6).
func Extraterrestrial(dayOfYear float64) float64 {
	return extraterrestrial(dayOfYear, SolarConstantWm2)
}

// Haurwitz is the clear-sky global irradiance from the sun's height alone.
//
//	GHI = 1098 cos z exp(-0.059/cos z);  0 where cos z <= 0
//
//	Source: Haurwitz, J. Meteorol. 2:154 and 3:123, 1945/46 (published). Good
//	        to a few percent in clean air of the middle latitudes.
func Haurwitz(zenithDeg float64) float64 {
	if zenithDeg >= 90 {
		return 0
	}
	return haurwitz(math.Cos(zenithDeg * rad))
}

// IneichenPerez is the clear sky by height and turbidity.
//
//	fh1 = exp(-h/8000); fh2 = exp(-h/1250); cg1 = 5.09e-5 h + 0.868; cg2 = 3.92e-5 h + 0.0387
//	GHI = cg1 I0n cos z exp(-cg2 AM (fh1 + fh2 (TL-1)))
//	DNI = min( (0.664 + 0.163/fh1) I0n exp(-0.09 AM (TL-1)),
//	           GHI (1 - (0.1 - 0.2 exp(-TL))/(0.1 + 0.882/fh1))/cos z )
//	DHI = GHI - DNI cos z
//
//	In:      apparent zenith; air mass at the site's pressure (absolute);
//	         Linke turbidity; height; extraterrestrial irradiance.
//	Edges:   the sun below the horizon gives 0.
//	Source:  Ineichen and Perez, Solar Energy 73 (2002) 151 (published),
//	         without the enhancement factor.
func IneichenPerez(apparentZenithDeg, absoluteAirMass, linkeTurbidity, elevationM, extraWm2 float64) Light {
	m := newIneichen(elevationM)
	m.setTurbidity(linkeTurbidity)
	return m.at(math.Cos(apparentZenithDeg*rad), absoluteAirMass, extraWm2)
}

// Moment is the sun at one moment, or over one hour, as the models of light
// on a plane need it.
type Moment struct {
	CosZenith         float64 // true zenith
	ApparentZenithDeg float64
	CosIncidence      float64 // on the plane; negative: behind it
	ExtraWm2          float64 // extraterrestrial, normal to the beam
	AirMass           float64 // relative, at the apparent zenith
}

// MomentAt is the sun for a plane, from its place as seen.
func MomentAt(p Plane, zenithDeg, apparentZenithDeg, azimuthDeg, extraWm2 float64) Moment {
	return Moment{
		CosZenith:         math.Cos(zenithDeg * rad),
		ApparentZenithDeg: apparentZenithDeg,
		CosIncidence:      CosIncidence(p, zenithDeg, azimuthDeg),
		ExtraWm2:          extraWm2,
		AirMass:           AirMass(apparentZenithDeg),
	}
}

// apparentZenithDeg is the sun's apparent zenith in hour i; 90 by night.
func apparentZenithDeg(h *Hours, i int) float64 {
	if !h.Lit(i) {
		return 90
	}
	pressure := PressurePa(h.Place.ElevationM)
	air, known := airPaths[pressure]
	if !known {
		air = newAirPath(pressure)
		airPaths[pressure] = air
	}
	cosZ, _ := air.at(h.Up[i])
	return math.Acos(min(cosZ, 1)) * deg
}

var airPaths = map[float64]*airPath{}

// Moment is the sun in hour i for this plane.
func (f *Facet) Moment(h *Hours, i int) Moment {
	return Moment{
		CosZenith:         h.Up[i],
		ApparentZenithDeg: apparentZenithDeg(h, i),
		CosIncidence:      f.East*h.East[i] + f.North*h.North[i] + f.Up*h.Up[i],
		ExtraWm2:          h.ExtraWm2[i],
		AirMass:           h.AirMass[i],
	}
}

// Tilted is light on a plane at one moment.
//
//	beam = DNI max(cos th, 0);  ground = GHI albedo (1 - cos b)/2;  sky by Perez and Driesse
func Tilted(f *Facet, m Moment, l Light, albedo float64) (beam, sky, ground float64) {
	c := max(m.CosIncidence, 0)
	return l.DNI * c, f.ofSky(c, perezDriesse(m.ApparentZenithDeg*rad, m.CosZenith, m.AirMass, m.ExtraWm2, l.DNI, l.DHI)), l.GHI * albedo * f.GroundView
}
