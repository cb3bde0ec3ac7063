package sun

import "math"

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

// Moment is the sun in hour i for this plane.
func (f *Facet) Moment(h *Hours, i int) Moment {
	return Moment{
		CosZenith:         h.Up[i],
		ApparentZenithDeg: h.ApparentZenithDeg[i],
		CosIncidence:      f.East*h.East[i] + f.North*h.North[i] + f.Up*h.Up[i],
		ExtraWm2:          h.ExtraWm2[i],
		AirMass:           h.AirMass[i],
	}
}

// Transposition is a model of diffuse light of the sky on a tilted plane, W/m2.
//
// HayDavies is enough with modelled diffuse light and never jumps; Perez or
// PerezDriesse where beam and diffuse are measured or from a weather file.
type Transposition func(f *Facet, m Moment, l Light) float64

// Isotropic takes the sky as equally bright everywhere.
//
//	E_sky = DHI (1 + cos b)/2
//
//	Source: Liu and Jordan 1963 (published). Too low on sunny tilts by 2 to 5 %
//	        (from memory).
func Isotropic(f *Facet, m Moment, l Light) float64 { return l.DHI * f.SkyView }

// HayDavies adds the brightness around the sun.
//
//	Ai = DNI/I0n;  Rb = max(cos th, 0)/max(cos z, 0.01745)
//	E_sky = DHI (Ai Rb + (1 - Ai)(1 + cos b)/2)
//
//	Source: Hay and Davies 1980 (published).
func HayDavies(f *Facet, m Moment, l Light) float64 {
	return hayDavies(f.SkyView, max(m.CosIncidence, 0), m.CosZenith, m.ExtraWm2, l.DNI, l.DHI)
}

func hayDavies(skyView, cosIncidence, cosZenith, extra, dni, dhi float64) float64 {
	ai := dni / extra
	return dhi * (ai*cosIncidence/max(cosZenith, 0.01745) + (1-ai)*skyView)
}

// HDKR adds the bright horizon to HayDavies: its second term times
// 1 + sqrt(DNI cos z/GHI) sin^3(b/2).
//
//	Source: Reindl, Beckman, Duffie 1990 (published).
func HDKR(f *Facet, m Moment, l Light) float64 {
	ai := l.DNI / m.ExtraWm2
	rb := max(m.CosIncidence, 0) / max(m.CosZenith, 0.01745)
	horizon := 0.0
	if l.GHI > 0 {
		horizon = math.Sqrt(max(0, l.DNI*m.CosZenith/l.GHI)) * f.sinHalf3
	}
	return l.DHI * (ai*rb + (1-ai)*f.SkyView*(1+horizon))
}

// Perez weighs the parts of the sky by its clearness in eight bins.
//
//	D = DHI AM/I0n;  e = ((DHI + DNI)/DHI + 1.041 z^3)/(1 + 1.041 z^3)
//	F1 = max(0, F11 + F12 D + F13 z);  F2 = F21 + F22 D + F23 z
//	E_sky = max(0, DHI ((1 - F1)(1 + cos b)/2 + F1 a/b + F2 sin b))
//	a = max(cos th, 0);  b = max(cos z, cos 85);  z apparent, in rad
//
//	Edges:  no diffuse light, or the sun at or below the horizon, gives 0.
//	Source: Perez and others, Solar Energy 44 (1990) 271, all-sites composite
//	        (published).
func Perez(f *Facet, m Moment, l Light) float64 {
	if !(l.DHI > 0) || m.AirMass != m.AirMass {
		return 0 * l.DHI // NaN stays NaN
	}
	z := m.ApparentZenithDeg * rad
	k := 1.041 * z * z * z
	eps := ((l.DHI+l.DNI)/l.DHI + k) / (1 + k)
	bin := len(perez1990) - 1
	for bin > 0 && eps < perez1990[bin].from {
		bin--
	}
	c := &perez1990[bin].f
	d := l.DHI * m.AirMass / m.ExtraWm2
	return perezSky(f, m, l.DHI, max(0, c[0]+c[1]*d+c[2]*z), c[3]+c[4]*d+c[5]*z)
}

const cos85 = 0.08715574274765814

// perezSky puts together circumsolar light (F1), horizon (F2) and the rest.
func perezSky(f *Facet, m Moment, dhi, f1, f2 float64) float64 {
	circumsolar := max(m.CosIncidence, 0) / max(math.Cos(m.ApparentZenithDeg*rad), cos85)
	return max(0, dhi*((1-f1)*f.SkyView+f1*circumsolar+f2*f.SinTilt))
}

// PerezDriesse is Perez without bins: the coefficients are quadratic splines
// of clearness, so that it never jumps and can be inverted.
//
//	x0 = DNI/(DHI + DNI);  k = 1.041 z^3;  x = x0/(1 - k (x0 - 1))
//	Fij(x) = c0 + c1 (x - from) + c2 (x - from)^2;  F1 within 0..0.9
//	AM no larger than at z = 90
//
//	Edges:  as Perez; no light at all has x0 = 0.
//	Source: Driesse, Jensen, Perez 2024 (published); the pieces computed from
//	        its splines (methods 3.2).
func PerezDriesse(f *Facet, m Moment, l Light) float64 {
	if !(l.DHI > 0) {
		return 0 * l.DHI // NaN stays NaN
	}
	z := m.ApparentZenithDeg * rad
	k := 1.041 * z * z * z
	x0 := l.DNI / (l.DHI + l.DNI)
	x := x0 / (1 - k*(x0-1))
	am := m.AirMass
	if !(am <= airMass90) { // beyond, or below the horizon
		am = airMass90
	}
	c := splines(x)
	d := l.DHI * am / m.ExtraWm2
	return perezSky(f, m, l.DHI, clamp(c[0]+c[1]*d+c[2]*z, 0, 0.9), c[3]+c[4]*d+c[5]*z)
}

func splines(x float64) (f [6]float64) {
	last := len(perezDriesseKnots) - 2
	k := 0
	for k < last && x >= perezDriesseKnots[k+1] {
		k++
	}
	u := x - perezDriesseKnots[k]
	for j := range f {
		c := &perezDriesse[j][k]
		f[j] = c[0] + u*(c[1]+u*c[2])
	}
	return f
}

// Tilted is light on a plane at one moment, by a model of the sky.
//
//	beam = DNI max(cos th, 0);  ground = GHI albedo (1 - cos b)/2
func Tilted(f *Facet, m Moment, l Light, albedo float64, model Transposition) (beam, sky, ground float64) {
	return l.DNI * max(m.CosIncidence, 0), model(f, m, l), l.GHI * albedo * f.GroundView
}

// perez1990 holds F11 F12 F13 F21 F22 F23 by clearness from: Table 6 of Perez
// and others 1990, all-sites composite (published, digits via pvlib).
var perez1990 = [8]struct {
	from float64
	f    [6]float64
}{
	{1, [6]float64{-0.008, 0.588, -0.062, -0.06, 0.072, -0.022}},
	{1.065, [6]float64{0.13, 0.683, -0.151, -0.019, 0.066, -0.029}},
	{1.23, [6]float64{0.33, 0.487, -0.221, 0.055, -0.064, -0.026}},
	{1.5, [6]float64{0.568, 0.187, -0.295, 0.109, -0.152, -0.014}},
	{1.95, [6]float64{0.873, -0.392, -0.362, 0.226, -0.462, 0.001}},
	{2.8, [6]float64{1.132, -1.237, -0.412, 0.288, -0.823, 0.056}},
	{4.5, [6]float64{1.06, -1.6, -0.359, 0.264, -1.127, 0.131}},
	{6.2, [6]float64{0.678, -0.327, -0.25, 0.156, -1.377, 0.251}},
}

// perezDriesseKnots are where the pieces of perezDriesse begin, and the end.
var perezDriesseKnots = [9]float64{0, 0.061, 0.187, 0.333, 0.487, 0.643, 0.778, 0.839, 1}

// perezDriesse holds c0 c1 c2 of every piece for F11 F12 F13 F21 F22 F23:
// computed from the published splines, exact to 1e-9 (methods 3.2).
var perezDriesse = [6][8][3]float64{
	{ // F11
		{-0.053, 1.47540983607, 0.0919768850591},
		{0.0373422459893, 1.48663101604, -0.151196842373},
		{0.222257352941, 1.44852941176, 0.267593338705},
		{0.439446666667, 1.52666666667, 1.41111576595},
		{0.708019354839, 1.96129032258, 1.44577183154},
		{1.04916494845, 2.41237113402, -13.2053050315},
		{1.13416836735, -1.15306122449, -31.5322850452},
		{0.9465, -5, 15.5279503106},
	},
	{ // F12
		{0.529, 1.93442622951, 0.0991625792044},
		{0.647368983957, 1.94652406417, -16.4486249045},
		{0.631492647059, -2.19852941176, 2.27806876175},
		{0.359066666667, -1.53333333333, -6.8356374808},
		{-0.0391806451613, -3.63870967742, -8.51545823278},
		{-0.814051546392, -6.29553264605, 0.338707457019},
		{-1.6577755102, -6.20408163265, 198.83717776},
		{-1.29635135135, 18.0540540541, -56.0684908511},
	},
	{ // F13
		{-0.028, -1.11475409836, -0.0675455249653},
		{-0.0962513368984, -1.12299465241, 3.02658942365},
		{-0.189698529412, -0.360294117647, -0.683924254633},
		{-0.25688, -0.56, 0.666108085463},
		{-0.327322580645, -0.354838709677, -0.823221599743},
		{-0.402711340206, -0.611683848797, 5.25113443621},
		{-0.389586734694, 0.80612244898, 4.61677803598},
		{-0.323234234234, 1.36936936937, -4.25269990487},
	},
	{ // F21
		{-0.071, 0.360655737705, 0.0244313600938},
		{-0.0489090909091, 0.363636363636, 1.32894066718},
		{0.0180073529412, 0.698529411765, -2.00409615901},
		{0.0772733333333, 0.113333333333, 2.85784108365},
		{0.162503225806, 0.993548387097, -1.75260574329},
		{0.274845360825, 0.446735395189, -2.78836238581},
		{0.284336734694, -0.30612244898, -9.08436037242},
		{0.23186036036, -1.41441441441, 4.39259134911},
	},
	{ // F22
		{0.061, 0.360655737705, 0.0244313600938},
		{0.0830909090909, 0.363636363636, -7.5996307614},
		{0.00825735294118, -1.55147058824, 5.76987644373},
		{-0.0952666666667, 0.133333333333, -8.43457617651},
		{-0.274767741935, -2.46451612903, 0.629727217689},
		{-0.643907216495, -2.26804123711, -4.26046707343},
		{-1.02773979592, -3.41836734694, 4.16768391007},
		{-1.22075225225, -2.90990990991, 9.03698729786},
	},
	{ // F23
		{-0.019, -0.0983606557377, -0.0704198026234},
		{-0.0252620320856, -0.106951871658, 0.541125541126},
		{-0.0301470588235, 0.0294117647059, 0.264571582057},
		{-0.0202133333333, 0.106666666667, -0.262533165759},
		{-0.0100129032258, 0.0258064516129, 1.12884750397},
		{0.0214845360825, 0.378006872852, 1.51002745504},
		{0.100035714286, 0.785714285714, 5.96556744098},
		{0.170162162162, 1.51351351351, -4.70035252644},
	},
}
