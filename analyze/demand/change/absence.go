package change

import (
	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
)

// Long absences: at least minAbsenceDays in a row below absenceShare of what
// the model expects, with consumption coming back afterwards. Our choice: a
// house that stands empty keeps its refrigerator and standby, a fifth to a third.
const (
	minAbsenceDays  = 4
	absenceShare    = 0.62
	maxAbsenceDays  = 200
	flatShare       = 0.7
	openAbsenceDays = 120
)

// Absences gives the days without those of long absences, and whether there
// are any. One that lasts to the last reading is an absence too, up to
// openAbsenceDays: whoever has left for good has been gone for longer.
//
// quiet is the peak of a quiet day with people (see Liveliness).
func Absences(p fit.Problem, f *fit.Fit, steps Steps, quiet float64) (*fit.Days, bool) {
	d := p.Days
	low := lowDays(p, f, steps, quiet)
	out, found := *d, false
	for lo := 0; lo < d.N(); {
		if !low[lo] {
			lo++
			continue
		}
		hi, days := lo, 0
		for hi < d.N() && (low[hi] || !d.Counted[hi]) {
			if d.Counted[hi] {
				days++
			}
			hi++
		}
		longest := maxAbsenceDays
		if hi >= d.N()-minAbsenceDays {
			longest = openAbsenceDays
		}
		if days >= minAbsenceDays && hi-lo <= longest {
			if !found {
				out.Counted, out.Absent = append([]bool(nil), d.Counted...), append([]bool(nil), d.Absent...)
			}
			found = true
			for k := lo; k < hi; k++ {
				if d.Counted[k] {
					out.Counted[k], out.Absent[k] = false, true
				}
			}
		}
		lo = hi
	}
	out.Recount()
	return &out, found
}

// lowDays tells which days look lived in by nobody: little consumption, and no
// peak. Drops that were found do not lower what is expected: a drop that comes
// back is an absence sooner than two changes.
func lowDays(p fit.Problem, f *fit.Fit, steps Steps, quiet float64) []bool {
	d := p.Days
	low := make([]bool, d.N())
	for k := range low {
		if !d.Counted[k] || !d.Gross {
			continue
		}
		expected := f.Undisturbed(k)
		for _, c := range steps {
			if k >= c.Day && c.Beta > 0 {
				expected += float64(c.Beta * p.Columns.Answers[c.Column].X[k])
			}
		}
		low[k] = d.KWh[k] < absenceShare*expected && (quiet == 0 || peakOver(d, k) < flatShare*quiet)
	}
	return low
}

// peakOver is how far the highest hour stands above the night's floor, kWh.
func peakOver(d *fit.Days, k int) float64 {
	return d.Targets[PeakHour][k] - d.Targets[NightFloor][k]/24
}

// Liveliness is the peak over the night's floor on a quiet day with people:
// the lower quartile; 0 where no hours are known.
func Liveliness(d *fit.Days) float64 {
	if len(d.Targets) < NumTargets {
		return 0
	}
	v := make([]float64, 0, d.Count)
	for k, on := range d.Counted {
		if on {
			v = append(v, peakOver(d, k))
		}
	}
	return stat.QuantileInPlace(v, 0.25)
}
