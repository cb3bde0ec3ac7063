package pulse

import "math"

// run is a pulse: intervals in a row that stand above the baseline.
type run struct {
	day  int32
	slot int32   // of the day that it starts in
	n    int32   // intervals
	hour float64 // that it starts in
	kw   float64 // mean of its highest hour over the baseline (of all of it, where shorter)
	kwh  float64 // over the baseline
}

// The baseline is the 30th percentile of the same interval of the day over 14
// days on either side: a car that charges at the same hour two nights in three
// must not become baseline, a home's quiet hours must not either (measured on
// real homes: 20 % and 50 % find fewer).
const (
	baseHalfDays = 14
	baseShare    = 0.30
	baseLeast    = 7 // days read
	baseRank     = 9 // the 30th percentile of 29 values is the ninth smallest
)

// findRuns lists the runs of pulseKW above the baseline, in order.
func findRuns(v *Intervals) []run {
	base := make([]float64, v.PerDay)
	perHour := v.PerDay / 24
	out := make([]run, 0, v.Days())
	over := make([]float64, 0, 4*v.PerDay) // of the run in hand
	start := 0
	end := func() {
		if len(over) > 0 {
			out = append(out, measure(over, start, v.PerDay, perHour))
		}
		over = over[:0]
	}
	for d := range v.Days() {
		if d%7 == 0 {
			v.baseline(d/7, base)
		}
		for s, b := range base {
			i := d*v.PerDay + s
			x := v.KW[i] - b
			if !(x >= pulseKW) {
				end()
				continue
			}
			if len(over) == 0 {
				start = i
			}
			over = append(over, x)
		}
	}
	end()
	return out
}

func measure(over []float64, start, perDay, perHour int) run {
	h := 24 / float64(perDay)
	sum, most := 0.0, 0.0
	m := min(perHour, len(over))
	for k, x := range over {
		sum += float64(x * h)
		if k+1 >= m {
			s := 0.0
			for _, y := range over[k+1-m : k+1] {
				s += y
			}
			most = math.Max(most, s/float64(m))
		}
	}
	slot := start % perDay
	return run{int32(start / perDay), int32(slot), int32(len(over)), float64(slot) * h, most, sum}
}

// baseline writes week's usual power by interval of the day; NaN where too few
// days were read.
func (v *Intervals) baseline(week int, base []float64) {
	lo, hi := max(0, week*7+3-baseHalfDays), min(v.Days(), week*7+4+baseHalfDays)
	for s := range base {
		var low [baseRank]float64 // the smallest so far, rising
		m := 0
		for d := lo; d < hi; d++ {
			x := v.KW[d*v.PerDay+s]
			if x != x {
				continue
			}
			k := min(m, baseRank)
			m++
			if k == baseRank {
				if x >= low[k-1] {
					continue
				}
				k--
			}
			for ; k > 0 && low[k-1] > x; k-- {
				low[k] = low[k-1]
			}
			low[k] = x
		}
		base[s] = math.NaN()
		if m >= baseLeast {
			base[s] = low[int(baseShare*float64(m-1))]
		}
	}
}
