package sun

import "math"

// Sky is the diffuse light of the sky by where it comes from, W/m2 on a plane that sees
// all of it.
//
//	E_sky = max(0, Even (1 + cos b)/2 + Around max(cos th, 0) + Horizon sin b)
type Sky struct{ Even, Around, Horizon float64 }

// Parts splits the diffuse light of hour i.
//
//	k = 1.041 z^3;  s = DNI/(DHI + DNI);  s <- s/(1 - k (s - 1));  D = DHI AM/I0n
//	F1 = F11(s) + F12(s) D + F13(s) z, 0 to 0.9;  F2 = F21(s) + F22(s) D + F23(s) z
//	Even = DHI (1 - F1);  Around = DHI F1/max(cos z, cos 85);  Horizon = DHI F2
//
//	In:      light on the horizontal, means over the hour.
//	Edges:   no diffuse light gives none.
//	Source:  Perez and Driesse (Driesse, Jensen, Perez 2024, published), the pieces of
//	         F by check table 03; it never jumps. A steep plane turned from the sun lives on
//	         this light all winter: with more of it around the sun (Hay and Davies 1980)
//	         such planes made up to a third more in winter than was expected of them.
//	Cost:    with Effective 24 ns an hour of the year, nights among them (BenchmarkEffective).
func (h *Hours) Parts(i int, dni, dhi float64) Sky {
	up := h.Up[i]
	if up <= 0 {
		return Sky{}
	}
	return perezDriesse(zenith(up), up, h.AirMass[i], h.ExtraWm2[i], dni, dhi)
}

// perezDriesse is Parts under a sun at zenith z, rad, with cosine up.
func perezDriesse(z, up, airMass, extra, dni, dhi float64) Sky {
	if !(dhi > 0) {
		return Sky{Even: dhi} // none, or not known
	}
	k := float64(1.041*z*z) * z
	s := dni / (dhi + dni)
	s /= 1 - float64(k*(s-1))
	d := dhi * min(airMass, mostAirMass) / extra
	piece := 0
	for piece < len(perezFrom)-1 && s >= perezFrom[piece+1] {
		piece++
	}
	var f [6]float64
	s -= perezFrom[piece]
	for c := range f {
		q := &perezPieces[piece][c]
		f[c] = q[0] + float64(s*(q[1]+float64(q[2]*s)))
	}
	f1 := min(0.9, max(0, f[0]+float64(f[1]*d)+float64(f[2]*z)))
	f2 := f[3] + float64(f[4]*d) + float64(f[5]*z)
	return Sky{dhi * (1 - f1), dhi * f1 / max(up, cos85), dhi * f2}
}

const (
	cos85       = 0.08715574274765817
	mostAirMass = 37.92 // Kasten and Young at the horizon
)

// zenith is the arc cosine to 7e-5 rad.
//
//	Source:  Abramowitz and Stegun 4.4.45 (published).
func zenith(up float64) float64 {
	return math.Sqrt(1-min(1, up)) * (1.5707288 + float64(up*(-0.2121144+float64(up*(0.0742610-float64(0.0187293*up))))))
}

// perezFrom is where the pieces of F begin; perezPieces are c0, c1 and c2 of F11, F12, F13,
// F21, F22 and F23 in each: c0 + c1 (s - from) + c2 (s - from)^2.
var (
	perezFrom   = [8]float64{0, 0.061, 0.187, 0.333, 0.487, 0.643, 0.778, 0.839}
	perezPieces = [8][6][3]float64{
		{{-0.053, 1.47540983607, 0.0919768850591}, {0.529, 1.93442622951, 0.0991625792044}, {-0.028, -1.11475409836, -0.0675455249653}, {-0.071, 0.360655737705, 0.0244313600938}, {0.061, 0.360655737705, 0.0244313600938}, {-0.019, -0.0983606557377, -0.0704198026234}},
		{{0.0373422459893, 1.48663101604, -0.151196842373}, {0.647368983957, 1.94652406417, -16.4486249045}, {-0.0962513368984, -1.12299465241, 3.02658942365}, {-0.0489090909091, 0.363636363636, 1.32894066718}, {0.0830909090909, 0.363636363636, -7.5996307614}, {-0.0252620320856, -0.106951871658, 0.541125541126}},
		{{0.222257352941, 1.44852941176, 0.267593338705}, {0.631492647059, -2.19852941176, 2.27806876175}, {-0.189698529412, -0.360294117647, -0.683924254633}, {0.0180073529412, 0.698529411765, -2.00409615901}, {0.00825735294118, -1.55147058824, 5.76987644373}, {-0.0301470588235, 0.0294117647059, 0.264571582057}},
		{{0.439446666667, 1.52666666667, 1.41111576595}, {0.359066666667, -1.53333333333, -6.8356374808}, {-0.25688, -0.56, 0.666108085463}, {0.0772733333333, 0.113333333333, 2.85784108365}, {-0.0952666666667, 0.133333333333, -8.43457617651}, {-0.0202133333333, 0.106666666667, -0.262533165759}},
		{{0.708019354839, 1.96129032258, 1.44577183154}, {-0.0391806451613, -3.63870967742, -8.51545823278}, {-0.327322580645, -0.354838709677, -0.823221599743}, {0.162503225806, 0.993548387097, -1.75260574329}, {-0.274767741935, -2.46451612903, 0.629727217689}, {-0.0100129032258, 0.0258064516129, 1.12884750397}},
		{{1.04916494845, 2.41237113402, -13.2053050315}, {-0.814051546392, -6.29553264605, 0.338707457019}, {-0.402711340206, -0.611683848797, 5.25113443621}, {0.274845360825, 0.446735395189, -2.78836238581}, {-0.643907216495, -2.26804123711, -4.26046707343}, {0.0214845360825, 0.378006872852, 1.51002745504}},
		{{1.13416836735, -1.15306122449, -31.5322850452}, {-1.6577755102, -6.20408163265, 198.83717776}, {-0.389586734694, 0.80612244898, 4.61677803598}, {0.284336734694, -0.30612244898, -9.08436037242}, {-1.02773979592, -3.41836734694, 4.16768391007}, {0.100035714286, 0.785714285714, 5.96556744098}},
		{{0.9465, -5, 15.5279503106}, {-1.29635135135, 18.0540540541, -56.0684908511}, {-0.323234234234, 1.36936936937, -4.25269990487}, {0.23186036036, -1.41441441441, 4.39259134911}, {-1.22075225225, -2.90990990991, 9.03698729786}, {0.170162162162, 1.51351351351, -4.70035252644}},
	}
)
