package array

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// Rules of outages and dead meters, our choice unless tagged.
const (
	outageDays  = 3    // whole days without output in a row
	zeroDay     = 0.9  // of the day's expected energy fell in hours without output
	brightDay   = 0.2  // of a clear day: peers must be above this (section 5.3)
	coldC       = 6.0  // mean of the daylight hours: snow may lie
	snowDays    = 21   // and no longer than this
	snowK       = 0.05 // darker than any cloud
	snowUp      = 0.2  // sine of the sun's height
	snowHours   = 2    // such hours on a day
	silentDays  = 14   // without readings to the end of the data
	frozenHours = 30   // the same value day and night
)

// findOutages marks days without output, and names runs of them that neither
// snow nor the meter explains.
func (s *study) findOutages() {
	for d := 0; d < len(s.day); d++ {
		if !s.zeroOn(d) {
			continue
		}
		to, bright := d, 0
		for to < len(s.day) && (s.zeroOn(to) || !s.day[to].usable() && s.nothingOn(to)) {
			if s.zeroOn(to) {
				bright++
			}
			to++
		}
		for to > d && !s.zeroOn(to-1) {
			to--
		}
		for i := d; i < to; i++ {
			s.day[i].aside = true
		}
		if bright >= outageDays && !s.maybeSnow(d, to) {
			s.addOutage(d, to)
		}
		d = to
	}
}

// zeroOn tells a day that should have made power and made none.
func (s *study) zeroOn(d int) bool {
	t := &s.day[d]
	return t.usable() && t.bright() > brightDay && t.zero >= zeroDay*t.expected && !t.aside
}

// nothingOn tells a day whose readings, where there are any, are nothing.
func (s *study) nothingOn(d int) bool {
	for i := s.days[d]; i < s.days[d+1]; i++ {
		if s.wh[i] > 1 {
			return false
		}
	}
	return true
}

// maybeSnow tells a run of days that is cold and short enough to be snow that
// stayed on this roof alone.
func (s *study) maybeSnow(from, to int) bool {
	if to-from > snowDays || !s.cold(from, to) {
		return false
	}
	for d := max(0, from-3); d <= min(from+1, len(s.day)-1); d++ {
		if s.snowAround(d) {
			return true // it began under snow that the neighbours had too
		}
	}
	return false
}

// snowAround tells a day on which most arrays around lay under snow: in some
// hours of good height of the sun they made next to nothing, which no cloud
// does.
func (s *study) snowAround(d int) bool {
	hours := 0
	for i := s.days[d]; i < s.days[d+1]; i++ {
		if s.in.Sun.Up[i] > snowUp && s.k[i] < snowK {
			hours++
		}
	}
	return hours >= snowHours
}

// cold tells days in which snow may lie, by the mean of the air by day.
func (s *study) cold(from, to int) bool {
	sum, n := 0.0, 0
	for i := s.days[max(0, from-2)]; i < s.days[to]; i++ {
		if s.in.Sun.Up[i] > 0 {
			sum, n = sum+s.temp[i], n+1
		}
	}
	return n > 0 && sum/float64(n) < coldC
}

func (s *study) addOutage(from, to int) {
	f := Fault{Code: Outage, LossPct: 100, Confidence: 0.95, Repairable: true}
	if s.madeBefore(from) {
		f.On, f.OnLow, f.OnHigh = s.midnight(from), s.midnight(from-1), s.midnight(from)
	}
	live := true
	for d := to; d < len(s.day); d++ {
		if s.day[d].measured > 0.05*s.day[d].expected && s.day[d].expected > 0 {
			live = false
			break
		}
	}
	f.Live = live
	f.Says = fmt.Sprintf("no output on %d days though the sky gave light", to-from)
	if !live {
		f.Until = s.midnight(to)
	}
	s.out.Faults = append(s.out.Faults, f)
}

// madeBefore tells whether the array ever made anything before a day.
func (s *study) madeBefore(d int) bool {
	for i := 0; i < s.days[d]; i++ {
		if s.wh[i] > 1 {
			return true
		}
	}
	return false
}

// findDeadMeter sets the production meter's own faults aside: nothing while the
// house exports, silence to the end of the data. Frozen values are set aside
// before, since by night they would look like another channel's.
func (s *study) findDeadMeter() {
	if !s.in.Series.Has(ingest.Production) {
		return
	}
	if s.exportsWithout() {
		s.sumDays()
	}
	s.silent()
}

// frozen finds runs of one value through day and night.
func (s *study) frozen() {
	n := len(s.wh)
	for i := 0; i < n; {
		j := i + 1
		for j < n && s.wh[j] == s.wh[i] {
			j++
		}
		if j-i >= frozenHours && s.wh[i] > 0 {
			s.meterFault(i, j, fmt.Sprintf("the production meter read the same %.0f Wh for %d hours", s.wh[i], j-i))
		}
		i = j
	}
}

// exportsWithout finds days on which the house exported what its array is
// said not to have made.
func (s *study) exportsWithout() (found bool) {
	exp := s.in.Series.Wh[ingest.Export]
	if exp == nil || s.in.Series.Refused(ingest.Export) {
		return false
	}
	silent := func(d int) bool {
		if !s.zeroOn(d) {
			return false
		}
		out := 0.0
		for i := s.days[d]; i < s.days[d+1]; i++ {
			if exp[i] > 0 && s.wh[i] == s.wh[i] {
				out += exp[i]
			}
		}
		return out > 0.1*s.day[d].expected
	}
	for d := 0; d < len(s.day); d++ {
		if !silent(d) {
			continue
		}
		to := d + 1
		for last := d; to < len(s.day) && to-last < 10 && (s.zeroOn(to) || !s.day[to].usable()); to++ {
			if silent(to) {
				last = to
			}
		}
		s.meterFault(s.days[d], s.days[to], fmt.Sprintf("the production meter read nothing on %d days while the house exported", to-d))
		found = true
		d = to
	}
	return found
}

// silent finds production readings that end before the other readings do, or
// before the window does.
func (s *study) silent() {
	last := -1
	for i, v := range s.wh {
		if v == v {
			last = i
		}
	}
	end := s.in.Window.Start + ingest.Hour(s.in.Window.N)
	if s.in.Window.N == 0 {
		end = s.in.Series.End()
	}
	gone := int(end-s.in.Series.Start) - last - 1
	if last < 0 || gone < 24*silentDays {
		return
	}
	on := (s.in.Series.Start + ingest.Hour(last+1)).Time()
	if s.in.Site.Location != nil {
		on = on.In(s.in.Site.Location)
	}
	s.out.Faults = append(s.out.Faults, Fault{Code: MeterDead, On: on, OnLow: on, OnHigh: on, LossPct: 0, Confidence: 0.9, Live: true,
		Says: fmt.Sprintf("no production readings for the last %d days", gone/24)})
}

// meterFault takes hours out of the judgement.
func (s *study) meterFault(from, to int, says string) {
	for i := from; i < to; i++ {
		s.wh[i] = math.NaN()
	}
	f := Fault{Code: MeterDead, Confidence: 0.9, Says: says, Live: to >= len(s.wh)-48}
	f.On = s.localTime(from)
	f.OnLow, f.OnHigh = f.On, f.On
	if !f.Live {
		f.Until = s.localTime(to)
	}
	s.out.Faults = append(s.out.Faults, f)
}
