// Package stat holds the statistics that the judgement leans on: quantiles and
// medians, robust slopes with intervals, trend tests, resampling in blocks,
// change points, small regressions, calibration and ranking measures.
//
// It is the ground floor of analyze: it knows nothing of sites or meters. A
// missing value is NaN and is skipped where a function says so; a result that
// cannot be given is NaN, never 0. Nothing here draws random numbers but from
// a seed that the caller hands in.
package stat

import "math"

// Mean is the arithmetic mean of the values present.
//
//	In:      values; NaN is missing and skipped.
//	Refuses: no value present gives NaN.
func Mean(x []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range x {
		if v == v {
			sum += v
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// SD is the sample standard deviation, with n-1 below.
//
//	In:      values; NaN is missing and skipped.
//	Refuses: fewer than two values give NaN.
func SD(x []float64) float64 {
	mean := Mean(x)
	ss, n := 0.0, 0
	for _, v := range x {
		if v == v {
			ss += float64((v - mean) * (v - mean))
			n++
		}
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(ss / float64(n-1))
}

// Present gives the values that are not NaN, appended to into[:0].
func Present(into, x []float64) []float64 {
	into = into[:0]
	for _, v := range x {
		if v == v {
			into = append(into, v)
		}
	}
	return into
}
