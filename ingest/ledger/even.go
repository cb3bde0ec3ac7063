package ledger

import (
	"encoding/binary"
	"math"
	"slices"

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

// buildEven makes a site's series of its segments as they are, where they are
// even, of one file, and no value is missing: what settling and laying them
// would give (a test holds it to that). False where they are not such; the
// series then holds nothing of use.
func buildEven(segs []segment, m *readings.Meaning, siteID string, s *ingest.Series) bool {
	if segs[0].mask == 0 || segs[len(segs)-1].source != segs[0].source || !evenSegments(segs, m) {
		return false
	}
	rows := 0
	for i := range segs {
		if rows += int(segs[i].n); segs[i].wide != 0 || segs[i].source != segs[0].source {
			return false
		}
	}
	for _, q := range m.Quantity {
		if q != readings.Energy {
			return false
		}
	}
	step, first := segs[0].step, segs[0].t0
	base := first - floorMod(first, 3600)
	hours := int((first + int64(rows)*step - base + 3599) / 3600)
	s.SiteID, s.Start, s.StepMinutes = siteID, ingest.Hour(base/3600), int(step/60)
	s.Quality, s.Estimated = s.Quality[:0], nil
	if step == 3600 {
		s.Fine = nil
	} else {
		if s.Fine == nil {
			s.Fine = &ingest.Fine{}
		}
		s.Fine.Start, s.Fine.StepMinutes = s.Start, s.StepMinutes
	}
	for c := range s.Wh {
		if segs[0].mask>>c&1 == 0 {
			s.Wh[c] = nil
			if s.Fine != nil {
				s.Fine.Wh[c] = nil
			}
			continue
		}
		s.Wh[c] = slices.Grow(s.Wh[c][:0], hours)[:hours]
		var fine []float32
		if s.Fine != nil {
			slots := hours * int(3600/step)
			fine = slices.Grow(s.Fine.Wh[c][:0], slots)[:slots]
			s.Fine.Wh[c] = fine
		}
		if !evenChannel(segs, c, int((first-base)/step), int(3600/step), s.Wh[c], fine) {
			return false
		}
	}
	return true
}

// evenChannel writes one channel of even segments as hours of per slots each,
// and as slots where there are several; the first lead slots have no reading.
func evenChannel(segs []segment, c, lead, per int, hours []float64, fine []float32) bool {
	for i := range fine[:min(lead, len(fine))] {
		fine[i] = nan32
	}
	slot, hour, left, sum, whole := lead, 0, per-lead, int64(0), lead == 0
	for i := range segs {
		g := &segs[i]
		at := g.at(c)
		data := g.data[at : at+4*int(g.n)]
		if fine == nil {
			for ; len(data) >= 4; data = data[4:] {
				v := int32(binary.LittleEndian.Uint32(data))
				if v == math.MinInt32 {
					return false
				}
				hours[hour] = float64(v) / 1000
				hour++
			}
			continue
		}
		out := fine[slot : slot+int(g.n)]
		slot += int(g.n)
		for j := range out {
			v := int32(binary.LittleEndian.Uint32(data[4*j : 4*j+4]))
			if v == math.MinInt32 {
				return false // Missing
			}
			out[j] = float32(v) / 1000
			sum += int64(v)
			if left--; left == 0 {
				hours[hour] = float64(sum) / 1000
				if !whole {
					hours[hour] = nan
				}
				hour, left, sum, whole = hour+1, per, 0, true
			}
		}
	}
	if hour < len(hours) {
		hours[hour] = nan
	}
	for i := range fine[min(slot, len(fine)):] {
		fine[slot+i] = nan32
	}
	return true
}
