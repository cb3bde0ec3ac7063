package demand

import (
	"math"
	"slices"
)

// The targets that are watched side by side. The first is what counts, the
// day's use; the others see one kind of load with less noise around it, and
// lend their sharpness to its date. All in kWh a day.
const (
	dayTotal   = iota
	nightFloor // 24 x the third lowest hour: what runs all the time
	peakHour   // the highest hour: fast charging
	nightSum   // 22 to 6 o'clock: slow or timed charging
	middayFlat // 10 x the median hour from 8 to 18 o'clock: a pump on a timer
	maxTargets
)

// channels fills the targets by day from the hours.
func (s *site) channels() {
	s.target = append(s.target[:0], s.kwh)
	if s.onlyDaily() {
		return
	}
	for range maxTargets - 1 {
		s.target = append(s.target, make([]float64, s.n))
	}
	for d := range s.n {
		if !s.counted[d] {
			continue
		}
		v := s.dayHours(d)
		night, known := 0.0, 0
		midday := make([]float64, 0, 10)
		for h, x := range v {
			if math.IsNaN(x) {
				continue
			}
			known++
			if h >= 22 || h < 6 {
				night += x
			}
			if h >= 8 && h < 18 {
				midday = append(midday, x)
			}
		}
		slices.Sort(midday)
		if k := len(midday); k > 0 {
			s.target[middayFlat][d] = 5 * (midday[(k-1)/2] + midday[k/2])
		}
		for h := range v { // missing hours out of the way, to the top
			if math.IsNaN(v[h]) {
				v[h] = math.Inf(1)
			}
		}
		slices.Sort(v[:])
		s.target[nightFloor][d] = 24 * v[min(2, max(known-1, 0))]
		s.target[peakHour][d] = v[max(known-1, 0)]
		s.target[nightSum][d] = night
	}
}
