package quality

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The question that is asked before a line is followed loses none: readings that
// are rounded, with lines, equal runs, zeros and gaps among them.
func TestLinesLosesNone(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		const q = 0.1
		var v []float64
		for len(v) < 500 {
			n, from, rise := 1+r.IntN(30)*(1+r.IntN(4)), float64(r.IntN(50)), q*float64(r.IntN(9)-4)
			kind := r.IntN(4)
			for j := range n {
				switch kind {
				case 0:
					v = append(v, math.Round((from+rise*float64(j)+q*(r.Float64()-0.5))/q)*q)
				case 1:
					v = append(v, math.Round(from*r.Float64()/q)*q)
				case 2:
					v = append(v, 0)
				default:
					v = append(v, math.NaN())
				}
			}
		}
		for _, n := range []int{3, 4, 5, 8, 12, 48} {
			if got, want := lines(v, 0.75*q, largest(v), n), linesFollowed(v, 0.75*q, n); !slices.Equal(got, want) {
				t.Fatalf("lines of at least %d: %d found, %d by following every reading", n, len(got), len(want))
			}
		}
	}
}

// linesFollowed is lines without the question.
func linesFollowed(v []float64, tol float64, n int) (found []line) {
	for i := 0; i+n <= len(v); {
		if v[i] != v[i] || v[i] == 0 && v[i+1] == 0 {
			i++
			continue
		}
		low, high := math.Inf(-1), math.Inf(1)
		j := i + 1
		for ; j < len(v) && v[j] == v[j]; j++ {
			d := float64(j - i)
			a, b := max(low, (v[j]-tol-v[i])/d), min(high, (v[j]+tol-v[i])/d)
			if a > b {
				break
			}
			low, high = a, b
		}
		if j-i >= n {
			found = append(found, line{i, j, (v[j-1] - v[i]) / float64(j-1-i)})
			i = j
		} else {
			i++
		}
	}
	return found
}

// The value at a place of the sorted readings, with many of them alike.
func TestNth(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		v := make([]float64, 1+r.IntN(80))
		for i := range v {
			v[i] = float64(r.IntN(1 + r.IntN(40)))
		}
		n := r.IntN(len(v))
		want := slices.Sorted(slices.Values(v))[n]
		if got := nth(v, n); got != want {
			t.Fatalf("the value at %d of %d is %g, not %g", n, len(v), got, want)
		}
	}
}
