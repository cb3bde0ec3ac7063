package array

import (
	"fmt"
	"math"

	"rowen/analyze/stat"
)

// rise is a step up beyond what the register explains.
type rise struct {
	at    int // point
	ratio float64
}

// growth looks for modules that nobody entered: a lasting step up, from a
// level that fits the register to one that does not.
func growth(v *view, p points, segs []segment, w *witness) *rise {
	const fits, beyond = 0.9, 1.1
	last := segs[len(segs)-1]
	usual := v.usualFactor() / v.factor // level of an array that is as registered
	for i := 1; i < len(segs); i++ {
		before, n := 0.0, 0
		for _, sg := range segs[:i] {
			before, n = before+float64(sg.mean*float64(sg.to-sg.from)), n+sg.to-sg.from
		}
		before /= float64(n)
		after := segs[i].mean
		if after/before > beyond && before > fits*usual && after > beyond*usual && n >= 10 &&
			last.to-segs[i].from >= 15 && lowest(segs[i:]) > before*(1+(beyond-1)/2) &&
			w.confirms(p.day[segs[i].from], len(v.day), after/before-1) && surelyGrew(v, p, segs[i].from, after-before) {
			return &rise{segs[i].from, after / before}
		}
	}
	return nil
}

func lowest(segs []segment) float64 {
	least := math.Inf(1)
	for _, sg := range segs {
		least = min(least, sg.mean)
	}
	return least
}

func grownFault(v *view, p points, g *rise) Fault {
	lo, hi := stepRange(p.x, 0, g.at, len(p.x), p.noise)
	return Fault{Code: UnregisteredModules, On: v.midnight(p.day[g.at]), OnLow: v.midnight(p.day[lo]), OnHigh: v.midnight(p.day[hi]),
		LossPct: 0, Confidence: 0.9, Live: true,
		Says: fmt.Sprintf("output rose by %.0f %% and stayed: about %.1f kW more than the %.1f kW of the register",
			100*(g.ratio-1), (g.ratio-1)*v.capacityKW(), v.capacityKW())}
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
			v += float64((x[i] - m) * (x[i] - m))
		}
		return v
	}
	limit := sse(at) + float64(2.71*weatherRun*noise*noise)
	lo, hi = at, at
	for lo-1 > from && sse(lo-1) <= limit {
		lo--
	}
	for hi+1 < to && sse(hi+1) <= limit {
		hi++
	}
	return max(lo-1, 0), hi
}
