package pulse

import (
	"math"
	"slices"
)

// run is a pulse: intervals in a row that stand above the baseline.
type run struct {
	day  int32
	slot int32   // of the day that it starts in
	n    int32   // intervals
	hour float64 // that it starts in
	kw   float64 // mean of its highest hour over the baseline (of all of it, where shorter)
	kwh  float64 // over the baseline
}

// findRuns lists the runs of pulseKW above the baseline, in order. Those of a longer
// span that v is the beginning of are taken over, as far as they are the same.
func findRuns(v *Intervals) []run {
	if v.whole == nil {
		return runsFrom(v, nil, 0)
	}
	if v.whole.runs == nil {
		v.whole.runs = runsFrom(v.whole, nil, 0)
	}
	known := v.whole.runs
	// From this week on the baseline looks at days that v does not have.
	from := 0
	if rest := v.Days() - baseAhead; rest >= 0 {
		from = (rest/7 + 1) * 7 * v.PerDay
	}
	n := 0
	for n < len(known) && known[n].end(v.PerDay) < from {
		n++
	}
	if n < len(known) {
		from = min(from, known[n].start(v.PerDay))
	}
	return runsFrom(v, slices.Clone(known[:n]), from)
}

// runsFrom adds the runs from an interval on, at which none is under way.
func runsFrom(v *Intervals, out []run, from int) []run {
	base := newBaseline(v)
	perHour := v.PerDay / 24
	over := make([]float64, 0, 4*v.PerDay) // of the run in hand
	start := 0
	end := func() {
		if len(over) > 0 {
			out = append(out, measure(over, start, v.PerDay, perHour))
		}
		over = over[:0]
	}
	for d := from / v.PerDay; d < v.Days(); d++ {
		if d%7 == 0 || d == from/v.PerDay {
			base.of(d / 7)
		}
		for s := max(0, from-d*v.PerDay); s < v.PerDay; s++ {
			i := d*v.PerDay + s
			x := v.KW[i] - base.kw[s]
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

// start and end are the interval that a run begins with and the one after its last.
func (r *run) start(perDay int) int { return int(r.day)*perDay + int(r.slot) }
func (r *run) end(perDay int) int   { return r.start(perDay) + int(r.n) }

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
