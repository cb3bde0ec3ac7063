package change

import (
	"math"

	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
)

// A step that no thermometer vouches for must show in like days of two years:
// likeDays pairs of days 52 weeks apart that the step lies between, on which the
// column is at least likeShare of its most. Half of the step must be there. Our
// choices.
const (
	likeDays  = 28
	likeShare = 0.3
	likeSize  = 0.5
)

// confirmed drops the steps that may as well be a season's end or start: an
// electric winter that ends is no departure, one that begins no new load. Where
// the fleet tells the season over long enough readings, only steps that like
// days contradict are dropped.
func (s *Story) confirmed() (kept Steps, dropped bool) {
	for k, step := range s.Steps {
		if s.vouched(step.Day) {
			kept = append(kept, step)
			continue
		}
		share, pairs := s.likeYears(k)
		bySeason := s.Columns.Method == fit.MethodSeason && !IsBlind(&s.Columns, s.Days)
		if (pairs >= likeDays && share >= likeSize) || (bySeason && pairs < likeDays) {
			kept = append(kept, step)
		}
	}
	return kept, len(kept) < len(s.Steps)
}

// vouched tells whether a thermometer covers nine tenths of the days that count
// in the year before and the year after a day.
func (s *Story) vouched(day int) bool {
	m := s.Columns.Measured
	if m == nil {
		return false
	}
	for _, span := range [...][2]int{{max(0, day-365), day}, {day, min(len(m), day+365)}} {
		have, of := 0, 0
		for k := span[0]; k < span[1]; k++ {
			if s.Days.Counted[k] {
				of++
				if m[k] {
					have++
				}
			}
		}
		if 10*have < 9*of {
			return false
		}
	}
	return true
}

// likeYears is how much of step k shows between like days of two years, the
// other steps taken out, and on how many pairs of days.
func (s *Story) likeYears(k int) (share float64, pairs int) {
	const year = 364
	d, step := s.Days, s.Steps[k]
	x := s.Columns.Answers[step.Column].X
	most := 0.0
	for _, v := range x {
		most = max(most, v)
	}
	without := func(i int) float64 {
		v := d.KWh[i] - s.Fit.EventDay[i]
		if i >= step.Day {
			v += float64(step.Beta * x[i])
		}
		return v
	}
	var found, expected []float64
	for j := max(step.Day, year); j < min(step.Day+year, d.N()); j++ {
		if i := j - year; d.Counted[i] && d.Counted[j] && x[j] >= likeShare*most {
			found, expected = append(found, without(j)-without(i)), append(expected, step.Beta*x[j])
		}
	}
	if len(found) == 0 {
		return math.NaN(), 0
	}
	return stat.MedianInPlace(found) / stat.MedianInPlace(expected), len(found)
}
