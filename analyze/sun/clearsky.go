package sun

import "math"

// Light is irradiance on the horizontal, split: GHI global, DNI the beam
// normal to itself, DHI diffuse, W/m2.
type Light struct{ GHI, DNI, DHI float64 }

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

func haurwitz(cosZ float64) float64 {
	if cosZ <= 0 {
		return 0
	}
	return 1098 * cosZ * math.Exp(-0.059/cosZ)
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

// ineichen is the model at one height and turbidity.
type ineichen struct {
	cg1, b, d, fh1, fh2, cg2 float64 // by height
	kGHI, kDNI, share        float64 // by turbidity too
}

func newIneichen(h float64) ineichen {
	m := ineichen{
		fh1: math.Exp(-h / 8000), fh2: math.Exp(-h / 1250),
		cg1: 5.09e-5*h + 0.868, cg2: 3.92e-5*h + 0.0387,
	}
	m.b = 0.664 + 0.163/m.fh1
	m.d = 0.1 + 0.882/m.fh1
	return m
}

func (m *ineichen) setTurbidity(tl float64) {
	m.kGHI = -m.cg2 * (m.fh1 + m.fh2*(tl-1))
	m.kDNI = -0.09 * (tl - 1)
	m.share = max(0, 1-(0.1-0.2*math.Exp(-tl))/m.d)
}

func (m *ineichen) at(cosZ, airMass, extra float64) Light {
	if !(cosZ > 0) || airMass != airMass {
		return Light{}
	}
	ghi := m.cg1 * extra * cosZ * math.Exp(m.kGHI*airMass)
	b1 := m.b * extra * math.Exp(m.kDNI*airMass)
	b2 := ghi * m.share / cosZ
	dni := min(b1, b2)
	return Light{GHI: ghi, DNI: dni, DHI: ghi - dni*cosZ}
}

// BirdAir is what the Bird model knows of the air.
type BirdAir struct {
	PressurePa     float64
	AOD380, AOD500 float64 // aerosol optical depth at 380 and 500 nm
	WaterCm        float64 // precipitable water
	OzoneCm        float64
	Asymmetry      float64 // Ba; 0.85 usual
	Albedo         float64 // of the ground; 0.2 usual
}

// Bird is the clear sky where aerosol and water are known.
//
//	In:      zenith as seen; extraterrestrial irradiance; the air.
//	Edges:   the sun below the horizon gives 0.
//	Source:  Bird and Hulstrom 1981, SERI/TR-642-761 (published); the terms as
//	         methods 2.1, air mass Kasten 1966.
func Bird(zenithDeg, extraWm2 float64, air BirdAir) Light {
	cosZ := math.Cos(zenithDeg * rad)
	if zenithDeg >= 90 {
		return Light{}
	}
	m := 1 / (cosZ + 0.15*math.Pow(93.885-zenithDeg, -1.253))
	mp := m * air.PressurePa / 101325
	tr := math.Exp(-0.0903 * math.Pow(mp, 0.84) * (1 + mp - math.Pow(mp, 1.01)))
	xo := air.OzoneCm * m
	to := 1 - 0.1611*xo*math.Pow(1+139.48*xo, -0.3034) - 0.002715*xo/(1+0.044*xo+0.0003*xo*xo)
	tum := math.Exp(-0.0127 * math.Pow(mp, 0.26))
	xw := air.WaterCm * m
	tw := 1 - 2.4959*xw/(math.Pow(1+79.034*xw, 0.6828)+6.385*xw)
	tau := 0.27583*air.AOD380 + 0.35*air.AOD500
	ta := math.Exp(-math.Pow(tau, 0.873) * (1 + tau - math.Pow(tau, 0.7088)) * math.Pow(m, 0.9108))
	taa := 1 - 0.1*(1-m+math.Pow(m, 1.06))*(1-ta)
	rs := 0.0685 + (1-air.Asymmetry)*(1-ta/taa)
	dni := 0.9662 * extraWm2 * ta * tw * tum * to * tr
	scattered := extraWm2 * cosZ * 0.79 * to * tum * tw * taa *
		(0.5*(1-tr) + air.Asymmetry*(1-ta/taa)) / (1 - m + math.Pow(m, 1.02))
	ghi := (dni*cosZ + scattered) / (1 - air.Albedo*rs)
	return Light{GHI: ghi, DNI: dni, DHI: ghi - dni*cosZ}
}

// SkyModel says how clear a clear sky is.
type SkyModel struct {
	// LinkeTurbidity by month of the place's own season, January first for the
	// northern hemisphere (the southern takes it half a year later). All zero:
	// DefaultLinkeTurbidity. What is left over, the fitted scale of a site or
	// a fleet absorbs.
	LinkeTurbidity [12]float64
	// Haurwitz takes GHI from the sun's height alone, where nothing is known of
	// the air, and its split from ErbsDriesse.
	Haurwitz bool
	// SolarConstantWm2: 0 is the package's one value; tests alone set another.
	SolarConstantWm2 float64
}

// DefaultLinkeTurbidity is temperate air: 2.5 in winter, 3.5 in summer (common
// practice, methods 2.1).
var DefaultLinkeTurbidity = [12]float64{2.5, 2.5, 2.8, 3.1, 3.3, 3.5, 3.5, 3.5, 3.2, 2.9, 2.6, 2.5}

func (s SkyModel) orDefault() SkyModel {
	if s.LinkeTurbidity == [12]float64{} {
		s.LinkeTurbidity = DefaultLinkeTurbidity
	}
	if s.SolarConstantWm2 == 0 {
		s.SolarConstantWm2 = SolarConstantWm2
	}
	return s
}

// turbidity is the month's value at the middle of the month, and in between on
// the line to the next month's.
func (s SkyModel) turbidity(latDeg float64, dayOfYear int) float64 {
	m := float64(dayOfYear-1)/365.25*12 - 0.5
	if latDeg < 0 {
		m += 6
	}
	m = mod(m, 12)
	k := int(m)
	f := m - float64(k)
	return s.LinkeTurbidity[k]*(1-f) + s.LinkeTurbidity[(k+1)%12]*f
}
