package array

import "fmt"

// Rules of outages, our choice unless tagged.
const (
	outageDays = 3    // whole days without output in a row
	outageGap  = 10   // days without readings in between: more, and it is two outages
	zeroDay    = 0.9  // of the day's expected energy fell in hours without output
	brightDay  = 0.2  // of a clear day: peers must be above this (section 5.3)
	coldC      = 6.0  // mean of the daylight hours: snow may lie
	snowDays   = 21   // and no longer than this
	snowK      = 0.05 // darker than any cloud
	snowUp     = 0.2  // sine of the sun's height
	snowHours  = 2    // such hours on a day
)

// findOutages marks days without output, and names runs of them that neither
// snow nor the meter explains.
func findOutages(v view) (view, said) {
	var say said
	v.day = append([]day(nil), v.day...)
	for d := 0; d < len(v.day); d++ {
		if !v.zeroOn(d) {
			continue
		}
		to, bright := d+1, 1 // to: behind the last day that was judged and without output
		for at, unread := to, 0; at < len(v.day) && unread <= outageGap && (v.zeroOn(at) || v.nothingOn(at)); at++ {
			switch {
			case v.zeroOn(at):
				to, unread = at+1, 0
				bright++
			case !v.silentDay(at):
				unread++
			}
		}
		for i := d; i < to; i++ {
			v.day[i].aside = true
		}
		if bright >= outageDays && !maybeSnow(&v, d, to) {
			say.faults = append(say.faults, outage(&v, d, to, bright))
		}
		d = to
	}
	return v, say
}

// zeroOn tells a day that should have made power and made none.
func (v *view) zeroOn(d int) bool {
	t := &v.day[d]
	return t.usable() && t.bright() > brightDay && t.zero >= zeroDay*t.expected && !t.aside
}

// nothingOn tells a day whose readings, where there are any, are nothing.
func (v *view) nothingOn(d int) bool {
	for i, hi := v.Calendar.Day(d); i < hi; i++ {
		if v.wh[i] > 1 {
			return false
		}
	}
	return true
}

// maybeSnow tells a run of days that is cold and short enough to be snow that
// stayed on this roof alone.
func maybeSnow(v *view, from, to int) bool {
	if to-from > snowDays || !v.cold(from, to) {
		return false
	}
	if v.alone {
		return true // nobody else tells whether snow fell
	}
	for d := max(0, from-3); d <= min(from+1, len(v.day)-1); d++ {
		if snowAround(v, d) {
			return true // it began under snow that the neighbours had too
		}
	}
	return false
}

// snowAround tells a day on which most arrays around lay under snow: in some
// hours of good height of the sun they made next to nothing, which no cloud
// does.
func snowAround(v *view, d int) bool {
	hours := 0
	for i, hi := v.Calendar.Day(d); i < hi; i++ {
		if v.Sun.Up[i] > snowUp && v.k[i] < snowK {
			hours++
		}
	}
	return hours >= snowHours
}

func outage(v *view, from, to, judged int) Fault {
	f := Fault{Code: Outage, LossPct: 100, Confidence: 0.95, Repairable: true, Live: true}
	if madeBefore(v, from) {
		f.On, f.OnLow, f.OnHigh = v.midnight(from), v.midnight(from-1), v.midnight(from)
	}
	for d := to; d < len(v.day); d++ {
		if v.day[d].measured > 0.05*v.day[d].expected && v.day[d].expected > 0 {
			f.Live = false
			break
		}
	}
	f.Says = fmt.Sprintf("no output on %d days with enough sun", judged)
	if !f.Live {
		f.Until = v.midnight(to)
		for d := max(from, v.lastYear()); d < to; d++ { // a day that nobody could judge lost nothing that anybody knows of
			if v.day[d].usable() {
				f.KWhYr += v.day[d].expected / 1000
			}
		}
	}
	return f
}

// madeBefore tells whether the array ever made anything before a day.
func madeBefore(v *view, d int) bool {
	for i := 0; i < v.first(d); i++ {
		if v.wh[i] > 1 {
			return true
		}
	}
	return false
}
