package sun

// Mount is how a module sheds heat, for Faiman.
type Mount struct{ U0, U1 float64 } // W/(m2 K), W s/(m3 K)

// The mounts of methods 4.1.
var (
	OpenRack  = Mount{25, 6.84}  // common default, as IEC 61853
	RoofMount = Mount{17.5, 1.5} // the middle of U0 15-20, U1 0-3 for flush roof mounts (common practice)
)

// RiseKPerWm2 is how much warmer than the air the cell gets a W/m2.
func (m Mount) RiseKPerWm2(windMs float64) float64 { return 1 / (m.U0 + m.U1*windMs) }

// Faiman is the cell's temperature.
//
//	T = Ta + G/(U0 + U1 v)
//
//	In:     light in the plane; air temperature; wind at the module's height
//	        (from 10 m over a roof: about half).
//	Source: Faiman, Prog. Photovolt. 16 (2008) 307 (published).
func Faiman(poaWm2, airC, windMs float64, m Mount) float64 {
	return airC + poaWm2*m.RiseKPerWm2(windMs)
}

// Ross is the cell's temperature without wind: T = Ta + k G.
//
//	k [K m2/W]: (NOCT - 20)/800; or sloped roof well ventilated 0.020,
//	free-standing 0.0208, flat roof 0.026, sloped roof poorly ventilated
//	0.0342, not ventilated 0.0563.
//
//	Source: Ross 1981; Nordmann and Clavadetscher 2003 (published).
func Ross(poaWm2, airC, k float64) float64 { return airC + k*poaWm2 }

// RossNOCT is Ross' k of a nominal operating cell temperature.
func RossNOCT(noctC float64) float64 { return (noctC - 20) / 800 }

// DuffieBeckman is the cell's temperature by NOCT, wind and efficiency.
//
//	T = Ta + (NOCT - 20)(G/800) 9.5/(5.7 + 3.8 v)(1 - eta/(tau alpha))
//
//	Source: Duffie and Beckman 2013, equation 23.3.3 (published); tau alpha 0.9.
func DuffieBeckman(poaWm2, airC, windMs, noctC, efficiency float64) float64 {
	return airC + (noctC-20)*poaWm2/800*9.5/(5.7+3.8*windMs)*(1-efficiency/0.9)
}

// DefaultGammaPerC is the usual change of power with cell temperature
// (common practice; heterojunction -0.0026, older cells -0.0040).
const DefaultGammaPerC = -0.0035

// DCPower is what modules give.
//
//	P_dc = P0 G_eff/1000 (1 + gamma (T - 25)) f
//
//	In:     effective light; cell temperature; rated power; gamma per K; the
//	        product of what the losses leave. Out in the unit of rated.
//	Source: methods 4.2 (common practice).
func DCPower(effectiveWm2, cellC, rated, gammaPerC, factor float64) float64 {
	return rated * effectiveWm2 / 1000 * (1 + gammaPerC*(cellC-25)) * factor
}

// ACPower is what an inverter makes of it: P_ac = min(eta P_dc, limit).
//
//	In:  a limit that is not above 0 is no limit.
//	Out: power, and what the limit cut off.
func ACPower(dc, efficiency, limit float64) (ac, clipped float64) {
	ac = efficiency * dc
	if limit > 0 && ac > limit {
		return limit, ac - limit
	}
	return ac, 0
}

// SandiaInverter are the parameters of the Sandia model.
type SandiaInverter struct {
	PacoW, PdcoW, VdcoV float64
	C0, C1, C2, C3      float64
	PsoW, PntW          float64
}

// AC is the inverter's output at a DC power and voltage.
//
//	A = Pdco (1 + C1 (V - Vdco)), B = Pso (1 + C2 (V - Vdco)), C = C0 (1 + C3 (V - Vdco))
//	P_ac = (Paco/(A - B) - C (A - B))(P_dc - B) + C (P_dc - B)^2
//
//	Edges:  no more than Paco; -Pnt where P_dc < Pso.
//	Source: King and others, SAND2007-5036 (published).
func (s SandiaInverter) AC(dcW, volts float64) float64 {
	if dcW < s.PsoW {
		return -s.PntW
	}
	dv := volts - s.VdcoV
	a, b, c := s.PdcoW*(1+s.C1*dv), s.PsoW*(1+s.C2*dv), s.C0*(1+s.C3*dv)
	return min(s.PacoW, (s.PacoW/(a-b)-c*(a-b))*(dcW-b)+c*(dcW-b)*(dcW-b))
}
