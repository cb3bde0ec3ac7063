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
	minPassed     = 28   // and one that is over, longer: weather comes and goes (our choice)
	minSegment    = 5    // usable days of a segment (our choice)
	mergeStep     = 0.03 // steps smaller than this are one level (our choice)
	penaltyFactor = 3.0  // section 8.1
	maxPhi        = 0.6  // autocorrelation of days granted to weather (our choice)
	snowGain      = 0.15 // what a roof may gain on neighbours under snow (our choice)
	healthyDays   = 30   // clear days that make the healthy level (our choice: a month of dull weather may read high)
	healthyLeast  = 8    // and at the least, where that is an eighth of all
	snowDipDays   = 60   // snow that comes and goes on one roof more than on others (our choice)
	slideBefore   = 90   // points before a drop in which a slide may begin (our choice)
	aloneLoss     = 0.12 // least loss of a site that is its own sky (our choice: haze alone is worth that)
	rampBetter    = 0.85 // a ramp must leave this much less than a step to be called a decline (our choice)
)

// points are the days that tell the level, in order.
type points struct {
	day []int
	x   []float64
	w   []float64 // how much a day says of the level: its light over a clear day's, squared (our choice: cloud errs on one roof at a time)
}

// mean is the weighted mean of the points from one to another.
func (p *points) mean(from, to int) float64 {
	sum, all := 0.0, 0.0
	for i := from; i < to; i++ {
		sum, all = sum+p.w[i]*p.x[i], all+p.w[i]
	}
	return sum / all
}

// weight is the sum of the weights: days as good as clear ones.
func (p *points) weight(from, to int) float64 { return sum(p.w[from:to]) }

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
	if !s.inScale(s.factor * ref) {
		s.factor, s.grown = s.usualFactor(), 0
		s.sumDays()
		return
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
	s.nameDrops(p, segs)
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
			p.day, p.x, p.w = append(p.day, d), append(p.x, v), append(p.w, sq(min(1, s.day[d].bright())))
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
		segs = append(segs, segment{from, c, p.mean(from, c)})
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
		segs[at-1] = segment{a.from, b.to, p.mean(a.from, b.to)}
		segs = slices.Delete(segs, at, at+1)
	}
	return segs
}

// healthy is the highest level that holds for a good part of the time: a
// month of clear days, or an eighth of all where that is less. A level that is
// somewhat higher in the cold only is snow that lay on the others.
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
	need := min(healthyDays, max(healthyLeast, p.weight(0, len(p.x))/8))
	var x, w []float64
	take := func(sg segment) {
		x, w = append(x, p.x[sg.from:sg.to]...), append(w, p.w[sg.from:sg.to]...)
	}
	warm := math.Inf(-1) // the highest level outside the cold
	for _, sg := range segs {
		if sg.mean > warm && !s.cold(p.day[sg.from], p.day[sg.to-1]+1) {
			warm = sg.mean
		}
	}
	for i, sg := range order {
		if sg.mean > warm && sg.mean < warm*(1+snowGain) {
			continue
		}
		take(sg)
		if sum(w) < need {
			continue
		}
		// levels within the merging step of this one belong to it
		for _, o := range order[i+1:] {
			if o.mean > sg.mean*(1-mergeStep) {
				take(o)
			}
		}
		break
	}
	return stat.WeightedMedian(x, w)
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
			last.to-segs[i].from >= 15 && lowest(segs[i:]) > before*(1+(beyond-1)/2) &&
			s.witnessed(p.day[segs[i].from], len(s.day), after/before-1) {
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

// drop is one step down that has not been made good, or was at some point.
type drop struct {
	from, to int     // points; to: the first one back, or the end
	was      float64 // level before
	size     float64 // of the step
	slid     bool
	under    bool // another came on top of it
}

// drops walks the levels and pairs each step down with the step up that makes
// it good: the last one down is the first one back, as with faults that come
// on top of each other. Steps smaller than least add up until they count.
func drops(p points, segs []segment, least float64) []drop {
	var open, all []drop
	level := 1.0
	for _, sg := range segs {
		diff := sg.mean - level
		switch {
		case diff <= -least:
			for i := range open {
				open[i].under = true
			}
			open = append(open, drop{from: sg.from, was: level, size: -diff})
			level = sg.mean
		case len(open) > 0 && diff >= least/2:
			level = sg.mean
			for len(open) > 0 && diff > 0 {
				last := &open[len(open)-1]
				if diff < 0.6*last.size {
					last.size -= diff // made good in part
					break
				}
				diff -= last.size
				last.to = sg.from
				all = append(all, *last)
				open = open[:len(open)-1]
			}
		}
	}
	for _, d := range open {
		d.to = len(p.x)
		all = append(all, d)
	}
	slices.SortFunc(all, func(a, b drop) int { return a.from - b.from })
	return all
}

// joinSlides takes steps that follow one another down, none made good before
// the next, for one decline where a slide fits them better than a step.
func joinSlides(p points, all []drop) []drop {
	var out []drop
	for i := 0; i < len(all); i++ {
		d := all[i]
		if d.from == 0 {
			out = append(out, d)
			continue
		}
		last := i
		for last+1 < len(all) && all[last+1].to == d.to {
			last++
		}
		start := max(0, d.from-slideBefore)
		if i > 0 && all[i-1].to > start && all[i-1].to <= d.from {
			start = all[i-1].to
		}
		if slides, on := isRamp(p, start, d.from, d.to); slides {
			d.from, d.slid, d.under = on, true, false
			for j := i + 1; j <= last; j++ {
				d.size += all[j].size
			}
			i = last
		}
		out = append(out, d)
	}
	return out
}

// nameDrops turns what the levels show into faults.
func (s *study) nameDrops(p points, segs []segment) {
	least := s.minLoss()
	for _, d := range joinSlides(p, drops(p, segs, least)) {
		live := d.to == len(p.x)
		lost := d.size
		if !d.under {
			lost = d.was - p.mean(d.from, d.to) // nothing else came on top: all its days tell
		}
		if d.slid {
			lost = max(lost, d.size) // where it came to
		}
		days := p.day[d.to-1] - p.day[d.from] + 1
		need := minStepDays
		if !live {
			need = minPassed
		}
		enough := least
		if d.from == 0 && !live {
			enough *= 1.5 // a poor start that mended itself may as well be a good end
		}
		if days < need || lost < enough || !live && s.wasSnow(p.day[d.from], p.day[d.to]) ||
			!s.witnessed(p.day[d.from], p.day[d.to-1]+1, -lost) {
			continue
		}
		s.out.Faults = append(s.out.Faults, s.dropFault(p, d, lost, live))
	}
}

func (s *study) dropFault(p points, d drop, lost float64, live bool) Fault {
	f := Fault{Code: InvertersDown, LossPct: 100 * lost / d.was, Live: live, Repairable: true, Confidence: s.certainty(lost, d.to-d.from)}
	if d.slid {
		f.Code = Decline
		f.Says = fmt.Sprintf("output slid down to %.0f %% below its healthy level", 100*lost)
	} else {
		f.Says = s.kOfN(lost)
	}
	f.On, f.OnLow, f.OnHigh = s.onset(p, d)
	if !live {
		f.Until = s.midnight(p.day[d.to])
		f.Says += fmt.Sprintf("; back since %s", f.Until.Format("2006-01-02"))
	}
	return f
}

// minLoss is the least loss that is spoken of, as a share. A site that is its
// own sky sees haze and dust as loss: it must be larger there.
func (s *study) minLoss() float64 {
	if s.alone {
		return max(aloneLoss, s.opt.MinLossPct/100)
	}
	return s.opt.MinLossPct / 100
}

// wasSnow tells a dip of some weeks in the cold that went by itself.
func (s *study) wasSnow(from, to int) bool { return to-from <= snowDipDays && s.cold(from, to) }

// certainty is how sure a loss is: by its size in noise of the mean, and by
// how long it lasts. Our choice: 0.5 at three sigma, 0.95 at twelve.
func (s *study) certainty(loss float64, n int) float64 {
	z := loss / (s.noise * math.Sqrt(weatherRun/float64(max(1, n))))
	return min(0.98, max(0.3, 0.35+0.05*z))
}

// onset dates a drop: between the last point before it and its first, where
// days lie between that told nothing in their middle.
func (s *study) onset(p points, d drop) (on, lo, hi time.Time) {
	if d.from == 0 {
		return noTime, noTime, noTime // since before the data
	}
	l, h := stepRange(p.x, max(0, d.from-60), d.from, d.to, s.noise)
	day := p.day[d.from]
	if p.day[d.from]-p.day[d.from-1] > 1 {
		day = (p.day[d.from-1] + 1 + p.day[d.from]) / 2
	}
	return s.midnight(day), s.midnight(p.day[l]), s.midnight(p.day[h])
}

// isRamp compares a step with a slide over the points from start to to, both
// fitted by least squares: level until the slide begins, straight down, and
// level again where it ends. It dates the slide's beginning.
func isRamp(p points, start, from, to int) (ramp bool, on int) {
	if to-from < 15 || from-start < 5 {
		return false, from
	}
	x := p.x[start:to]
	day := p.day[start:to]
	step := bestStep(x)
	slide := math.Inf(1)
	for t := 1; t < len(x)-10; t += max(1, len(x)/slideLooks) {
		for end := len(x) - 1; end > t && day[end]-day[t] >= slideDays; end -= max(5, len(x)/slideEnds) {
			if v := slideCost(x, day, t, end); v < slide {
				slide, on = v, t
			}
		}
	}
	return slide < rampBetter*step, start + on
}

// How finely beginnings and ends of slides are tried, and how long a slide
// must be to be one (our choice).
const (
	slideLooks = 40
	slideEnds  = 16
	slideDays  = 40
)

// bestStep is the least sum of squared deviations with one step.
func bestStep(x []float64) float64 {
	var all, square, sum float64
	for _, v := range x {
		all, square = all+v, square+v*v
	}
	n, best := float64(len(x)), math.Inf(1)
	for t := 1; t < len(x); t++ {
		sum += x[t-1]
		a, b := float64(t), n-float64(t)
		best = min(best, square-sum*sum/a-(all-sum)*(all-sum)/b)
	}
	return best
}

// slideCost is the squared deviation of a line that is level until point t,
// falls evenly to point end and is level after it.
func slideCost(x []float64, day []int, t, end int) float64 {
	var n, sz, szz, sx, szx, sxx float64
	for i, v := range x {
		z := float64(day[min(max(i, t), end)] - day[t])
		n, sz, szz, sx, szx, sxx = n+1, sz+z, szz+z*z, sx+v, szx+z*v, sxx+v*v
	}
	cov, spread := szx-sz*sx/n, szz-sz*sz/n
	if spread <= 0 {
		return math.Inf(1)
	}
	return sxx - sx*sx/n - cov*cov/spread
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
