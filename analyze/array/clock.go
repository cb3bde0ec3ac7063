package array

import (
	"fmt"
	"math"
	"strings"

	"rowen/analyze/sky"
)

// checkClock asks what the stamps of the readings say against the sun, says
// what it finds, and reads the hours as the sun says that they were made: the
// judgement is of the array, not of its clock. Neither facing nor shadows are
// told from days on which the clock is off.
func checkClock(v view) (view, said) {
	var say said
	if v.Series.StepMinutes > 60 {
		return v, say
	}
	if v.Clock != nil && v.begins == 0 {
		v.clock = *v.Clock
	} else {
		v.clock = sky.FindClock(v.hourly(nil), v.Site, v.Catalogue)
	}
	if v.clock.Right() {
		return v, say
	}
	v.wh = v.clock.Aligned(v.wh, v.Calendar)
	say.caveat("clock_off", clockSays(&v))
	return v, say
}

// clockSays is what is wrong with the clock, from when to when, and its mend.
func clockSays(v *view) string {
	c := &v.clock
	var parts []string
	switch {
	case c.Summer > 0:
		parts = append(parts, "the stamps follow summer time, but are read as a fixed zone: in summer they are 1 h late (mend: the site's civil time zone in the mapping)")
	case c.Summer < 0:
		parts = append(parts, "the stamps keep standard time, but are read as civil time: in summer they are 1 h early (mend: the fixed zone in the mapping)")
	}
	switch {
	case math.Abs(c.Late) == 0.5:
		parts = append(parts, fmt.Sprintf("the stamps are %s throughout (mend: stamps of the interval's middle, or a zone of half hours)", lateness(c.Late)))
	case c.Late > 0:
		parts = append(parts, fmt.Sprintf("the stamps are %s throughout (mend: stamp: end instead of start, or the zone by as much)", lateness(c.Late)))
	case c.Late < 0:
		parts = append(parts, fmt.Sprintf("the stamps are %s throughout (mend: stamp: start instead of end, or the zone by as much)", lateness(c.Late)))
	}
	for _, s := range c.Stretches {
		parts = append(parts, fmt.Sprintf("from %s to %s the stamps are %s (mend: that stretch of the file)",
			v.midnight(s.From).Format("2006-01-02"), v.midnight(s.To).Format("2006-01-02"), lateness(s.Late)))
	}
	left := "these weeks are left out of the facing, and shadows are not looked for"
	if c.Late != 0 || c.Summer != 0 {
		left = "the facing is not told, and shadows are not looked for, while the clock is off"
	}
	return "against the sun " + strings.Join(parts, "; ") + ": " + left
}

// lateness says hours as early or late.
func lateness(hours float64) string {
	if hours < 0 {
		return fmt.Sprintf("%g h early", -hours)
	}
	return fmt.Sprintf("%g h late", hours)
}
