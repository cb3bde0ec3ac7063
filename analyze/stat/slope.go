package stat

import (
	"math"
	"slices"
)

// Trend is a robust straight line with the interval of its slope.
type Trend struct {
	Slope, Low, High float64 // per unit of x
	Intercept        float64 // at x = 0
	N                int     // points used
}

// MaxTheilSen is the most points that TheilSen takes one by one: 3,000 points
// are 4.5 million slopes and 36 MB (our choice, methods 6.3). Longer series
// are first averaged in equal runs of neighbours.
const MaxTheilSen = 3000

// TheilSen fits a line by the median of all slopes between two points.
//
//	slope = median{ (y[j]-y[i])/(x[j]-x[i]) : x[j] > x[i] }
//	intercept = median(y) - slope median(x)
//	s2 = [n(n-1)(2n+5) - sum t(t-1)(2t+5) over ties in x and in y] / 18
//	low, high = the sorted slopes at round((nt + z s)/2) - 1 and round((nt - z s)/2)
//
//	In:      points; a NaN in either skips the point; level such as 0.90.
//	Out:     slope with its interval at that level.
//	Refuses: fewer than two different x give NaN.
//	Edges:   above MaxTheilSen points, means of equal runs in order of x.
//	Source:  Sen 1968 (published); the interval with ties as scipy's
//	         theilslopes, intercept "separate"; halves round to even.
//	Cost:    O(n^2) time and memory: bin daily data by week first.
func TheilSen(x, y []float64, level float64) Trend {
	x, y = pairs(x, y)
	if len(x) > MaxTheilSen {
		x, y = thin(x, y, MaxTheilSen)
	}
	n := len(x)
	t := Trend{Slope: math.NaN(), Low: math.NaN(), High: math.NaN(), Intercept: math.NaN(), N: n}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range x {
		for j := i + 1; j < n; j++ {
			if d := x[j] - x[i]; d != 0 {
				slopes = append(slopes, (y[j]-y[i])/d)
			}
		}
	}
	if len(slopes) == 0 {
		return t
	}
	t.Slope, t.Low, t.High = slopeInterval(slopes, n, tieSum(x)+tieSum(y), level)
	t.Intercept = Median(y) - float64(t.Slope*Median(x))
	return t
}

// slopeInterval is the median of the slopes and their order statistics at the
// ranks of Sen's interval. It reorders the slopes.
func slopeInterval(slopes []float64, n int, ties, level float64) (mid, low, high float64) {
	nt, fn := len(slopes), float64(n)
	variance := (float64(fn*(fn-1)*(float64(2*fn)+5)) - ties) / 18
	half := float64(-NormalQuantile((1-level)/2) * math.Sqrt(max(variance, 0)))
	up := min(int(math.RoundToEven((float64(nt)+half)/2)), nt-1)
	lo := max(int(math.RoundToEven((float64(nt)-half)/2))-1, 0)
	mid = MedianInPlace(slopes)
	return mid, Select(slopes, lo), Select(slopes, up)
}

// pairs copies the points without NaN.
func pairs(x, y []float64) (px, py []float64) {
	px, py = make([]float64, 0, len(x)), make([]float64, 0, len(x))
	for i := range x {
		if x[i] == x[i] && y[i] == y[i] {
			px, py = append(px, x[i]), append(py, y[i])
		}
	}
	return px, py
}

// thin averages runs of neighbours in x down to at most limit points.
func thin(x, y []float64, limit int) (tx, ty []float64) {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	run := (len(x) + limit - 1) / limit
	for from := 0; from < len(order); from += run {
		part := order[from:min(from+run, len(order))]
		sx, sy := 0.0, 0.0
		for _, i := range part {
			sx += x[i]
			sy += y[i]
		}
		tx = append(tx, sx/float64(len(part)))
		ty = append(ty, sy/float64(len(part)))
	}
	return tx, ty
}

// tieSum is the sum of t(t-1)(2t+5) over groups of t equal values.
func tieSum(v []float64) float64 {
	sum := 0.0
	eachTie(v, func(t float64) { sum += float64(t * (t - 1) * (float64(2*t) + 5)) })
	return sum
}

func eachTie(v []float64, f func(t float64)) {
	s := slices.Clone(v)
	slices.Sort(s)
	for i := 0; i < len(s); {
		j := i + 1
		for j < len(s) && s[j] == s[i] {
			j++
		}
		f(float64(j - i))
		i = j
	}
}
