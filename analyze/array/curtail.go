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

// heldDays is what a ceiling did over the days.
type heldDays struct {
	first, last int // days on which output was held
	before      int // the last day up to the first that went clearly above the ceiling; -1: none
	days        int
}

// findCurtailment finds output held down so that export, or output itself,
// stays at a ceiling while the sky would give more.
//
// y is what the ceiling holds: export where metered, else production less
// consumption, else production. On curtailed days y stands at one value, its
// top, for hours on end, and the expectation goes above it.
func findCurtailment(v view) (view, said) {
	y, what := ceilinged(&v)
	if y == nil {
		return v, said{}
	}
	top := plateau(&v, y)
	if math.IsNaN(top) {
		return v, said{}
	}
	held := heldAt(&v, y, top)
	if held.days < capDays {
		return v, said{}
	}
	near := float64(2 * capNear * v.model.Watts(v.Series.End()))
	out := func(i int) bool {
		return i >= v.first(held.first) && i < v.first(held.last+1) && v.expected[i] > 0 && y[i] == y[i] && y[i] > top-near
	}
	say := said{faults: []Fault{curtailment(&v, held, out, fmt.Sprintf("%s stands at %.1f kW on %d days while the sky would give more: something holds it there", what, top/1000, held.days))}}
	v, more := calibrate(v.mask(out))
	say.add(more)
	return v, say
}

// heldAt finds the days on which y stood at a ceiling.
func heldAt(v *view, y []float64, top float64) heldDays {
	watts := v.model.Watts(v.Series.End())
	at, free := heldDays{first: -1, before: -1}, -1
	for d := range v.day {
		n, above := 0, false
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			e := v.expected[i]
			if !(e > 0) || y[i] != y[i] {
				continue
			}
			if y[i] > top+float64(capNear*watts) {
				above = true
			}
			if math.Abs(y[i]-top) <= capNear*watts && e-v.wh[i] > capMissing*e {
				n++
			}
		}
		if above {
			free = d
		}
		if n < capHours {
			continue
		}
		at.days++
		at.last = d
		if at.first < 0 || free > at.first { // a later free day: the ceiling came after it
			at.first, at.days, at.before = d, 1, free
		}
	}
	return at
}

// curtailment is the fault, with what it cost in the report year.
func curtailment(v *view, held heldDays, out func(i int) bool, says string) Fault {
	from := v.lastYear()
	lost, due := 0.0, 0.0
	for i := v.first(from); i < v.first(held.last+1); i++ {
		if out(i) {
			lost += max(0, v.expected[i]-v.wh[i])
		}
	}
	for d := max(from, held.first); d < len(v.day); d++ {
		due += v.day[d].expected
	}
	f := Fault{Code: Curtailment, On: v.midnight(held.first), OnLow: v.midnight(min(held.before+1, held.first)), OnHigh: v.midnight(held.first),
		Live: len(v.day)-held.last < 60, Confidence: min(0.95, 0.5+float64(0.01*float64(held.days))), KWhYr: lost / 1000, Says: says}
	if due > 0 {
		f.LossPct = 100 * lost / due
	}
	if held.before < 0 && held.first < 30 {
		f.On, f.OnLow, f.OnHigh = noTime, noTime, noTime
	}
	if !f.Live {
		f.Until = v.midnight(held.last + 1)
	}
	return f
}

// ceilinged is the quantity that a ceiling would hold.
func ceilinged(v *view) (y []float64, what string) {
	s := v.Series
	if s.StepMinutes > 60 || !s.Has(ingest.Production) {
		return nil, ""
	}
	if e := s.Wh[ingest.Export]; e != nil && s.Has(ingest.Export) && !s.Refused(ingest.Export) {
		return e, "export"
	}
	if c := s.Wh[ingest.Consumption]; c != nil && s.Has(ingest.Consumption) && !s.Refused(ingest.Consumption) {
		y = make([]float64, len(v.wh))
		for i := range y {
			y[i] = v.wh[i] - c[i]
		}
		return y, "export (production less consumption)"
	}
	return v.wh, "output"
}

// plateau is the value at which the most missing hours gather; NaN where they
// gather nowhere.
func plateau(v *view, y []float64) float64 {
	watts := v.model.Watts(v.Series.End())
	limit := v.model.LimitW(v.Series.End())
	step := capNear * watts
	count := make([]int, 128)
	all := 0
	for i, at := range y {
		e := v.expected[i]
		if !(e > 0) || !(at > 0.03*watts) || !(v.k[i] > 0.6) || e-v.wh[i] <= capMissing*e || v.wh[i] > capBelow*limit && !math.IsInf(limit, 1) {
			continue
		}
		if b := int(at / step); b < len(count) {
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
	for i, at := range y {
		e := v.expected[i]
		if e > 0 && math.Abs(at-float64((float64(best)+0.5)*step)) <= step && e-v.wh[i] > capMissing*e {
			near = append(near, at)
		}
	}
	top := stat.MedianInPlace(near)
	// a ceiling has little above it while it holds, and much just below
	over := 0
	for i, at := range y {
		if e := v.expected[i]; e > 0 && at > top+float64(1.5*step) && e-v.wh[i] > capMissing*e {
			over++
		}
	}
	if float64(over) > 0.15*float64(len(near)) {
		return math.NaN()
	}
	return top
}
