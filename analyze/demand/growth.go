package demand

import (
	"math"

	"rowen/analyze/stat"
)

// Blocks of the bootstrap, in days. Section 12 of the method takes 7 days for
// daily load; a household's habits hold for longer than a week, so that
// intervals from blocks of 7 days cover too little: four weeks is our choice,
// checked by the coverage on generated fleets.
const bootstrapBlockDays = 28

// bootstrapDrift gives the draws of a coefficient under a moving-block
// bootstrap of the residuals:
//
//	g* = g + Σ_i w_i·e*_i, w the coefficient's row of (X'X)⁻¹X'
//
// In:      w and the residuals over the counted days; scale the residual's sd
// by day, so that a quiet year lends no quiet to a busy one.
// Out:     the draws of Σ w·e*, unsorted.
// Source:  Künsch 1989, Liu and Singh 1992 (published); that the coefficient
// is linear in the residual makes a draw a sum over blocks: for block b of the
// outcome and start a of the source, T[b][a] = Σ_j w[bl+j]·e[a+j] is reckoned
// once.
// Cost:    O(n²) for T, O(draws·n/l) for the draws.
func bootstrapDrift(w, e, scale []float64, params, draws int, seed uint64) []float64 {
	n, l := len(w), bootstrapBlockDays
	out := make([]float64, draws)
	if n < 2*l {
		return out
	}
	unit := make([]float64, n)
	for i := range e {
		unit[i] = e[i] / scale[i]
	}
	mean := stat.Mean(unit)
	widen := math.Sqrt(float64(n) / float64(max(n-params, 1)))
	for i := range unit {
		unit[i] = (unit[i] - mean) * widen
	}
	blocks := (n + l - 1) / l
	starts := n - l + 1
	table := make([]float64, blocks*starts)
	for b := range blocks {
		lo := b * l
		hi := min(lo+l, n)
		ws := make([]float64, hi-lo)
		for j := range ws {
			ws[j] = w[lo+j] * scale[lo+j]
		}
		row := table[b*starts : (b+1)*starts]
		for a := range row {
			row[a] = dot(ws, unit[a:a+len(ws)])
		}
	}
	rng := stat.Rand(seed)
	for k := range out {
		sum := 0.0
		for b := range blocks {
			sum += table[b*starts+rng.IntN(starts)]
		}
		out[k] = sum
	}
	return out
}
