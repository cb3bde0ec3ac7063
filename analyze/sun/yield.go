package sun

// Losses puts losses together: 1 - product of (1 - L). Never add them.
//
//	Source: methods 4.3.
func Losses(shares ...float64) float64 {
	left := 1.0
	for _, l := range shares {
		left *= 1 - l
	}
	return 1 - left
}

// UsualLosses are the shares lost between glass and meter where nothing of the
// site is known (common practice, methods 4.3): soiling 2 %, mismatch 1.5,
// DC wiring 1.5, AC wiring 0.75, connections 0.5, light-induced 1.5,
// availability 1. Shading and snow are the site's own; the inverter is apart.
var UsualLosses = []float64{0.02, 0.015, 0.015, 0.0075, 0.005, 0.015, 0.01}

// Yields are what a system made, by its size (IEC 61724-1, clause 10;
// published glossary).
type Yields struct {
	FinalH     float64 // Y_f = E/P0
	ReferenceH float64 // Y_r = H/G_ref, G_ref 1 kW/m2
	PR         float64 // Y_f/Y_r
}

// NewYields gives the yields of an energy [kWh] from an irradiation in the
// plane [kWh/m2] and a rated power [kW].
func NewYields(energyKWh, irradiationKWhM2, ratedKW float64) Yields {
	y := Yields{FinalH: energyKWh / ratedKW, ReferenceH: irradiationKWhM2}
	y.PR = y.FinalH / y.ReferenceH
	return y
}

// CorrectedPR is the performance ratio at 25 degrees of cell temperature.
//
//	PR' = sum P_out / sum(C P0 G/1000);  C = 1 + gamma (T - 25)
//
//	In:     power [kW], light in the plane and cell temperature, interval by
//	        interval of one length; a NaN in any skips the interval.
//	Source: IEC 61724-1, STC form (published glossary).
func CorrectedPR(powerKW, poaWm2, cellC []float64, ratedKW, gammaPerC float64) float64 {
	out, could := 0.0, 0.0
	for i, p := range powerKW {
		c := (1 + gammaPerC*(cellC[i]-25)) * ratedKW * poaWm2[i] / 1000
		if v := p + c; v == v {
			out += p
			could += c
		}
	}
	return out / could
}
