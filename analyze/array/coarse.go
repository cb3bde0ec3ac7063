package array

import "math"

// shapeDays lays the sums of days, where nothing finer is metered, out along
// the expected curve of each day, so that a day's hours all stand in the same
// ratio to it: levels, outages and slides are judged as ever, and nothing that
// needs the hours can show.
//
// In:      an even share of the day in every hour; the first estimate of what was to be expected.
// Edges:   a day with a missing hour, or without any light known, stays missing.
func (s *study) shapeDays() {
	even := append([]float64(nil), s.wh...)
	for d := range s.day {
		var sum, due float64
		for i := s.days[d]; i < s.days[d+1]; i++ {
			sum += even[i]
			if e := s.out.ExpectedWh[i]; e > 0 {
				due += e
			}
		}
		for i := s.days[d]; i < s.days[d+1]; i++ {
			switch e := s.out.ExpectedWh[i]; {
			case sum != sum || due <= 0:
				s.wh[i] = math.NaN()
			case e > 0:
				s.wh[i] = sum * e / due
			default:
				s.wh[i] = 0
			}
		}
	}
	s.sumDays()
}
