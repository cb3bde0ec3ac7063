package sun

import "rowen/ingest/samebits"

// Light is irradiance on the horizontal, split: GHI global, DNI the beam
// normal to itself, DHI diffuse, W/m2.
type Light struct{ GHI, DNI, DHI float64 }

func haurwitz(cosZ float64) float64 {
	if cosZ <= 0 {
		return 0
	}
	return 1098 * cosZ * samebits.Exp(-0.059/cosZ)
}

// ineichen is the model at one height and turbidity.
type ineichen struct {
	cg1, b, d, fh1, fh2, cg2 float64 // by height
	kGHI, kDNI, share        float64 // by turbidity too
}

func newIneichen(h float64) ineichen {
	m := ineichen{
		fh1: samebits.Exp(-h / 8000), fh2: samebits.Exp(-h / 1250),
		cg1: float64(5.09e-5*h) + 0.868, cg2: float64(3.92e-5*h) + 0.0387,
	}
	m.b = 0.664 + 0.163/m.fh1
	m.d = 0.1 + 0.882/m.fh1
	return m
}

func (m *ineichen) setTurbidity(tl float64) {
	m.kGHI = -m.cg2 * (m.fh1 + float64(m.fh2*(tl-1)))
	m.kDNI = -0.09 * (tl - 1)
	m.share = max(0, 1-(0.1-float64(0.2*samebits.Exp(-tl)))/m.d)
}

func (m *ineichen) at(cosZ, airMass, extra float64) Light {
	if !(cosZ > 0) || airMass != airMass {
		return Light{}
	}
	ghi := float64(m.cg1 * extra * cosZ * samebits.Exp(m.kGHI*airMass))
	b1 := m.b * extra * samebits.Exp(m.kDNI*airMass)
	b2 := ghi * m.share / cosZ
	dni := min(b1, b2)
	return Light{GHI: ghi, DNI: dni, DHI: ghi - float64(dni*cosZ)}
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
	m := float64(float64(dayOfYear-1)/365.25*12) - 0.5
	if latDeg < 0 {
		m += 6
	}
	m = mod(m, 12)
	k := int(m)
	f := m - float64(k)
	return float64(s.LinkeTurbidity[k]*(1-f)) + float64(s.LinkeTurbidity[(k+1)%12]*f)
}
