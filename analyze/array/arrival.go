package array

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// Rules of an array's beginning, our choice.
const (
	arrivalDays = 14   // of readings before the first output: fewer are a meter that was hung early
	arrivalWh   = 100  // of a day: less is a meter's noise
	grewLeast   = 0.10 // of the later level that came
	grewDays    = 60   // that the higher level has lasted
)

// findArrival finds an array that began within the readings: where the register
// gives no date, it stands from its first output on, and the days before are
// neither an outage nor a loss.
func findArrival(v view) (view, said) {
	var say said
	if v.dated() {
		return v, say
	}
	first := firstOutput(&v)
	if first < 0 {
		return v, say
	}
	read := 0
	for d := range first {
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			if v.wh[i] == v.wh[i] {
				read++
				break
			}
		}
	}
	if read < arrivalDays {
		return v, say
	}
	v.begins = v.Series.Start + ingest.Hour(v.first(first))
	v = v.without(0, v.first(first))
	say.caveat("array_arrived", fmt.Sprintf("output begins on %s, %d days into the readings: the array is taken to stand since then; the register gives no date of commissioning",
		v.midnight(first).Format("2006-01-02"), read))
	return v, say
}

// dated tells whether the register says since when an array stands.
func (r *record) dated() bool {
	for i := range r.Site.Arrays {
		if !r.Site.Arrays[i].CommissionedOn.IsZero() {
			return true
		}
	}
	return !r.Site.CommissionedOn.IsZero()
}

// firstOutput is the first day with output; -1: there is none.
func firstOutput(v *view) int {
	for d := range v.day {
		sum := 0.0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			if p := v.wh[i]; p == p {
				sum += p
			}
		}
		if sum >= arrivalWh {
			return d
		}
	}
	return -1
}

// grewIn is how an undated array that makes more than at first is spoken of:
// output that was lower from the beginning of the readings and rose for good is
// modules that came, as far as anybody can tell.
func grewIn(v *view, p points, d drop, lost float64) (ingest.Caveat, bool) {
	if d.from != 0 || d.to == len(p.x) || v.dated() || lost < grewLeast || p.day[len(p.day)-1]-p.day[d.to] < grewDays {
		return ingest.Caveat{}, false
	}
	on := v.midnight((p.day[d.to-1] + 1 + p.day[d.to]) / 2)
	return ingest.Caveat{Code: "array_grew", Says: fmt.Sprintf("output rose by %.0f %% about %s and stayed: modules came, or a part was down until then; the register gives no date of commissioning",
		100*lost/(1-math.Min(0.95, lost)), on.Format("2006-01-02"))}, true
}
