package sky

import (
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Rules of the path, measured on real roofs with days moved by hand.
const (
	pathStep   = 0.5   // hours between the lags that are tried
	pathReach  = 3     // hours either way
	pathHours  = 8.0   // hours of a day that err independently
	pathFloor  = 0.004 // of a day's misfit
	pathSwitch = 16.0  // cost of a change of lag, whatever its size
	pathDull   = 0.3   // of the season's top: duller days, and snow, tell no time
	pathCover  = 0.9   // of a day's lit hours must be read

	mergeDays  = 10  // stretches no further apart are one
	edgeDays   = 14  // judged days on either side of an edge
	edgeOne    = 0.6 // of an edge's jump that the array's own days must show at one end
	edgeAll    = 0.3 // and at the other
	edgeReach  = 45  // days
	edgeGather = 4   // judged days that make a profile
)

const pathLags = 2*pathReach/pathStep + 1

// clockPath is how late each day is beyond a clock of the whole record.
type clockPath struct {
	rel  []float64 // by day
	good []bool    // judged
	mode float64   // of most judged days
	data *Hourly
	base []float64 // by day, of the clock
}

// path finds the lags of the days.
//
//	e_d(l) = 1 - (sum P M_l)^2/(sum P^2 sum M_l^2);  C_d(l) = 8/2 ln(e_d(l) + 0.004)
//	path = argmin sum C_d(l_d) + 16 [l_d != l_{d-1}]
//
// Free of scale, so that level, dirt and output above the neighbors' say nothing
// of the clock. The logarithm makes a cloudy day weak without dropping it.
func (f *clockFit) path(c Clock) *clockPath {
	data := &f.set.data
	nd := data.Calendar.Days()
	p := &clockPath{data: data, good: data.tellTime(), base: make([]float64, nd)}
	for d := range p.base {
		p.base[d] = c.Late + float64(c.Summer*f.summer[d])
	}
	model := f.modelOf()
	half := halfHours(model)
	cost := make([][pathLags]float64, nd)
	for d := range cost {
		if !p.good[d] {
			continue
		}
		lo, hi := data.Calendar.Day(d)
		for k := range cost[d] {
			late := p.base[d] + float64(pathStep*float64(k)) - pathReach
			cost[d][k] = pathHours / 2 * samebits.Log(misfit(data.Wh[lo:hi], model, half, float64(lo)-late)+pathFloor)
		}
	}
	p.rel = cheapest(cost)
	p.mode = commonest(p.rel, p.good)
	return p
}

// modelOf is the output under clear skies over all hours.
func (f *clockFit) modelOf() []float64 {
	s := f.set
	h := s.data.Sun
	m := make([]float64, h.N)
	groups := slices.Clone(s.groups)
	for g := range groups {
		groups[g].Plane = f.at.planes[g]
		groups[g].prepare()
	}
	for i := range m {
		if h.Up[i] <= 0 {
			continue
		}
		l := litBy(h, i, s.haze.Clear(i, f.at.haze))
		for g := range groups {
			m[i] += max(0, groups[g].dcW(h, i, l, s.data.TempC[i]))
		}
		if s.others != nil {
			m[i] += s.others.Free(h, i, 1, s.data.TempC[i]) / s.watts
		}
	}
	return m
}

// halfHours is the model half an hour after each hour, between which and the
// next it lies.
func halfHours(model []float64) []float64 {
	half := make([]float64, len(model))
	for i := 1; i+2 < len(model); i++ {
		if m := model[i-1 : i+3]; m[0] != 0 || m[1] != 0 || m[2] != 0 || m[3] != 0 {
			half[i] = between(m, 1.5)
		}
	}
	return half
}

// misfit is 1 - cos^2 of a day's output against the model from a time on, which
// is a whole hour or a half: lags go by pathStep, and clocks of a record too.
func misfit(p, model, half []float64, from float64) float64 {
	k := int(math.Floor(from))
	if from != float64(k) {
		model = half
	}
	var pp, mm, pm float64
	for j := max(0, 1-k); j < min(len(p), len(model)-2-k); j++ {
		y, v := p[j], model[k+j]
		if y != y {
			continue
		}
		pp, mm, pm = pp+float64(y*y), mm+float64(v*v), pm+float64(y*v)
	}
	if pp <= 0 || mm <= 0 {
		return 1
	}
	return max(0, 1-pm*pm/(pp*mm))
}

// tellTime marks the days that tell the time: read throughout, neither dull nor
// under snow.
func (data *Hourly) tellTime() []bool {
	nd := data.Calendar.Days()
	good, energy := make([]bool, nd), make([]float64, nd)
	for d := range energy {
		lo, hi := data.Calendar.Day(d)
		lit, have := 0, 0
		for i := lo; i < hi; i++ {
			p := data.Wh[i]
			if p == p {
				energy[d] += p
			}
			if data.Sun.Up[i] > 0 {
				if lit++; p == p {
					have++
				}
			}
		}
		if good[d] = lit > 0 && float64(have) >= pathCover*float64(lit); !good[d] {
			energy[d] = math.NaN()
		}
	}
	top := RollingTop(energy)
	for d := range good {
		good[d] = good[d] && energy[d] > pathDull*top[d]
	}
	return good
}

// cheapest is the cheapest path of lags.
func cheapest(cost [][pathLags]float64) []float64 {
	n := len(cost)
	back := make([][pathLags]uint8, n)
	v := cost[0]
	for d := 1; d < n; d++ {
		b := 0
		for k := range v {
			if v[k] < v[b] {
				b = k
			}
		}
		from := v[b] + pathSwitch
		for k := range v {
			if back[d][k] = uint8(k); v[k] > from {
				back[d][k], v[k] = uint8(b), from
			}
			v[k] += cost[d][k]
		}
	}
	at := 0
	for k := range v {
		if v[k] < v[at] {
			at = k
		}
	}
	out := make([]float64, n)
	for d := n - 1; d >= 0; d-- {
		out[d] = float64(pathStep*float64(at)) - pathReach
		at = int(back[d][at])
	}
	return out
}

// commonest is the lag of most judged days.
func commonest(rel []float64, good []bool) float64 {
	var n [pathLags]int
	best := int(pathReach / pathStep)
	for d, v := range rel {
		if good[d] {
			n[int((v+pathReach)/pathStep)]++
		}
	}
	for k := range n {
		if n[k] > n[best] {
			best = k
		}
	}
	return float64(pathStep*float64(best)) - pathReach
}

// steady tells a path that leaves 0 on too few days for any clock: half an hour
// is what a register's azimuth may be off by.
func (p *clockPath) steady() bool {
	n := 0
	for d, v := range p.rel {
		if p.good[d] && math.Abs(v) >= clockOff {
			n++
		}
	}
	return n < clockRun
}

// stretches are the runs of days that stand off the rest, whose edges the
// array's own days confirm: a season creeps, a clock jumps.
func (p *clockPath) stretches() []Stretch {
	var out []Stretch
	for i := 0; i < len(p.rel); {
		j, n := i, 0
		for ; j < len(p.rel) && p.rel[j] == p.rel[i]; j++ {
			if p.good[j] {
				n++
			}
		}
		if math.Abs(p.rel[i]) >= clockOff && n >= clockRun {
			out = append(out, Stretch{i, j - 1, p.rel[i]})
		}
		i = j
	}
	out = merged(out)
	return slices.DeleteFunc(out, func(s Stretch) bool { return !p.holds(s) })
}

// merged joins neighboring stretches of like size.
func merged(all []Stretch) []Stretch {
	var out []Stretch
	for _, s := range all {
		if n := len(out); n > 0 && s.From-out[n-1].To <= mergeDays && math.Abs(s.Late-out[n-1].Late) <= pathStep {
			last := &out[n-1]
			a, b := float64(last.To-last.From+1), float64(s.To-s.From+1)
			last.Late = math.Round((float64(last.Late*a)+float64(s.Late*b))/(a+b)/pathStep) * pathStep
			last.To = s.To
			continue
		}
		out = append(out, s)
	}
	return out
}

// holds asks the array's own days at the edges of a stretch.
func (p *clockPath) holds(s Stretch) bool {
	judged := p.judged()
	low, high := math.Inf(1), math.Inf(-1)
	for _, d := range []int{s.From, s.To + 1} {
		if d <= judged[0]+3 || d >= judged[len(judged)-1]-3 {
			continue // the record's own end
		}
		before, after := max(d-2, 0), min(d+1, len(p.rel)-1)
		if math.Abs(p.rel[after]-p.rel[before]) < pathStep {
			return false // it comes or goes by small steps: the season
		}
		jump := p.rel[after] + p.base[after] - p.rel[before] - p.base[before]
		if shown := p.shown(judged, d); shown == shown && math.Abs(jump) >= pathStep {
			low, high = min(low, shown/jump), max(high, shown/jump)
		}
	}
	return math.IsInf(low, 1) || high >= edgeOne && low >= edgeAll
}

// jumps tells whether the array's days jump by some hours where summer time
// begins, and back where it ends.
func (p *clockPath) jumps(summer []float64, by float64) bool {
	judged := p.judged()
	var jumps []float64
	for d := 1; d < len(summer); d++ {
		if step := summer[d] - summer[d-1]; step != 0 {
			if shown := p.shown(judged, d); shown == shown {
				jumps = append(jumps, shown/(step*by))
			}
		}
	}
	return stat.Mean(jumps) >= edgeOne
}

// judged lists the days that tell the time.
func (p *clockPath) judged() (days []int) {
	for d, is := range p.good {
		if is {
			days = append(days, d)
		}
	}
	return days
}

// shown is the lag of the days from one on against those before it, by the
// array's own profile and no model; NaN: too few days.
func (p *clockPath) shown(judged []int, d int) float64 {
	at, _ := slices.BinarySearch(judged, d)
	before, after := judged[max(0, at-edgeDays):at], judged[at:min(len(judged), at+edgeDays)]
	if len(before) < edgeGather || len(after) < edgeGather || d-before[0] > edgeReach || after[len(after)-1]-d > edgeReach {
		return math.NaN()
	}
	a, b := p.profile(before), p.profile(after)
	best, least := 0.0, math.Inf(1)
	for k := range 4*2*pathReach + 1 {
		lag := float64(float64(k)/4) - pathReach
		var aa, bb, ab float64
		for j := range b {
			v := 0.0
			if t := float64(j) - lag; t >= 0 && t <= 23 {
				i := min(int(t), 22)
				v = a[i] + float64((t-float64(i))*(a[i+1]-a[i]))
			}
			aa, bb, ab = aa+float64(v*v), bb+float64(b[j]*b[j]), ab+float64(v*b[j])
		}
		if e := 1 - ab*ab/max(aa*bb, 1e-12); e < least {
			best, least = lag, e
		}
	}
	return best
}

// profile is the median share of each hour, by hours of UTC from the darkest on
// so that no day is cut.
func (p *clockPath) profile(days []int) (out [24]float64) {
	var by [24][]float64
	dark := int(math.Round(-p.data.Sun.Place.LongitudeDeg/15)) + 48 // midnight by the sun
	for _, d := range days {
		lo, hi := p.data.Calendar.Day(d)
		sum := 0.0
		for i := lo; i < hi; i++ {
			if v := p.data.Wh[i]; v == v {
				sum += v
			}
		}
		for i := lo; i < hi; i++ {
			if v := p.data.Wh[i]; v == v && sum > 0 {
				hour := int((p.data.Sun.Start + ingest.Hour(i)) % 24)
				by[((hour-dark)%24+24)%24] = append(by[((hour-dark)%24+24)%24], v/sum)
			}
		}
	}
	for h := range by {
		if out[h] = stat.MedianInPlace(by[h]); out[h] != out[h] {
			out[h] = 0
		}
	}
	return out
}
