package stat

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"rowen/ingest/samebits"
)

// Order ranks by score, highest first; ties go by id, so that the order is
// always the same. NaN scores come last.
func Order(score []float64, id []string) []int {
	order := make([]int, len(score))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		sa, sb := score[a], score[b]
		switch {
		case sa > sb || sa == sa && sb != sb:
			return -1
		case sa < sb || sa != sa && sb == sb:
			return 1
		case id == nil:
			return a - b
		}
		return strings.Compare(id[a], id[b])
	})
	return order
}

// Ranked lists the values in that order.
func Ranked(x []float64, order []int) []float64 {
	out := make([]float64, len(order))
	for i, k := range order {
		out[i] = x[k]
	}
	return out
}

// DCG is the discounted gain of the first k of a ranked list.
//
//	sum over i = 1..k of rel[i] / log2(i+1)
//
//	Source: Jaervelin and Kekaelaeinen 2002 (published).
func DCG(rel []float64, k int) float64 {
	s := 0.0
	for i, r := range rel[:min(k, len(rel))] {
		s += r / (samebits.Log(float64(i+2)) / math.Ln2)
	}
	return s
}

// NDCG is DCG over that of the best order; NaN where nothing is relevant.
func NDCG(rel []float64, k int) float64 {
	ideal := slices.Clone(rel)
	slices.SortFunc(ideal, func(a, b float64) int { return cmp.Compare(b, a) })
	if best := DCG(ideal, k); best != 0 {
		return DCG(rel, k) / best
	}
	return math.NaN()
}

// Precision is the share of relevant ones (rel > 0) in the first k.
func Precision(rel []float64, k int) float64 {
	k = min(k, len(rel))
	return hits(rel[:k]) / float64(k)
}

// Lift is the precision of the first k over the share in the whole list.
func Lift(rel []float64, k int) float64 {
	return Precision(rel, k) / (hits(rel) / float64(len(rel)))
}

func hits(rel []float64) float64 {
	n := 0.0
	for _, r := range rel {
		if r > 0 {
			n++
		}
	}
	return n
}
