package ledger

import (
	"cmp"
	"slices"

	"rowen/ingest"
)

// point is a counter read at an instant.
type point struct {
	t, value int64 // seconds, milli-Wh
	step     int64 // seconds to the next reading, as it usually is
	rank     int
	rule     counterEntry
}

// fillCounter turns the readings of a channel's counters, over all files, into
// energies on the grid.
//
//	E[t1, t2) = v(t2) - v(t1)                    v(t2) >= v(t1)
//	E[t1, t2) = v(t2) + R - v(t1)                a drop, R the stated roll-over value, v(t1) above R/2 > v(t2)
//	E[t1, t2) is missing                         any other drop: the register was reset
//
// Of a gap longer than the step only the lump is known. It is spread evenly and
// marked as estimated where the gap is no longer than the mapping's spread_gap,
// and kept out elsewhere.
//
// Source: cumulative registers in methods.md section 13; half of R as the line
// between a roll-over and a reset, and 6 h as the default gap, are our choice.
func (ld *loader) fillCounter(c ingest.Channel) {
	ld.readPoints(c)
	g := &ld.grid[c]
	for i := 1; i < len(ld.points); i++ {
		a, b := &ld.points[i-1], &ld.points[i]
		v := b.value - a.value
		hour := ingest.Hour(floorDiv(a.t, 3600))
		if v < 0 {
			if r := b.rule.RollOver; r > 0 && a.value > r/2 && b.value < r/2 && v+r >= 0 {
				v += r
				ld.found.add(&ld.found.rolledOver[c], hour, 1)
			} else {
				ld.found.add(&ld.found.reset[c], hour, 1)
				continue
			}
		}
		gap := b.t - a.t
		switch {
		case gap <= a.step:
		case gap <= b.rule.SpreadGap:
			ld.found.add(&ld.found.lump[c], hour, int((gap+3599)/3600))
			ld.found.estimated = append(ld.found.estimated, stretch{a.t, b.t})
		default:
			ld.found.add(&ld.found.lumpOut[c], hour, int((gap+3599)/3600))
			continue
		}
		ld.tally[min(a.step/60, 1440)] += gap
		ld.spread(g, c, a.t, gap, v)
	}
}

// readPoints gathers a channel's counter readings by instant; of two at one
// instant the later export's is kept.
func (ld *loader) readPoints(c ingest.Channel) {
	k := &ld.block
	ld.points = ld.points[:0]
	for rank, r := range ld.runs {
		if !r.counter[c].Counter {
			continue
		}
		for i := r.from; i < r.to; i++ {
			if k.stateAt(i)>>c&1 == 0 {
				continue
			}
			ld.points = append(ld.points, point{k.startAt(i), k.valueAt(int(c), i), int64(k.secondsAt(i)), rank, r.counter[c]})
		}
	}
	slices.SortFunc(ld.points, func(a, b point) int {
		if d := cmp.Compare(a.t, b.t); d != 0 {
			return d
		}
		return cmp.Compare(a.rank, b.rank)
	})
	n := 0
	for i, p := range ld.points {
		if n > 0 && ld.points[n-1].t == p.t {
			ld.found.repeat(c, ingest.Hour(floorDiv(p.t, 3600)), ld.points[n-1].value != p.value)
			ld.points[n-1] = p
			continue
		}
		if i != n {
			ld.points[n] = p
		}
		n++
	}
	ld.points = ld.points[:n]
}
