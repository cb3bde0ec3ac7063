package ledger

import (
	"rowen/ingest"
	"rowen/ingest/readings"
)

// evenSegments tells whether a site's segments of a file are such as most are:
// one after the other in UTC, at one step on its grid, unflagged, stamped at
// the start. Nothing about them needs settling, and expandEven gives what the
// long way would (a test holds it to that).
func evenSegments(segs []segment, m *readings.Meaning) bool {
	g := &segs[0]
	step := g.step
	if g.n < 2 || !isStep(step) || isDay(step) || m.StampIsEnd || m.StepSeconds != 0 && m.StepSeconds != step || floorMod(g.t0, step) != 0 {
		return false
	}
	for _, q := range m.Quantity {
		if q == readings.Power {
			return false
		}
	}
	next := g.t0
	for i := range segs {
		g := &segs[i]
		if g.t0 != next || g.n > 1 && g.step != step || g.flags != 0 || g.length != 0 || g.mask != segs[0].mask {
			return false
		}
		next += int64(g.n) * step
	}
	return true
}

// expandEven writes even segments out as settled rows.
func (s *settler) expandEven(segs []segment) {
	r := s.rows
	r.reset(segs[0].source)
	step := segs[0].step
	for i := range segs {
		g := &segs[i]
		for j := range int64(g.n) {
			r.start = append(r.start, g.t0+j*step)
			r.seconds = append(r.seconds, int32(step))
			r.state = append(r.state, 0)
		}
	}
	for c := range ingest.NumChannels {
		if segs[0].mask>>c&1 == 0 {
			continue
		}
		v := r.value[c]
		for i := range segs {
			v = segs[i].values(int(c), v)
		}
		r.value[c] = v
		r.present(int(c))
	}
}

// present marks the channel's values that are there; one that is not repeats
// the one before, which costs the least to store.
func (r *rows) present(c int) {
	v := r.value[c]
	last, bit := int64(0), int32(1)<<c
	for i, x := range v {
		if x == readings.Missing {
			v[i] = last
			continue
		}
		r.state[i] |= bit
		last = x
	}
}
