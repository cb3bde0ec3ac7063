package array

import (
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
)

// Rules of a site that is its own sky, our choice.
const (
	aloneDarkK  = 0.4  // the sky granted to days without any output: duller than most days
	aloneFew    = 12   // clear days a year below which the days that look clear must do
	aloneTop    = 0.9  // of the rolling top of what days make of a clear one: clear, where only sums are metered
	aloneSmooth = 0.35 // of the days that look clear, those that must do
	aloneShade  = 0.9  // and those that a shadow is looked for on, which medians keep straight
	aloneEdge   = 5    // points on either side of an edge
	aloneLeast  = 8    // points of a drop, and of a season
	aloneFewest = 3    // and at the least
	aloneReach  = 40   // days within which they must lie
	aloneSharp  = 0.6  // of the loss that must show there: haze and seasons creep
	aloneSlide  = 0.4  // of a slide, against the same weeks of earlier years
	aloneSure   = 0.6  // of a loss
	aloneFresh  = 60   // days that a step that lasts has lasted
	aloneGrown  = 90   // days before growth of which no edge tells
	aloneLong   = 150  // days of a drop without an edge that tells: longer than a season
	aloneSeason = 45   // days about the same date
)

// lookAlone makes the sky that a site without neighbors is judged by.
//
// Judged by its own light, an array would always be as it should be. What is
// left is the envelope of its clear days: there K is 1 by definition, and days
// that are not clear say nothing. So a step, a slide and a shadow can still be
// seen; haze and a slow loss of level cannot be told apart, which the sky's own
// caveat says. Days without any output take an ordinary sky, so that an outage
// is seen. An array whose curve is never that of a clear day, for a shadow or a
// ceiling, is read on the days that look clear for its own.
func lookAlone(v view) (view, said) {
	if !v.alone {
		return v, said{}
	}
	data := v.hourly(nil)
	cal := sky.Calibrate(v.model, data)
	clear := make([]bool, len(v.day))
	for d := range clear {
		clear[d] = cal.Ratio[d] == cal.Ratio[d]
	}
	if 365*cal.N < aloneFew*len(v.day) {
		clear = data.LooksClear(aloneSmooth)
	}
	return v.under(clear), said{}
}

// under is the view under the sky of a lone array's clear days.
func (v view) under(clear []bool) view {
	v.k = make([]float64, v.Sun.N)
	for d := range v.day {
		k := math.NaN()
		switch {
		case clear[d]:
			k = 1
		case v.silentDay(d):
			k = aloneDarkK
		}
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			v.k[i] = k
		}
	}
	return v
}

// lookAloneByDay is lookAlone for sums of days: a day is clear where it makes as
// much of a clear day's light as the best of the weeks around. What the other
// days make beside them is the sky that the site lived under.
func lookAloneByDay(v view) view {
	ratio := make([]float64, len(v.day))
	lived := unknown(v.Sun.N)
	for d := range ratio {
		sum, due := 0.0, 0.0
		for i, hi := v.Calendar.Day(d); i < hi; i++ {
			sum += v.wh[i]
			if v.Sun.Up[i] > 0 {
				due += v.model.Free(v.Sun, i, 1, v.tempC[i])
			}
		}
		if ratio[d] = math.NaN(); due > 0 {
			ratio[d] = sum / due
		}
	}
	top := sky.RollingTop(ratio)
	clear := make([]bool, len(ratio))
	for d, x := range ratio {
		if clear[d] = x > 0 && x >= aloneTop*top[d]; x == x && top[d] > 0 {
			for i, hi := v.Calendar.Day(d); i < hi; i++ {
				lived[i] = min(aloneMostK, x/top[d])
			}
		}
	}
	own := *v.record
	own.Sky.K, own.Sky.Source = lived, sky.FromSelf
	own.alone = true
	v.record = &own
	return v.under(clear)
}

// silentDay tells a day whose daylight hours were all measured and all empty.
func (v *view) silentDay(d int) bool {
	lit := 0
	for i, hi := v.Calendar.Day(d); i < hi; i++ {
		if v.Sun.Up[i] <= 0 {
			continue
		}
		lit++
		if !(v.wh[i] <= 1) {
			return false
		}
	}
	return lit > 0
}

// surely tells whether a loss of an array that is its own sky is more than a
// dull month or a hazy season: a step must be sharp where it comes and where it
// goes and lie below the same dates of other years, as far as there are days
// that tell; a slide must show against the same weeks of earlier years.
func surely(v *view, p points, d drop, lost float64) bool {
	if !v.alone {
		return true
	}
	if n := d.to - d.from; d.from > 0 && (n < aloneLeast || p.certainty(lost, n) < aloneSure) {
		return false
	}
	if d.to == len(p.x) && !d.slid && p.day[d.to-1]-p.day[d.from] < aloneFresh {
		return false
	}
	if d.from == 0 && p.day[d.to-1]-p.day[0] < aloneGrown {
		return false
	}
	if d.slid {
		return p.earlierYears(d.to) <= -aloneSlide*lost
	}
	first, last, years := p.edge(d.from), -p.edge(d.to), p.otherYears(d)
	for _, change := range []float64{first, last, years} {
		if change > -aloneSharp*lost {
			return false
		}
	}
	edges, long := first == first || last == last, years == years && p.day[d.to-1]-p.day[d.from] >= aloneLong
	return edges || long || d.from == 0 && !v.dated()
}

// surelyGrew tells whether a rise of an array that is its own sky is more than a
// season: it is sharp, and a season lies before it.
func surelyGrew(v *view, p points, at int, gain float64) bool {
	if !v.alone {
		return true
	}
	edge := p.edge(at)
	return p.day[at]-p.day[0] >= aloneGrown && edge >= aloneSharp*gain
}

// otherYears is the level of a drop's days against that of the same dates a year
// before and after; NaN where there are too few of them.
func (p *points) otherYears(d drop) float64 {
	inside := map[int]bool{} // days of the year, in tens
	for i := d.from; i < d.to; i++ {
		inside[p.day[i]%365/10] = true
	}
	var other []float64
	for i := range p.x {
		if (i < d.from || i >= d.to) && inside[p.day[i]%365/10] {
			other = append(other, p.x[i])
		}
	}
	if len(other) < aloneFewest {
		return math.NaN()
	}
	return stat.Median(p.x[d.from:d.to]) - stat.Median(other)
}

// edge is the change of the level at a point, from the points close to it; NaN
// at the record's ends and where there are too few.
func (p *points) edge(at int) float64 {
	if at <= 0 || at >= len(p.x) {
		return math.NaN()
	}
	before, after := p.x[max(0, at-aloneEdge):at], p.x[at:min(len(p.x), at+aloneEdge)]
	for len(before) > 0 && p.day[at]-p.day[at-len(before)] > aloneReach {
		before = before[1:]
	}
	for len(after) > 0 && p.day[at+len(after)-1]-p.day[at] > aloneReach {
		after = after[:len(after)-1]
	}
	if len(before) < aloneFewest || len(after) < aloneFewest {
		return math.NaN()
	}
	return stat.Median(after) - stat.Median(before)
}

// earlierYears is the level of the last points before one against that of the
// same season in the first year that has it; 0 where none has.
func (p *points) earlierYears(to int) float64 {
	var now, then []float64
	last := p.day[to-1]
	for i := range p.x[:to] {
		switch ago := last - p.day[i]; {
		case ago <= aloneSeason:
			now = append(now, p.x[i])
		case ago > 365-aloneSeason && (ago%365 <= aloneSeason || ago%365 >= 365-aloneSeason) && len(then) < aloneLeast:
			then = append(then, p.x[i])
		}
	}
	if len(now) < aloneFewest || len(then) < aloneFewest {
		return 0
	}
	return stat.Median(now) - stat.Median(then)
}
