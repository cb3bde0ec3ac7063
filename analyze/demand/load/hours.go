// Package load says what a lasting change of a household's consumption probably
// is: from the hours before and after it, and from the rectangles that finer
// readings show.
package load

import (
	"math"
	"slices"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
	"rowen/ingest"
)

// Home is a household's readings on the site's clock.
type Home struct {
	Calendar *ingest.Calendar
	Wh       []float64 // consumption by hour; NaN: missing; nil: only days are known
	Days     *fit.Days
	Columns  *fit.Columns
	Fine     *Fine // nil: none
}

// hoursOf is one day by the hours of the clock, kWh; NaN: missing. An hour that
// a clock change repeats is averaged, one it skips is the hour before's.
func hoursOf(c *ingest.Calendar, wh []float64, d int) [24]float64 {
	var v [24]float64
	var times [24]uint8
	hod := c.HourOfDay()
	lo, hi := c.Day(d)
	for i := lo; i < hi; i++ {
		h := hod[i]
		v[h] += wh[i] / 1000
		times[h]++
	}
	for h := range v {
		switch {
		case times[h] > 1:
			v[h] /= float64(times[h])
		case times[h] == 0 && h > 0:
			v[h] = v[h-1]
		case times[h] == 0:
			v[h] = math.NaN()
		}
	}
	return v
}

// Targets fills what is watched by day beside the day's consumption, from the
// hours.
func Targets(c *ingest.Calendar, wh []float64, d *fit.Days) [][]float64 {
	target := [][]float64{d.KWh}
	for range change.NumTargets - 1 {
		target = append(target, make([]float64, d.N()))
	}
	midday := make([]float64, 0, 10)
	for k := range d.N() {
		if !d.Counted[k] {
			continue
		}
		v := hoursOf(c, wh, k)
		night, known := 0.0, 0
		midday = midday[:0]
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
		if n := len(midday); n > 0 {
			target[change.MiddayFlat][k] = 5 * (midday[(n-1)/2] + midday[n/2])
		}
		for h := range v { // missing hours out of the way, to the top
			if math.IsNaN(v[h]) {
				v[h] = math.Inf(1)
			}
		}
		slices.Sort(v[:])
		target[change.NightFloor][k] = 24 * v[min(2, max(known-1, 0))]
		target[change.PeakHour][k] = v[max(known-1, 0)]
		target[change.NightSum][k] = night
	}
	return target
}

// byHour lists the consumption of the days hour by hour, kWh, in the order of
// the days.
func (h *Home) byHour(days []int) [24][]float64 {
	var out [24][]float64
	flat := make([]float64, 24*len(days))
	for hour := range out {
		out[hour] = flat[hour*len(days) : (hour+1)*len(days)]
	}
	for k, d := range days {
		row := hoursOf(h.Calendar, h.Wh, d)
		for hour := range out {
			out[hour][k] = row[hour]
		}
	}
	return out
}

// nightMinimum is the median over the days of the third lowest hour.
func (h *Home) nightMinimum(days []int) float64 {
	lows := make([]float64, 0, len(days))
	for _, d := range days {
		v := hoursOf(h.Calendar, h.Wh, d)
		slices.Sort(v[:])
		lows = append(lows, v[2])
	}
	return stat.MedianInPlace(lows)
}

// Scene is a group with the days before and after it that may be compared: up
// to the neighbouring groups, a year at most after it, a few days left out on
// each side of the change.
type Scene struct {
	*Home
	Group                                *change.Group
	beforeLo, beforeHi, afterLo, afterHi int
}

// SceneOf is the scene of group k.
func SceneOf(h *Home, groups []change.Group, k int) Scene {
	s := Scene{Home: h, Group: &groups[k], afterHi: h.Days.N()}
	if k > 0 {
		s.beforeLo = groups[k-1].Day
	}
	if k+1 < len(groups) {
		s.afterHi = groups[k+1].Day
	}
	s.beforeHi, s.afterLo = s.Group.Day-2, s.Group.Day+2
	s.afterHi = min(s.afterHi, s.afterLo+365)
	return s
}
