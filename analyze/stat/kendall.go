package stat

import "math"

// Kendall is the outcome of a Mann-Kendall test.
type Kendall struct {
	N          int     // values used
	S          float64 // pairs that rise less pairs that fall
	Var        float64 // of S without a trend, ties counted
	Tau        float64 // S over the pairs, ties counted
	Z, P       float64 // with the continuity correction of 1 towards 0
	PlainZ     float64 // without it
	PlainP     float64
	CorrectedP float64 // seasonal only: with the covariances between seasons; NaN elsewhere
}

// MannKendall tests for a monotonic trend.
//
//	S = sum over i<j of sgn(y[j]-y[i]);  Var = [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18
//	Z = (S - sgn S)/sqrt(Var), 0 where S = 0;  tau = S/sqrt((n0-n1) n0)
//	n0 = n(n-1)/2, n1 = sum t(t-1)/2
//
//	In:      values in order of time; NaN is skipped.
//	Refuses: fewer than two values, or all equal, give NaN for Z, P and Tau.
//	Source:  Mann 1945, Kendall 1975 as methods 6.4 (computed there with R).
//	Cost:    O(n^2) time.
func MannKendall(y []float64) Kendall {
	k := Kendall{CorrectedP: math.NaN()}
	var den float64
	k.N, k.S, k.Var, den = kendallSums(Present(nil, y))
	k.finish(den)
	return k
}

// kendallSums gives n, S, its variance and sqrt((n0-n1) n0).
func kendallSums(v []float64) (n int, s, variance, den float64) {
	n = len(v)
	for i := range v {
		for _, w := range v[i+1:] {
			s += sign(w - v[i])
		}
	}
	fn := float64(n)
	variance = fn * (fn - 1) * (2*fn + 5)
	pairs := fn * (fn - 1) / 2
	tied := 0.0
	eachTie(v, func(t float64) {
		variance -= t * (t - 1) * (2*t + 5)
		tied += t * (t - 1) / 2
	})
	return n, s, variance / 18, math.Sqrt((pairs - tied) * pairs)
}

func (k *Kendall) finish(den float64) {
	k.Tau = k.S / den
	sd := math.Sqrt(k.Var)
	k.Z, k.PlainZ = (k.S-sign(k.S))/sd, k.S/sd
	k.P, k.PlainP = NormalTwoSided(k.Z), NormalTwoSided(k.PlainZ)
}

func sign(v float64) float64 {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// SeasonalMannKendall tests for a trend within each season, all together.
//
//	S' = sum of S over the seasons, Var' = sum of Var; Z as in MannKendall.
//	CorrectedP adds the covariances between seasons g and h:
//	cov = [K + 4 sum R[i,g] R[i,h] - n(n[g]+1)(n[h]+1)]/3, over the n years that
//	any season has, K = sum over i<j of sgn((y[j,g]-y[i,g])(y[j,h]-y[i,h])).
//
//	In:      value by year and season, in order of time; NaN is skipped.
//	Refuses: no season with two different values: NaN for Z, P and Tau.
//	Edges:   CorrectedP suits at least ten years (Hirsch and Slack); it is for
//	         residuals whose neighbours correlate by more than 0.3.
//	Source:  Hirsch, Slack and Smith 1982; Hirsch and Slack 1984 (published).
func SeasonalMannKendall(year, season []int, y []float64) Kendall {
	grid := seasonGrid(year, season, y)
	var k Kendall
	den := 0.0
	for _, col := range grid {
		n, s, v, d := kendallSums(Present(nil, col))
		k.N += n
		k.S += s
		k.Var += v
		den += d
	}
	k.finish(den)
	k.CorrectedP = math.NaN()
	if v := k.Var + seasonCovariance(grid); v > 0 {
		k.CorrectedP = NormalTwoSided((k.S - sign(k.S)) / math.Sqrt(v))
	}
	return k
}

// seasonGrid lays the values out as a column a season of one value a year, in
// order of season and year; absent values are NaN.
func seasonGrid(year, season []int, y []float64) [][]float64 {
	if len(y) == 0 {
		return nil
	}
	y0, y1, s0, s1 := year[0], year[0], season[0], season[0]
	for i := range y {
		y0, y1 = min(y0, year[i]), max(y1, year[i])
		s0, s1 = min(s0, season[i]), max(s1, season[i])
	}
	grid := make([][]float64, s1-s0+1)
	for s := range grid {
		grid[s] = make([]float64, y1-y0+1)
		for i := range grid[s] {
			grid[s][i] = math.NaN()
		}
	}
	for i, v := range y {
		grid[season[i]-s0][year[i]-y0] = v
	}
	return grid
}

// seasonCovariance is twice the sum of the covariances of S between seasons.
func seasonCovariance(grid [][]float64) float64 {
	ranks := make([][]float64, len(grid))
	counts := make([]float64, len(grid))
	for g, col := range grid {
		ranks[g], counts[g] = midRanks(col)
	}
	sum := 0.0
	for g := range grid {
		for h := g + 1; h < len(grid); h++ {
			k, r := 0.0, 0.0
			for i := range grid[g] {
				r += ranks[g][i] * ranks[h][i]
				for j := i + 1; j < len(grid[g]); j++ {
					k += sign((grid[g][j] - grid[g][i]) * (grid[h][j] - grid[h][i])) // a NaN counts 0
				}
			}
			n := float64(len(grid[g]))
			sum += 2 * (k + 4*r - n*(counts[g]+1)*(counts[h]+1)) / 3
		}
	}
	return sum
}

// midRanks ranks the values from 1, ties by their mean; an absent value gets
// the middle rank (n+1)/2, as Hirsch and Slack lay down.
func midRanks(v []float64) (ranks []float64, n float64) {
	for _, a := range v {
		if a == a {
			n++
		}
	}
	ranks = make([]float64, len(v))
	for i, a := range v {
		ranks[i] = n + 1
		for _, b := range v {
			ranks[i] += sign(a - b)
		}
		ranks[i] /= 2
	}
	return ranks, n
}
