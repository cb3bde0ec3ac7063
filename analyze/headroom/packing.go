package headroom

import (
	"math"
	"slices"
)

// eps is what counts as touching, in metres: a ten-thousandth of a hair, far
// below any tape measure (our choice).
const eps = 1e-9

// finestStepM is how close two row offsets are looked at where edges are
// slanted (our choice: a tenth of the handbook's finest, 1 mm).
const finestStepM = 1e-4

// layStepM is the step in which the lowest row of old modules is looked for.
const layStepM = 0.01

type point = [2]float64

// span is a stretch of x.
type span struct{ lo, hi float64 }

// surface is a plane's outline and the convex polygons that nothing may cover.
type surface struct {
	outline []point
	blocked [][]point
}

// rectangle is the surface of a plain rectangle with its corner at x0, y0.
func rectangle(x0, y0, x1, y1 float64) surface {
	if x1 <= x0 || y1 <= y0 {
		return surface{}
	}
	return surface{outline: box(x0, y0, x1, y1)}
}

func box(x0, y0, x1, y1 float64) []point {
	return []point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// pack counts the modules that fit in rows parallel to the eave.
//
//	rows at y_k = y_min + o + k (h + g),  o in [0, h + g)
//	per row Σ ⌊(len + g)/(w + g) + 1e-9⌋ over its free stretches of x
//
// A row's free stretches are the x that stay inside the outline over the whole
// band [y, y + h], less what the blocked polygons cover there. Every row may be
// shifted in x by itself.
//
// In:      outline and blocked polygons in metres, x along the eave, y up the
//
//	slope, setbacks already inside blocked; module w wide along the
//	eave, h up the slope; gap g.
//
// Out:     the largest count over o and the smallest o found that gives it.
// Edges:   touching is allowed; no outline gives 0.
// Source:  uniform rows by exhaustive offset, handbook section 10.2. The offsets
//
//	tried are those where a row's lower edge touches a corner of the
//	outline or of a blocked polygon: where all edges are parallel to the
//	axes, any packing can slide down until one does. Slanted edges are searched between
//	them by halves, as long as a half could still beat the best: all rows
//	of a range of offsets cover their common core, so that what fits the
//	core bounds what fits any of them.
//
// Cost:    a plain rectangle O(1); else O(offsets x rows x edges): some 10
// offsets with axis-parallel edges, some 50 with slanted ones.
func pack(s surface, w, h, gap float64) (count int, offsetM float64) {
	if len(s.outline) < 3 || !(w > 0) || !(h > 0) {
		return 0, 0
	}
	if len(s.blocked) == 0 && isRectangle(s.outline) {
		lo, hi := bounds(s.outline)
		return fit(hi[0]-lo[0], w, gap) * fit(hi[1]-lo[1], h, gap), 0
	}
	p := newPacker(s)
	offsets := p.offsets(h, gap)
	best := packing{-1, 0}
	for _, o := range offsets {
		best = best.or(packing{p.count(o, o, w, h, gap), o})
	}
	if p.slanted {
		for i, o := range offsets {
			to := h + gap
			if i+1 < len(offsets) {
				to = offsets[i+1]
			}
			best = p.between(o, to, w, h, gap, best)
		}
	}
	return best.n, best.offset
}

// packing is a count and the row offset that gives it.
type packing struct {
	n      int
	offset float64
}

func (a packing) or(b packing) packing {
	if b.n > a.n || b.n == a.n && b.offset < a.offset {
		return b
	}
	return a
}

// between searches the offsets from a to b for a packing better than best.
func (p *packer) between(a, b, w, h, gap float64, best packing) packing {
	if b-a < finestStepM || p.count(a, b, w, h, gap) <= best.n {
		return best
	}
	mid := (a + b) / 2
	best = best.or(packing{p.count(mid, mid, w, h, gap), mid})
	return p.between(mid, b, w, h, gap, p.between(a, mid, w, h, gap, best))
}

// count is how many modules fit in rows of an offset from a to b: with a = b
// the number at that offset, else a bound for all between, from the core that
// every such row covers.
func (p *packer) count(a, b, w, h, gap float64) int {
	n := 0
	for y := p.lo[1]; y+a+h <= p.hi[1]+eps; y += h + gap {
		if b-a >= h {
			n += fit(p.hi[0]-p.lo[0], w, gap)
			continue
		}
		for _, s := range p.band(y+b, min(y+a+h, p.hi[1])) {
			n += fit(s.hi-s.lo, w, gap)
		}
	}
	return n
}

// fit is how many of size w fit side by side into length with a gap between.
func fit(length, w, gap float64) int {
	if length+gap < w {
		return 0
	}
	return int(math.Floor((length+gap)/(w+gap) + 1e-9))
}

// packBest packs both ways round and gives the better; portrait where equal.
func packBest(s surface, longM, shortM, gap float64) (count int, orientation string) {
	portrait, _ := pack(s, shortM, longM, gap)
	landscape, _ := pack(s, longM, shortM, gap)
	if landscape > portrait {
		return landscape, "landscape"
	}
	return portrait, "portrait"
}

// edge is a side of the outline that is not level, from its lower end up.
type edge struct{ x0, y0, x1, y1 float64 }

func (e edge) at(y float64) float64 {
	return e.x0 + (e.x1-e.x0)*(y-e.y0)/(e.y1-e.y0)
}

// packer holds a surface ready for cutting bands out of it.
type packer struct {
	edges   []edge
	ys      []float64 // heights of the outline's corners, ascending, once each
	blocked [][]point
	lo, hi  point
	slanted bool

	free, next []span // scratch
	crossing   []crossing
}

func newPacker(s surface) *packer {
	p := &packer{blocked: s.blocked}
	p.lo, p.hi = bounds(s.outline)
	for i, a := range s.outline {
		b := s.outline[(i+1)%len(s.outline)]
		p.ys = append(p.ys, a[1])
		p.slanted = p.slanted || isSlanted(a, b)
		if a[1] > b[1] {
			a, b = b, a
		}
		if b[1] > a[1] {
			p.edges = append(p.edges, edge{a[0], a[1], b[0], b[1]})
		}
	}
	slices.Sort(p.ys)
	p.ys = slices.Compact(p.ys)
	for _, poly := range s.blocked {
		for i, a := range poly {
			p.slanted = p.slanted || isSlanted(a, poly[(i+1)%len(poly)])
		}
	}
	return p
}

func isSlanted(a, b point) bool {
	return math.Abs(a[0]-b[0]) > eps && math.Abs(a[1]-b[1]) > eps
}

// offsets are the row offsets worth trying, ascending.
func (p *packer) offsets(h, gap float64) []float64 {
	pitch := h + gap
	out := []float64{0}
	add := func(y float64) {
		o := math.Mod(y-p.lo[1], pitch)
		if o < -eps {
			o += pitch
		}
		if o > eps && o < pitch-eps {
			out = append(out, o)
		}
	}
	corners := slices.Clone(p.ys)
	for _, poly := range p.blocked {
		for _, c := range poly {
			corners = append(corners, c[1])
		}
	}
	for _, y := range corners { // rows slide down until a lower edge touches one
		add(y)
	}
	slices.Sort(out)
	return slices.CompactFunc(out, func(a, b float64) bool { return math.Abs(a-b) < eps })
}

// crossing is where an edge meets a strip: at its middle, bottom and top.
type crossing struct{ mid, bottom, top float64 }

// band gives the stretches of x that are free over the whole of [y0, y1]. The
// slice is scratch: it is overwritten by the next call.
func (p *packer) band(y0, y1 float64) []span {
	free := append(p.free[:0], span{math.Inf(-1), math.Inf(1)})
	next := p.next[:0]
	a := y0
	for i := 0; a < y1-eps; {
		for i < len(p.ys) && p.ys[i] <= a+eps {
			i++
		}
		b := y1
		if i < len(p.ys) && p.ys[i] < y1-eps {
			b = p.ys[i]
		}
		// Inside a strip between corners the sides are straight, so that its
		// two ends bound every x in it.
		next = next[:0]
		cross := p.cross(a, b)
		for c := 0; c+1 < len(cross); c += 2 {
			lo := max(cross[c].bottom, cross[c].top)
			hi := min(cross[c+1].bottom, cross[c+1].top)
			for _, f := range free {
				if l, h := max(lo, f.lo), min(hi, f.hi); h > l {
					next = append(next, span{l, h})
				}
			}
		}
		slices.SortFunc(next, func(s, t span) int {
			if s.lo < t.lo {
				return -1
			}
			return 1
		})
		free, next = next, free
		if len(free) == 0 {
			break
		}
		a = b
	}
	for _, poly := range p.blocked {
		if len(free) == 0 {
			break
		}
		lo, hi, ok := shadow(poly, y0, y1)
		if !ok {
			continue
		}
		next = next[:0]
		for _, f := range free {
			if hi <= f.lo+eps || lo >= f.hi-eps {
				next = append(next, f)
				continue
			}
			if lo > f.lo+eps {
				next = append(next, span{f.lo, lo})
			}
			if hi < f.hi-eps {
				next = append(next, span{hi, f.hi})
			}
		}
		free, next = next, free
	}
	p.free, p.next = free, next
	return free
}

func (p *packer) cross(a, b float64) []crossing {
	out := p.crossing[:0]
	mid := (a + b) / 2
	for _, e := range p.edges {
		if e.y0 < mid && mid < e.y1 {
			out = append(out, crossing{e.at(mid), e.at(a), e.at(b)})
		}
	}
	// Few crossings: insertion sort allocates nothing.
	for i := 1; i < len(out); i++ {
		for j := i; j > 0 && out[j].mid < out[j-1].mid; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	p.crossing = out
	return out
}

// shadow is the stretch of x that a convex polygon covers within a band; ok is
// false where it only touches the band or lies outside.
func shadow(poly []point, y0, y1 float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	low, high := math.Inf(1), math.Inf(-1)
	take := func(x float64) { lo, hi = min(lo, x), max(hi, x) }
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		low, high = min(low, a[1]), max(high, a[1])
		if a[1] >= y0 && a[1] <= y1 {
			take(a[0])
		}
		for _, y := range [2]float64{y0, y1} {
			if (a[1] < y && y < b[1]) || (b[1] < y && y < a[1]) {
				take(a[0] + (b[0]-a[0])*(y-a[1])/(b[1]-a[1]))
			}
		}
	}
	return lo, hi, high > y0+eps && low < y1-eps && hi > lo+eps
}

func bounds(poly []point) (lo, hi point) {
	lo, hi = poly[0], poly[0]
	for _, c := range poly[1:] {
		lo = point{min(lo[0], c[0]), min(lo[1], c[1])}
		hi = point{max(hi[0], c[0]), max(hi[1], c[1])}
	}
	return lo, hi
}

// isRectangle says whether four corners span their own bounds.
func isRectangle(poly []point) bool {
	if len(poly) != 4 {
		return false
	}
	for i, a := range poly {
		if isSlanted(a, poly[(i+1)%4]) {
			return false
		}
	}
	lo, hi := bounds(poly)
	return math.Abs(math.Abs(signedArea(poly))-(hi[0]-lo[0])*(hi[1]-lo[1])) < eps
}

// signedArea is positive for corners that run counter-clockwise.
func signedArea(poly []point) float64 {
	sum := 0.0
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		sum += a[0]*b[1] - b[0]*a[1]
	}
	return sum / 2
}

// lay puts n modules that are already there in rows from the eave up, in rows
// from the ridge down, or in columns from the left, and gives the boxes that
// they take, gaps included, and how many found no place.
func lay(s surface, v layout, w, h, gap float64, n int) (boxes [][]point, left int) {
	if len(s.outline) < 3 || !(w > 0) || !(h > 0) {
		return nil, n
	}
	if v.columns { // columns are rows of the surface lying on its side
		boxes, left = lay(transposed(s), layout{perLine: v.perLine}, h, w, gap, n)
		return transposed(surface{blocked: boxes}).blocked, left
	}
	p := newPacker(s)
	step, y := h+gap, p.firstRow(h, v.fromRidge)
	if v.fromRidge {
		step = -step
	}
	for ; n > 0 && y >= p.lo[1]-eps && y+h <= p.hi[1]+eps; y += step {
		line := n
		if v.perLine > 0 {
			line = min(n, v.perLine)
		}
		for _, f := range p.band(y, y+h) {
			c := min(line, fit(f.hi-f.lo, w, gap))
			if c == 0 {
				continue
			}
			boxes = append(boxes, box(f.lo-gap, y-gap, f.lo+float64(c)*(w+gap), y+h+gap))
			line -= c
			n -= c
		}
	}
	return boxes, n
}

// transposed swaps x and y; corners run the other way round, so that they are
// turned back.
func transposed(s surface) surface {
	turn := func(poly []point) []point {
		out := make([]point, len(poly))
		for i, c := range poly {
			out[len(poly)-1-i] = point{c[1], c[0]}
		}
		return out
	}
	out := surface{outline: turn(s.outline)}
	for _, poly := range s.blocked {
		out.blocked = append(out.blocked, turn(poly))
	}
	return out
}

// firstRow is the lowest (or highest) place where a row finds any room,
// to the centimetre: setbacks and slanted sides push it inwards.
func (p *packer) firstRow(h float64, fromRidge bool) float64 {
	lo, hi := p.lo[1], p.hi[1]-h
	for k := 0; ; k++ {
		y, inside := lo+float64(k)*layStepM, true
		if fromRidge {
			y = hi - float64(k)*layStepM
			inside = y >= lo-eps
		} else {
			inside = y <= hi+eps
		}
		if !inside {
			if fromRidge {
				return hi
			}
			return lo
		}
		if len(p.band(y, y+h)) > 0 {
			return y
		}
	}
}
