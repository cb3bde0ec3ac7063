package demo

import "math"

// perezBins and perezF are the brightness coefficients of Perez et al. 1990
// (Solar Energy 44:271; published).
var (
	perezBins = [8]float64{1, 1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2}
	perezF    = [8][6]float64{
		{-0.008, 0.588, -0.062, -0.060, 0.072, -0.022},
		{0.130, 0.683, -0.151, -0.019, 0.066, -0.029},
		{0.330, 0.487, -0.221, 0.055, -0.064, -0.026},
		{0.568, 0.187, -0.295, 0.109, -0.152, -0.014},
		{0.873, -0.392, -0.362, 0.226, -0.462, 0.001},
		{1.132, -1.237, -0.412, 0.288, -0.823, 0.056},
		{1.060, -1.600, -0.359, 0.264, -1.127, 0.131},
		{0.678, -0.327, -0.250, 0.156, -1.377, 0.251},
	}
)

// skyParts splits diffuse light into what a plane of any tilt takes from it:
//
//	E_sky = iso·(1+cos β) + circum·max(cos θ,0) + horizon·sin β     (floored at 0)
//
// z is the zenith angle in rad, am the relative air mass, i0 the
// extraterrestrial irradiance. Source: Perez 1990.
func skyParts(dni, dhi, cosZ, z, am, i0 float64) (iso, circum, horizon float64) {
	if dhi <= 0 {
		return 0, 0, 0
	}
	k := float64(1.041 * z * z * z)
	eps := (float64((dhi+dni)/dhi) + k) / (1 + k)
	bin := 7
	for bin > 0 && eps < perezBins[bin] {
		bin--
	}
	f := &perezF[bin]
	delta := dhi * am / i0
	f1 := math.Max(0, f[0]+float64(f[1]*delta)+float64(f[2]*z))
	f2 := f[3] + float64(f[4]*delta) + float64(f[5]*z)
	const cos85 = 0.08715574274765817
	return dhi * (1 - f1) / 2, dhi * f1 / math.Max(cosZ, cos85), dhi * f2
}

// fresnel is the incidence-angle modifier of a glass cover (De Soto et al.
// 2006; published), n 1.526, K·L 0.008.
func fresnel(cosT float64) float64 {
	const n, kl = 1.526, 0.008
	if cosT <= 0 {
		return 0
	}
	sinR := math.Sqrt(1-math.Min(1, cosT*cosT)) / n
	cosR := math.Sqrt(1 - float64(sinR*sinR))
	rs := (cosT - float64(n*cosR)) / (cosT + float64(n*cosR))
	rp := (cosR - float64(n*cosT)) / (cosR + float64(n*cosT))
	tau := (1 - float64((float64(rs*rs)+float64(rp*rp))/2)) * math.Exp(-kl/cosR)
	r0 := (1 - n) / (1 + n)
	return tau / ((1 - r0*r0) * math.Exp(-kl))
}

const iamCells = 512

// iamTable holds fresnel at even steps of the cosine of incidence.
var iamTable = func() (t [iamCells + 2]float64) {
	for i := range t {
		t[i] = fresnel(math.Min(1, float64(i)/iamCells))
	}
	return t
}()

// iam is fresnel by linear interpolation, for cos θ in 0..1.
func iam(cosT float64) float64 {
	x := float64(cosT * iamCells)
	i := int(x)
	f := x - float64(i)
	return iamTable[i] + float64(f*(iamTable[i+1]-iamTable[i]))
}

// diffuseIAM is the modifier of light that comes evenly from the sky, or from
// the ground, onto a plane: the mean of fresnel over that part of the sphere,
// weighed by cos θ (numeric quadrature over 48 x 96 directions).
func diffuseIAM(tiltDeg float64) (sky, ground float64) {
	nx, _, nz := normal(tiltDeg, 90)
	var sum, weight [2]float64
	const rings, sectors = 48, 96
	for r := range rings {
		up := (float64(r) + 0.5) / rings // even steps of the sine of elevation are even in solid angle
		out := math.Sqrt(1 - float64(up*up))
		for s := range sectors {
			e := out * math.Cos(2*math.Pi*(float64(s)+0.5)/sectors)
			for side, u := range [2]float64{up, -up} {
				if c := float64(e*nx) + float64(u*nz); c > 0 {
					sum[side] += float64(c * fresnel(c))
					weight[side] += c
				}
			}
		}
	}
	sky, ground = sum[0]/weight[0], 1
	if weight[1] > 1e-9 {
		ground = sum[1] / weight[1]
	}
	return sky, ground
}
