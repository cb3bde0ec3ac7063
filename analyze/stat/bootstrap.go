package stat

import (
	"math"
	"math/rand/v2"
)

// Blocks draws the starts of a moving-block bootstrap.
//
// A resample is n/l blocks of l neighbours (and one shorter, where l does not
// divide n), each starting anywhere in 0..n-l, so that what hangs together
// from day to day stays together.
//
//	Source: Kuensch 1989; Liu and Singh 1992 (methods 12). Length: 7 days for
//	        daily load, about n^(1/3) otherwise, whole months for yearly rates.
type Blocks struct {
	N, Length int
	rng       *rand.Rand
	starts    []int
}

// NewBlocks prepares draws over n values in blocks of that length; a length
// outside 1..n is brought inside.
func NewBlocks(n, length int, seed uint64) *Blocks {
	length = max(1, min(length, n))
	return &Blocks{N: n, Length: length, rng: Rand(seed), starts: make([]int, (n+length-1)/max(length, 1))}
}

// Next draws the starts of one resample; the slice is overwritten by the next
// draw. The last block is cut at N where Length does not divide N.
func (b *Blocks) Next() []int {
	for i := range b.starts {
		b.starts[i] = b.rng.IntN(b.N - b.Length + 1)
	}
	return b.starts
}

// Fill writes the resample of x that the starts stand for into out[:N].
func (b *Blocks) Fill(out, x []float64, starts []int) []float64 {
	out = out[:0]
	for _, s := range starts {
		out = append(out, x[s:s+min(b.Length, b.N-len(out))]...)
	}
	return out
}

// BlockBootstrap gives the statistic of each of that many resamples.
//
//	In:      values in order of time, at least one; a NaN travels with its
//	         block, so the statistic must bear it; statistic may reorder what
//	         it is handed.
//	Out:     draws values; Interval makes a percentile interval of them.
//	Cost:    draws x (n + the statistic), one slice of n.
func BlockBootstrap(x []float64, length, draws int, seed uint64, statistic func([]float64) float64) []float64 {
	out := make([]float64, draws)
	if len(x) == 0 {
		return fillNaN(out)
	}
	b, buf := NewBlocks(len(x), length, seed), make([]float64, 0, len(x))
	for d := range out {
		buf = b.Fill(buf, x, b.Next())
		out[d] = statistic(buf)
	}
	return out
}

// BlockBootstrapRatio is BlockBootstrap of sum(num)/sum(den) with the same
// blocks for both; where either is NaN the pair is skipped.
func BlockBootstrapRatio(num, den []float64, length, draws int, seed uint64) []float64 {
	out := make([]float64, draws)
	if len(num) == 0 {
		return fillNaN(out)
	}
	a, c := make([]float64, len(num)+1), make([]float64, len(num)+1)
	for i := range num {
		a[i+1], c[i+1] = a[i], c[i]
		if v := num[i] + den[i]; v == v {
			a[i+1] += num[i]
			c[i+1] += den[i]
		}
	}
	b := NewBlocks(len(num), length, seed)
	for d := range out {
		s, n, at := 0.0, 0.0, 0
		for _, from := range b.Next() {
			to := from + min(b.Length, b.N-at)
			s += a[to] - a[from]
			n += c[to] - c[from]
			at += to - from
		}
		out[d] = s / n
	}
	return out
}

func fillNaN(x []float64) []float64 {
	for i := range x {
		x[i] = math.NaN()
	}
	return x
}
