package sun

import "math"

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

// parallax is the Earth's radius over its distance to the sun.
const parallax = 6371.01 / 149597890

// psaEquatorial gives right ascension and declination [rad] n days after
// 2000-01-01T12:00Z.
func psaEquatorial(n float64) (ra, decl float64) {
	omega := 2.267127827 - 9.300339267e-4*n
	l := 4.895036035 + 1.720279602e-2*n
	g := 6.239468336 + 1.720200135e-2*n
	sinO, cosO := math.Sincos(omega)
	lambda := l + 3.338320972e-2*math.Sin(g) + 3.497596876e-4*math.Sin(2*g) - 1.544353226e-4 - 8.689729360e-6*sinO
	eps := 4.090904909e-1 - 6.213605399e-9*n + 4.418094944e-5*cosO
	sinL, cosL := math.Sincos(lambda)
	sinE, cosE := math.Sincos(eps)
	return math.Atan2(cosE*sinL, cosL), math.Asin(sinE * sinL)
}

// Refraction is how much higher the sun appears than it is.
//
//	d = (P/1010)(283/(273+T)) 1.02/(60 tan(e + 10.3/(e+5.11)))   P in mbar
//
//	In:      true elevation; pressure; air temperature.
//	Edges:   0 below -0.8334 deg, where no part of the disc is up.
//	Source:  Reda and Andreas 2004, equation 42 (published).
func Refraction(elevationDeg, pressurePa, tempC float64) float64 {
	if elevationDeg < -(0.26667 + 0.5667) {
		return 0
	}
	t := math.Tan((elevationDeg + 10.3/(elevationDeg+5.11)) * rad)
	return pressurePa / 101000 * (283 / (273 + tempC)) * 1.02 / (60 * t)
}

// ApparentZenith is the zenith as seen, at the usual 12 degrees of air
// temperature.
func ApparentZenith(zenithDeg, pressurePa float64) float64 {
	return zenithDeg - Refraction(90-zenithDeg, pressurePa, 12)
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
