package demand

import (
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
	"rowen/ingest/samebits"
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
// outcome and start a of the source, T[b][a] = Σ_j w[bl+j]·e[a+j] is worked out
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
			row[a] = fit.Dot(ws, unit[a:a+len(ws)])
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

// growthOf gives the drift with its bootstrapped interval, and the matched
// months' answer beside it; what is not known is NaN.
func growthOf(in *Input, s *change.Story) Growth {
	nan := math.NaN()
	r := Growth{nan, nan, nan, nan, nan, nan, nan, nan, nan}
	if m, ok := matchMonths(monthsWithoutEvents(s), level); ok {
		r.MatchedPctYr, r.MatchedLow, r.MatchedHigh = m.growthPct, m.lowPct, m.higPct
	}
	design := s.Growth(&in.Scratch.work)
	if design.Drift < 0 {
		return r
	}
	d := s.Days
	w := design.Weights(design.Drift, nil)
	draws := bootstrapDrift(d.Present(w[:d.N()]), d.Present(fit.Weighted(s.Fit.Resid, s.Root)), d.Present(s.NoiseByDay()),
		s.Fit.Params-fit.Weekdays, in.Options.Replicates, stat.Seed(in.SiteID)) // weekdays are not slow
	g := shrinkDrift(in, s.Columns.Method, design.Solve()[design.Drift], draws)
	low, high := stat.Interval(draws, level)
	pct := func(g float64) float64 { return 100 * (samebits.Exp(g) - 1) }
	// The percentile interval of g* about g, turned round: g - (g*-g).
	r.GrowthPctYr, r.GrowthLow, r.GrowthHigh = pct(g), pct(g-high), pct(g-low)
	n, base := d.N(), 0.0
	for k := max(0, n-365); k < n; k++ {
		base += float64(s.Fit.BaseNormal[k] * (1 + float64(g*s.Columns.Years[k])))
	}
	base *= 365.25 / float64(min(n, 365))
	r.GrowthKWhYr, r.GrowthKWhLow, r.GrowthKWhHigh = base*r.GrowthPctYr/100, base*r.GrowthLow/100, base*r.GrowthHigh/100
	return r
}

// unseenDrift is what steps too small to be reported as events (under a tenth
// of the consumption) leave in a drift: our choice, checked by the interval's
// coverage on invented fleets.
const unseenDrift = 0.006

// shrinkDrift pulls a drift towards none by its doubt:
//
//	g' = W·g, W = τ²/(τ²+se²), se' = √(W·se² + doubt)
//
// A drift beside an event in the middle of the readings is hardly told from
// it, and then most of it is the event's. Rejected: pulling towards the
// fleet's common drift, which holds the events of all the others.
// Out: the drift; the draws are narrowed in place, and widened by what is not
// known of the fleet's own drift and of steps too small to see.
// Source: James and Stein 1961 (from memory).
func shrinkDrift(in *Input, method string, g float64, draws []float64) float64 {
	se := stat.SD(draws)
	fleetSE := 0.0
	if method == MethodSeason {
		fleetSE = in.Season.DriftSE
	}
	w := change.DriftSpread * change.DriftSpread / (change.DriftSpread*change.DriftSpread + float64(se*se))
	extra := samebits.Hypot(fleetSE, unseenDrift) // what is not known of the fleet's drift is not known of the site's
	rng := stat.Rand(stat.Seed(in.SiteID) + 1)
	for k := range draws {
		draws[k] = float64(draws[k]*math.Sqrt(w)) + float64(extra*rng.NormFloat64())
	}
	return w * g
}

// recentOf holds the last twelve months against the twelve before, in normal
// weather, everything counted.
func recentOf(s *change.Story) Recent {
	nan, n := math.NaN(), s.Days.N()
	r := Recent{nan, nan, nan}
	if n < 730-30 {
		return r
	}
	normalised := func(lo, hi int) (sum float64, days int) {
		for d := max(lo, 0); d < hi; d++ {
			if s.Days.Counted[d] {
				sum += s.Days.KWh[d] + s.Luck(d)
				days++
			} else {
				sum += s.Fit.Expected(d) + s.Luck(d)
			}
		}
		return sum / float64(hi-max(lo, 0)), days
	}
	now, daysNow := normalised(n-365, n)
	was, daysWas := normalised(n-730, n-365)
	if was <= 0 || daysNow < 300 || daysWas < 270 {
		return r
	}
	r.Change12mPct = float64(100 * (now/was - 1))
	half := float64(100 * 1.645 * math.Sqrt2 * yearNoise(s) / 365 / was)
	r.Change12mLow, r.Change12mHigh = r.Change12mPct-half, r.Change12mPct+half
	return r
}
