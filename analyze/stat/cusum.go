package stat

// CUSUM is a tabular cumulative sum, upwards and downwards.
type CUSUM struct {
	High, Low []float64
	Alarm     int // the first index beyond the limit; -1: none
}

// NewCUSUM watches a series for a shift of its mean.
//
//	SH[i] = max(0, x[i] - (target + K) + SH[i-1])
//	SL[i] = max(0, (target - K) - x[i] + SL[i-1])
//
//	In:      values in order of time; a NaN leaves both sums as they were;
//	         K = half the shift of interest (0.5 sd), H = 4 to 5 sd.
//	Source:  Page 1954; Montgomery and Runger, Example 16-6 (published).
func NewCUSUM(x []float64, target, k, h float64) CUSUM {
	c := CUSUM{High: make([]float64, len(x)), Low: make([]float64, len(x)), Alarm: -1}
	high, low := 0.0, 0.0
	for i, v := range x {
		if v == v {
			high = max(0, v-(target+k)+high)
			low = max(0, (target-k)-v+low)
		}
		c.High[i], c.Low[i] = high, low
		if c.Alarm < 0 && (high > h || low > h) {
			c.Alarm = i
		}
	}
	return c
}
