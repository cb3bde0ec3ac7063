package stat

import "math"

// YoY is the median yearly rate of a series, by pairs one year apart.
type YoY struct {
	PctYr, Low, High float64   // the median of the rates and its bootstrap interval
	Pairs            int       // how many pairs
	Years            float64   // from the first day to the last
	Rates            []float64 // the pairs' rates, in order of time, %/yr
	Reference        float64   // what the series was divided by
	Enough           bool      // two full years and 180 pairs (methods 6.1); else say nothing with it
}

// YearOnYear gives the rate of change by comparing each day with the same day
// one year on, which no season, step of soiling or single outage can bend.
//
//	r = value / median(values of the first 365 days)
//	s = 100 (r[t+365] - r[t]);  rate = median(s)
//
//	In:      day numbers, rising, with a value each; NaN is skipped; level of
//	         the interval; draws (2,000 or more; 0: no interval); seed.
//	Out:     %/yr. The interval resamples the rates in blocks of about a month
//	         of days (30 divided by the usual spacing of the days).
//	Refuses: no pair gives NaN. Enough tells whether the rate may be told.
//	Source:  Jordan and others 2018 (from memory), methods 6.1.
//	Cost:    O(n) and draws x O(pairs).
func YearOnYear(day []int, value []float64, level float64, draws int, seed uint64) YoY {
	y := YoY{PctYr: math.NaN(), Low: math.NaN(), High: math.NaN(), Reference: math.NaN()}
	at := make(map[int]int, len(day)) // read by key only: its order reaches nothing
	var first []float64
	begin, end := 0, 0
	for i, d := range day {
		if value[i] != value[i] {
			continue
		}
		if len(at) == 0 {
			begin = d
		}
		end = d
		at[d] = i
		if d < begin+365 {
			first = append(first, value[i])
		}
	}
	y.Reference = MedianInPlace(first)
	y.Years = float64(end-begin) / 365
	for i, d := range day {
		if j, ok := at[d+365]; ok && value[i] == value[i] {
			y.Rates = append(y.Rates, 100*(value[j]-value[i])/y.Reference)
		}
	}
	y.Pairs = len(y.Rates)
	y.Enough = y.Years >= 2 && y.Pairs >= 180
	y.PctYr = Median(y.Rates)
	if y.Pairs > 0 && draws > 0 {
		block := max(1, int(30*float64(len(at))/float64(end-begin+1)+0.5))
		y.Low, y.High = Interval(BlockBootstrap(y.Rates, block, draws, seed, MedianInPlace), level)
	}
	return y
}

// Shrink draws a measured rate towards what is known of such rates, each
// weighed by its certainty.
//
//	rate* = (rate/se^2 + prior/sd^2) / (1/se^2 + 1/sd^2);  se* = (1/se^2 + 1/sd^2)^-1/2
//
//	Source: methods 6.2 (common practice); for ageing prior -0.6, sd 0.5 %/yr.
//	Edges:  a rate that is not known (NaN) gives the prior.
func Shrink(rate, se, prior, sd float64) (shrunk, shrunkSE float64) {
	if rate != rate || se != se {
		return prior, sd
	}
	if se == 0 {
		return rate, 0
	}
	a, b := 1/(se*se), 1/(sd*sd)
	return (float64(rate*a) + float64(prior*b)) / (a + b), 1 / math.Sqrt(a+b)
}
