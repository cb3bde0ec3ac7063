package stat

import (
	"math"

	"rowen/ingest/samebits"
)

// PAVA is the rising step function nearest to y: pool adjacent violators.
//
//	In:      values in order of the score; weights > 0 or nil; no NaN.
//	Out:     the fitted values, never falling.
//	Source:  Ayer and others 1955 (published). For calibration use 200 outcomes
//	         or more (common practice).
//	Cost:    O(n).
func PAVA(y, weights []float64) []float64 {
	type block struct {
		mean, weight float64
		n            int
	}
	blocks := make([]block, 0, len(y))
	for i, v := range y {
		b := block{v, 1, 1}
		if weights != nil {
			b.weight = weights[i]
		}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean >= b.mean {
			a := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			w := a.weight + b.weight
			b = block{(float64(a.mean*a.weight) + float64(b.mean*b.weight)) / w, w, a.n + b.n}
		}
		blocks = append(blocks, b)
	}
	fitted := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.n {
			fitted = append(fitted, b.mean)
		}
	}
	return fitted
}

// LogisticFit is p = 1/(1 + exp(-(Intercept + Slope x))).
type LogisticFit struct {
	Intercept, Slope     float64
	InterceptSE, SlopeSE float64
	LogLik               float64
	N                    int
}

// P is the chance at x.
func (f LogisticFit) P(x float64) float64 {
	return 1 / (1 + samebits.Exp(-(f.Intercept + float64(f.Slope*x))))
}

// Logistic fits the chance of an outcome by a score.
//
//	Newton's method on the log likelihood (iteratively re-weighted least squares)
//
//	In:      score and outcome (0 or 1), no NaN.
//	Refuses: all outcomes alike, no spread in x, or outcomes that x separates
//	         without error (the slope would be infinite): ok is false. Below 50
//	         outcomes publish no chance at all (common practice).
//	Source:  methods 12; McCullagh and Nelder (from memory).
func Logistic(x, y []float64) (fit LogisticFit, ok bool) {
	mean, spread := Mean(x), SD(x)
	ones := 0.0
	for _, v := range y {
		ones += v
	}
	n := float64(len(y))
	if ones == 0 || ones == n || !(spread > 0) {
		return fit, false
	}
	a, b := samebits.Log(ones/(n-ones)), 0.0 // on the score as (x - mean)/spread
	for range 50 {
		var ga, gb, haa, hab, hbb float64
		for i := range x {
			u := (x[i] - mean) / spread
			p := 1 / (1 + samebits.Exp(-(a + float64(b*u))))
			w, r := float64(p*(1-p)), y[i]-p
			ga, gb = ga+r, gb+float64(r*u)
			haa, hab, hbb = haa+w, hab+float64(w*u), hbb+float64(w*u*u)
		}
		det := float64(haa*hbb) - float64(hab*hab)
		if !(det > 1e-12*haa*hbb) || math.Abs(b) > 1e3 {
			return fit, false
		}
		da, db := (float64(hbb*ga)-float64(hab*gb))/det, (float64(haa*gb)-float64(hab*ga))/det
		a, b = a+da, b+db
		if math.Abs(da)+math.Abs(db) < 1e-12*(1+math.Abs(a)+math.Abs(b)) {
			if !separated(x, y) {
				return finishLogistic(x, y, standardised{a, b, mean, spread, haa / det, hab / det, hbb / det}), true
			}
			return fit, false
		}
	}
	return fit, false
}

// standardised is a fit in units of the spread about the mean, with its
// covariance.
type standardised struct{ a, b, mean, spread, varB, negCov, varA float64 }

// finishLogistic turns the standardised fit back into units of x. Its covariance
// is the inverse information: var b, -cov, var a.
func finishLogistic(x, y []float64, s standardised) LogisticFit {
	f := LogisticFit{Slope: s.b / s.spread, Intercept: s.a - s.b*s.mean/s.spread, N: len(x)}
	f.SlopeSE = math.Sqrt(s.varB) / s.spread
	k := s.mean / s.spread
	f.InterceptSE = math.Sqrt(s.varA + float64(2*k*s.negCov) + float64(k*k*s.varB))
	for i := range x {
		p := f.P(x[i])
		f.LogLik += float64(y[i]*samebits.Log(p)) + float64((1-y[i])*samebits.Log1p(-p))
	}
	return f
}

// separated tells whether a threshold on x splits the outcomes without error.
func separated(x, y []float64) bool {
	lo0, hi0, lo1, hi1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for i, v := range x {
		if y[i] == 0 {
			lo0, hi0 = min(lo0, v), max(hi0, v)
		} else {
			lo1, hi1 = min(lo1, v), max(hi1, v)
		}
	}
	return hi0 <= lo1 || hi1 <= lo0
}
