package headroom

import (
	"math"
)

// eps is what counts as touching, in metres: a ten-thousandth of a hair, far
// below any tape measure (our choice).
const eps = 1e-9

// finestStepM is how close two row offsets are looked at where edges are
// slanted (our choice: a tenth of the handbook's finest, 1 mm).
const finestStepM = 1e-4

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
	return math.Abs(math.Abs(signedArea(poly))-float64((hi[0]-lo[0])*(hi[1]-lo[1]))) < eps
}

// signedArea is positive for corners that run counter-clockwise.
func signedArea(poly []point) float64 {
	sum := 0.0
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		sum += float64(a[0]*b[1]) - float64(b[0]*a[1])
	}
	return sum / 2
}
