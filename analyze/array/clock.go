package array

import (
	"fmt"
	"math"
)

// Rules of production that the sun denies, our choice.
const (
	nightShare  = 0.004  // of the modules' watts, mean over a night: not production
	nightHours  = 2      // hours from the last light on
	nightDays   = 3      // such days before anybody speaks of it
	clockDark   = 0.0007 // of all production in dark hours: the clock is doubted
	clockHint   = 0.0001 // and doubted beside a time at which it is surely off
	clockBetter = 0.25   // what another clock must leave of that
	clockDays   = 60     // looked at together
	clockReach  = 3      // hours either way
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

// checkClock compares, two months at a time, when output is made with when the
// sun is up. It only says what it finds: readings are not moved. Where the
// clock is off, shadows and facings are not looked for.
//
//	dark(s) = sum of output in hours i for which the sun of hour i+s is down
func (s *study) checkClock() {
	type chunk struct {
		from, to, off int
		dark, left    float64 // percent
	}
	var all []chunk
	for from := 0; from < len(s.day); from += clockDays {
		to := min(from+clockDays, len(s.day))
		off, dark, left := s.clockOf(s.days[from], s.days[to])
		all = append(all, chunk{from, to, off, dark, left})
	}
	// In summer dawn and dusk are faint on many roofs: a chunk beside one that is
	// surely off needs less to be taken for off too.
	bad := make([]bool, len(all))
	for i, c := range all {
		for j := i; c.off != 0 && c.dark >= 100*clockDark && j < len(all) && all[j].off == c.off; j++ {
			bad[j] = true
		}
		for j := i; c.off != 0 && c.dark >= 100*clockDark && j >= 0 && all[j].off == c.off; j-- {
			bad[j] = true
		}
	}
	for i, c := range all {
		if !bad[i] {
			continue
		}
		if s.clockOff == nil {
			s.clockOff = make([]bool, len(s.day))
			s.caveat("clock_off", fmt.Sprintf("from about %s on %.2f %% of the output falls in the dark, %.2f %% if the clock were %+d h: the readings' clock or their stamp (start or end) is wrong, and neither facing nor shadows can be judged there",
				s.midnight(c.from).Format("2006-01-02"), c.dark, c.left, c.off))
		}
		for d := c.from; d < c.to; d++ {
			s.clockOff[d] = true
		}
	}
}

// clockOf gives the hours by which the output between two hours stands off the
// sun, and the percent of it that falls in the dark, now and if moved.
func (s *study) clockOf(from, to int) (off int, darkPct, leftPct float64) {
	up := s.in.Sun.Up
	var dark [2*clockReach + 1]float64
	all := 0.0
	for i := from; i < to; i++ {
		p := s.wh[i]
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
	if all <= 0 || dark[clockReach] < clockHint*all || dark[best] > clockBetter*dark[clockReach] {
		return 0, 0, 0
	}
	return best - clockReach, 100 * dark[clockReach] / all, 100 * dark[best] / all
}
