package array

import (
	"fmt"
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// Rules of curtailment, our choice on the pattern of section 4.2's clipping.
const (
	capNear    = 0.03 // of the array's watts around the plateau
	capMissing = 0.07 // of the expected energy that the hour lacks
	capHours   = 2    // such hours on a day
	capDays    = 10   // such days
	capBelow   = 0.85 // of the inverters' limit: a higher top is clipping
)

// findCurtailment finds output held down so that export, or output itself,
// stays at a ceiling while the sky would give more.
//
// y is what the ceiling holds: export where metered, else production less
// consumption, else production. On curtailed days y stands at one value, its
// top, for hours on end, and the expectation goes above it.
func (s *study) findCurtailment() {
	y, what := s.ceilinged()
	if y == nil {
		return
	}
	watts := s.model.Watts(s.in.Series.End())
	top := s.plateau(y, watts)
	if math.IsNaN(top) {
		return
	}
	first, last, days, lost := -1, 0, 0, 0.0
	before := -1 // the last day that went clearly above the ceiling
	from := s.lastYear()
	for d := range s.day {
		n, above := 0, false
		for i := s.days[d]; i < s.days[d+1]; i++ {
			e := s.out.ExpectedWh[i]
			if !(e > 0) || y[i] != y[i] {
				continue
			}
			if y[i] > top+capNear*watts {
				above = true
			}
			if math.Abs(y[i]-top) <= capNear*watts && e-s.wh[i] > capMissing*e {
				n++
			}
		}
		if above {
			before = d
		}
		if n < capHours {
			continue
		}
		days++
		last = d
		if first < 0 || before > first { // a later free day: the ceiling came after it
			first, days = d, 1
			if before > d {
				first = before
			}
		}
	}
	if days < capDays {
		return
	}
	for d := first; d <= last; d++ {
		for i := s.days[d]; i < s.days[d+1]; i++ {
			e := s.out.ExpectedWh[i]
			if e > 0 && y[i] == y[i] && y[i] > top-2*capNear*watts {
				s.mask(i)
				if d >= from {
					lost += max(0, e-s.wh[i])
				}
			}
		}
	}
	due := 0.0
	for d := max(from, first); d < len(s.day); d++ {
		due += s.day[d].expected
	}
	f := Fault{Code: Curtailment, On: s.midnight(first), OnLow: s.midnight(max(before+1, 0)), OnHigh: s.midnight(first), Live: len(s.day)-last < 60,
		Confidence: min(0.95, 0.5+0.01*float64(days)), KWhYr: lost / 1000,
		Says: fmt.Sprintf("%s stands at %.1f kW on %d days while the sky would give more: something holds it there", what, top/1000, days)}
	if due > 0 {
		f.LossPct = 100 * lost / due
	}
	if before < 0 && first < 30 {
		f.On, f.OnLow, f.OnHigh = noTime, noTime, noTime
	}
	if !f.Live {
		f.Until = s.midnight(last + 1)
	}
	s.out.Faults = append(s.out.Faults, f)
	s.calibrate()
}

// ceilinged is the quantity that a ceiling would hold.
func (s *study) ceilinged() (y []float64, what string) {
	se := s.in.Series
	if se.StepMinutes > 60 || !se.Has(ingest.Production) {
		return nil, ""
	}
	if e := se.Wh[ingest.Export]; e != nil && se.Has(ingest.Export) && !se.Refused(ingest.Export) {
		return e, "export"
	}
	if c := se.Wh[ingest.Consumption]; c != nil && se.Has(ingest.Consumption) && !se.Refused(ingest.Consumption) {
		y = make([]float64, len(s.wh))
		for i := range y {
			y[i] = s.wh[i] - c[i]
		}
		return y, "export (production less consumption)"
	}
	return s.wh, "output"
}

// plateau is the value at which the most missing hours gather; NaN where they
// gather nowhere.
func (s *study) plateau(y []float64, watts float64) float64 {
	limit := s.model.LimitW(s.in.Series.End())
	step := capNear * watts
	count := make([]int, 128)
	all := 0
	for i, v := range y {
		e := s.out.ExpectedWh[i]
		if !(e > 0) || !(v > 0.03*watts) || !(s.k[i] > 0.6) || e-s.wh[i] <= capMissing*e || s.wh[i] > capBelow*limit && !math.IsInf(limit, 1) {
			continue
		}
		if b := int(v / step); b < len(count) {
			count[b]++
			all++
		}
	}
	best := 0
	for b := 1; b < len(count); b++ {
		if count[b] > count[best] {
			best = b
		}
	}
	if all < capDays*capHours || float64(count[best]) < 0.2*float64(all) {
		return math.NaN()
	}
	// the middle of what gathers there
	var near []float64
	for i, v := range y {
		e := s.out.ExpectedWh[i]
		if e > 0 && math.Abs(v-(float64(best)+0.5)*step) <= step && e-s.wh[i] > capMissing*e {
			near = append(near, v)
		}
	}
	top := stat.MedianInPlace(near)
	// a ceiling has little above it while it holds, and much just below
	over := 0
	for i, v := range y {
		if e := s.out.ExpectedWh[i]; e > 0 && v > top+1.5*step && e-s.wh[i] > capMissing*e {
			over++
		}
	}
	if float64(over) > 0.15*float64(len(near)) {
		return math.NaN()
	}
	return top
}
