package stat

import (
	"math"
	"slices"
)

// MADScale makes the median absolute deviation of normal data estimate the
// standard deviation: 1/Phi^-1(3/4).
const MADScale = 1.482602218505602

// Median is the middle value, or the mean of the two in the middle.
//
//	In:      values in any order; NaN is missing and skipped; not modified.
//	Refuses: no value present gives NaN.
//	Cost:    O(n) expected, one slice of n. MedianInPlace needs no slice.
func Median(x []float64) float64 {
	return MedianInPlace(Present(make([]float64, 0, len(x)), x))
}

// MedianInPlace is Median of values without NaN; it reorders them.
func MedianInPlace(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	hi := Select(x, n/2)
	if n%2 == 1 {
		return hi
	}
	lo := slices.Max(x[:n/2]) // Select leaves nothing larger than hi on its left
	return lo + float64((hi-lo)/2)
}

// Quantile is the p-quantile by linear interpolation of order statistics.
//
//	h = (n-1)p;  q = x[floor h] + (h - floor h)(x[floor h + 1] - x[floor h])
//
//	In:      values in any order; NaN is missing and skipped; p in 0..1.
//	Refuses: no value present, or p outside 0..1, gives NaN.
//	Source:  type 7 of Hyndman and Fan 1996 (published).
//	Cost:    O(n) expected, one slice of n.
func Quantile(x []float64, p float64) float64 {
	return QuantileInPlace(Present(make([]float64, 0, len(x)), x), p)
}

// QuantileInPlace is Quantile of values without NaN; it reorders them.
func QuantileInPlace(x []float64, p float64) float64 {
	n := len(x)
	if n == 0 || !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	h := float64(float64(n-1) * p)
	k := int(h)
	lo := Select(x, k)
	f := h - float64(k)
	if f == 0 || k+1 >= n {
		return lo
	}
	return lo + float64(f*(slices.Min(x[k+1:])-lo))
}

// QuantileSorted is Quantile of values without NaN in rising order.
func QuantileSorted(x []float64, p float64) float64 {
	n := len(x)
	if n == 0 || !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	h := float64(float64(n-1) * p)
	k := int(h)
	if k+1 >= n {
		return x[n-1]
	}
	return x[k] + float64((h-float64(k))*(x[k+1]-x[k]))
}

// Interval is the central interval of that level: the quantiles at
// (1-level)/2 and (1+level)/2 of the values present.
func Interval(x []float64, level float64) (low, high float64) {
	s := Present(make([]float64, 0, len(x)), x)
	slices.Sort(s)
	return QuantileSorted(s, (1-level)/2), QuantileSorted(s, (1+level)/2)
}

// MAD is the median absolute deviation from the median, not scaled.
//
//	In:      values; NaN is missing and skipped.
//	Refuses: no value present gives NaN.
func MAD(x []float64) float64 {
	s := Present(make([]float64, 0, len(x)), x)
	m := MedianInPlace(s)
	for i, v := range s {
		s[i] = math.Abs(v - m)
	}
	return MedianInPlace(s)
}

// WeightedMedian is the value at which half of the weight lies below and half
// above; between two values that split the weight evenly, their mean.
//
//	In:      values with weights >= 0; NaN values and weights that are not
//	         positive are skipped; x and w have the same length.
//	Refuses: no weight gives NaN.
//	Edges:   equal weights give Median.
//	Cost:    O(n log n), one slice of n.
func WeightedMedian(x, w []float64) float64 {
	type item struct{ x, w float64 }
	items := make([]item, 0, len(x))
	total := 0.0
	for i, v := range x {
		if v == v && w[i] > 0 {
			items = append(items, item{v, w[i]})
			total += w[i]
		}
	}
	if len(items) == 0 {
		return math.NaN()
	}
	slices.SortFunc(items, func(a, b item) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	// The tolerance keeps a split that is even but for rounding even.
	below, half, tiny := 0.0, float64(total/2), float64(total*1e-12)
	for i, it := range items {
		below += it.w
		switch {
		case below > half+tiny || i == len(items)-1:
			return it.x
		case below >= half-tiny:
			return it.x + float64((items[i+1].x-it.x)/2)
		}
	}
	return math.NaN()
}

// Select puts the k-th smallest value (from 0) at x[k], nothing larger before
// it and nothing smaller behind it, and returns it. x holds no NaN.
//
//	Source:  quickselect, Hoare 1961, on three-way partitions around the
//	         median of three; after 2 log2 n bad splits the rest is sorted.
//	Cost:    O(n) expected, O(n log n) at worst, no memory.
func Select(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	budget := 2
	for n := len(x); n > 0; n >>= 1 {
		budget += 2
	}
	for hi-lo > 16 {
		if budget--; budget < 0 {
			break
		}
		p := median3(x[lo], x[lo+(hi-lo)/2], x[hi])
		i, j := lo, hi
		for i <= j {
			for x[i] < p {
				i++
			}
			for x[j] > p {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch { // x[lo..j] <= p <= x[i..hi], all between are p
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	if hi-lo > 16 {
		slices.Sort(x[lo : hi+1])
		return x[k]
	}
	for i := lo + 1; i <= hi; i++ { // what Sort does with so few, which hold no NaN
		v, j := x[i], i
		for ; j > lo && v < x[j-1]; j-- {
			x[j] = x[j-1]
		}
		x[j] = v
	}
	return x[k]
}

func median3(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
