package samebits

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// ulps is how far apart two floats lie, in units of the last place of the second.
func ulps(a, b float64) float64 {
	if a == b || a != a && b != b {
		return 0
	}
	return math.Abs(a-b) / (math.Nextafter(math.Abs(b), math.Inf(1)) - math.Abs(b))
}

// On a processor whose package math fuses nothing (amd64), sine, cosine,
// arctangent and power are the same to the bit; the others differ by what the
// processor's own code does.
func TestAsPackageMath(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	worst := map[string]float64{}
	at := map[string]float64{}
	note := func(name string, x, got, want float64) {
		if u := ulps(got, want); u > worst[name] || u != u {
			worst[name], at[name] = u, x
		}
	}
	for i := range 400000 {
		angle := 20 * (2*rnd.Float64() - 1)
		if i%10 == 0 {
			angle *= 1e5
		}
		part, x := 2*rnd.Float64()-1, math.Exp(60*(2*rnd.Float64()-1))
		s, c := Sincos(angle)
		note("sin", angle, s, math.Sin(angle))
		note("cos", angle, c, math.Cos(angle))
		note("tan", angle, Tan(angle), math.Tan(angle))
		note("asin", part, Asin(part), math.Asin(part))
		note("acos", part, Acos(part), math.Acos(part))
		note("atan2", angle, Atan2(angle, 10*part), math.Atan2(angle, 10*part))
		note("exp", angle, Exp(angle), math.Exp(angle))
		note("log", x, Log(x), math.Log(x))
		note("log1p", part, Log1p(part), math.Log1p(part))
		note("hypot", x, Hypot(x, angle), math.Hypot(x, angle))
		note("pow", x, Pow(x, angle/3), math.Pow(x, angle/3))
		note("pow of a whole number", x, Pow(1+part/2, float64(i%60-30)), math.Pow(1+part/2, float64(i%60-30)))
	}
	for name, most := range map[string]float64{"sin": 1, "cos": 1, "tan": 3, "asin": 2, "acos": 2, "atan2": 2, "exp": 2, "log": 1, "log1p": 3, "hypot": 1, "pow": 16, "pow of a whole number": 1} {
		t.Logf("%s: %.3g ulp at %v", name, worst[name], at[name])
		if !(worst[name] <= most) {
			t.Errorf("%s(%v) lies %v units in the last place from package math", name, at[name], worst[name])
		}
	}
}

// Edges as package math documents them.
func TestEdges(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, x := range []float64{0, math.Copysign(0, -1), 1, -1, 0.5, 2, -2, inf, -inf, nan, 1e300, 1e-300, 800, -800, math.Pi, 1 << 40} {
		for name, f := range map[string][2]func(float64) float64{
			"sin": {Sin, math.Sin}, "cos": {Cos, math.Cos}, "exp": {Exp, math.Exp}, "log": {Log, math.Log}, "log1p": {Log1p, math.Log1p},
			"asin": {Asin, math.Asin}, "acos": {Acos, math.Acos},
		} {
			if got, want := f[0](x), f[1](x); !(ulps(got, want) <= 2) && math.Abs(got-want) > 1e-300 {
				t.Errorf("%s(%v) = %v, want %v", name, x, got, want)
			}
		}
		for _, y := range []float64{0, 1, -1, 2, 0.5, -0.5, 3, -3, 2.5, inf, -inf, nan, 1e300} {
			if got, want := Pow(x, y), math.Pow(x, y); !(ulps(got, want) <= 2) {
				t.Errorf("Pow(%v, %v) = %v, want %v", x, y, got, want)
			}
			if got, want := Atan2(x, y), math.Atan2(x, y); !(ulps(got, want) <= 2) {
				t.Errorf("Atan2(%v, %v) = %v, want %v", x, y, got, want)
			}
		}
	}
}

// The bits that every processor must give. Expectations: e and its square root,
// ln 2, ln 10, sin 1 and cos 1 to 30 digits (published: OEIS A001113, A019774,
// A002162, A002392, A049469, A049470), rounded to the nearest float.
func TestBits(t *testing.T) {
	for _, c := range []struct {
		name   string
		got    float64
		digits string
	}{
		{"exp(1)", Exp(1), "2.71828182845904523536028747135"},
		{"exp(1/2)", Exp(0.5), "1.64872127070012814684865078781"},
		{"log(2)", Log(2), "0.693147180559945309417232121458"},
		{"log(10)", Log(10), "2.30258509299404568401799145468"},
		{"sin(1)", Sin(1), "0.841470984807896506652502321630"},
		{"cos(1)", Cos(1), "0.540302305868139717400936607442"},
	} {
		f, _, err := big.ParseFloat(c.digits, 10, 200, big.ToNearestEven)
		if err != nil {
			t.Fatal(err)
		}
		if want, _ := f.Float64(); c.got != want {
			t.Errorf("%s = %.17g, want %.17g", c.name, c.got, want)
		}
	}
}
