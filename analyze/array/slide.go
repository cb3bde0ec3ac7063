package array

import "math"

// Rules of slides, our choice.
const (
	slideBefore = 90   // points before a drop in which a slide may begin
	rampBetter  = 0.85 // a ramp must leave this much less than a step to be called a decline
	slideLooks  = 40   // how finely beginnings of slides are tried
	slideEnds   = 16   // and their ends
	slideDays   = 40   // how long a slide must be to be one
)

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

// bestStep is the least sum of squared deviations with one step.
func bestStep(x []float64) float64 {
	var all, square, sum float64
	for _, v := range x {
		all, square = all+v, square+float64(v*v)
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
		n, sz, szz, sx, szx, sxx = n+1, sz+z, szz+float64(z*z), sx+v, szx+float64(z*v), sxx+float64(v*v)
	}
	cov, spread := szx-sz*sx/n, szz-sz*sz/n
	if spread <= 0 {
		return math.Inf(1)
	}
	return sxx - sx*sx/n - cov*cov/spread
}
