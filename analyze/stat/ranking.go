package stat

import (
	"math"
	"slices"
	"strings"
)

// Gain is what a relevance is worth in DCG.
type Gain func(rel float64) float64

// LinearGain counts a relevance as it is.
func LinearGain(rel float64) float64 { return rel }

// Exp2Gain is 2^rel - 1.
func Exp2Gain(rel float64) float64 { return math.Exp2(rel) - 1 }

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
//	sum over i = 1..k of gain(rel[i]) / log2(i+1)
//
//	Source: Jaervelin and Kekaelaeinen 2002 (published).
func DCG(rel []float64, k int, gain Gain) float64 {
	s := 0.0
	for i, r := range rel[:min(k, len(rel))] {
		s += gain(r) / math.Log2(float64(i+2))
	}
	return s
}

// NDCG is DCG over that of the best order; NaN where nothing is relevant.
func NDCG(rel []float64, k int, gain Gain) float64 {
	ideal := slices.Clone(rel)
	slices.SortFunc(ideal, func(a, b float64) int { return -int(sign(a - b)) })
	if best := DCG(ideal, k, gain); best != 0 {
		return DCG(rel, k, gain) / best
	}
	return math.NaN()
}

// Precision is the share of relevant ones (rel > 0) in the first k.
func Precision(rel []float64, k int) float64 {
	k = min(k, len(rel))
	return hits(rel[:k]) / float64(k)
}

// Recall is the share of all relevant ones that the first k hold; NaN where
// nothing is relevant.
func Recall(rel []float64, k int) float64 { return hits(rel[:min(k, len(rel))]) / hits(rel) }

// Lift is the precision of the first k over the share in the whole list.
func Lift(rel []float64, k int) float64 {
	return Precision(rel, k) / (hits(rel) / float64(len(rel)))
}

// CumulativeGain is Recall for k = 1, 2, ….
func CumulativeGain(rel []float64) []float64 {
	out, n, all := make([]float64, len(rel)), 0.0, hits(rel)
	for i, r := range rel {
		if r > 0 {
			n++
		}
		out[i] = n / all
	}
	return out
}

// AveragePrecision is the sum over ranks of precision times the step of recall.
// The scores are in ranked order: equal scores count as one step.
func AveragePrecision(rel, score []float64) float64 {
	all, n, ap := hits(rel), 0.0, 0.0
	for i := 0; i < len(rel); {
		j := i + 1
		for j < len(rel) && score[j] == score[i] {
			j++
		}
		h := hits(rel[i:j])
		n += h
		ap += h / all * n / float64(j)
		i = j
	}
	return ap
}

// AUC is the chance that a relevant one scores above one that is not, ties
// counting half; NaN where all are alike.
//
//	Source: Mann-Whitney U over the pairs (published).
//	Cost:   O(n log n).
func AUC(rel, score []float64) float64 {
	order := Order(score, nil)
	below := float64(len(rel)) - hits(rel) // not relevant, not yet passed
	total, wins := below*hits(rel), 0.0
	for i := 0; i < len(order); {
		j, pos := i, 0.0
		for ; j < len(order) && (j == i || score[order[j]] == score[order[i]]); j++ {
			if rel[order[j]] > 0 {
				pos++
			}
		}
		neg := float64(j-i) - pos
		below -= neg
		wins += pos * (below + neg/2)
		i = j
	}
	return wins / total
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
