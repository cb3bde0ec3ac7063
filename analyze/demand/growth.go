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
// Out:     the draws of Σ w·e*, unsorted, widened for what the fit has already
// taken out of the residual: the slow columns (season, weather, drift, events)
// live at the scale of the blocks, so that of B blocks' means only B - slow
// are free: √(B/(B-slow)), and Student's t in place of the normal.
// Source:  Künsch 1989, Liu and Singh 1992 (published); that the coefficient
// is linear in the residual makes a draw a sum over blocks: for block b of the
// outcome and start a of the source, T[b][a] = Σ_j w[bl+j]·e[a+j] is reckoned
// once.
// Cost:    O(n²) for T, O(draws·n/l) for the draws.
func bootstrapDrift(w, e, scale []float64, slow, draws int, seed uint64) []float64 {
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
	blocks := (n + l - 1) / l
	free := float64(max(blocks-slow, 4))
	widen := math.Sqrt(float64(blocks)/free) * stat.StudentQuantile((1+level)/2, free) / stat.NormalQuantile((1+level)/2)
	for i := range unit {
		unit[i] = (unit[i] - mean) * widen
	}
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
