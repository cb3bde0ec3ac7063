package sun

import (
	"math"
	"slices"
)

// ClearLimits are the limits of clear-period detection at one step.
type ClearLimits struct {
	WindowMin   float64
	Mean, Max   float64 // W/m2
	LineLow     float64 // of the line lengths' difference
	LineHigh    float64
	Variability float64 // 1/min
	Slope       float64 // W/m2 a sample
}

// OriginalClearLimits are those of Reno and Hansen for GHI by the minute.
var OriginalClearLimits = ClearLimits{10, 75, 75, -5, 10, 0.005, 8}

// clearLimits are those of Jordan and Hansen 2023 for light in a plane, by
// minutes a step (published).
var clearLimits = []struct {
	step float64
	ClearLimits
}{
	{1, ClearLimits{50, 75, 60, -45, 80, 0.005, 50}},
	{5, ClearLimits{60, 75, 65, -45, 80, 0.01, 60}},
	{15, ClearLimits{90, 75, 75, -45, 80, 0.032, 75}},
	{30, ClearLimits{120, 75, 90, -45, 80, 0.07, 96}},
}

// ClearLimitsAt gives the limits for a step, on the line between those known.
//
//	Refuses: steps below 1 or above 30 minutes: ok is false.
//	Source:  Jordan and Hansen, Renewable Energy 209 (2023) 393 (published).
func ClearLimitsAt(stepMin float64) (limits ClearLimits, ok bool) {
	last := len(clearLimits) - 1
	if !(stepMin >= clearLimits[0].step && stepMin <= clearLimits[last].step) {
		return limits, false
	}
	k := 0
	for k < last-1 && stepMin > clearLimits[k+1].step {
		k++
	}
	a, b := clearLimits[k], clearLimits[k+1]
	f := (stepMin - a.step) / (b.step - a.step)
	on := func(x, y float64) float64 { return x + f*(y-x) }
	return ClearLimits{
		on(a.WindowMin, b.WindowMin), on(a.Mean, b.Mean), on(a.Max, b.Max), on(a.LineLow, b.LineLow),
		on(a.LineHigh, b.LineHigh), on(a.Variability, b.Variability), on(a.Slope, b.Slope),
	}, true
}

// ClearPeriods flags the samples that lie under a clear sky, and fits the
// clear-sky series' scale to them.
//
//	In every window of w samples, G measured, C clear, a the scale:
//	|mean G - a mean C| < Mean;  |max G - a max C| < Max
//	LineLow < L(G) - L(aC) < LineHigh,  L = sum sqrt(dG^2 + dt^2)
//	sd(dG/dt)/mean G < Variability;  max |d(G - aC)| < Slope;  mean C != 0
//	A sample is clear in any window that passes all six.
//	a = sum GC/sum C^2 over clear samples, until it is stable to 1e-4.
//
//	In:      W/m2, equally spaced; NaN spoils its windows.
//	Out:     flags; the scale, 1 where nothing is clear.
//	Source:  Reno and Hansen, Renewable Energy 90 (2016) 520 (published).
//	Cost:    up to 20 passes of n x window.
func ClearPeriods(measured, clear []float64, stepMin float64, limits ClearLimits) (flags []bool, alpha float64) {
	w := max(3, int(limits.WindowMin/stepMin+1e-9))
	alpha = 1
	for range 20 {
		flags = clearFlags(measured, clear, alpha, stepMin, w, limits)
		gc, cc := 0.0, 0.0
		for i, is := range flags {
			if is {
				gc += measured[i] * clear[i]
				cc += clear[i] * clear[i]
			}
		}
		if cc == 0 {
			return flags, alpha
		}
		before := alpha
		alpha = gc / cc
		if math.Round(alpha*1e4) == math.Round(before*1e4) {
			break
		}
	}
	return flags, alpha
}

func clearFlags(g, c []float64, alpha, step float64, w int, limits ClearLimits) []bool {
	flags := make([]bool, len(g))
	for from := 0; from+w <= len(g); from++ {
		if clearWindow(g[from:from+w], c[from:from+w], alpha, step, limits) {
			for i := from; i < from+w; i++ {
				flags[i] = true
			}
		}
	}
	return flags
}

func clearWindow(g, c []float64, alpha, step float64, limits ClearLimits) bool {
	n := float64(len(g))
	sumG, sumC, maxG, maxC := 0.0, 0.0, math.Inf(-1), math.Inf(-1)
	for i := range g {
		sumG, sumC = sumG+g[i], sumC+c[i]
		maxG, maxC = max(maxG, g[i]), max(maxC, c[i])
	}
	if sumC == 0 || !(math.Abs(sumG-alpha*sumC)/n < limits.Mean) || !(math.Abs(maxG-alpha*maxC) < limits.Max) {
		return false
	}
	line, slope := 0.0, 0.0
	for i := 1; i < len(g); i++ {
		dg, dc := g[i]-g[i-1], alpha*(c[i]-c[i-1])
		line += math.Hypot(dg, step) - math.Hypot(dc, step)
		slope = max(slope, math.Abs(dg-dc))
	}
	if !(line > limits.LineLow && line < limits.LineHigh) || !(slope < limits.Slope) {
		return false
	}
	// sd of the slopes, n-1 below: their mean is the chord.
	mean, ss := (g[len(g)-1]-g[0])/(n-1), 0.0
	for i := 1; i < len(g); i++ {
		d := g[i] - g[i-1] - mean
		ss += d * d
	}
	return math.Sqrt(ss/(n-2))/step/(sumG/n) < limits.Variability
}

// ClearPeriodsOfPower is ClearPeriods on power: both series are taken as light
// that would make it, 1000 P/P0, under the limits of their step.
//
//	In:      power and modelled clear-sky power of the plane, in the unit of
//	         rated, with the inverter's limit applied to the model (else a
//	         clipped top reads as haze) and the day's temperature.
//	Refuses: steps outside 1..30 minutes: ok is false.
func ClearPeriodsOfPower(power, clearPower []float64, rated, stepMin float64) (flags []bool, alpha float64, ok bool) {
	limits, ok := ClearLimitsAt(stepMin)
	if !ok {
		return nil, math.NaN(), false
	}
	g, c := make([]float64, len(power)), make([]float64, len(power))
	for i := range power {
		g[i], c[i] = 1000*power[i]/rated, 1000*clearPower[i]/rated
	}
	flags, alpha = ClearPeriods(g, c, stepMin, limits)
	return flags, alpha, true
}

// ClearDay tells whether one day's flags make a clear day.
//
//	80 % of the samples with clear power above 5 % of rated are flagged, and
//	70 % in each half of the day
//
//	In:     one day's samples.
//	Source: methods 2.2 (common practice).
func ClearDay(flags []bool, clearPower []float64, rated float64) bool {
	var n, hit [2]int
	counted := 0
	for _, p := range clearPower {
		if p > 0.05*rated {
			counted++
		}
	}
	seen := 0
	for i, p := range clearPower {
		if p > 0.05*rated {
			half := 0
			if 2*seen >= counted {
				half = 1
			}
			seen++
			n[half]++
			if flags[i] {
				hit[half]++
			}
		}
	}
	share := func(h, n int) float64 { return float64(h) / float64(n) }
	return counted >= 2 && share(hit[0]+hit[1], counted) >= 0.8 && share(hit[0], n[0]) >= 0.7 && share(hit[1], n[1]) >= 0.7
}

// ClearDays flags clear days from hourly power, where clear periods cannot be
// told.
//
//	r = E/E_clear of the day, within 10 % of the 90th percentile of r over the
//	30 days around; correlation with the clear curve > 0.99; no hour further
//	than 10 % of rated from r times the clear curve
//
//	In:      hourly power and modelled clear-sky power, with the inverter's
//	         limit, in the unit of rated; whole days of 24 hours that begin
//	         near the sun's midnight.
//	Out:     a flag a day. A day with a missing hour in its light is not clear.
//	Source:  methods 2.2 (common practice).
func ClearDays(power, clearPower []float64, rated float64) []bool {
	days := len(power) / 24
	ratio, fits := make([]float64, days), make([]bool, days)
	for d := range days {
		ratio[d], fits[d] = clearShape(power[24*d:24*d+24], clearPower[24*d:24*d+24], rated)
	}
	flags := make([]bool, days)
	for d := range flags {
		if !fits[d] {
			continue
		}
		top := ninetieth(ratio[max(0, d-15):min(days, d+15)])
		flags[d] = math.Abs(ratio[d]/top-1) <= 0.1
	}
	return flags
}

// ninetieth is the 90th percentile of the values present, of which there is
// one at least (type 7, as stat.Quantile, which lies beside this package and
// not below it).
func ninetieth(x []float64) float64 {
	s := slices.DeleteFunc(slices.Clone(x), math.IsNaN)
	slices.Sort(s)
	h := 0.9 * float64(len(s)-1)
	k := int(h)
	if k+1 >= len(s) {
		return s[k]
	}
	return s[k] + (h-float64(k))*(s[k+1]-s[k])
}

// clearShape gives a day's ratio to the clear curve, NaN where light is
// missing, and whether its shape is that of the curve.
func clearShape(p, c []float64, rated float64) (ratio float64, fits bool) {
	var sp, sc, spp, scc, spc, n float64
	for i := range p {
		if c[i] <= 0 {
			continue
		}
		sp, sc, n = sp+p[i], sc+c[i], n+1
		spp, scc, spc = spp+p[i]*p[i], scc+c[i]*c[i], spc+p[i]*c[i]
	}
	ratio = sp / sc
	cov, varP, varC := spc-sp*sc/n, spp-sp*sp/n, scc-sc*sc/n
	if !(cov > 0.99*math.Sqrt(varP*varC)) {
		return ratio, false
	}
	for i := range p {
		if c[i] > 0 && !(math.Abs(p[i]-ratio*c[i]) <= 0.1*rated) {
			return ratio, false
		}
	}
	return ratio, true
}
