package sun

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The standard library's remainders are exact, and so are these.
func TestRemaindersAreExact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200000 {
		x := (r.Float64() - 0.5) * math.Pow(10, 6*r.Float64())
		if got, want := halfTurn(x), math.Remainder(x, 2*math.Pi); got != want {
			t.Fatalf("halfTurn(%v) = %v, math.Remainder gives %v", x, got, want)
		}
		for _, b := range []float64{24, 12, 365.2425, 2 * math.Pi} {
			want := math.Mod(x, b)
			if want < 0 {
				want += b
			}
			if got := mod(x, b); got != want {
				t.Fatalf("mod(%v, %v) = %v, math.Mod gives %v", x, b, got, want)
			}
		}
	}
}
