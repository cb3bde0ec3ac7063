package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// fitHour is one hour that the fit looks at.
type fitHour struct {
	i         int
	light     sun.Light
	tempC, wh float64
	known     float64 // modelled output of the arrays whose facing is given, factor 1
}

// fitSet is the days that the fit looks at.
type fitSet struct {
	h     *sun.Hours
	hours []fitHour
	first []int // first hour of each day, and the end
}

// newFitSet picks the days and splits their light once.
func newFitSet(data Hourly, site *ingest.Site, cat *ingest.Catalogue, groups []Group) *fitSet {
	h, wh, k := data.Sun, data.Wh, data.K
	fitted := map[string]bool{}
	limit, watts := 0.0, 0.0
	var from ingest.Hour
	for _, g := range groups {
		for _, id := range g.ArrayIDs {
			fitted[id] = true
		}
		limit, watts, from = limit+g.LimitW, watts+g.Watts, max(from, g.From)
	}
	others := *site
	others.Arrays = nil
	for _, a := range site.Arrays {
		if !fitted[a.ID] {
			others.Arrays = append(others.Arrays, a)
		}
	}
	known := NewModel(&others, cat, h, nil)
	end := h.Start + ingest.Hour(len(wh))
	if known != nil {
		limit, watts = limit+known.LimitW(end), watts+known.Watts(end)
	}
	set := &fitSet{h: h}
	for _, d := range fitDaysOf(data, from) {
		set.first = append(set.first, len(set.hours))
		for i, hi := data.Calendar.Day(d); i < hi; i++ {
			p := wh[i]
			sky := 1.0
			if k != nil {
				sky = k[i]
			}
			if p != p || sky != sky || h.Up[i] < gateUp || p >= clippedShare*limit {
				continue
			}
			fh := fitHour{i: i, tempC: data.TempC[i], wh: p / watts}
			fh.light = light(h, i, sky)
			if known != nil {
				fh.known = known.Free(h, i, sky, data.TempC[i]) / watts
			}
			set.hours = append(set.hours, fh)
		}
	}
	set.first = append(set.first, len(set.hours))
	for i := range groups {
		groups[i].Watts /= watts
	}
	return set
}

// fitDaysOf picks up to fitDays days. With a known sky: bright days on which
// the arrays around agree. Without: full days with much energy and the
// smoothest curves of their season.
func fitDaysOf(data Hourly, from ingest.Hour) []int {
	h, nd := data.Sun, data.Calendar.Days()
	energy, rough := make([]float64, nd), make([]float64, nd)
	for d := range energy {
		energy[d], rough[d] = math.NaN(), math.NaN()
		if lo, hi := data.Calendar.Day(d); h.Start+ingest.Hour(lo) >= from && hi-lo >= 23 {
			energy[d], rough[d] = data.dayShape(lo, hi)
		}
	}
	top := rollingTop(energy)
	type cand struct {
		d     int
		rough float64
	}
	var all []cand
	for d := range energy {
		if energy[d] >= fitEnergy*top[d] && energy[d] > 0 && rough[d] == rough[d] {
			all = append(all, cand{d, rough[d]})
		}
	}
	// the smoothest of each stretch of days, so that every season speaks
	slots := fitDays
	span := max(1, (nd+slots-1)/slots)
	best := map[int]cand{}
	var order []float64
	for _, c := range all {
		order = append(order, c.rough)
		if b, ok := best[c.d/span]; !ok || c.rough < b.rough {
			best[c.d/span] = c
		}
	}
	limit := stat.Quantile(order, fitRoughness)
	var out []int
	for s := 0; s <= nd/span; s++ {
		if c, ok := best[s]; ok && (c.rough <= limit || len(all) < 2*minFitDays) {
			out = append(out, c.d)
		}
	}
	return out
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

// model fills m with the output of a group on a plane, factor 1, as new.
func (s *fitSet) model(g *Group, p sun.Plane, m []float64) {
	one := *g
	one.Plane = p
	one.prepare()
	for j := range s.hours {
		fh := &s.hours[j]
		m[j] = max(0, one.dcW(s.h, fh.i, fh.light, fh.tempC))
	}
}

// cost is the sum of the doc comment of Facings, over the number of hours.
func (s *fitSet) cost(m, level []float64) float64 {
	sum := 0.0
	nd := len(s.first) - 1
	for d := 0; d < nd; d++ {
		var mm, pm, pp float64
		for j := s.first[d]; j < s.first[d+1]; j++ {
			p, v := s.hours[j].wh, m[j]
			mm, pm, pp = mm+float64(v*v), pm+float64(p*v), pp+float64(p*p)
		}
		level[d] = 0
		if mm > 0 {
			level[d] = pm / mm
			sum += (pp - pm*pm/mm) / (fitNoise * fitNoise)
		}
	}
	f := stat.Median(level[:nd])
	if !(f > 0) {
		return math.Inf(1)
	}
	for d := 0; d < nd; d++ {
		sum += min(fitCap, sq((level[d]-f)/(fitHaze*f)))
	}
	return sum / float64(len(s.hours))
}
