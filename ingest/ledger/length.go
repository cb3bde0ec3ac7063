package ledger

import (
	"cmp"
	"slices"

	"rowen/ingest"
)

// A file alone may not tell how long its intervals are: one that holds a single
// day's value, or every second hour. All files of the site together mostly do.

// lengthless tells whether the block has rows without a length.
func (k *block) lengthless() bool {
	for i := range k.n {
		if k.secondsAt(i) == 0 {
			return true
		}
		if len(k.state) == 0 {
			return false
		}
	}
	return false
}

// spell writes every column of the block out, in milli-Wh, so that rows can be
// changed.
func (k *block) spell() {
	var e block
	for i := range k.n {
		e.start = append(e.start, k.startAt(i)*1000)
		e.state = append(e.state, k.stateAt(i)|k.secondsAt(i)<<secondShift)
		e.source = append(e.source, k.sourceAt(i))
	}
	for c := range k.value {
		if k.has[c] {
			for i := range k.n {
				e.value[c] = append(e.value[c], k.valueAt(c, i))
			}
		}
	}
	e.n, e.has, e.unit, e.firstMs, e.lastMs = k.n, k.has, 1, k.firstMs, k.lastMs
	*k = e
}

// setLength gives row i a length, and turns its powers into energies.
func (ld *loader) setLength(i int, sec int64) {
	k := &ld.block
	for c, q := range ld.counter[k.source[i]] {
		if !q.Power || !k.has[c] {
			continue
		}
		if was := int64(k.secondsAt(i)); was > 0 {
			k.value[c][i] = divRound(k.value[c][i]*sec, was)
		} else {
			k.value[c][i] = divRound(k.value[c][i]*sec, 3600)
		}
	}
	k.state[i] = k.stateAt(i) | int32(sec)<<secondShift
}

// byStart gives the rows by start, and their starts once each.
func (k *block) byStart() (rows []int, starts []int64) {
	for i := range k.n {
		rows = append(rows, i)
	}
	slices.SortStableFunc(rows, func(a, b int) int { return cmp.Compare(k.start[a], k.start[b]) })
	for _, i := range rows {
		if t := k.start[i] / 1000; len(starts) == 0 || starts[len(starts)-1] != t {
			starts = append(starts, t)
		}
	}
	return rows, starts
}

// resolveLengths gives rows without a length that of the site: the commonest of
// its other rows, or the common step of all its stamps, and never beyond the
// next stamp. What stays without is left out, and said.
func (ld *loader) resolveLengths() {
	k := &ld.block
	k.spell()
	_, starts := k.byStart()
	step := ld.siteStep(starts)
	for i := range k.n {
		if k.secondsAt(i) > 0 {
			continue
		}
		t := k.start[i] / 1000
		at, _ := slices.BinarySearch(starts, t)
		ends := k.state[i]>>flagShift&int32(endStamp) != 0
		gap := int64(0)
		switch {
		case ends && at > 0:
			gap = t - starts[at-1]
		case !ends && at+1 < len(starts):
			gap = starts[at+1] - t
		}
		sec := step
		if gap > 0 && (gap < step || step == day && isDay(gap)) {
			sec = gap
		}
		if !isStep(sec) {
			k.state[i] &^= 1<<ingest.NumChannels - 1
			k.state[i] = k.stateAt(i) | 3600<<secondShift
			ld.found.add(&ld.found.stepless, ingest.Hour(floorDiv(t, 3600)), 1)
			continue
		}
		ld.setLength(i, sec)
		if ends {
			k.start[i] -= sec * 1000
			k.state[i] &^= int32(endStamp) << flagShift
		}
	}
	k.firstMs, k.lastMs = slices.Min(k.start), slices.Max(k.start)
}

// siteStep is the commonest length that the site's rows have, the shorter of
// equals, or where none has one the common step of its stamps.
func (ld *loader) siteStep(starts []int64) int64 {
	count := map[int64]int{}
	for i := range ld.block.n {
		if sec := int64(ld.block.secondsAt(i)); sec > 0 {
			count[asStep(sec)]++
		}
	}
	best := int64(0)
	for sec, n := range count {
		if n > count[best] || n == count[best] && sec < best {
			best = sec
		}
	}
	if best == 0 {
		best = commonStep(len(starts)-1, func(i int) int64 { return starts[i+1] - starts[i] })
	}
	return best
}

// untangle cuts the intervals of files that share out one meter's rows among
// them: each file seems to have a longer step than it has. A file counts as one
// of those where most of its intervals hold a row of another file in their
// midst, and few of its own starts stand in another file: a coarse export beside
// a fine one has its starts there. It tells whether anything changed.
func (ld *loader) untangle() bool {
	k := &ld.block
	k.spell()
	rows, starts := k.byStart()
	next := func(i int) int64 {
		at, _ := slices.BinarySearch(starts, k.start[i]/1000+1)
		if at == len(starts) {
			return 1 << 60
		}
		return starts[at]
	}
	type tally struct {
		rows, crossed, shared int
		gaps                  []int64 // up to the rows of others in the midst
	}
	count := map[int32]*tally{}
	for n, i := range rows {
		t := count[k.source[i]]
		if t == nil {
			t = &tally{}
			count[k.source[i]] = t
		}
		t.rows++
		if gap := next(i) - k.start[i]/1000; gap < int64(k.secondsAt(i)) {
			t.crossed++
			t.gaps = append(t.gaps, gap)
		}
		if n > 0 && k.start[rows[n-1]] == k.start[i] || n+1 < len(rows) && k.start[rows[n+1]] == k.start[i] {
			t.shared++
		}
	}
	step := map[int32]int64{}
	for source, t := range count {
		if 2*t.crossed >= t.rows && 10*t.shared <= t.rows {
			step[source] = commonStep(len(t.gaps), func(i int) int64 { return t.gaps[i] })
		}
	}
	changed := false
	for _, i := range rows {
		sec := min(step[k.source[i]], next(i)-k.start[i]/1000)
		if isStep(sec) && sec < int64(k.secondsAt(i)) {
			ld.setLength(i, sec)
			ld.found.add(&ld.found.untangled, ingest.Hour(floorDiv(k.start[i]/1000, 3600)), 1)
			changed = true
		}
	}
	return changed
}
