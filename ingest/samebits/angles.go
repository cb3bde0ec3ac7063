package samebits

import "math"

// Sin is the sine of x radians.
func Sin(x float64) float64 { s, _ := Sincos(x); return s }

// Cos is the cosine of x radians.
func Cos(x float64) float64 { _, c := Sincos(x); return c }

// Tan is the tangent of x radians.
func Tan(x float64) float64 { s, c := Sincos(x); return s / c }

// sinePoly and cosinePoly are written out: the compiler does not unroll a loop over
// coefficients.
func sinePoly(z float64) float64 {
	p := float64(1.58962301576546568060e-10*z) - 2.50507477628578072866e-8
	p = float64(p*z) + 2.75573136213857245213e-6
	p = float64(p*z) - 1.98412698295895385996e-4
	p = float64(p*z) + 8.33333333332211858878e-3
	return float64(p*z) - 1.66666666666666307295e-1
}

func cosinePoly(z float64) float64 {
	p := float64(-1.13585365213876817300e-11*z) + 2.08757008419747316778e-9
	p = float64(p*z) - 2.75573141792967388112e-7
	p = float64(p*z) + 2.48015872888517045348e-5
	p = float64(p*z) - 1.38888888888730564116e-3
	return float64(p*z) + 4.16666666666665929218e-2
}

// Sincos is the sine and the cosine of x radians, by a polynomial each about
// the nearest quarter turn. Beyond 2^29, where nothing here comes, package math
// is asked.
func Sincos(x float64) (sin, cos float64) {
	const ( // π/4 in three parts
		pi4A = 7.85398125648498535156e-1
		pi4B = 3.77489470793079817668e-8
		pi4C = 2.69515142907905952645e-15
	)
	if x == 0 || !(math.Abs(x) < 1<<29) {
		return math.Sincos(x)
	}
	sinNegative, cosNegative := x < 0, false
	x = math.Abs(x)
	octant := uint64(x * (4 / math.Pi))
	octant += octant & 1
	y := float64(octant)
	z := ((x - float64(y*pi4A)) - float64(y*pi4B)) - float64(y*pi4C)
	zz := float64(z * z)
	cos = 1.0 - float64(0.5*zz) + float64(float64(zz*zz)*cosinePoly(zz))
	sin = z + float64(float64(z*zz)*sinePoly(zz))
	switch octant & 7 {
	case 2:
		sin, cos = cos, sin
		cosNegative = true
	case 4:
		sinNegative, cosNegative = !sinNegative, true
	case 6:
		sin, cos = cos, sin
		sinNegative = !sinNegative
	}
	if cosNegative {
		cos = -cos
	}
	if sinNegative {
		sin = -sin
	}
	return sin, cos
}

// Asin is the arcsine of x in radians; NaN beyond ±1.
func Asin(x float64) float64 {
	switch {
	case x == 0:
		return x
	case x < 0:
		return -Asin(-x)
	case !(x <= 1):
		return math.NaN()
	}
	root := math.Sqrt(1 - float64(x*x))
	if x > 0.7 {
		return math.Pi/2 - atan(root/x)
	}
	return atan(x / root)
}

// Acos is the arccosine of x in radians; NaN beyond ±1.
func Acos(x float64) float64 { return math.Pi/2 - Asin(x) }

// Atan2 is the direction of (x, y) in radians, from the axis of x.
func Atan2(y, x float64) float64 {
	if x == 0 || y == 0 || x-x != 0 || y-y != 0 { // axes, infinities, NaN
		return math.Atan2(y, x)
	}
	q := y / x
	a := math.Copysign(atan(math.Abs(q)), q)
	switch {
	case x > 0:
		return a
	case a <= 0:
		return a + math.Pi
	}
	return a - math.Pi
}

// atan is the arctangent of x >= 0, brought down to [0, 0.66] and there
//
//	atan(x) = x + x³·P(x²)/Q(x²)
func atan(x float64) float64 {
	const rest = 6.123233995736765886130e-17 // of π/2 beyond its float
	switch {
	case x <= 0.66:
		return smallAtan(x)
	case x > 2.41421356237309504880: // tan(3π/8)
		return math.Pi/2 - smallAtan(1/x) + rest
	}
	return math.Pi/4 + smallAtan((x-1)/(x+1)) + 0.5*rest
}

func smallAtan(x float64) float64 {
	const (
		p0 = -8.750608600031904122785e-01
		p1 = -1.615753718733365076637e+01
		p2 = -7.500855792314704667340e+01
		p3 = -1.228866684490136173410e+02
		p4 = -6.485021904942025371773e+01
		q0 = +2.485846490142306297962e+01
		q1 = +1.650270098316988542046e+02
		q2 = +4.328810604912902668951e+02
		q3 = +4.853903996359136964868e+02
		q4 = +1.945506571482613964425e+02
	)
	z := float64(x * x)
	p := float64((float64((float64((float64(p0*z)+p1)*z)+p2)*z)+p3)*z) + p4
	q := float64((float64((float64((float64((z+q0)*z)+q1)*z)+q2)*z)+q3)*z) + q4
	return float64(x*(float64(z*p)/q)) + x
}
