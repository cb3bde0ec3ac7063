package array

import (
	"math"
	"time"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// record is what is given of a site: nothing of it changes on the way.
type record struct {
	Input
	tempC []float64
	alone bool // the sky is read off this array itself
}

// view is the array as it is seen at one step of the way: the hours that count,
// what they are compared with, and what the days say under that. Each step
// takes a view and gives the next; nothing behind one is changed in place.
type view struct {
	*record
	wh     []float64   // measured AC energy; NaN missing or set aside as the meter's own fault
	k      []float64   // the sky that the array is judged by
	begins ingest.Hour // of an array that began within the readings; 0: it did not
	clock  sky.Clock   // of the readings as they came; wh goes with the sun

	model       *sky.Model
	unexplained bool // no plane that was fitted explains the days
	planes      []PlaneFit
	factor      float64 // of the healthy array, without ageing
	grown       float64 // share that modules outside the register add, from day grownOn
	grownOn     int
	masked      []bool // hours that do not tell the level: shaded directions, curtailment; nil: none

	day      []day
	expected []float64 // hourly, as if mended; NaN: sky not known
}

// readHours lays the readings out by the site's days.
func readHours(in Input) (v view, say said) {
	n := in.Sun.N
	v.record = &record{Input: in, tempC: sky.Temperature(in.TempC, in.Sun), alone: in.Sky.Source == sky.FromSelf}
	v.day = make([]day, in.Calendar.Days())
	if !v.alone {
		v.k = in.Sky.K
	}
	p := in.Series.Wh[ingest.Production]
	if p == nil || in.Series.Refused(ingest.Production) {
		v.wh = unknown(n)
		say.caveat("no_production", "production is not metered or cannot be used: there is no index, and the expectation rests on the register")
		return v, say
	}
	v.wh = append(make([]float64, 0, n), p...)[:n]
	if in.TempC == nil {
		say.caveat("air_typical", "no weather is near: the air is taken as typical for latitude and season, which leaves 2 to 3 % of an hour's power in doubt and little of a year's")
	}
	return v, say
}

// unknown is n hours of which nothing is known.
func unknown(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.NaN()
	}
	return x
}

// without is the view with hours set aside.
func (v view) without(from, to int) view {
	v.wh = append([]float64(nil), v.wh...)
	for i := from; i < to; i++ {
		v.wh[i] = math.NaN()
	}
	return v
}

// mask is the view with hours kept out of the level.
func (v view) mask(out func(i int) bool) view {
	masked := make([]bool, v.Sun.N)
	copy(masked, v.masked)
	for i := range masked {
		masked[i] = masked[i] || out(i)
	}
	v.masked = masked
	return v
}

// summed is the view with every day worked out under its factor.
func (v view) summed() view {
	was := v.day
	v.day, v.expected = make([]day, len(was)), make([]float64, v.Sun.N)
	for d := range v.day {
		v.day[d] = v.sumDay(d)
		v.day[d].aside = was[d].aside
	}
	return v
}

func (v *view) sumDay(d int) (t day) {
	h := v.Sun
	for i, hi := v.Calendar.Day(d); i < hi; i++ {
		e := 0.0
		if h.ClearGHI[i] > 0 {
			e = v.model.Under(h, i, v.k[i], v.Sky.More(i), v.tempC[i], v.factorAt(d))
			t.clear += h.ClearGHI[i]
			if k := v.k[i]; k == k {
				t.light, t.known = t.light+float64(k*h.ClearGHI[i]), t.known+h.ClearGHI[i]
			}
		}
		v.expected[i] = e
		if !(e > 0) { // night, or the sky is not known
			continue
		}
		t.full += e
		if p := v.wh[i]; p == p {
			t.measured += p
			t.expected += e
			if p < float64(zeroShare*e) {
				t.zero += e
			}
			if v.masked == nil || !v.masked[i] {
				t.open, t.openDue = t.open+p, t.openDue+e
				t.low += float64(e * beamPart(v.k[i]) * sq(1-h.Up[i]))
			}
		}
	}
	return t
}

// factorAt is the factor of day d: modules that the register does not know
// raise it from the day they came.
func (v *view) factorAt(d int) float64 {
	if v.grown > 0 && d >= v.grownOn {
		return v.factor * (1 + v.grown)
	}
	return v.factor
}

// usualFactor is what arrays around make of their watts.
func (r *record) usualFactor() float64 {
	if t := r.Sky.Typical; t.Sites > 0 && t.Value == t.Value {
		return t.Value
	}
	return r.Options.UsualFactor
}

// lastYear is the first day of the window, or of the last twelve months.
func (r *record) lastYear() int {
	from := r.Window.Start
	if r.Window.N == 0 {
		from = r.Series.End() - 8760
	}
	for d := range r.Calendar.Days() {
		if r.Series.Start+ingest.Hour(r.first(d)) >= from {
			return d
		}
	}
	return r.Calendar.Days()
}

// midnight is the local midnight at which day d begins.
func (r *record) midnight(d int) time.Time {
	return r.Calendar.DayBegin(min(max(d, 0), r.Calendar.Days()))
}

// first is the first hour of day d, or the end of the hours.
func (r *record) first(d int) int {
	if d == r.Calendar.Days() {
		return r.Calendar.N
	}
	lo, _ := r.Calendar.Day(d)
	return lo
}

// noTime is the time of what was so before the data begin.
var noTime time.Time

// cold tells days in which snow may lie, by the mean of the air by day.
func (r *record) cold(from, to int) bool {
	sum, n := 0.0, 0
	for i := r.first(max(0, from-2)); i < r.first(to); i++ {
		if r.Sun.Up[i] > 0 {
			sum, n = sum+r.tempC[i], n+1
		}
	}
	return n > 0 && sum/float64(n) < coldC
}
