package array

import (
	"fmt"
	"math"
)

// Rules of output in the dark, our choice.
const (
	clockDark   = 0.0007 // of all production in dark hours: the clock is doubted
	clockHint   = 0.0001 // and doubted beside a time at which it is surely off
	clockBetter = 0.25   // what another clock must leave of that
	clockDays   = 60     // looked at together
	clockReach  = 3      // hours either way
)

// clockSpan is some days of which the clock was looked at together.
type clockSpan struct {
	from, to, off int
	dark, left    float64 // percent
}

// checkClock compares, two months at a time, when output is made with when the
// sun is up. It only says what it finds: readings are not moved. Where the
// clock is off, shadows and facings are not looked for.
//
//	dark(s) = sum of output in hours i for which the sun of hour i+s is down
func checkClock(v view) (view, said) {
	var all []clockSpan
	for from := 0; from < len(v.day); from += clockDays {
		to := min(from+clockDays, len(v.day))
		off, dark, left := v.clockOf(v.first(from), v.first(to))
		all = append(all, clockSpan{from, to, off, dark, left})
	}
	bad := besideOff(all)
	var say said
	for i, c := range all {
		if !bad[i] {
			continue
		}
		if v.clockOff == nil {
			v.clockOff = make([]bool, len(v.day))
			say.caveat("clock_off", fmt.Sprintf("from about %s on %.2f %% of the output falls in the dark, %.2f %% if the clock were %+d h: the readings' clock or their stamp (start or end) is wrong, and neither facing nor shadows can be judged there",
				v.midnight(c.from).Format("2006-01-02"), c.dark, c.left, c.off))
		}
		for d := c.from; d < c.to; d++ {
			v.clockOff[d] = true
		}
	}
	return v, say
}

// besideOff marks the spans that are off. In summer dawn and dusk are faint on
// many roofs: a span beside one that is surely off needs less to be taken for
// off too.
func besideOff(all []clockSpan) []bool {
	bad := make([]bool, len(all))
	for i, c := range all {
		if c.off == 0 || c.dark < 100*clockDark {
			continue
		}
		for j := i; j < len(all) && all[j].off == c.off; j++ {
			bad[j] = true
		}
		for j := i; j >= 0 && all[j].off == c.off; j-- {
			bad[j] = true
		}
	}
	return bad
}

// clockOf gives the hours by which the output between two hours stands off the
// sun, and the percent of it that falls in the dark, now and if moved.
func (v *view) clockOf(from, to int) (off int, darkPct, leftPct float64) {
	up := v.Sun.Up
	var dark [2*clockReach + 1]float64
	all := 0.0
	for i := from; i < to; i++ {
		p := v.wh[i]
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
