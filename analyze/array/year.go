package array

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// year works out the report year, hour by hour and without holes, and the
// months of the data.
func (s *study) year() {
	s.window()
	s.out.YearWh = make([]float64, s.in.Window.N)
	f := s.todaysFactor()
	c := &s.out.candidate
	for j := range s.out.YearWh {
		s.out.YearWh[j] = s.model.WattHours(c.sun, j, c.k[j], c.temp[j], f)
		s.out.ExpectedKWhYr += s.out.YearWh[j] / 1000
	}
	s.months()
}

// todaysFactor is the healthy factor with what was added.
func (s *study) todaysFactor() float64 { return s.factor * (1 + s.grown) }

// window gathers sun, sky and air over the report year; hours whose sky is not
// known get the mean of their month.
func (s *study) window() {
	in, w := s.in, s.in.Window
	c := &s.out.candidate
	c.placeFrom(in.Sun, w)
	c.k, c.temp = make([]float64, w.N), make([]float64, w.N)
	mean := monthlyK(in.Sun, in.Sky.K)
	filled, lit := 0, 0
	air := sky.Temperature(nil, c.sun)
	for j := 0; j < w.N; j++ {
		i := int(w.Start-in.Series.Start) + j
		c.temp[j] = air[j]
		c.k[j] = math.NaN()
		if i >= 0 && i < in.Sun.N {
			c.k[j], c.temp[j] = s.livedK(i), s.temp[i]
		}
		if c.sun.ClearGHI[j] <= 0 {
			continue
		}
		lit++
		if math.IsNaN(c.k[j]) {
			filled++
			c.k[j] = mean[(w.Start+ingest.Hour(j)).Time().Month()-1]
		}
	}
	if lit > 0 {
		c.filled = float64(filled) / float64(lit)
	}
	if lit > 0 && float64(filled) > 0.05*float64(lit) {
		s.caveat("sky_filled", fmt.Sprintf("the sky of %.0f %% of the year's daylight is not known: the mean of the month stands in", 100*float64(filled)/float64(lit)))
	}
}

// livedK is the sky of hour i as it was lived. For a site alone it is its own
// word: read with the factor of most of its clear days, and so a little too
// bright for the healthy factor, which is that of the best ones. Where the two
// lie further apart than haze explains, the array was sick for most of the
// time, and its word has been given its level back already.
func (s *study) livedK(i int) float64 {
	k := s.in.Sky.K[i]
	if !s.alone || k != k {
		return k
	}
	if r := s.in.Sky.SelfFactor / s.factor; math.Abs(math.Log(r)) <= aloneLoss {
		k *= r
	}
	return min(aloneMostK, k)
}

// aloneMostK caps what a bright hour of one array may say.
const aloneMostK = 1.15

// usualK is the mean sky of nowhere in particular (our choice; only where
// nothing at all is known).
const usualK = 0.7

// monthlyK is the mean K of each month, weighted by clear light.
func monthlyK(h *sun.Hours, k []float64) (mean [12]float64) {
	var sumK, sumC [12]float64
	var all, allC float64
	month := 0
	for i := range k {
		if i%24 == 0 {
			month = int((h.Start + ingest.Hour(i)).Time().Month()) - 1
		}
		if c := h.ClearGHI[i]; c > 0 && k[i] == k[i] {
			sumK[month], sumC[month] = sumK[month]+k[i]*c, sumC[month]+c
			all, allC = all+k[i]*c, allC+c
		}
	}
	for m := range mean {
		switch {
		case sumC[m] > 0:
			mean[m] = sumK[m] / sumC[m]
		case allC > 0:
			mean[m] = all / allC
		default:
			mean[m] = usualK
		}
	}
	return mean
}

// placeFrom takes the window's part of the sun, or computes it where the data
// do not reach.
func (c *candidateBasis) placeFrom(h *sun.Hours, w ingest.Window) {
	if w.Start >= h.Start && w.Start+ingest.Hour(w.N) <= h.Start+ingest.Hour(h.N) {
		c.sun = h.Slice(w.Start, w.N)
		return
	}
	c.sun = sun.NewHours(h.Place, w.Start, w.N, sun.SkyModel{})
}

// months sums the data by month of the site's calendar.
func (s *study) months() {
	var at Month
	var p, e, lit, have float64
	flush := func() {
		if at.First.IsZero() {
			return
		}
		if have == 0 {
			at.MeasuredKWh = math.NaN()
		}
		at.ProductionIndex = math.NaN()
		if e > 0.2*at.ExpectedKWh*1000 {
			at.ProductionIndex = p / e
		}
		if lit > 0 {
			at.CoveragePct = 100 * have / lit
		}
		s.out.Months = append(s.out.Months, at)
	}
	for d := range s.day {
		m := s.midnight(d)
		if at.First.IsZero() || m.Month() != at.First.Month() {
			flush()
			at = Month{First: time.Date(m.Year(), m.Month(), 1, 0, 0, 0, 0, m.Location())}
			p, e, lit, have = 0, 0, 0, 0
		}
		for i := s.days[d]; i < s.days[d+1]; i++ {
			ex, v := s.out.ExpectedWh[i], s.wh[i]
			if ex > 0 {
				at.ExpectedKWh += ex / 1000
			}
			if s.in.Sun.Up[i] > 0 {
				lit++
				if v == v {
					have++
				}
			}
			if v == v {
				at.MeasuredKWh += v / 1000
				if ex > 0 {
					p, e = p+v, e+ex
				}
			}
		}
	}
	flush()
}

// price puts kWh a year to the faults and sums what mending gives back.
func (s *study) price() {
	year := s.out.ExpectedKWhYr
	left := 1.0 // of the output, after the faults counted so far
	for i := range s.out.Faults {
		f := &s.out.Faults[i]
		if f.KWhYr == 0 && f.LossPct > 0 {
			f.KWhYr = f.LossPct / 100 * year
			if !f.Live {
				f.KWhYr *= s.shareOfYear(f.On, f.Until)
			}
		}
		if f.Live && f.Repairable {
			left *= 1 - f.LossPct/100
		}
	}
	s.out.ShortfallKWhYr = (1 - left) * year
	if v := s.out.ProductionIndex; v == v {
		s.out.MeasuredKWhYr = v * year
	}
}

// shareOfYear is how much of the report year lies between two times.
func (s *study) shareOfYear(from, to time.Time) float64 {
	start := s.in.Window.Start.Time()
	end := (s.in.Window.Start + ingest.Hour(s.in.Window.N)).Time()
	if from.Before(start) {
		from = start
	}
	if to.After(end) {
		to = end
	}
	if !to.After(from) || s.in.Window.N == 0 {
		return 0
	}
	return to.Sub(from).Hours() / float64(s.in.Window.N)
}

// trend is the drift of the index beyond its steps, ageing included.
func (s *study) trend() {
	var day []int
	var x, t []float64
	for d := range s.day {
		v := s.day[d].level()
		if v == v && v > 0.3 {
			day, x = append(day, d), append(x, v)
		}
	}
	if len(day) < 60 || day[len(day)-1]-day[0] < 365 {
		return
	}
	if y := stat.YearOnYear(day, x, 0.9, 200, stat.Seed(s.in.Site.ID)); y.Enough {
		s.setTrend(y.PctYr, y.Low, y.High)
		return
	}
	var w []float64
	for i := 0; i < len(x); i += 7 {
		j := min(len(x), i+7)
		w = append(w, stat.Median(x[i:j]))
		t = append(t, float64(day[i])/365.25)
	}
	ts := stat.TheilSen(t, w, 0.9)
	s.setTrend(100*ts.Slope, 100*ts.Low, 100*ts.High)
}

// setTrend adds the ageing that the model grants to every array, and to the
// interval what the sky of the fleet may drift by itself.
func (s *study) setTrend(rate, low, high float64) {
	widen := func(bound float64) float64 { return math.Hypot(bound-rate, 1.645*skyDriftPctYr) }
	s.out.TrendPctYr = rate - ageing
	s.out.TrendLow, s.out.TrendHigh = s.out.TrendPctYr-widen(low), s.out.TrendPctYr+widen(high)
}

// skyDriftPctYr is the standard deviation of the drift between one array and
// the sky that others tell (measured on invented fleets of 30 months: half the
// healthy arrays are off by 0.16, one in twenty by 0.5 %/yr and more).
const skyDriftPctYr = 0.3

const ageing = 100 * sky.AgeingPrior
