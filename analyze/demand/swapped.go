package demand

import (
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// A day's night hours show swapped channels where the use meter reads next to
// nothing in all of them and the array's meter reads a household's least use or
// more in all of them. Our choices; what a standby draws and what a sleeping
// inverter draws lie apart by far.
const (
	nothingWh   = 5
	leastUseWh  = 20
	nightHours  = 4 // of the six from 22 to 4 o'clock
	swappedDays = 3 // fewer may be an outage with lamps on
)

// mendSwapped reads the production and the use meter the other way round on
// days whose nights show that they stand in each other's place: no household
// uses nothing by night while its array produces. A day on which it begins or
// ends is missing.
//
// In:     the basis as picked; nothing of the input is modified.
// Out:    hours of use and of production mended, with a caveat.
// Refuses: other bases than the meter's; fewer than swappedDays such days.
// Edges:  a white night is no swap: the use meter then reads a use.
func (s *site) mendSwapped() {
	if s.basis.name != BasisMeter || s.in.Series.StepMinutes >= 1440 {
		return
	}
	use, made := s.channel(ingest.Consumption), s.channel(ingest.Production)
	if made == nil {
		return
	}
	const (
		right = iota
		wrong
		mixed
	)
	verdict := make([]uint8, s.n)
	swapped, first, last := 0, -1, -1
	for d := range verdict {
		odd, plain := 0, 0
		for i := s.cal.dayStart[d]; i < s.cal.dayStart[d+1]; i++ {
			if h := s.cal.hod[i]; (h >= 4 && h < 22) || math.IsNaN(use[i]) || math.IsNaN(made[i]) {
				continue
			}
			switch {
			case use[i] <= nothingWh && made[i] >= leastUseWh:
				odd++
			case use[i] > nothingWh:
				plain++
			}
		}
		switch {
		case odd >= nightHours && plain == 0:
			verdict[d] = wrong
			swapped++
			if first < 0 {
				first = d
			}
			last = d
		case odd > 0:
			verdict[d] = mixed
		}
	}
	if swapped < swappedDays {
		return
	}
	s.made = slices.Clone(made)
	s.swapped = make([]bool, s.n)
	for d, v := range verdict {
		if v == right {
			continue
		}
		for i := s.cal.dayStart[d]; i < s.cal.dayStart[d+1]; i++ {
			if v == wrong {
				s.basis.wh[i], s.made[i] = made[i], use[i]
			} else {
				s.basis.wh[i], s.made[i] = math.NaN(), math.NaN()
			}
		}
		s.swapped[d] = true
	}
	s.caveats = append(s.caveats, ingest.Caveat{Code: "channels_swapped", Says: fmt.Sprintf(
		"On %d days from %s to %s the use meter reads nothing by night while the array's reads a household: the two stand in each other's place and are read the other way round here.",
		swapped, s.cal.date(first).Format("2006-01-02"), s.cal.date(last).Format("2006-01-02"))})
}
