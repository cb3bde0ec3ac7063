package array

import (
	"math"

	"rowen/analyze/sky"
)

// lookAlone makes the sky that a site without neighbours is judged by.
//
// Judged by its own light, an array would always be as it should be. What is
// left is the envelope of its clear days: there K is 1 by definition, and days
// that are not clear say nothing. So a step, a slide and a shadow can still be
// seen; haze and a slow loss of level cannot be told apart, which the sky's own
// caveat says. Days without any output take an ordinary sky, so that an outage
// is seen.
func lookAlone(v view) (view, said) {
	if !v.alone {
		return v, said{}
	}
	cal := sky.Calibrate(v.model, v.hourly(nil))
	v.k = make([]float64, v.Sun.N)
	for d := range v.day {
		k := math.NaN()
		switch {
		case cal.Ratio[d] == cal.Ratio[d]:
			k = 1
		case v.silentDay(d):
			k = aloneDarkK
		}
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			v.k[i] = k
		}
	}
	return v, said{}
}

// aloneDarkK is the sky granted to days without any output (our choice: duller
// than most days).
const aloneDarkK = 0.4

// silentDay tells a day whose daylight hours were all measured and all empty.
func (v *view) silentDay(d int) bool {
	lit := 0
	for i, hi := v.Calendar.Day(d); i < hi; i++ {
		if v.Sun.Up[i] <= 0 {
			continue
		}
		lit++
		if !(v.wh[i] <= 1) {
			return false
		}
	}
	return lit > 0
}
