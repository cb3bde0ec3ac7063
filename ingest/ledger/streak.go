package ledger

import (
	"math"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// streak is rows of one file and one state that follow each other without a gap: most
// records are a few hundred of them, and what holds for one of its rows need not be
// asked of the others.
type streak struct{ from, to int }

// longestStreak is no limit.
// A variable so that tests can make it 1: then every row is looked at by itself.
var longestStreak = math.MaxInt

// findStreaks cuts the block into streaks.
func (k *block) findStreaks() {
	k.streaks = k.streaks[:0]
	for i := 0; i < k.n; {
		j := k.n
		if len(k.start) > 0 {
			j = k.streakEnd(i)
		}
		j = min(j, i+min(longestStreak, k.n))
		k.streaks = append(k.streaks, streak{i, j})
		i = j
	}
}

// streakEnd is where the streak that begins with row i ends.
func (k *block) streakEnd(i int) int {
	sec := k.secondsAt(i)
	if sec <= 0 {
		return i + 1
	}
	step, j := int64(sec)*1000, i+1
	for next := k.start[i] + step; j < k.n && k.start[j] == next; next += step {
		if len(k.state) > 0 && k.state[j] != k.state[i] || len(k.source) > 0 && k.source[j] != k.source[i] {
			break
		}
		j++
	}
	return j
}

// fillRun lays one file's energies of a channel on the grid.
func (ld *loader) fillRun(c ingest.Channel, r sourceRun) {
	k, g := &ld.block, &ld.grid[c]
	bit := int32(1) << c
	for _, s := range k.streaks {
		if s.from < r.from || s.from >= r.to || k.stateAt(s.from)&bit == 0 {
			continue
		}
		ld.start(g)
		t, sec, n := k.startAt(s.from), int64(k.secondsAt(s.from)), s.to-s.from
		if isDay(sec) {
			ld.tally[1440] += sec * int64(n)
		} else {
			ld.tally[sec/60] += sec * int64(n)
		}
		// Once a row, by its first channel.
		if flags := readings.Flag(k.stateAt(s.from) >> flagShift); flags != 0 && k.stateAt(s.from)&(bit-1) == 0 {
			for i := range int64(n) {
				ld.found.note(flags, t+i*sec, sec)
			}
		}
		if at := int((t - ld.base) / ld.slot); sec == ld.slot && at >= g.filled {
			ld.layStreak(c, s, at)
			continue
		}
		for i := s.from; i < s.to; i++ {
			t, v := k.startAt(i), k.valueAt(int(c), i)
			if sec == ld.slot {
				ld.put(g, c, int((t-ld.base)/ld.slot), v)
			} else {
				ld.spread(g, c, t, sec, v)
			}
		}
	}
}

// layStreak lays rows of one slot each behind all that the grid has.
func (ld *loader) layStreak(c ingest.Channel, s streak, at int) {
	k, g, n := &ld.block, &ld.grid[c], s.to-s.from
	value, piece := g.value[at:at+n], g.piece[at:at+n]
	if len(k.value[c]) == 0 {
		for i := range value {
			value[i] = k.sameValue[c] * k.unit
		}
	} else {
		for i, v := range k.value[c][s.from:s.to] {
			value[i] = v * k.unit
		}
	}
	for i := range piece {
		piece[i] = 1
	}
	g.filled = at + n
}
