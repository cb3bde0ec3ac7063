package fit

import "math"

// Weather is what is known of it.
type Weather struct {
	HourC  []float64 // outdoor dry bulb by hour of the days; nil: none
	DayC   []float64 // mean by day
	Signal *Signal   // nil: none
	// DayHours gives the hours of a day in HourC.
	DayHours func(day int) (lo, hi int)
}

// Temperatures are used where they cover mostCovered of the days that count, and
// where nothing else tells the weather from leastCovered days on: the other days
// have the season's usual weather. Our choices.
const (
	mostCovered  = 0.5
	leastCovered = 120
)

// LeastR is the least correlation of a station's daily anomalies with the days
// of the fleet that it may speak for: weather from elsewhere says nothing.
// Common practice.
const LeastR = 0.3

// thermometer gives the days with a temperature that may be used; nil: none.
//
// Out: the correlation that decided it; NaN: nothing to compare with.
func (w *Weather) thermometer(d *Days) (measured []bool, r float64) {
	r = math.NaN()
	if w.DayC == nil {
		return nil, r
	}
	measured = make([]bool, d.N())
	covered := 0
	for k, c := range w.DayC {
		measured[k] = !math.IsNaN(c)
		if measured[k] && d.Counted[k] {
			covered++
		}
	}
	signal := w.speaks(d)
	if signal {
		r = w.correlation(d)
	}
	switch {
	case r < LeastR:
		return nil, r
	case float64(covered) >= mostCovered*float64(d.Count), !signal && covered >= leastCovered:
		return measured, r
	}
	return nil, r
}

// speaks tells whether the fleet's signal covers the days.
func (w *Weather) speaks(d *Days) bool {
	return w.Signal != nil && d.mostly(func(k int) bool { return !math.IsNaN(w.Signal.At(d.First + k)) })
}

// correlation of the station's days with the fleet's, seasons taken out: the
// larger of the winter half's and the summer half's, since a fleet may heat
// with gas, or cool little. Cold raises a winter's consumption, heat a summer's.
//
// Refuses: NaN under 60 days in both halves.
func (w *Weather) correlation(d *Days) float64 {
	n := d.N()
	fleet := make([]float64, n)
	for k := range fleet {
		fleet[k] = w.Signal.At(d.First + k)
	}
	c, f := anomalies(w.DayC), anomalies(fleet)
	half := func(sign float64) float64 {
		var sx, sy, sxx, sxy, syy, m float64
		for k := range n {
			if v := c[k] + f[k]; math.IsNaN(v) || sign*d.Winter(k) < 0.3 {
				continue
			}
			x, y := float64(-sign*c[k]), f[k]
			sx, sy, m = sx+x, sy+y, m+1
			sxx, sxy, syy = sxx+float64(x*x), sxy+float64(x*y), syy+float64(y*y)
		}
		if m < 60 {
			return math.NaN()
		}
		return (sxy - sx*sy/m) / math.Sqrt((sxx-sx*sx/m)*(syy-sy*sy/m))
	}
	winter, summer := half(1), half(-1)
	switch {
	case math.IsNaN(winter):
		return summer
	case math.IsNaN(summer):
		return winter
	}
	return max(winter, summer)
}

// anomalies are the values less the mean of the month around each.
func anomalies(v []float64) []float64 {
	const half = 15
	out := make([]float64, len(v))
	sum, known := 0.0, 0
	add := func(k, sign int) {
		if k >= 0 && k < len(v) && !math.IsNaN(v[k]) {
			sum += float64(sign) * v[k]
			known += sign
		}
	}
	for k := range half {
		add(k, 1)
	}
	for k := range v {
		add(k+half, 1)
		add(k-half-1, -1)
		out[k] = math.NaN()
		if known >= half {
			out[k] = v[k] - sum/float64(known)
		}
	}
	return out
}
