package stat

import "math"

// Wilson is the score interval of a share.
//
//	(p + z^2/2n -+ z sqrt(p q/n + z^2/4n^2)) / (1 + z^2/n)
//
//	In:      successes of n; level such as 0.95.
//	Refuses: n = 0 gives 0..1: nothing is known.
//	Source:  Wilson 1927 (published).
func Wilson(successes, n int, level float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	z, fn := -NormalQuantile((1-level)/2), float64(n)
	p := float64(successes) / fn
	mid := p + z*z/(2*fn)
	half := float64(z * math.Sqrt(p*(1-p)/fn+z*z/(4*fn*fn)))
	scale := 1 + z*z/fn
	low, high = (mid-half)/scale, (mid+half)/scale
	if successes == 0 {
		low = 0
	}
	if successes == n {
		high = 1
	}
	return low, high
}
