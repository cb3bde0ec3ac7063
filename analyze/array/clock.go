package array

import (
	"fmt"
	"math"
)

// Rules of production that the sun denies, our choice.
const (
	nightShare  = 0.004 // of the modules' watts, mean over a night: not production
	nightHours  = 2     // hours from the last light on
	nightDays   = 3     // such days before anybody speaks of it
	clockDark   = 0.002 // of all production in dark hours: the clock is doubted
	clockBetter = 0.25  // what another clock must leave of that
	clockReach  = 3     // hours either way
)

// denyNights sets days aside on which the channel held something else than
// production: another meter's values, taken day and night.
func (s *study) denyNights() {
	h := s.in.Sun
	watts := s.model.Watts(s.in.Series.End())
	denied := 0
	for d := range s.day {
		sum, n := 0.0, 0
		for i := s.days[d]; i < s.days[d+1]; i++ {
			if p := s.wh[i]; p == p && deepNight(h.Up, i) {
				sum, n = sum+p, n+1
			}
		}
		if n < 3 || sum <= nightShare*watts*float64(n) {
			continue
		}
		denied++
		for i := s.days[d]; i < s.days[d+1]; i++ {
			s.wh[i] = math.NaN()
		}
	}
	if denied >= nightDays {
		s.caveat("production_by_night", fmt.Sprintf("on %d days the production channel shows output in the middle of the night: those days are left out", denied))
	}
}

// deepNight tells an hour with no light for some hours around it.
func deepNight(up []float64, i int) bool {
	for j := max(0, i-nightHours); j <= min(len(up)-1, i+nightHours); j++ {
		if up[j] > 0 {
			return false
		}
	}
	return true
}

// checkClock compares when output is made with when the sun is up. It only
// says what it finds: readings are not moved.
//
//	dark(s) = sum of output in hours i for which the sun of hour i+s is down
func (s *study) checkClock() {
	up := s.in.Sun.Up
	var dark [2*clockReach + 1]float64
	all := 0.0
	for i, p := range s.wh {
		if !(p > 0) {
			continue
		}
		all += p
		for k := range dark {
			if j := i + k - clockReach; j >= 0 && j < len(up) && up[j] <= 0 {
				dark[k] += p
			}
		}
	}
	best := clockReach
	for k := range dark {
		if dark[k] < dark[best] || dark[k] == dark[best] && math.Abs(float64(k-clockReach)) < math.Abs(float64(best-clockReach)) {
			best = k
		}
	}
	if all <= 0 || dark[clockReach] < clockDark*all || dark[best] > clockBetter*dark[clockReach] {
		return
	}
	s.clockOff = best - clockReach
	s.caveat("clock_off", fmt.Sprintf("%.1f %% of the output falls in the dark, %.1f %% if the clock were %+d h: the readings' clock or their stamp (start or end) is wrong, and the facing cannot be judged",
		100*dark[clockReach]/all, 100*dark[best]/all, s.clockOff))
}
