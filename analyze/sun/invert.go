package sun

import "math"

// The gate of methods 5.1: outside of it light in a plane says too little
// about light on the horizontal.
const (
	GateCosIncidence = 0.2 // the sun no more than 78.5 deg off the plane's normal
	GateCosZenith    = cos87
	GateClearIndex   = 1.3 // GHI over clear-sky GHI
)

// Gate tells whether GHI that was inverted from light in a plane may be used:
// the sun well before the plane and well up, and the result not far above a
// clear sky.
func Gate(m Moment, ghi, clearGHI float64) bool {
	return m.CosIncidence > GateCosIncidence && m.CosZenith > GateCosZenith && ghi < GateClearIndex*clearGHI
}

// EffectiveFromPower solves the module's power for the light that made it.
//
//	gamma u G^2 + (1 + gamma (Ta - 25)) G - 1000 P/(P0 f eta) = 0,  the smaller positive root
//
//	In:      AC power below any limit; full = P0 f eta in the same unit; air
//	         temperature; the cell's rise u [K m2/W], see Mount.RiseKPerWm2.
//	Refuses: more power than the module can give at any light: NaN.
//	Edges:   no power gives 0; gamma 0 is linear.
//	Source:  methods 5.1 step 2.
func EffectiveFromPower(power, full, airC, gammaPerC, riseKPerWm2 float64) float64 {
	a, b, c := gammaPerC*riseKPerWm2, 1+gammaPerC*(airC-25), -1000*power/full
	if power <= 0 {
		return 0
	}
	d := b*b - 4*a*c
	if !(d >= 0) || b <= 0 {
		return math.NaN()
	}
	// -2c/(b + sqrt d) is the root (-b + sqrt d)/2a without cancellation, and
	// stands where a = 0.
	return -2 * c / (b + math.Sqrt(d))
}

// InvertPOA finds the global irradiance whose light on the plane is poa.
//
//	the root of POA(ErbsDriesse(GHI), PerezDriesse) - poa
//	on 0..max(10, 1.25 I0n cos z), by bisection to 0.01 W/m2
//
//	In:      the plane; the sun; light in the plane; albedo.
//	Out:     GHI; its split is ErbsDriesse of it.
//	Refuses: no change of sign between the ends: NaN, not 0.
//	Edges:   both models are the continuous ones, else there were jumps and
//	         several roots. Use Gate on the result.
//	Source:  Driesse, Jensen, Perez 2024 (published).
//	Cost:    about 17 steps; see BenchmarkInvertPOA.
func InvertPOA(f *Facet, m Moment, poaWm2, albedo float64) float64 {
	return invert(m, poaWm2, func(l Light) float64 {
		beam, sky, ground := Tilted(f, m, l, albedo, PerezDriesse)
		return beam + sky + ground
	})
}

// InvertEffective is InvertPOA of effective light: behind the glass, as power
// shows it. The glass is part of what is inverted, so nothing is iterated.
func InvertEffective(f *Facet, m Moment, effectiveWm2, albedo float64) float64 {
	glass := beamIAM(max(m.CosIncidence, 0))
	return invert(m, effectiveWm2, func(l Light) float64 {
		beam, sky, ground := Tilted(f, m, l, albedo, PerezDriesse)
		return beam*glass + sky*f.SkyIAM + ground*f.GroundIAM
	})
}

func invert(m Moment, target float64, light func(Light) float64) float64 {
	lo, hi := 0.0, max(10, 1.25*m.ExtraWm2*m.CosZenith)
	above := func(ghi float64) bool { return light(ErbsDriesse(ghi, m.CosZenith, m.ExtraWm2)) >= target }
	if !(target >= 0) || !above(hi) {
		return math.NaN()
	}
	for hi-lo > 0.01 {
		if mid := lo + (hi-lo)/2; above(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo + (hi-lo)/2
}
