package ledger

import (
	"fmt"

	"rowen/ingest/readings"
)

const day = 86400

// isStep tells whether a time between two stamps can be an interval: whole
// minutes that divide the hour, or a local day.
func isStep(d int64) bool {
	return d >= 60 && d <= 3600 && d%60 == 0 && 3600%d == 0 || isDay(d)
}

// isDay: a local day has 23, 24 or 25 hours (Lord Howe 23.5 and 24.5).
func isDay(d int64) bool { return d >= 23*3600 && d <= 25*3600 && d%1800 == 0 }

// A gap that a site's rows repeat this often in a row is a step of their own;
// fewer are holes in a finer step. Our choice: where half of the rows of a
// 15-minute file are missing at random, twelve gaps of 30 minutes in a row come
// once in 17 million rows.
const (
	coarserRun = 12
	finerRun   = 2
)

// inferLengths finds how long each interval is: the step that holds there, and
// never beyond the next row. The step begins as the shortest time between rows
// that is not rare; a stretch of rows at another step changes it.
//
// Edges: a step may change inside a file; the last row takes the step before
// it; a file with one row a site has no step unless the mapping states it.
func (s *settler) inferLengths(m *readings.Meaning) {
	r := s.rows
	n := len(r.start)
	if n == 0 || r.seconds[0] != 0 {
		return // the format says the lengths itself
	}
	if m.StepSeconds != 0 && m.StepSeconds != day {
		for i := range r.seconds {
			r.seconds[i] = int32(m.StepSeconds)
		}
		return
	}
	// gap(i) is the time between row i and the neighbour that bounds it, with
	// the rows counted from the end where stamps are at the end.
	gap := func(i int) int64 { return r.start[i+1] - r.start[i] }
	put := func(i int, sec int64) { r.seconds[i] = int32(sec) }
	if m.StampIsEnd {
		gap = func(i int) int64 { return r.start[n-1-i] - r.start[n-2-i] }
		put = func(i int, sec int64) { r.seconds[n-1-i] = int32(sec) }
	}
	if step, ok := r.evenStep(); ok {
		for i := range r.seconds {
			r.seconds[i] = step
		}
		return
	}
	step := int64(day)
	if m.StepSeconds == 0 {
		step = commonStep(n-1, gap)
	}
	for i := 0; i < n-1; {
		g := gap(i)
		j := i + 1
		for j < n-1 && sameStep(gap(j), g) {
			j++
		}
		if isStep(g) && (asStep(g) < step && j-i >= finerRun || asStep(g) > step && (j-i >= coarserRun || 2*(j-i) >= n-1)) {
			step = asStep(g)
		}
		for ; i < j; i++ {
			if step == day && isDay(gap(i)) {
				put(i, gap(i))
			} else {
				put(i, min(step, gap(i)))
			}
		}
	}
	put(n-1, step)
}

// evenStep is the step of rows that all follow each other alike, as most do.
func (r *rows) evenStep() (int32, bool) {
	if len(r.start) < 2 {
		return 0, false
	}
	step := r.start[1] - r.start[0]
	if !isStep(step) || isDay(step) {
		return 0, false
	}
	for i := 2; i < len(r.start); i++ {
		if r.start[i]-r.start[i-1] != step {
			return 0, false
		}
	}
	return int32(step), true
}

// asStep is the step that a gap stands for: any local day is a day.
func asStep(g int64) int64 {
	if isDay(g) {
		return day
	}
	return g
}

func sameStep(a, b int64) bool { return a == b || isDay(a) && isDay(b) }

// commonStep is the shortest of n gaps that can be a step and makes up at least
// a fiftieth of them (our choice), or 0.
func commonStep(n int, gap func(int) int64) int64 {
	var minutes [61]int
	days := 0
	for i := range n {
		switch g := gap(i); {
		case isDay(g):
			days++
		case isStep(g):
			minutes[g/60]++
		}
	}
	for m, count := range minutes {
		if count > 0 && 50*count >= n {
			return int64(m) * 60
		}
	}
	if days > 0 {
		return day
	}
	return 0
}

// dropUnstepped sets rows aside whose interval is no step. One whose length
// cannot be told from its own file is kept with none: loading sees all files of
// the site.
func (s *settler) dropUnstepped() {
	r := s.rows
	n := 0
	good := int64(-1) // the last length that was found to be a step
	for i := range r.start {
		sec := int64(r.seconds[i])
		if sec != good && !isStep(sec) {
			if r.empty(i) {
				continue // only its stamp was there, and has been of no use
			}
			gap := sec
			if gap == 0 {
				gap = r.gap(i)
			}
			if gap%300 != 0 { // several five minutes can be steps with rows between in another file
				s.aside = append(s.aside, setAside{r.source, r.order[i], s.site,
					fmt.Sprintf("the interval up to the next row is %d s: it must be whole minutes that divide an hour, one hour or one day", gap)})
				continue
			}
			r.seconds[i] = 0 // the site's other files may tell
		} else {
			good = sec
		}
		if n != i {
			r.keep(n, i)
		}
		n++
	}
	r.cut(n)
}

// gap is the time from row i to its nearer neighbour; 0: it has none.
func (r *rows) gap(i int) int64 {
	after, before := int64(0), int64(0)
	if i+1 < len(r.start) {
		after = r.start[i+1] - r.start[i]
	}
	if i > 0 {
		before = r.start[i] - r.start[i-1]
	}
	if after == 0 || before > 0 && before < after {
		return before
	}
	return after
}

// toStarts moves stamps at the end of their intervals to the beginning.
func (s *settler) toStarts(m *readings.Meaning) {
	if !m.StampIsEnd {
		return
	}
	r := s.rows
	for i := range r.start {
		r.start[i] -= int64(r.seconds[i])
		if r.seconds[i] == 0 {
			r.flag(i, endStamp)
		}
	}
}
