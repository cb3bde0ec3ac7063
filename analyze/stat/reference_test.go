package stat

// OptimalPartition finds the change points of the mean that cost least.
//
//	F(0) = -beta;  F(t) = min over s <= t-m of F(s) + cost(s,t) + beta
//	cost(s,t) = sum over i in s..t-1 of (x[i] - mean)^2
//
//	In:      values without NaN, in order of time; the penalty beta, see
//	         StepPenalty: without the noise it means nothing; the least length
//	         m of a segment.
//	Out:     rising indices k: a new segment starts at k. nil: no change.
//	Edges:   ties go to the earlier split; fewer than 2m values give nil.
//	Source:  Jackson and others 2005; Killick, Fearnhead, Eckley 2012 (published).
//	Cost:    O(n^2) time, O(n) memory. PELT gives the same sooner.
func OptimalPartition(x []float64, penalty float64, minLength int) []int {
	return partition(x, penalty, minLength, false)
}
