package array

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
)

// Rules of steps: section 5.3's unless tagged.
const (
	minStepDays   = 14   // a loss must last
	minPassed     = 28   // and one that is over and was shallow, longer: weather (our choice)
	shallow       = 0.15 // a loss below this
	minSegment    = 5    // usable days of a segment (our choice)
	mergeStep     = 0.03 // steps smaller than this are one level (our choice)
	penaltyFactor = 3.0  // section 8.1
	maxPhi        = 0.6  // autocorrelation of days granted to weather (our choice)
	snowDipDays   = 60   // snow that comes and goes on one roof more than on others (our choice)
	rampBetter    = 0.85 // a ramp must leave this much less than a step to be called a decline (our choice)
)

// points are the days that tell the level, in order.
type points struct {
	day []int
	x   []float64
}

// segment is a run of points at one level.
type segment struct {
	from, to int // points, to exclusive
	mean     float64
}

// findSteps cuts the daily level into segments, finds the healthy level among
// them and names what lies below it.
func (s *study) findSteps() {
	p := s.levelPoints()
	if len(p.x) < 2*minSegment {
		return
	}
	segs := s.segments(p)
	ref := s.healthy(p, segs)
	if g := s.growth(p, segs, ref); g != nil {
		s.grownOn, s.grown = p.day[g.at], g.ratio-1
		s.out.Faults = append(s.out.Faults, s.grownFault(p, g))
		for i := g.at; i < len(p.x); i++ {
			p.x[i] /= g.ratio
		}
		segs = s.segments(p)
		ref = s.healthy(p, segs)
	}
	s.factor *= ref
	for i := range p.x {
		p.x[i] /= ref
	}
	for i := range segs {
		segs[i].mean /= ref
	}
	s.noise /= ref
	n := 0
	for i := range segs {
		if math.Abs(segs[i].mean-1) < mergeStep {
			n += segs[i].to - segs[i].from
		}
	}
	s.out.Factor, s.out.FactorSD = s.factor, s.factor*math.Hypot(s.noise/math.Sqrt(float64(max(1, n))/weatherRun), 0.01)
	s.sumDays()
	for _, e := range episodes(p, segs, s.opt.MinLossPct/100) {
		s.nameEpisode(p, segs, e)
	}
}

// weatherRun is how many days of weather err together (our choice: a week's
// weather is about three looks).
const weatherRun = 3

// levelPoints gathers the days and pulls stray ones in to three sigma of their
// neighbours: a cloud that stood over this roof alone is no step.
func (s *study) levelPoints() points {
	var p points
	for d := range s.day {
		if v := s.day[d].level(); v == v {
			p.day, p.x = append(p.day, d), append(p.x, v)
		}
	}
	s.noise = max(0.005, stat.NoiseSD(p.x))
	mid := rollingMedian(p.x, 5)
	for i := range p.x {
		p.x[i] = min(mid[i]+3*s.noise, max(mid[i]-3*s.noise, p.x[i]))
	}
	return p
}

func rollingMedian(x []float64, reach int) []float64 {
	out := make([]float64, len(x))
	buf := make([]float64, 0, 2*reach+1)
	for i := range x {
		buf = append(buf[:0], x[max(0, i-reach):min(len(x), i+reach+1)]...)
		out[i] = stat.MedianInPlace(buf)
	}
	return out
}

// segments cuts the points and joins levels that are alike.
func (s *study) segments(p points) []segment {
	slow := rollingMedian(p.x, 15)
	rest := make([]float64, len(p.x))
	for i := range rest {
		rest[i] = p.x[i] - slow[i]
	}
	phi := min(maxPhi, stat.Lag1(rest))
	cuts := stat.PELT(p.x, stat.StepPenalty(penaltyFactor, s.noise, len(p.x), phi), minSegment)
	var segs []segment
	from := 0
	for _, c := range append(cuts, len(p.x)) {
		segs = append(segs, segment{from, c, stat.Mean(p.x[from:c])})
		from = c
	}
	for len(segs) > 1 {
		at, least := -1, mergeStep
		for i := 1; i < len(segs); i++ {
			if d := math.Abs(segs[i].mean-segs[i-1].mean) / math.Max(segs[i].mean, segs[i-1].mean); d < least {
				at, least = i, d
			}
		}
		if at < 0 {
			break
		}
		a, b := segs[at-1], segs[at]
		segs[at-1] = segment{a.from, b.to, stat.Mean(p.x[a.from:b.to])}
		segs = slices.Delete(segs, at, at+1)
	}
	return segs
}

// healthy is the highest level that holds for a good part of the time: a
// month of usable days, or an eighth of them all where that is less.
func (s *study) healthy(p points, segs []segment) float64 {
	order := slices.Clone(segs)
	slices.SortStableFunc(order, func(a, b segment) int {
		switch {
		case a.mean > b.mean:
			return -1
		case a.mean < b.mean:
			return 1
		}
		return 0
	})
	need := min(20, max(8, len(p.x)/8))
	var x []float64
	for i, sg := range order {
		x = append(x, p.x[sg.from:sg.to]...)
		if len(x) < need {
			continue
		}
		// levels within the merging step of this one belong to it
		for _, o := range order[i+1:] {
			if o.mean > sg.mean*(1-mergeStep) {
				x = append(x, p.x[o.from:o.to]...)
			}
		}
		break
	}
	return stat.MedianInPlace(x)
}

// rise is a step up beyond what the register explains.
type rise struct {
	at    int // point
	ratio float64
}

// growth looks for modules that nobody entered: a lasting step up, from a
// level that fits the register to one that does not.
func (s *study) growth(p points, segs []segment, ref float64) *rise {
	const fits, beyond = 0.9, 1.1
	last := segs[len(segs)-1]
	for i := 1; i < len(segs); i++ {
		before, n := 0.0, 0
		for _, sg := range segs[:i] {
			before, n = before+sg.mean*float64(sg.to-sg.from), n+sg.to-sg.from
		}
		before /= float64(n)
		after := segs[i].mean
		usual := s.usualFactor() / s.factor // level of an array that is as registered
		if after/before > beyond && before > fits*usual && after > beyond*usual && n >= 10 &&
			last.to-segs[i].from >= 15 && lowest(segs[i:]) > before*(1+(beyond-1)/2) {
			return &rise{segs[i].from, after / before}
		}
	}
	return nil
}

func lowest(segs []segment) float64 {
	v := math.Inf(1)
	for _, sg := range segs {
		v = min(v, sg.mean)
	}
	return v
}

func (s *study) grownFault(p points, g *rise) Fault {
	lo, hi := stepRange(p.x, 0, g.at, len(p.x), s.noise)
	return Fault{Code: UnregisteredModules, On: s.midnight(p.day[g.at]), OnLow: s.midnight(p.day[lo]), OnHigh: s.midnight(p.day[hi]),
		LossPct: 0, Confidence: 0.9, Live: true,
		Says: fmt.Sprintf("output rose by %.0f %% and stayed: about %.1f kW more than the %.1f kW of the register",
			100*(g.ratio-1), (g.ratio-1)*s.out.CapacityKW, s.out.CapacityKW)}
}

// stepRange is the 90 % range of a change point: the places whose squared
// deviations exceed the least by no more than 2.71 noise variances
// (likelihood ratio; autocorrelation widens it through the noise of weather).
func stepRange(x []float64, from, at, to int, noise float64) (lo, hi int) {
	from, to = max(from, at-60), min(to, at+60)
	before, after := stat.Mean(x[from:at]), stat.Mean(x[at:to])
	sse := func(t int) float64 {
		v := 0.0
		for i := from; i < to; i++ {
			m := before
			if i >= t {
				m = after
			}
			v += (x[i] - m) * (x[i] - m)
		}
		return v
	}
	limit := sse(at) + 2.71*weatherRun*noise*noise
	lo, hi = at, at
	for lo-1 > from && sse(lo-1) <= limit {
		lo--
	}
	for hi+1 < to && sse(hi+1) <= limit {
		hi++
	}
	return max(lo-1, 0), hi
}

// episode is a run of segments below the healthy level.
type episode struct{ first, last int } // segments, last inclusive

// episodes finds the runs of segments that lie below 1 - least for two weeks
// or more, with what lies between and around them below half of that.
func episodes(p points, segs []segment, least float64) []episode {
	var out []episode
	for i := 0; i < len(segs); i++ {
		if segs[i].mean > 1-least/2 {
			continue
		}
		j := i
		for j+1 < len(segs) && segs[j+1].mean <= 1-least/2 {
			j++
		}
		deep, lost, n := 0, 0.0, 0
		for _, sg := range segs[i : j+1] {
			if sg.mean <= 1-least {
				deep += p.day[sg.to-1] - p.day[sg.from] + 1
			}
			lost, n = lost+(1-sg.mean)*float64(sg.to-sg.from), n+sg.to-sg.from
		}
		live := segs[j].to == len(p.x) && segs[j].mean <= 1-least
		days := minStepDays
		if !live && lost/float64(n) < shallow {
			days = minPassed
		}
		if deep >= days && (live || lost/float64(n) >= least) {
			out = append(out, episode{i, j})
		}
		i = j
	}
	return out
}

// nameEpisode turns a run below the healthy level into a fault: a step of
// k of n inverters, or a decline.
func (s *study) nameEpisode(p points, segs []segment, e episode) {
	from, to := segs[e.first].from, segs[e.last].to
	live := to == len(p.x)
	if !live && s.wasSnow(p.day[from], p.day[to]) {
		return
	}
	// the level that counts: the last one where it lasts, the usual one else
	loss := 1 - segs[e.last].mean
	if !live {
		loss = 1 - stat.Mean(p.x[from:to])
	}
	f := Fault{LossPct: 100 * loss, Live: live, Repairable: true}
	start := max(0, from-90)
	if ramp, on := isRamp(p, start, from, to); ramp && e.first > 0 {
		f.Code = Decline
		from = on
		f.Says = fmt.Sprintf("output slid down to %.0f %% below its healthy level", f.LossPct)
	} else {
		f.Code = InvertersDown
		f.Says = s.kOfN(loss)
	}
	f.On, f.OnLow, f.OnHigh = s.onset(p, segs, e, from)
	if !live {
		f.Until = s.midnight(p.day[to])
		f.Says += fmt.Sprintf("; back since %s", f.Until.Format("2006-01-02"))
	}
	f.Confidence = s.certainty(loss, to-from)
	s.out.Faults = append(s.out.Faults, f)
}

// wasSnow tells a dip of some weeks in the cold that went by itself.
func (s *study) wasSnow(from, to int) bool { return to-from <= snowDipDays && s.cold(from, to) }

// certainty is how sure a loss is: by its size in noise of the mean, and by
// how long it lasts. Our choice: 0.5 at three sigma, 0.95 at twelve.
func (s *study) certainty(loss float64, n int) float64 {
	z := loss / (s.noise * math.Sqrt(weatherRun/float64(max(1, n))))
	return min(0.98, max(0.3, 0.35+0.05*z))
}

// onset dates an episode.
func (s *study) onset(p points, segs []segment, e episode, from int) (on, lo, hi time.Time) {
	if e.first == 0 && from == 0 {
		return time.Time{}, time.Time{}, time.Time{} // since before the data
	}
	l, h := stepRange(p.x, min(segs[max(0, e.first-1)].from, max(from, 1)-1), max(from, 1), segs[e.last].to, s.noise)
	// the fault began after the last healthy day before it
	day := p.day[from]
	if from > 0 && p.day[from]-p.day[from-1] > 1 {
		day = (p.day[from-1] + 1 + p.day[from]) / 2 // days between told nothing
	}
	return s.midnight(day), s.midnight(p.day[l]), s.midnight(p.day[h])
}

// isRamp compares a step with a straight slide over the points from start to
// to, both fitted by least squares, and dates the slide's beginning.
func isRamp(p points, start, from, to int) (ramp bool, on int) {
	if to-from < 15 || from-start < 5 {
		return false, from
	}
	x := p.x[start:to]
	day := p.day[start:to]
	best := math.Inf(1)
	for t := 1; t < len(x)-minSegment; t++ {
		a, b := stat.Mean(x[:t]), stat.Mean(x[t:])
		v := 0.0
		for i, xi := range x {
			m := a
			if i >= t {
				m = b
			}
			v += (xi - m) * (xi - m)
		}
		best = min(best, v)
	}
	slide := math.Inf(1)
	for t := 1; t < len(x)-10; t += 2 {
		v := slideCost(x, day, t)
		if v < slide {
			slide, on = v, t
		}
	}
	return slide < rampBetter*best, start + on
}

// slideCost is the squared deviation of a line that is level until point t and
// falls evenly after it.
func slideCost(x []float64, day []int, t int) float64 {
	var n, sz, szz, sx, szx float64
	for i, v := range x {
		z := 0.0
		if i > t {
			z = float64(day[i] - day[t])
		}
		n, sz, szz, sx, szx = n+1, sz+z, szz+z*z, sx+v, szx+z*v
	}
	b := (n*szx - sz*sx) / (n*szz - sz*sz)
	a := (sx - b*sz) / n
	c := 0.0
	for i, v := range x {
		z := 0.0
		if i > t {
			z = float64(day[i] - day[t])
		}
		c += (v - a - b*z) * (v - a - b*z)
	}
	return c
}

// kOfN says how many inverters a loss is worth.
func (s *study) kOfN(loss float64) string {
	n := 0
	for i := range s.in.Site.Arrays {
		a := &s.in.Site.Arrays[i]
		if c, known := sky.InverterCount(s.in.Catalogue.Inverter(a.InverterModel), a); known {
			n += c
		} else {
			n = -1 << 20
		}
	}
	if n <= 0 {
		return fmt.Sprintf("output is %.0f %% below its healthy level; the register does not say how many inverters there are", 100*loss)
	}
	k := max(1, int(math.Round(loss*float64(n))))
	return fmt.Sprintf("output is %.0f %% below its healthy level, as if about %d of %d inverters were down", 100*loss, k, n)
}
