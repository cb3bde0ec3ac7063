package change

import (
	"math"

	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
)

// A step that no thermometer vouches for must show in like days of two years:
// pairs of days 52 weeks apart that the step lies between, on which the column
// is at least likeShare of its most, likeDays of them in each half of the year
// that the column knows. likeSize of the step must be there in all, and leastSize
// in each half; where the fleet tells the season, less than that contradicts it.
// Our choices.
const (
	likeDays  = 28
	likeShare = 0.3
	likeSize  = 0.5
	leastSize = 0.25
)

// confirmed drops the steps that may as well be a season's end or start: an
// electric winter that ends is no departure, one that begins no new load, and a
// second winter may be colder. Where the fleet tells the season over long enough
// readings, only steps that like days contradict are dropped.
func (s *Story) confirmed() (kept Steps, dropped bool) {
	bySeason := s.Columns.Method == fit.MethodSeason && !IsBlind(&s.Columns, s.Days)
	for k, step := range s.Steps {
		if step.Known || s.vouched(step.Day) {
			kept = append(kept, step)
			continue
		}
		cold, warm := s.likeYears(k, 1), s.likeYears(k, -1)
		enough, least := true, math.Inf(1)
		if step.What == fit.ToNothing || step.What == fit.ToCold {
			enough, least = enough && len(cold) >= likeDays, min(least, typical(cold))
		}
		if step.What != fit.ToCold {
			enough, least = enough && len(warm) >= likeDays, min(least, typical(warm))
		}
		if enough && least >= leastSize && typical(append(cold, warm...)) >= likeSize || bySeason && !(enough && least < leastSize) {
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

// likeYears is how much of step k shows between like days of two years in one
// half of the year (1: the cold one, -1: the warm one), the other steps taken
// out, by pair of days.
func (s *Story) likeYears(k int, half float64) (shares []float64) {
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
	for j := max(step.Day, year); j < min(step.Day+year, d.N()); j++ {
		if i := j - year; d.Counted[i] && d.Counted[j] && x[j] >= likeShare*most && half*d.Winter(j) > 0 {
			shares = append(shares, (without(j)-without(i))/(step.Beta*x[j]))
		}
	}
	return shares
}

// typical is the median of shares; not a number of none.
func typical(shares []float64) float64 {
	if len(shares) == 0 {
		return math.NaN()
	}
	return stat.Median(shares)
}
