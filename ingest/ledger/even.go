package ledger

import (
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

// buildRegular makes the series of a block without a gap, of one file, in one
// state, as laying it would; false where it is not such.
func (ld *loader) buildRegular(siteID string, s *ingest.Series) bool {
	k := &ld.block
	if k.n == 0 || len(k.start)+len(k.source)+len(k.state) > 0 || k.stateAt(0)>>flagShift != 0 {
		return false
	}
	step, first := int64(k.secondsAt(0)), k.startAt(0)
	if step <= 0 || 3600%step != 0 || floorMod(first, step) != 0 || step < 60 {
		return false
	}
	counter, present := ld.counter[k.sameSource], k.stateAt(0)
	for c := range k.value {
		if used := k.has[c] && present>>c&1 != 0; used && (counter[c].Counter || len(k.value[c]) == 0) {
			return false
		}
	}
	w := evenWriter{}
	w.series(s, siteID, first, step, k.n)
	for c := range s.Wh {
		if w.channel(s, c, k.has[c] && present>>c&1 != 0) {
			w.values(k.value[c], k.unit)
			w.end()
		}
	}
	return true
}

// evenWriter writes readings that follow each other at one step as hours, and
// as slots where a step is finer than an hour.
type evenWriter struct {
	lead, per int // slots of the first hour before the first reading; slots of an hour
	length    int // hours
	hours     []float64
	fine      []float32 // nil: a step is an hour
	slot      int       // the next
	hour      int
	left      int // slots left of the hour
	sum       int64
}

// series makes the series ready for n readings from first on.
func (w *evenWriter) series(s *ingest.Series, siteID string, first, step int64, n int) {
	base := first - floorMod(first, 3600)
	w.lead, w.per = int((first-base)/step), int(3600/step)
	w.length = (w.lead + n + w.per - 1) / w.per
	s.SiteID, s.Start, s.StepMinutes = siteID, ingest.Hour(base/3600), int(step/60)
	s.Quality, s.Estimated = s.Quality[:0], nil
	if w.per == 1 {
		s.Fine = nil
		return
	}
	if s.Fine == nil {
		s.Fine = &ingest.Fine{}
	}
	s.Fine.Start, s.Fine.StepMinutes = s.Start, s.StepMinutes
}

// channel begins a channel; false where it is not used.
func (w *evenWriter) channel(s *ingest.Series, c int, used bool) bool {
	if !used {
		s.Wh[c] = nil
		if s.Fine != nil {
			s.Fine.Wh[c] = nil
		}
		return false
	}
	s.Wh[c] = slices.Grow(s.Wh[c][:0], w.length)[:w.length]
	w.hours, w.fine = s.Wh[c], nil
	if s.Fine != nil {
		slots := w.length * w.per
		s.Fine.Wh[c] = slices.Grow(s.Fine.Wh[c][:0], slots)[:slots]
		w.fine = s.Fine.Wh[c]
		for i := range w.lead {
			w.fine[i] = nan32
		}
	}
	w.slot, w.hour, w.left, w.sum = w.lead, 0, w.per-w.lead, 0
	return true
}

// values writes values in units of so many milli-Wh.
func (w *evenWriter) values(in []int64, unit int64) {
	if w.fine == nil {
		out := w.hours[w.hour : w.hour+len(in)]
		for i, v := range in {
			out[i] = float64(v*unit) / 1000
		}
		w.hour += len(in)
		return
	}
	out, hours := w.fine[w.slot:w.slot+len(in)], w.hours
	hour, left, sum := w.hour, w.left, w.sum
	for i, v := range in {
		v *= unit
		out[i] = float32(v) / 1000
		sum += v
		if left--; left == 0 {
			hours[hour] = float64(sum) / 1000
			hour, left, sum = hour+1, w.per, 0
		}
	}
	w.slot, w.hour, w.left, w.sum = w.slot+len(in), hour, left, sum
}

// end ends the channel: the hours that are not whole are missing.
func (w *evenWriter) end() {
	if w.lead > 0 {
		w.hours[0] = nan
	}
	if w.hour < len(w.hours) {
		w.hours[w.hour] = nan
	}
	for i := w.slot; i < len(w.fine); i++ {
		w.fine[i] = nan32
	}
}
