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
func (s *study) lookAlone() {
	if !s.alone {
		return
	}
	cal := sky.Calibrate(s.model, s.in.Sun, s.wh, s.temp, s.days)
	s.k = make([]float64, s.in.Sun.N)
	for d := range s.day {
		k := math.NaN()
		switch {
		case cal.Ratio[d] == cal.Ratio[d]:
			k = 1
		case s.silentDay(d):
			k = aloneDarkK
		}
		for i := s.days[d]; i < s.days[d+1]; i++ {
			s.k[i] = k
		}
	}
}

// aloneDarkK is the sky granted to days without any output (our choice: duller
// than most days).
const aloneDarkK = 0.4

// silentDay tells a day whose daylight hours were all measured and all empty.
func (s *study) silentDay(d int) bool {
	lit := 0
	for i := s.days[d]; i < s.days[d+1]; i++ {
		if s.in.Sun.Up[i] <= 0 {
			continue
		}
		lit++
		if !(s.wh[i] <= 1) {
			return false
		}
	}
	return lit > 0
}
