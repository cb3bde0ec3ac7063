package array

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// lived is the report year's sun, sky and air, hour by hour and without holes.
type lived struct {
	sun     *sun.Hours
	k, temp []float64
	more    []float64 // diffuse light beyond what K tells, a share
	filled  float64   // share of the year's daylight whose sky is not known
}

// lived gathers sun, sky and air over the report year; hours whose sky is not
// known get the mean of their month.
func (v *view) lived() (y lived, say said) {
	w := v.Window
	y.sun = sunOver(v.Sun, w)
	y.k, y.more, y.temp = make([]float64, w.N), make([]float64, w.N), sky.Temperature(nil, y.sun)
	mean := monthlyK(v.Sun, v.Sky.K)
	filled, lit := 0, 0
	for j := range y.k {
		i := int(w.Start-v.Series.Start) + j
		y.k[j] = math.NaN()
		if i >= 0 && i < v.Sun.N {
			y.k[j], y.more[j], y.temp[j] = v.livedK(i), v.Sky.More(i), v.tempC[i]
		}
		if y.sun.ClearGHI[j] <= 0 {
			continue
		}
		lit++
		if math.IsNaN(y.k[j]) {
			filled++
			y.k[j] = mean[(w.Start+ingest.Hour(j)).Time().Month()-1]
		}
	}
	if lit > 0 {
		y.filled = float64(filled) / float64(lit)
	}
	if lit > 0 && float64(filled) > 0.05*float64(lit) {
		say.caveat("sky_filled", fmt.Sprintf("the sky of %.0f %% of the year's daylight is not known: the month's mean is used instead", 100*float64(filled)/float64(lit)))
	}
	return y, say
}

// sunOver takes the window's part of the sun, or computes it where the data do
// not reach.
func sunOver(h *sun.Hours, w ingest.Window) *sun.Hours {
	if w.Start >= h.Start && w.Start+ingest.Hour(w.N) <= h.Start+ingest.Hour(h.N) {
		return h.Slice(w.Start, w.N)
	}
	return sun.NewHours(h.Place, w.Start, w.N, sun.SkyModel{})
}

// livedK is the sky of hour i as it was lived. For a site alone it is its own
// word: read with the factor of most of its clear days, and so a little too
// bright for the healthy factor, which is that of the best ones. Where the two
// lie further apart than haze explains, the array was sick for most of the
// time, and its word has been given its level back already.
func (v *view) livedK(i int) float64 {
	k := v.Sky.K[i]
	if !v.alone || k != k {
		return k
	}
	if r := v.Sky.SelfFactor / v.factor; math.Abs(samebits.Log(r)) <= aloneLoss {
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
			sumK[month], sumC[month] = sumK[month]+float64(k[i]*c), sumC[month]+c
			all, allC = all+float64(k[i]*c), allC+c
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

// year works out what the registered array, with what was added, would have
// made in the report year as mended.
func (r *Result) year(v view) {
	r.YearWh = make([]float64, v.Window.N)
	y, f := &r.candidate.lived, v.factor*(1+v.grown)
	for j := range r.YearWh {
		r.YearWh[j] = v.model.Under(y.sun, j, y.k[j], y.more[j], y.temp[j], f)
		r.ExpectedKWhYr += r.YearWh[j] / 1000
	}
}

// price puts kWh a year to the faults and sums what mending gives back.
//
// Losses add up: those of the report year, clipping apart, are together no more
// than what the array should have made in it less what it made, and those of a
// year to come no more than what is left to lose once they are taken one after
// the other. Clipping is measured against larger inverters: the expectation has
// it already. Where the sum is larger every loss shrinks alike.
func (r *Result) price(w ingest.Window) {
	year := r.ExpectedKWhYr
	left := 1.0 // of the output, after the faults counted so far
	for i := range r.Faults {
		f := &r.Faults[i]
		if f.KWhYr > 0 { // counted hour by hour
			f.AheadKWhYr = f.KWhYr
		} else if f.LossPct > 0 {
			until := f.Until
			if f.Live {
				until = (w.Start + ingest.Hour(w.N)).Time()
				f.AheadKWhYr = f.LossPct / 100 * year
			}
			f.KWhYr = f.LossPct / 100 * year * shareOfYear(w, f.On, until)
		}
		if !f.Live {
			f.AheadKWhYr = 0
		}
		if f.Live && f.Repairable {
			left *= 1 - f.LossPct/100
		}
	}
	r.ShortfallKWhYr = (1 - left) * year
	if index := r.ProductionIndex; index == index {
		r.MeasuredKWhYr = float64(index * year)
		r.shrink(max(0, year-r.MeasuredKWhYr), func(f *Fault) *float64 { return &f.KWhYr })
	}
	r.shrink(year, func(f *Fault) *float64 { return &f.AheadKWhYr })
	r.shrink(r.ShortfallKWhYr, func(f *Fault) *float64 {
		if f.Repairable {
			return &f.AheadKWhYr
		}
		return new(float64)
	})
}

// shrink makes the faults' losses, clipping apart, add up to no more than most.
func (r *Result) shrink(most float64, of func(*Fault) *float64) {
	sum := 0.0
	for i := range r.Faults {
		if f := &r.Faults[i]; f.Code != Clipping {
			sum += *of(f)
		}
	}
	for i := range r.Faults {
		if f := &r.Faults[i]; f.Code != Clipping && sum > most {
			*of(f) *= most / sum
		}
	}
}

// shareOfYear is how much of the report year lies between two times.
func shareOfYear(w ingest.Window, from, to time.Time) float64 {
	start := w.Start.Time()
	end := (w.Start + ingest.Hour(w.N)).Time()
	if from.Before(start) {
		from = start
	}
	if to.After(end) {
		to = end
	}
	if !to.After(from) || w.N == 0 {
		return 0
	}
	return to.Sub(from).Hours() / float64(w.N)
}
