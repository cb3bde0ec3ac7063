package headroom

import (
	"math"
	"slices"
)

// edge is a side of the outline that is not level, from its lower end up.
type edge struct{ x0, y0, x1, y1 float64 }

func (e edge) at(y float64) float64 {
	return e.x0 + float64((e.x1-e.x0)*(y-e.y0)/(e.y1-e.y0))
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
		if lo, hi, ok := shadow(poly, y0, y1); ok {
			next = without(free, lo, hi, next[:0])
			free, next = next, free
		}
	}
	p.free, p.next = free, next
	return free
}

// without appends to into what is left of the free stretches once lo to hi is
// taken.
func without(free []span, lo, hi float64, into []span) []span {
	for _, f := range free {
		if hi <= f.lo+eps || lo >= f.hi-eps {
			into = append(into, f)
			continue
		}
		if lo > f.lo+eps {
			into = append(into, span{f.lo, lo})
		}
		if hi < f.hi-eps {
			into = append(into, span{hi, f.hi})
		}
	}
	return into
}

func (p *packer) cross(a, b float64) []crossing {
	out := p.crossing[:0]
	mid := float64((a + b) / 2)
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
