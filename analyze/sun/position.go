package sun

import "rowen/ingest/samebits"

// parallax is the Earth's radius over its distance to the sun.
const parallax = 6371.01 / 149597890

// psaEquatorial gives right ascension and declination [rad] n days after
// 2000-01-01T12:00Z.
func psaEquatorial(n float64) (ra, decl float64) {
	omega := 2.267127827 - float64(9.300339267e-4*n)
	l := 4.895036035 + float64(1.720279602e-2*n)
	g := 6.239468336 + float64(1.720200135e-2*n)
	sinO, cosO := samebits.Sincos(omega)
	lambda := l + float64(3.338320972e-2*samebits.Sin(g)) + float64(3.497596876e-4*samebits.Sin(2*g)) - 1.544353226e-4 - float64(8.689729360e-6*sinO)
	eps := 4.090904909e-1 - float64(6.213605399e-9*n) + float64(4.418094944e-5*cosO)
	sinL, cosL := samebits.Sincos(lambda)
	sinE, cosE := samebits.Sincos(eps)
	return samebits.Atan2(cosE*sinL, cosL), samebits.Asin(sinE * sinL)
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
	t := samebits.Tan((elevationDeg + 10.3/(elevationDeg+5.11)) * rad)
	return pressurePa / 101000 * (283 / (273 + tempC)) * 1.02 / (60 * t)
}

// ApparentZenith is the zenith as seen, at the usual 12 degrees of air
// temperature.
func ApparentZenith(zenithDeg, pressurePa float64) float64 {
	return zenithDeg - Refraction(90-zenithDeg, pressurePa, 12)
}
