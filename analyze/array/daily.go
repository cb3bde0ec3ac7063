package array

import (
	"math"
	"time"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// day is one day of the site's calendar.
type day struct {
	measured, expected float64 // over the hours that have both
	full               float64 // expected over all hours whose sky is known
	light, known       float64 // light, and clear-sky light, over the hours whose sky is known
	clear              float64 // clear-sky light of all hours
	open, openDue      float64 // measured and expected over the hours whose direction is not shaded
	low                float64 // of openDue, what a skyline of strength 1 would take
	zero               float64 // part of expected that fell in hours without output
	aside              bool    // meter dead, snow, outage: not for the level
}

// Rules of a usable day, our choice.
const (
	dayMinCover = 0.7  // of the expected energy must have been measured
	dayMinSky   = 0.10 // darker days than this share of a clear one say little of the array
	levelMinSky = 0.30 // and the level is taken on brighter ones
)

// usable tells whether the day says anything of the array.
func (d *day) usable() bool {
	return d.full > 0 && d.expected >= dayMinCover*d.full && d.bright() >= dayMinSky && d.known >= dayMinCover*d.clear
}

// bright is the day's light over a clear day's.
func (d *day) bright() float64 {
	if d.known <= 0 {
		return 0
	}
	return d.light / d.known
}

// index is measured over expected; NaN where the day says too little.
func (d *day) index() float64 {
	if !d.usable() {
		return math.NaN()
	}
	return d.measured / d.expected
}

// level is the index over the hours whose direction is free; NaN on days too
// dark or too gappy to tell the array's level.
func (d *day) level() float64 {
	if !d.usable() || d.aside || d.bright() < levelMinSky || d.openDue < 0.3*d.expected {
		return math.NaN()
	}
	return d.open / d.openDue
}

// sumDays works out every day under the present factor.
func (s *study) sumDays() {
	h := s.in.Sun
	if s.out.ExpectedWh == nil {
		s.out.ExpectedWh = make([]float64, h.N)
	}
	for d := range s.day {
		t := &s.day[d]
		aside := t.aside
		*t = day{aside: aside}
		for i := s.days[d]; i < s.days[d+1]; i++ {
			e := 0.0
			if h.ClearGHI[i] > 0 {
				e = s.model.WattHours(h, i, s.k[i], s.temp[i], s.factorAt(d))
				t.clear += h.ClearGHI[i]
				if k := s.k[i]; k == k {
					t.light, t.known = t.light+k*h.ClearGHI[i], t.known+h.ClearGHI[i]
				}
			}
			s.out.ExpectedWh[i] = e
			if !(e > 0) { // night, or the sky is not known
				continue
			}
			t.full += e
			if p := s.wh[i]; p == p {
				t.measured += p
				t.expected += e
				if p < zeroShare*e {
					t.zero += e
				}
				if s.masked == nil || !s.masked[i] {
					t.open, t.openDue = t.open+p, t.openDue+e
					t.low += e * beamPart(s.k[i]) * sq(1-h.Up[i])
				}
			}
		}
	}
}

// factorAt is the factor of day d: modules that the register does not know
// raise it from the day they came.
func (s *study) factorAt(d int) float64 {
	if s.grown > 0 && d >= s.grownOn {
		return s.factor * (1 + s.grown)
	}
	return s.factor
}

// beamPart is roughly the beam's part of the light under a sky (our choice: no
// beam below K = 0.3, full beam from 0.9 on).
func beamPart(k float64) float64 { return min(1, max(0, (k-0.3)/0.6)) }

func sq(x float64) float64 { return x * x }

// zeroShare is the share of the expected energy below which an hour counts as
// without output (our choice).
const zeroShare = 0.02

// freeRatio is the median over days of measured over modelled before the
// limits, hours below the limits only.
func (s *study) freeRatio() float64 {
	h := s.in.Sun
	var x, w []float64
	for d := range s.day {
		if !s.day[d].usable() || s.day[d].aside || s.day[d].zero > 0.2*s.day[d].expected {
			continue
		}
		var p, m float64
		for i := s.days[d]; i < s.days[d+1]; i++ {
			v, e := s.wh[i], s.out.ExpectedWh[i]
			if !(e > 0) || v != v {
				continue
			}
			limit := s.model.LimitW(h.Start + ingest.Hour(i))
			if v < 0.95*limit && e < 0.95*limit {
				p += v
				m += e / s.factorAt(d) // below the limit expected is factor times free
			}
		}
		if m > 0.3*s.day[d].expected/s.factorAt(d) {
			x, w = append(x, p/m), append(w, m)
		}
	}
	if len(x) < minIndexDays/2 {
		return math.NaN()
	}
	return stat.WeightedMedian(x, w)
}

// midnight is the local midnight at which day d begins.
func (s *study) midnight(d int) time.Time {
	d = min(max(d, 0), len(s.days)-1)
	t := s.localTime(s.days[d])
	y, m, dd := t.Date()
	return time.Date(y, m, dd, 0, 0, 0, 0, t.Location())
}

// noTime is the time of what was so before the data begin.
var noTime time.Time

// localTime is the beginning of hour i by the site's clock.
func (s *study) localTime(i int) time.Time {
	t := (s.in.Series.Start + ingest.Hour(i)).Time()
	if s.in.Site.Location != nil {
		t = t.In(s.in.Site.Location)
	}
	return t
}
