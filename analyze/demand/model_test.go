package demand

import (
	"math/rand/v2"
	"testing"

	"rowen/analyze/stat"
)

// The scan's coefficient and gain are those of fitting each column anew.
func TestScanAgainstPlainFits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 60
	y, x, cov := make([]float64, n), make([]float64, n), make([]float64, n)
	ones := make([]float64, n)
	for i := range y {
		ones[i], x[i], cov[i] = 1, rng.Float64()+0.1, rng.NormFloat64()
		y[i] = 3 + 2*cov[i] + rng.NormFloat64()
		if i > 35 {
			y[i] += 4 * x[i]
		}
	}
	var m linear
	m.reset([][]float64{y})
	m.add(ones)
	m.add(cov)
	beta, left := [][]float64{make([]float64, n)}, make([]float64, n)
	m.scan(x, beta, left)
	for _, tau := range []int{5, 20, 36, 55} {
		step := make([]float64, n)
		copy(step[tau:], x[tau:])
		fit, ok := stat.OLS(y, nil, cov, step)
		if !ok {
			t.Fatal("no fit")
		}
		near(t, "coefficient", beta[0][tau], fit.Coef[len(fit.Coef)-1], 1e-9)
	}
	// The coefficient's weights give it back from the target.
	w := m.weights(1, nil)
	near(t, "weights", dot(w, y), m.solve()[1], 1e-9)
}

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
