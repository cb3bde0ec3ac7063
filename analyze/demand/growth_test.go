package demand

import (
	"math/rand/v2"
	"testing"

	"rowen/analyze/stat"
)

// On white noise the bootstrap's spread of a mean is the textbook's s/√n,
// but for the widening.
func TestBootstrapSpread(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const n = 900
	w, e, scale := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range w {
		w[i], e[i], scale[i] = 1.0/n, rng.NormFloat64(), 1
	}
	sd := stat.SD(bootstrapDrift(w, e, scale, 1, 2000, 1))
	near(t, "sd of a mean", sd, 1/30.0, 0.3/30)
	// Noise that holds for a fortnight is found: its mean is less sure by √14.
	for i := range e {
		e[i] = e[i-i%14]
	}
	near(t, "sd of a mean of held noise", stat.SD(bootstrapDrift(w, e, scale, 1, 2000, 1))/sd, 3.74, 1.2)
}

func BenchmarkAssess(b *testing.B) {
	h := plain(2)
	h.evFrom, h.evKWhDay = 700, 8
	in := h.input(true)
	b.ReportAllocs()
	for b.Loop() {
		Assess(in)
	}
}

func BenchmarkAssessQuiet(b *testing.B) {
	in := plain(2).input(true)
	b.ReportAllocs()
	for b.Loop() {
		Assess(in)
	}
}
