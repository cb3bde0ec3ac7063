// Package samebits holds the transcendental functions of package math that give
// the same bits on every processor. Those of math do not: the exponential of an
// amd64 processor that fuses products and sums differs in the last bit from
// that of one that cannot, and on arm64 the compiler fuses inside most of them.
//
// The methods and their coefficients are those of package math, so that they
// are as exact (below one unit in the last place; Tan and Log1p below two):
// FreeBSD's msun for exp and log, the Cephes library for sine, cosine and
// arctangent. Every product that feeds a sum is rounded by a conversion.
//
// Copyright 2009 The Go Authors (BSD-style license, https://go.dev/LICENSE);
// msun: copyright 1993 Sun Microsystems; Cephes: copyright 1984, 1987, 1989,
// 1992 Stephen L. Moshier; both permit the use with this notice.
package samebits

import "math"

// Hypot is √(p² + q²).
func Hypot(p, q float64) float64 {
	p, q = math.Abs(p), math.Abs(q)
	switch {
	case math.IsInf(p, 1) || math.IsInf(q, 1):
		return math.Inf(1)
	case p != p || q != q:
		return math.NaN()
	case p < q:
		p, q = q, p
	}
	if p == 0 {
		return 0
	}
	q /= p
	return p * math.Sqrt(1+float64(q*q))
}

// Pow is x to the power y. What needs no logarithm or squaring, and a negative
// x, is left to package math: those results are exact or not a number.
func Pow(x, y float64) float64 {
	whole, part := math.Modf(math.Abs(y))
	switch {
	case !(x > 0) || y != y || x == 1 || math.IsInf(x, 1) || whole >= 1<<62 || math.Abs(y) <= 1 && (part == 0 || part == 0.5):
		return math.Pow(x, y)
	case part > 0.5:
		part, whole = part-1, whole+1
	}
	mantissa, exponent := 1.0, 0
	if part != 0 {
		mantissa = Exp(part * Log(x))
	}
	square, twos := math.Frexp(x)
	for i := int64(whole); i != 0; i >>= 1 {
		if twos < -1<<12 || 1<<12 < twos { // the result is 0 or infinite
			exponent += twos
			break
		}
		if i&1 == 1 {
			mantissa *= square
			exponent += twos
		}
		square = float64(square * square)
		twos <<= 1
		if square < .5 {
			square += square
			twos--
		}
	}
	if y < 0 {
		mantissa, exponent = 1/mantissa, -exponent
	}
	return math.Ldexp(mantissa, exponent)
}

// Exp is e to the power x: with x = k·ln 2 + r, |r| ≤ ln 2 / 2,
//
//	exp(r) = 1 + 2r/(R(r²) − r), R by a Remez polynomial of degree 5
func Exp(x float64) float64 {
	const (
		ln2Hi = 6.93147180369123816490e-01
		ln2Lo = 1.90821492927058770002e-10
		p1    = 1.66666666666666657415e-01
		p2    = -2.77777777770155933842e-03
		p3    = 6.61375632143793436117e-05
		p4    = -1.65339022054652515390e-06
		p5    = 4.13813679705723846039e-08
	)
	switch {
	case x != x || math.IsInf(x, 1):
		return x
	case x > 7.09782712893383973096e+02:
		return math.Inf(1)
	case x < -7.45133219101941108420e+02:
		return 0
	case -1.0/(1<<28) < x && x < 1.0/(1<<28):
		return 1 + x
	}
	k := 0
	switch {
	case x < 0:
		k = int(float64(math.Log2E*x) - 0.5)
	case x > 0:
		k = int(float64(math.Log2E*x) + 0.5)
	}
	hi, lo := x-float64(float64(k)*ln2Hi), float64(float64(k)*ln2Lo)
	r := hi - lo
	t := float64(r * r)
	c := r - float64(t*(p1+float64(t*(p2+float64(t*(p3+float64(t*(p4+float64(t*p5)))))))))
	y := 1 - ((lo - float64(r*c)/(2-c)) - hi)
	if -1021 < k && k < 1023 { // the quick way to the same
		return y * math.Float64frombits(uint64(k+1023)<<52)
	}
	return math.Ldexp(y, k)
}

// Log is the natural logarithm: with x = 2^k·(1+f), √2/2 < 1+f < √2, s = f/(2+f),
//
//	log(1+f) = f − f²/2 + s·(f²/2 + R(s²)), R by a Remez polynomial of degree 14
func Log(x float64) float64 {
	const (
		ln2Hi = 6.93147180369123816490e-01
		ln2Lo = 1.90821492927058770002e-10
		l1    = 6.666666666666735130e-01
		l2    = 3.999999999940941908e-01
		l3    = 2.857142874366239149e-01
		l4    = 2.222219843214978396e-01
		l5    = 1.818357216161805012e-01
		l6    = 1.531383769920937332e-01
		l7    = 1.479819860511658591e-01
	)
	switch {
	case x != x || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	f1, ki := math.Frexp(x)
	if f1 < math.Sqrt2/2 {
		f1 *= 2
		ki--
	}
	f, k := float64(f1)-1, float64(ki)
	s := float64(f / (2 + f))
	s2 := float64(s * s)
	s4 := float64(s2 * s2)
	t1 := float64(s2 * (l1 + float64(s4*(l3+float64(s4*(l5+float64(s4*l7)))))))
	t2 := float64(s4 * (l2 + float64(s4*(l4+float64(s4*l6)))))
	half := float64(0.5 * f * f)
	return float64(k*ln2Hi) - ((half - (float64(s*(half+(t1+t2))) + float64(k*ln2Lo))) - f)
}

// Log1p is log(1+x), exact also for a small x: the error of 1+x is undone.
func Log1p(x float64) float64 {
	switch u := 1 + x; {
	case u == 1 || math.IsInf(x, 1):
		return x
	case u <= 0:
		return Log(u)
	default:
		return Log(u) * (x / (u - 1))
	}
}
