package array

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// Rules of readings that are not the array's, our choice.
const (
	silentDays  = 14    // without readings to the end of the data
	frozenHours = 30    // the same value day and night
	nightShare  = 0.004 // of the modules' watts, mean over a night: not production
	nightHours  = 2     // hours from the last light on
	nightDays   = 3     // such days before anybody speaks of it
)

// frozen finds runs of one value through day and night.
func frozen(v view) (view, said) {
	var say said
	n := len(v.wh)
	for i := 0; i < n; {
		j := i + 1
		for j < n && v.wh[j] == v.wh[i] {
			j++
		}
		if j-i >= frozenHours && v.wh[i] > 0 {
			say.faults = append(say.faults, meterFault(&v, i, j, fmt.Sprintf("the production meter read the same %.0f Wh for %d hours", v.wh[i], j-i)))
			v = v.without(i, j)
		}
		i = j
	}
	return v, say
}

// denyNights sets days aside on which the channel held something else than
// production: another meter's values, taken day and night.
func denyNights(v view) (view, said) {
	var say said
	h := v.Sun
	watts := v.model.Watts(v.Series.End())
	denied := 0
	wh := append([]float64(nil), v.wh...)
	for d := range v.day {
		sum, n := 0.0, 0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			if p := wh[i]; p == p && deepNight(h.Up, i) {
				sum, n = sum+p, n+1
			}
		}
		if n < 3 || sum <= nightShare*watts*float64(n) {
			continue
		}
		denied++
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			wh[i] = math.NaN()
		}
	}
	if denied >= nightDays {
		say.caveat("production_by_night", fmt.Sprintf("on %d days the production channel shows output in the middle of the night: those days are left out", denied))
	}
	v.wh = wh
	return v, say
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

// findDeadMeter sets the production meter's own faults aside: nothing while the
// house exports, silence to the end of the data. Frozen values are set aside
// before, since by night they would look like another channel's.
func findDeadMeter(v view) (view, said) {
	if !v.Series.Has(ingest.Production) {
		return v, said{}
	}
	v, say := exportsWithout(v)
	if say.faults != nil {
		v = v.summed()
	}
	v, more := silent(v)
	say.add(more)
	return v, say
}

// exportsWithout finds days on which the house exported what its array is
// said not to have made.
func exportsWithout(v view) (view, said) {
	var say said
	exp := v.Series.Wh[ingest.Export]
	if exp == nil || v.Series.Refused(ingest.Export) {
		return v, say
	}
	nothing := func(d int) bool {
		if !v.zeroOn(d) {
			return false
		}
		out := 0.0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			if exp[i] > 0 && v.wh[i] == v.wh[i] {
				out += exp[i]
			}
		}
		return out > 0.1*v.day[d].expected
	}
	for d := 0; d < len(v.day); d++ {
		if !nothing(d) {
			continue
		}
		to := d + 1
		for last := d; to < len(v.day) && to-last < 10 && (v.zeroOn(to) || !v.day[to].usable()); to++ {
			if nothing(to) {
				last = to
			}
		}
		say.faults = append(say.faults, meterFault(&v, v.first(d), v.first(to), fmt.Sprintf("the production meter read nothing on %d days while the house exported", to-d)))
		v = v.without(v.first(d), v.first(to))
		d = to
	}
	return v, say
}

// silent finds production readings that end before the other readings do, or
// before the window does, and those that stopped and came back.
func silent(v view) (view, said) {
	say := wasSilent(&v)
	last := -1
	for i, p := range v.wh {
		if p == p {
			last = i
		}
	}
	end := v.Window.Start + ingest.Hour(v.Window.N)
	if v.Window.N == 0 {
		end = v.Series.End()
	}
	gone := int(end-v.Series.Start) - last - 1
	if last < 0 || gone < 24*silentDays {
		return v, say
	}
	on := v.Calendar.Local(last + 1)
	say.faults = append(say.faults, Fault{Code: MeterDead, On: on, OnLow: on, OnHigh: on, LossPct: 0, Confidence: 0.9, Live: true,
		Says: fmt.Sprintf("no production readings for the last %d days", gone/24)})
	return v, say
}

// wasSilent finds holes between readings that are as long as a silence: what was
// a fault while it lasted is one that is over.
func wasSilent(v *view) (say said) {
	last := -1
	for i, p := range v.Series.Wh[ingest.Production] {
		if p != p {
			continue
		}
		if gone := i - last - 1; last >= 0 && gone >= 24*silentDays {
			say.faults = append(say.faults, meterFault(v, last+1, i, fmt.Sprintf("no production readings for %d days", gone/24)))
		}
		last = i
	}
	return say
}

// meterFault says that the meter, not the array, is at fault for some hours.
func meterFault(v *view, from, to int, says string) Fault {
	f := Fault{Code: MeterDead, Confidence: 0.9, Says: says, Live: to >= len(v.wh)-48}
	f.On = v.Calendar.Local(from)
	f.OnLow, f.OnHigh = f.On, f.On
	if !f.Live {
		f.Until = v.Calendar.Local(to)
	}
	return f
}
