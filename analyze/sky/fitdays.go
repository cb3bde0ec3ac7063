package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// Rules of the days that a fit looks at, our choice unless tagged.
const (
	fitDays      = 60   // days used at most, spread over the seasons
	minFitDays   = 8    // fewer give no facing
	fitEnergy    = 0.85 // of the rolling top of daily energies: may be clear
	fitRoughness = 0.35 // share of days kept: those with the smoothest curve
)

// candidate is a day that may be clear.
type candidate struct {
	d     int
	rough float64
}

// candidates are the full days with much energy for their season, each with how
// rough its curve is. With a known sky: bright days on which the arrays around
// agree.
func (data *Hourly) candidates(from ingest.Hour, use func(d int) bool) []candidate {
	nd := data.Calendar.Days()
	energy, rough := make([]float64, nd), make([]float64, nd)
	for d := range energy {
		energy[d], rough[d] = math.NaN(), math.NaN()
		if lo, hi := data.Calendar.Day(d); data.Sun.Start+ingest.Hour(lo) >= from && hi-lo >= 23 && use(d) {
			energy[d], rough[d] = data.dayShape(lo, hi)
		}
	}
	top := RollingTop(energy)
	var all []candidate
	for d := range energy {
		if energy[d] >= fitEnergy*top[d] && energy[d] > 0 && rough[d] == rough[d] {
			all = append(all, candidate{d, rough[d]})
		}
	}
	return all
}

// spreadOut takes the smoothest day of each stretch, so that every season
// speaks, and leaves the rough ones out.
func spreadOut(all []candidate, days int) []int {
	span := max(1, (days+fitDays-1)/fitDays)
	smoothest := map[int]candidate{}
	var order []float64
	for _, c := range all {
		order = append(order, c.rough)
		if b, ok := smoothest[c.d/span]; !ok || c.rough < b.rough {
			smoothest[c.d/span] = c
		}
	}
	limit := stat.Quantile(order, fitRoughness)
	var out []int
	for s := 0; s <= days/span; s++ {
		if c, ok := smoothest[s]; ok && (c.rough <= limit || len(all) < 2*minFitDays) {
			out = append(out, c.d)
		}
	}
	return out
}

// LooksClear marks the days that look clear for the array's own: much energy for
// their season and, of such curves, a share, the smoothest.
func (data *Hourly) LooksClear(share float64) []bool {
	all := data.candidates(0, func(int) bool { return true })
	rough := make([]float64, len(all))
	for i := range all {
		rough[i] = all[i].rough
	}
	limit := stat.Quantile(rough, share)
	clear := make([]bool, data.Calendar.Days())
	for _, c := range all {
		clear[c.d] = c.rough <= limit
	}
	return clear
}

// dayShape gives a day's energy and how rough its curve is: the sum of second
// differences over the top, least on a clear day. With a known sky the
// roughness is 1 - K instead. NaN where hours are missing.
func (data *Hourly) dayShape(lo, hi int) (energy, rough float64) {
	h, wh, k := data.Sun, data.Wh, data.K
	var top, bends, clear, sky float64
	for i := lo; i < hi; i++ {
		if h.ClearGHI[i] <= 0 {
			continue
		}
		if wh[i] != wh[i] {
			return math.NaN(), math.NaN()
		}
		energy += wh[i]
		top = max(top, wh[i])
		clear += h.ClearGHI[i]
		if k != nil {
			if k[i] != k[i] {
				return math.NaN(), math.NaN()
			}
			sky += float64(k[i] * h.ClearGHI[i])
			continue
		}
		if i > lo && i+1 < hi {
			bends += math.Abs(wh[i-1] - float64(2*wh[i]) + wh[i+1])
		}
	}
	if !(clear > 0) || !(top > 0) {
		return math.NaN(), math.NaN()
	}
	if k != nil {
		return sky / clear, math.Abs(1 - sky/clear)
	}
	return energy, bends / top
}
