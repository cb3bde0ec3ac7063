package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Calibration is what a site's clear days say of its array.
type Calibration struct {
	Ratio  []float64 // per day: measured over modelled at factor 1 where the day is clear; NaN elsewhere
	Factor float64   // robust level of the ratios; NaN: too few clear days
	N      int       // clear days
	SD     float64   // robust standard deviation of ln ratio over the clear days
}

// Rules of a clear day from hourly data: section 2.2, common practice.
const (
	clearWithin      = 0.10  // of the rolling 90th percentile of the ratio
	clearCorrelation = 0.99  // with the clear curve
	clearDeviation   = 0.10  // of the modules' watts, any single hour
	clearWindowDays  = 15    // either side
	minClearDays     = 5     // our choice: fewer give no factor
	clippedShare     = 0.97  // of the inverters' limit: counted as clipped (our choice, the recurring top is within 1 %, section 4.2)
	dayCoverage      = 0.95  // of a day's modelled energy must be measured
	minDayShare      = 0.005 // a day whose clear curve is below this many hours of full power says nothing (polar winter)
)

// Calibrate finds the clear days of a series and the factor that they show.
//
//	f = weighted median over clear days d of  sum P / sum M ,  hours below the limit only
//
// In:      the model and the hours; their sky is not asked.
// Out:     ratio by day, factor.
// Refuses: fewer than five clear days: Factor is NaN.
// Edges:   hours at the inverters' limit are left out of both sums; a step in the level leaves the factor at the level of most clear days.
// Source:  clear day for hourly data, methods 2.2 (common practice); calibration on clear, unclipped days 4.3 and 5.1.
// Cost:    one model hour a lit hour.
func Calibrate(m *Model, data Hourly) Calibration {
	nd := data.Calendar.Days()
	c := Calibration{Ratio: make([]float64, nd), Factor: math.NaN(), SD: math.NaN()}
	ratio := make([]float64, nd) // every day that has one
	shape := make([]bool, nd)    // the day's curve is a clear one
	energy := make([]float64, nd)
	var free [32]float64
	for d := 0; d < nd; d++ {
		ratio[d], c.Ratio[d] = math.NaN(), math.NaN()
		lo, hi := data.Calendar.Day(d)
		if hi-lo > len(free) {
			continue
		}
		ratio[d], energy[d], shape[d] = data.clearShape(m, lo, hi, free[:hi-lo])
	}
	top := RollingTop(ratio)
	var x, w []float64
	for d := range ratio {
		if shape[d] && math.Abs(ratio[d]/top[d]-1) <= clearWithin {
			c.Ratio[d] = ratio[d]
			x, w = append(x, ratio[d]), append(w, energy[d])
		}
	}
	c.N = len(x)
	if c.N < minClearDays {
		return c
	}
	c.Factor = stat.WeightedMedian(x, w)
	for i, v := range x {
		x[i] = math.Abs(samebits.Log(v / c.Factor))
	}
	c.SD = 1.4826 * stat.MedianInPlace(x)
	return c
}

// clearShape compares one day with its clear curve: the ratio of the energies,
// the modelled energy, and whether the curve fits.
func (data *Hourly) clearShape(m *Model, lo, hi int, free []float64) (ratio, energy float64, fits bool) {
	h, wh, tempC := data.Sun, data.Wh, data.TempC
	watts, limit := m.Watts(h.Start+ingest.Hour(lo)), clippedShare*m.LimitW(h.Start+ingest.Hour(lo))
	var all, measured, sumP, sumM float64
	for i := lo; i < hi; i++ {
		v := m.Free(h, i, 1, tempC[i])
		free[i-lo] = v
		all += v
		if p := wh[i]; p == p {
			measured += v
			if p < limit {
				sumP, sumM = sumP+p, sumM+v
			}
		}
	}
	if all < minDayShare*24*watts || measured < dayCoverage*all || sumM < 0.2*all {
		return math.NaN(), 0, false
	}
	ratio = sumP / sumM
	if !(ratio > 0) {
		return ratio, sumM, false
	}
	var n, sx, sy, sxx, syy, sxy float64
	for i := lo; i < hi; i++ {
		p, v := wh[i], free[i-lo]
		if !(v > 0) || p != p || p >= limit {
			continue
		}
		if math.Abs(p-float64(ratio*v)) > clearDeviation*ratio*watts {
			return ratio, sumM, false
		}
		n, sx, sy, sxx, syy, sxy = n+1, sx+v, sy+p, sxx+float64(v*v), syy+float64(p*p), sxy+float64(v*p)
	}
	r := (float64(n*sxy) - float64(sx*sy)) / math.Sqrt((float64(n*sxx)-float64(sx*sx))*(float64(n*syy)-float64(sy*sy)))
	return ratio, sumM, n >= 4 && r > clearCorrelation
}

// RollingTop is the rolling 90th percentile of the daily ratios, 15 days to
// either side, renewed every third day.
func RollingTop(ratio []float64) []float64 {
	top := make([]float64, len(ratio))
	buf := make([]float64, 0, 2*clearWindowDays+1)
	for d := range ratio {
		if d%3 != 0 {
			continue
		}
		buf = stat.Present(buf, ratio[max(0, d-clearWindowDays):min(len(ratio), d+clearWindowDays+1)])
		v := math.NaN()
		if len(buf) > 0 {
			v = stat.QuantileInPlace(buf, 0.9)
		}
		for j := d; j < min(d+3, len(ratio)); j++ {
			top[j] = v
		}
	}
	return top
}

// Local gives, per day, the median ratio of the clear days within some weeks:
// how the level moved. NaN where there is none near.
func (c *Calibration) Local(reach int) []float64 {
	out := make([]float64, len(c.Ratio))
	buf := make([]float64, 0, 2*reach+1)
	for d := range out {
		if d%3 != 0 {
			out[d] = out[d-1]
			continue
		}
		buf = stat.Present(buf, c.Ratio[max(0, d-reach):min(len(c.Ratio), d+reach+1)])
		out[d] = math.NaN()
		if len(buf) > 0 {
			out[d] = stat.MedianInPlace(buf)
		}
	}
	return out
}
