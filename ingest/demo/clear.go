package demo

import "math"

// solarConstant is the ASTM E490-00 value, W/m².
const solarConstant = 1366.1

// extraterrestrial is the irradiance on a plane that faces the sun outside the
// atmosphere. Source: Spencer 1971 (published).
func extraterrestrial(dayOfYear int) float64 {
	b := 2 * math.Pi * float64(dayOfYear-1) / 365
	s, c := math.Sincos(b)
	s2, c2 := math.Sincos(2 * b)
	return solarConstant * (1.00011 + float64(0.034221*c) + float64(0.00128*s) + float64(0.000719*c2) + float64(0.000077*s2))
}

// air is the state of a cloudless atmosphere.
type air struct {
	pressurePa         float64
	tau380, tau500     float64 // aerosol optical depth
	waterCm, ozoneCm   float64
	albedo             float64
	extraterrestrialWm float64
}

// bird is the clear sky of Bird and Hulstrom 1981 (SERI/TR-642-761; published,
// as in NREL's spreadsheet of 2012): beam on a plane that faces the sun and
// light on the horizontal, W/m², for the cosine of the true zenith angle.
func bird(a air, cosZ float64) (dni, ghi float64) {
	if cosZ <= 0.0087 { // within half a degree of the horizon: no light to speak of (our choice)
		return 0, 0
	}
	z := math.Acos(cosZ) / rad
	m := 1 / (cosZ + float64(0.15*math.Pow(93.885-z, -1.253))) // Kasten 1966
	mp := m * a.pressurePa / 101325
	tr := math.Exp(-0.0903 * math.Pow(mp, 0.84) * (1 + mp - math.Pow(mp, 1.01)))
	xo := a.ozoneCm * m
	to := 1 - float64(0.1611*xo*math.Pow(1+float64(139.48*xo), -0.3034)) - 0.002715*xo/(1+float64(0.044*xo)+float64(0.0003*xo*xo))
	tum := math.Exp(-0.0127 * math.Pow(mp, 0.26))
	xw := a.waterCm * m
	tw := 1 - 2.4959*xw/(math.Pow(1+float64(79.034*xw), 0.6828)+float64(6.385*xw))
	tau := float64(0.27583*a.tau380) + float64(0.35*a.tau500)
	ta := math.Exp(-math.Pow(tau, 0.873) * (1 + tau - math.Pow(tau, 0.7088)) * math.Pow(m, 0.9108))
	taa := 1 - float64(0.1*(1-m+math.Pow(m, 1.06))*(1-ta))
	const ba = 0.85
	rs := 0.0685 + float64((1-ba)*(1-ta/taa))
	dni = 0.9662 * a.extraterrestrialWm * ta * tw * tum * to * tr
	ias := a.extraterrestrialWm * cosZ * 0.79 * to * tum * tw * taa * (float64(0.5*(1-tr)) + float64(ba*(1-ta/taa))) / (1 - m + math.Pow(m, 1.02))
	ghi = (float64(dni*cosZ) + ias) / (1 - float64(a.albedo*rs))
	return dni, ghi
}
