package samebits

import (
	"math/rand/v2"
	"testing"
)

// The polynomials as they are published, the highest power first, by Horner's rule.
func TestPolynomials(t *testing.T) {
	sine := []float64{1.58962301576546568060e-10, -2.50507477628578072866e-8, 2.75573136213857245213e-6,
		-1.98412698295895385996e-4, 8.33333333332211858878e-3, -1.66666666666666307295e-1}
	cosine := []float64{-1.13585365213876817300e-11, 2.08757008419747316778e-9, -2.75573141792967388112e-7,
		2.48015872888517045348e-5, -1.38888888888730564116e-3, 4.16666666666665929218e-2}
	horner := func(z float64, c []float64) float64 {
		p := c[0]
		for _, a := range c[1:] {
			p = float64(p*z) + a
		}
		return p
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 100_000 {
		z := r.Float64()
		if sinePoly(z) != horner(z, sine) || cosinePoly(z) != horner(z, cosine) {
			t.Fatalf("at %v: %v and %v, by Horner's rule %v and %v", z, sinePoly(z), cosinePoly(z), horner(z, sine), horner(z, cosine))
		}
	}
}
