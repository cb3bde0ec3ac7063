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

// findRuns lists the runs of pulseKW above the baseline, in order.
func findRuns(v *Intervals) []run {
	base := newBaseline(v)
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
			base.of(d / 7)
		}
		for s, b := range base.kw {
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
