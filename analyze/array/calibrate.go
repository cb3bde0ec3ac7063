package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
	"rowen/ingest"
)

// calibrate finds the factor of the array as the days show it: here the usual
// day, later, in findSteps, the healthy day.
func calibrate(v view) (view, said) {
	v.factor = v.usualFactor()
	v = v.summed()
	f := freeRatio(&v)
	if f != f {
		return v, said{}
	}
	say, fits := inScale(&v, f)
	if fits {
		v.factor = f
	} else {
		v.wh = unknown(len(v.wh))
	}
	return v.summed(), say
}

// inScale tells whether a factor can be an array's; where not, the production
// is put aside.
func inScale(v *view, f float64) (say said, fits bool) {
	if f >= leastFactor && f <= mostFactor {
		return say, true
	}
	say.caveat("production_out_of_scale", fmt.Sprintf("output is %.3g times what the registered modules can make: wrong unit, wrong site or wrong register; it is not used", f))
	return say, false
}

// Factors beyond these are no array's (our choice: a tenth of the modules left
// working, four times the modules registered).
const (
	leastFactor = 0.1
	mostFactor  = 4
)

// freeRatio is the median over days of measured over modelled before the
// limits, hours below the limits only.
func freeRatio(v *view) float64 {
	h := v.Sun
	var x, w []float64
	for d := range v.day {
		if !v.day[d].usable() || v.day[d].aside || v.day[d].zero > 0.2*v.day[d].expected {
			continue
		}
		var p, m float64
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			wh, e := v.wh[i], v.expected[i]
			if !(e > 0) || wh != wh {
				continue
			}
			limit := v.model.LimitW(h.Start + ingest.Hour(i))
			if wh < 0.95*limit && e < 0.95*limit {
				p += wh
				m += e / v.factorAt(d) // below the limit expected is factor times free
			}
		}
		if m > 0.3*v.day[d].expected/v.factorAt(d) {
			x, w = append(x, p/m), append(w, m)
		}
	}
	if len(x) < minIndexDays/2 {
		return math.NaN()
	}
	return stat.WeightedMedian(x, w)
}

// daysOnly is the way from hours to levels where only the sums of days are
// metered: an even share of the day stands in every hour, and it is laid out
// along the expected curve of the day, so that a day's hours all stand in the
// same ratio to it. Levels, outages and slides are judged as ever, and nothing
// that needs the hours can show.
//
// Edges: a day with a missing hour, or without any light known, stays missing.
func daysOnly(v view) (view, said) {
	var say said
	say.caveat("days_only", "only the sums of days are metered: facing, shadows, clipping and curtailment cannot be judged")
	if v.alone || v.Sky.Source == sky.FromNone {
		v = lookAloneByDay(v)
		say.caveat("sky_from_itself", "no other array is near and only the sums of days are metered: the days are judged by the best of the weeks around, so that a slow loss of level cannot be told from haze")
	}
	v.factor = v.usualFactor()
	v = v.summed()
	even := v.wh
	v.wh = make([]float64, len(even))
	for d := range v.day {
		var sum, due float64
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			sum += even[i]
			if e := v.expected[i]; e > 0 {
				due += e
			}
		}
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			switch e := v.expected[i]; {
			case sum != sum || due <= 0:
				v.wh[i] = math.NaN()
			case e > 0:
				v.wh[i] = sum * e / due
			}
		}
	}
	return v.summed(), say
}
