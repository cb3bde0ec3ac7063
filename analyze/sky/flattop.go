package sky

import (
	"math"
	"slices"
)

// Rules of a flat top, measured on labelled readings.
const (
	topNear  = 0.9 // the top is the highest value that the third after it comes this near to: strays must not set the scale
	topLeast = 8   // values on the flat
	topRatio = 3   // times what any of the bands below holds
	topAbove = 0.1 // of their number may stand above
)

// FlatTop is the level at which output is held: a spike among the highest
// values. NaN: there is none.
//
// At each of four widths a band at the top must hold three times what any of the
// four bands below it holds, and next to nothing may lie above. Several widths,
// because readings of five minutes have many ramps near a top.
//
// In:      readings of one step, NaN missing.
// Source:  bands of a histogram, our choice; precision 0.82 and recall 0.95 on a labelled public set.
func FlatTop(wh []float64) float64 {
	x := make([]float64, 0, len(wh)/2)
	for _, v := range wh {
		if v > 0 {
			x = append(x, v)
		}
	}
	slices.Sort(x)
	top := topOf(x)
	if !(top > 0) {
		return math.NaN()
	}
	over := func(v float64) int { // how many lie above
		n, _ := slices.BinarySearch(x, math.Nextafter(v, math.Inf(1)))
		return len(x) - n
	}
	for _, width := range []float64{0.004, 0.002, 0.001, 0.0005} {
		w := float64(2 * width * top)
		for step := 0.0; step < 3; step += 0.5 {
			level := top - float64(step*w) + float64(1e-9*top)
			above, on := over(level), over(level-w)-over(level)
			below := 0
			for j := 1.0; j <= 4; j++ {
				below = max(below, over(level-float64((j+1)*w))-over(level-float64(j*w)))
			}
			if on >= topLeast && on > topRatio*max(below, 2) && float64(above) <= topAbove*float64(on) {
				return level - float64(w/2)
			}
		}
	}
	return math.NaN()
}

// topOf is the level that sorted values really reach.
func topOf(x []float64) float64 {
	n := len(x)
	for i := n - 1; i >= 3 && n-1-i < n/50+5; i-- {
		if x[i-3] > topNear*x[i] {
			return x[i]
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return x[n-1]
}
