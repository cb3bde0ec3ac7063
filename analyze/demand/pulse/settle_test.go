package pulse

import (
	"math"
	"math/rand/v2"
	"testing"

	"rowen/ingest/samebits"
)

// plainSettle is settle over all weeks, by the formula.
func (c *counting) plainSettle(n []float64, t int, theta *[columns]float64, rounds int) float64 {
	total := c.total
	total[stepAt] = c.behind[min(t, c.weeks)]
	for j := 1; j < stepAt; j++ {
		if total[j] > 0 {
			total[j] += seasonCost * c.behind[0] / math.Max(sum(n), 1e-9)
		}
	}
	column := func(i, j int) float64 {
		if j < stepAt {
			return c.x[i][j]
		}
		if i >= t {
			return c.x[i][0]
		}
		return 0
	}
	for range rounds {
		var s [columns]float64
		for i, count := range n {
			if count == 0 {
				continue
			}
			rate := 0.0
			for j := range stepAt {
				rate += float64(column(i, j) * theta[j])
			}
			rate += 1e-9
			rate += float64(column(i, stepAt) * theta[stepAt])
			for j := range s {
				s[j] += float64(count / rate * column(i, j))
			}
		}
		for j := range theta {
			if total[j] <= 0 {
				theta[j] = 0
			} else {
				theta[j] *= s[j] / total[j]
			}
		}
	}
	l := 0.0
	for i, count := range n {
		if count > 0 {
			rate := 1e-9
			for j := range columns {
				rate += float64(column(i, j) * theta[j])
			}
			l += float64(count * samebits.Log(rate))
		}
	}
	for j := range theta {
		l -= float64(theta[j] * total[j])
	}
	return l
}

// FuzzSettle holds the fit over the weeks with pulses against the plain one, to the
// last bit.
func FuzzSettle(f *testing.F) {
	for seed := range uint64(8) {
		f.Add(seed, uint8(10*seed+20), uint8(5*seed))
	}
	f.Fuzz(func(t *testing.T, seed uint64, weeks, step uint8) {
		r := rand.New(rand.NewPCG(seed, 2))
		v := &Intervals{PerDay: 24, FirstDay: r.IntN(20000), KW: make([]float64, 7*24*max(13, int(weeks)))}
		for i := range v.KW {
			if r.IntN(100) == 0 {
				v.KW[i] = math.NaN()
			}
		}
		c := newCounting(v.calendar(), nil, r.IntN(2) == 0)
		n := tally{n: make([]float64, c.weeks)}
		for i := range n.n {
			n.n[i] = float64(max(0, r.IntN(12)-5))
		}
		n.n[r.IntN(c.weeks)] = 6
		n.index(c.x)
		got := c.plainStart(&n)
		got[stepAt] = r.Float64()
		want := got
		at := min(int(step), c.weeks)
		l, plain := c.settle(&n, at, &got, 9), c.plainSettle(n.n, at, &want, 9)
		if got != want || l != plain {
			t.Fatalf("%v of %g, the plain way %v of %g", got, l, want, plain)
		}
	})
}
