package sky

import (
	"math"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// lagReach is how many hours to either side of a day the model is worked out,
// so that a clock can be moved and the hours between interpolated.
const lagReach = 5

// fitDay is one clear day as a fit compares it with planes.
type fitDay struct {
	d, lo, n int       // the day, its first hour and how many it has
	off      int       // of its first model hour, lagReach before lo, in the buffers
	y, w     []float64 // output over the modules' watts; how far each hour counts
	peak     float64
	cos, sin float64 // of the season
	late     float64 // hours by which its readings are late
}

// fitHour is one lit hour of the model.
type fitHour struct {
	i, at int // of the sun's table, of the buffers
	light lit
	tempC float64
}

// fitSet is the days that a facing or a clock is read off.
type fitSet struct {
	data   Hourly
	groups []Group // whose planes are sought; watts as a share of all
	days   []fitDay
	hours  []fitHour
	known  []float64 // by model hour: output of the arrays whose facing is given
	haze   sun.Haze
	now    float64 // turbidity beyond the usual that hours hold

	limit, watts float64
	others       *Model
}

// newFitSet readies the arrays; days are picked apart.
func newFitSet(data Hourly, site *ingest.Site, cat *ingest.Catalogue, groups []Group) *fitSet {
	s := &fitSet{data: data, haze: data.Sun.Haze()}
	fitted := map[string]bool{}
	for _, g := range groups {
		for _, id := range g.ArrayIDs {
			fitted[id] = true
		}
		s.limit, s.watts = s.limit+g.LimitW, s.watts+g.Watts
	}
	others := *site
	others.Arrays = nil
	for _, a := range site.Arrays {
		if !fitted[a.ID] {
			others.Arrays = append(others.Arrays, a)
		}
	}
	s.others = NewModel(&others, cat, data.Sun, nil)
	end := data.Sun.Start + ingest.Hour(data.Sun.N)
	if s.others != nil {
		s.limit, s.watts = s.limit+s.others.LimitW(end), s.watts+s.others.Watts(end)
	}
	if math.IsInf(s.limit, 1) {
		if top := FlatTop(data.Wh); top == top {
			s.limit = top
		}
	}
	s.groups = append([]Group(nil), groups...)
	for i := range s.groups {
		s.groups[i].Watts /= s.watts
	}
	return s
}

// pick lays out the days of a fit, each with the hours by which it is late.
func (s *fitSet) pick(days []int, late func(d int) float64) {
	h := s.data.Sun
	s.days, s.hours = nil, nil
	off := 0
	for _, d := range days {
		lo, hi := s.data.Calendar.Day(d)
		day := fitDay{d: d, lo: lo, n: hi - lo, off: off, late: late(d)}
		for i := max(0, lo-lagReach); i < min(h.N, hi+lagReach); i++ {
			if k := s.skyAt(i); h.Up[i] > 0 && k == k {
				s.hours = append(s.hours, fitHour{i: i, at: off + i - lo + lagReach, tempC: s.data.TempC[i]})
			}
		}
		off += day.n + 2*lagReach
		s.measure(&day)
		s.days = append(s.days, day)
	}
	s.known = make([]float64, off)
	s.hazier(0)
	for j := range s.hours {
		f := &s.hours[j]
		if s.others != nil {
			s.known[f.at] = s.others.Free(h, f.i, s.skyAt(f.i), f.tempC) / s.watts
		}
	}
}

func (s *fitSet) skyAt(i int) float64 {
	if s.data.K == nil {
		return 1
	}
	return s.data.K[i]
}

// measure fills in what was read on a day. Light in the dark counts against a
// clock; hours at the inverters' limit tell nothing, nor do those whose sky is
// not known.
func (s *fitSet) measure(day *fitDay) {
	h, wh := s.data.Sun, s.data.Wh
	day.y, day.w = make([]float64, day.n), make([]float64, day.n)
	for j := range day.y {
		p := wh[day.lo+j]
		if p != p || p >= clippedShare*s.limit {
			continue
		}
		day.y[j] = p / s.watts
		day.peak = max(day.peak, day.y[j])
		if i := day.lo + j; s.skyAt(i) == s.skyAt(i) || h.Up[i] <= 0 {
			day.w[j] = 1
		}
	}
	number := float64(h.Start+ingest.Hour(day.lo)) / 24
	day.sin, day.cos = samebits.Sincos(2 * math.Pi * number / 365.25)
}

// hazier lays the light of another turbidity over the hours; with a known sky
// its own light stays.
func (s *fitSet) hazier(more float64) {
	if s.now == more && len(s.hours) > 0 && s.hours[0].light != (lit{}) {
		return
	}
	s.now = more
	for j := range s.hours {
		f := &s.hours[j]
		if s.data.K != nil {
			f.light = light(s.data.Sun, f.i, s.data.K[f.i], 0)
		} else {
			f.light = litBy(s.data.Sun, f.i, s.haze.Clear(f.i, more))
		}
	}
}

// model fills m with the output of a group on a plane, factor 1, as new.
func (s *fitSet) model(g *Group, p sun.Plane, m []float64) {
	one := *g
	one.Plane = p
	one.prepare()
	clear(m)
	for j := range s.hours {
		f := &s.hours[j]
		m[f.at] = max(0, one.dcW(s.data.Sun, f.i, f.light, f.tempC))
	}
}

// at reads a day's model as late as its readings are: hour j of the day.
func (day *fitDay) at(m []float64, j int) float64 {
	return between(m[day.off:], float64(j+lagReach)-day.late)
}

// between interpolates hourly means at a time of t hours, by a cubic through
// the four around it.
func between(m []float64, t float64) float64 {
	k := int(math.Floor(t))
	f := t - float64(k)
	if f == 0 {
		return m[k]
	}
	a, b, c, d := m[k-1], m[k], m[k+1], m[k+2]
	v := float64(a*(-f*(f-1)*(f-2)/6)) + float64(b*((f+1)*(f-1)*(f-2)/2)) + float64(c*(-(f+1)*f*(f-2)/2)) + float64(d*((f+1)*f*(f-1)/6))
	return max(0, v)
}
