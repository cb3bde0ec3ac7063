package ledger

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// rows are one site's readings of one file, settled: sorted by start, each
// start once, in UTC, with their lengths, as milli-Wh.
type rows struct {
	source  int32
	start   []int64                     // seconds since 1970
	seconds []int32                     // the interval's length; of a counter, the usual time to the next
	state   []int32                     // bit c: channel c is present; the flags from bit flagShift on
	value   [ingest.NumChannels][]int64 // empty: the file has no such channel
	order   []int64                     // part and line, for the rejects
}

// endStamp marks a row without a length whose start is still the end of its
// interval. It takes the place of Civil, which no settled row has.
const endStamp = readings.Civil

// offGrid marks an interval that does not begin at a multiple of its length.
const offGrid = readings.Flag(1 << 7)

func (r *rows) reset(source int32) {
	r.source = source
	r.start, r.seconds, r.state, r.order = r.start[:0], r.seconds[:0], r.state[:0], r.order[:0]
	for c := range r.value {
		r.value[c] = r.value[c][:0]
	}
}

// setAside is a row that turned out unusable when its neighbours were known.
type setAside struct {
	source int32
	order  int64
	site   int32
	reason string
}

// settler settles the segments of one site and file after the other.
type settler struct {
	rows    *rows
	index   []int
	scratch []int64
	small   []int32
	civil   civil
	aside   []setAside
	repeats int64 // by the last call: rows that repeat a stamp of the file
	rounded int64 // by the last call: stamps moved to the whole minute
	site    int32

	usedSiteClock bool // by the last call: the rows depend on the zone of their site
}

// settle fills s.rows from a site's segments of one file.
func (s *settler) settle(segs []segment, m *readings.Meaning, zone *time.Location) {
	s.site, s.repeats, s.rounded, s.usedSiteClock = segs[0].site, 0, 0, false
	if evenSegments(segs, m) {
		s.expandEven(segs)
		return
	}
	s.settleLong(segs, m, zone)
}

// settleLong settles rows of any kind.
func (s *settler) settleLong(segs []segment, m *readings.Meaning, zone *time.Location) {
	s.expand(segs)
	s.roundToMinutes()
	newestFirst := descending(s.rows.start)
	s.sortRows()
	s.resolveClock(m, zone, newestFirst)
	s.dropRepeats()
	s.inferLengths(m)
	s.dropUnstepped()
	s.toStarts(m)
	s.toEnergy(m)
}

// expand writes the segments, which are in the file's order, out as rows; state
// holds the flags only.
func (s *settler) expand(segs []segment) {
	r := s.rows
	r.reset(segs[0].source)
	var mask byte
	for i := range segs {
		mask |= segs[i].mask
	}
	for i := range segs {
		g := &segs[i]
		for j := range g.n {
			r.start = append(r.start, g.t0+int64(j)*g.step)
			r.order = append(r.order, g.order(j))
			r.seconds = append(r.seconds, g.length)
			r.state = append(r.state, int32(g.flags)<<flagShift)
		}
		for c := range r.value {
			if mask>>c&1 != 0 {
				r.value[c] = g.values(c, r.value[c])
			}
		}
	}
}

// roundToMinutes moves stamps to the nearest whole minute: loggers stamp some
// seconds late. The rows are counted, and the file's notes say so.
func (s *settler) roundToMinutes() {
	for i, t := range s.rows.start {
		if off := floorMod(t, 60); off != 0 {
			s.rows.start[i] = floorDiv(t+30, 60) * 60
			s.rounded++
		}
	}
}

// descending tells whether a file gives its newest rows first.
func descending(t []int64) bool {
	down := 0
	for i := 1; i < len(t); i++ {
		if t[i] < t[i-1] {
			down++
		}
	}
	return down > len(t)/2
}

// sortRows sorts by stamp; rows of the same stamp stay in the file's order.
func (s *settler) sortRows() {
	r := s.rows
	if slices.IsSorted(r.start) {
		return
	}
	s.index = s.index[:0]
	for i := range r.start {
		s.index = append(s.index, i)
	}
	sort.SliceStable(s.index, func(i, j int) bool { return r.start[s.index[i]] < r.start[s.index[j]] })
	r.start = s.permute(r.start)
	r.order = s.permute(r.order)
	r.seconds = s.permuteSmall(r.seconds)
	r.state = s.permuteSmall(r.state)
	for c := range r.value {
		if len(r.value[c]) > 0 {
			r.value[c] = s.permute(r.value[c])
		}
	}
}

func (s *settler) permute(v []int64) []int64 {
	s.scratch = s.scratch[:0]
	for _, i := range s.index {
		s.scratch = append(s.scratch, v[i])
	}
	copy(v, s.scratch)
	return v
}

func (s *settler) permuteSmall(v []int32) []int32 {
	s.small = s.small[:0]
	for _, i := range s.index {
		s.small = append(s.small, v[i])
	}
	copy(v, s.small)
	return v
}

// keep moves row i to place n.
func (r *rows) keep(n, i int) {
	r.start[n], r.order[n], r.seconds[n], r.state[n] = r.start[i], r.order[i], r.seconds[i], r.state[i]
	for _, v := range r.value {
		if len(v) > 0 {
			v[n] = v[i]
		}
	}
}

func (r *rows) cut(n int) {
	r.start, r.order, r.seconds, r.state = r.start[:n], r.order[:n], r.seconds[:n], r.state[:n]
	for c, v := range r.value {
		if len(v) > 0 {
			r.value[c] = v[:n]
		}
	}
}

func (r *rows) flag(i int, f readings.Flag) { r.state[i] |= int32(f) << flagShift }

func (r *rows) is(i int, f readings.Flag) bool { return r.state[i]>>flagShift&int32(f) != 0 }

// resolveClock turns stamps on the file's own clock into UTC. Of an hour that
// the clock shows twice, the file's first row is the first instant (summer
// time); where only one of the two is there, it is taken for the first and
// marked. A stamp that the clock never shows is set aside.
//
// Source: methods.md section 13's rules, on IANA zone data.
func (s *settler) resolveClock(m *readings.Meaning, zone *time.Location, newestFirst bool) {
	r := s.rows
	if !slices.ContainsFunc(r.state, func(v int32) bool { return v>>flagShift&int32(readings.Civil) != 0 }) {
		return
	}
	loc := m.Zone
	if loc == nil {
		loc, s.usedSiteClock = zone, true
	}
	if loc == nil {
		loc = time.UTC
	}
	if s.civil.loc != loc {
		s.civil = civil{loc: loc}
	}
	n, same := 0, 0
	last := int64(math.MinInt64)
	for i := range r.start {
		t := r.start[i]
		if !r.is(i, readings.Civil) {
			r.keep(n, i)
			n++
			continue
		}
		if t == last {
			same++
		} else {
			same, last = 0, t
		}
		first, second, count := s.civil.utc(t)
		switch count {
		case 0:
			clock := time.Unix(t, 0).UTC().Format("2006-01-02 15:04")
			s.aside = append(s.aside, setAside{r.source, r.order[i], s.site,
				fmt.Sprintf("stamp %s does not exist in %s: its clocks go forward over it; if the file keeps another clock, state time.zone", clock, loc)})
			continue
		case 2:
			alone := same == 0 && (i+1 == len(r.start) || r.start[i+1] != t)
			if alone {
				r.flag(i, readings.OnlyOnce)
			}
			if later := same > 0; later != (newestFirst && !alone) {
				first = second
			}
		}
		r.start[i] = first
		r.state[i] &^= int32(readings.Civil) << flagShift
		r.keep(n, i)
		n++
	}
	r.cut(n)
	s.sortRows()
}

// dropRepeats keeps one row a stamp. Where two rows say the same or fill each
// other's blanks they are one; where they differ the later line is kept and
// marked.
func (s *settler) dropRepeats() {
	r := s.rows
	n := 0
	for i := range r.start {
		if n == 0 || r.start[n-1] != r.start[i] {
			if n != i {
				r.keep(n, i)
			}
			n++
			continue
		}
		k, overlap := n-1, false
		flags := r.state[k] | r.state[i]
		for c, v := range r.value {
			if len(v) == 0 {
				continue
			}
			a, b := v[k], v[i]
			if b == readings.Missing {
				continue
			}
			if a != readings.Missing && a != b {
				flags |= int32(readings.Differs) << flagShift
			}
			r.value[c][k] = b
			overlap = overlap || a != readings.Missing
		}
		if overlap || r.empty(i) {
			s.repeats++
		}
		r.state[k], r.order[k] = flags, r.order[i]
	}
	r.cut(n)
}

// empty tells whether a row has no value at all.
func (r *rows) empty(i int) bool {
	for _, v := range r.value {
		if len(v) > 0 && v[i] != readings.Missing {
			return false
		}
	}
	return true
}

// toEnergy turns mean power into energy, milli-W to milli-Wh, half away from
// zero, and writes the validity into the state. A value that is not there
// repeats the one before, which costs the least to store.
func (s *settler) toEnergy(m *readings.Meaning) {
	r := s.rows
	r.markOffGrid()
	for c := range r.value {
		if m.Quantity[c] == readings.Power {
			for i, x := range r.value[c] {
				if x != readings.Missing && r.seconds[i] > 0 {
					r.value[c][i] = divRound(x*int64(r.seconds[i]), 3600)
				}
			}
		}
		r.present(c)
	}
}

// markOffGrid flags the intervals that begin off the grid of their length. One
// that follows another at once is on it if the other is.
func (r *rows) markOffGrid() {
	off, next, length := false, int64(0), int32(0)
	for i, t := range r.start {
		sec := r.seconds[i]
		if t != next || sec != length {
			off = sec > 0 && sec <= 3600 && floorMod(t, int64(sec)) != 0
		}
		if off {
			r.flag(i, offGrid)
		}
		next, length = t+int64(sec), sec
	}
}

// divRound divides half away from zero, for b > 0.
func divRound(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}

func floorMod(a, b int64) int64 {
	m := a % b
	if m < 0 {
		m += b
	}
	return m
}
