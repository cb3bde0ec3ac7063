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
func mendSwapped(series *ingest.Series, b basis, c *ingest.Calendar) basis {
	if b.name != BasisMeter || series.StepMinutes >= 1440 {
		return b
	}
	use, made := channel(series, ingest.Consumption), channel(series, ingest.Production)
	if made == nil {
		return b
	}
	orders := make([]order, c.Days())
	swapped, first, last := 0, -1, -1
	for d := range orders {
		if orders[d] = orderOf(c, d, use, made); orders[d] == wrongOrder {
			swapped++
			if first < 0 {
				first = d
			}
			last = d
		}
	}
	if swapped < swappedDays {
		return b
	}
	b.wh, b.made, b.swapped = slices.Clone(b.wh), slices.Clone(made), make([]bool, len(orders))
	for d, v := range orders {
		if v == rightOrder {
			continue
		}
		lo, hi := c.Day(d)
		for i := lo; i < hi; i++ {
			if v == wrongOrder {
				b.wh[i], b.made[i] = made[i], use[i]
			} else {
				b.wh[i], b.made[i] = math.NaN(), math.NaN()
			}
		}
		b.swapped[d] = true
	}
	b.caveats = append(slices.Clone(b.caveats), ingest.Caveat{Code: "channels_swapped", Says: fmt.Sprintf(
		"On %d days from %s to %s the use meter reads nothing by night while the array's reads a household: the two stand in each other's place and are read the other way round here.",
		swapped, c.Date(first).Format("2006-01-02"), c.Date(last).Format("2006-01-02"))})
	return b
}

// order is how the two meters stand on a day.
type order uint8

const (
	rightOrder order = iota
	wrongOrder
	mixedOrder
)

func orderOf(c *ingest.Calendar, d int, use, made []float64) order {
	odd, plain := 0, 0
	hod := c.HourOfDay()
	lo, hi := c.Day(d)
	for i := lo; i < hi; i++ {
		if h := hod[i]; (h >= 4 && h < 22) || math.IsNaN(use[i]) || math.IsNaN(made[i]) {
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
		return wrongOrder
	case odd > 0:
		return mixedOrder
	}
	return rightOrder
}
