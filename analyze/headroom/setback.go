package headroom

import (
	"fmt"
	"math"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// setbacks are the strips kept free along a plane's edges, metres.
type setbacks struct{ ridge, eave, side float64 }

// edgeSetback tells an edge's kind from the way it runs in a plane whose y
// goes up the slope: level edges with the roof above them are eaves, level
// edges with the roof below them are ridges, all others are sides (rakes, hips,
// valleys). dx, dy is the edge's direction, the roof on its left. Level means
// within 10 degrees (our choice).
func (s setbacks) edgeSetback(dx, dy float64) float64 {
	if math.Abs(dy) > math.Abs(dx)*samebits.Tan(10*math.Pi/180) {
		return s.side
	}
	if dx > 0 {
		return s.eave
	}
	return s.ridge
}

// surfaceOf is the plane with its setbacks and known obstacles taken off; ok
// is false where it has no usable dimensions.
//
// A convex outline is cut along each edge, moved inwards by its own distance.
// Where an outline turns inwards that would cut off too much: strips along the
// edges, and wedges at the corners up to where two moved edges meet, are kept
// free instead.
func surfaceOf(pl ingest.Plane, s setbacks, marginM float64) (out surface, ok bool) {
	if len(pl.PolygonM) > 0 {
		if outlineProblem(pl.PolygonM) != "" {
			return surface{}, false
		}
		outline := counterClockwise(pl.PolygonM)
		if isConvex(outline) {
			out = surface{outline: inset(outline, s)}
		} else {
			out = surface{outline: outline, blocked: strips(outline, s)}
		}
	} else {
		if !(pl.WidthM > 0) || !(pl.SlopeM > 0) {
			return surface{}, false
		}
		out = rectangle(s.side, s.eave, pl.WidthM-s.side, pl.SlopeM-s.ridge)
	}
	if out.outline == nil {
		return out, true
	}
	for _, o := range pl.ObstaclesM {
		out.blocked = append(out.blocked, box(
			min(o[0], o[2])-marginM, min(o[1], o[3])-marginM,
			max(o[0], o[2])+marginM, max(o[1], o[3])+marginM))
	}
	return out, true
}

// outlineProblem says what is wrong with a polygon; "" where it is usable.
func outlineProblem(poly []point) string {
	if len(poly) < 3 {
		return fmt.Sprintf("the outline has %d corners and needs at least 3", len(poly))
	}
	for _, c := range poly {
		if math.IsNaN(c[0]+c[1]) || math.IsInf(c[0]+c[1], 0) {
			return "the outline has a corner that is not a number"
		}
	}
	if math.Abs(signedArea(poly)) < eps {
		return "the outline encloses no area"
	}
	for i := range poly {
		for j := i + 2; j < len(poly); j++ {
			if crosses(poly[i], poly[i+1], poly[j], poly[(j+1)%len(poly)]) {
				return "the outline crosses itself"
			}
		}
	}
	return ""
}

func crosses(a, b, c, d point) bool {
	turn := func(p, q, r point) float64 {
		return float64((q[0]-p[0])*(r[1]-p[1])) - float64((q[1]-p[1])*(r[0]-p[0]))
	}
	return turn(a, b, c)*turn(a, b, d) < 0 && turn(c, d, a)*turn(c, d, b) < 0
}

// counterClockwise gives the outline with the roof on the left of each edge
// and without repeated corners.
func counterClockwise(poly []point) []point {
	out := make([]point, 0, len(poly))
	for i, c := range poly {
		if before := poly[(i+len(poly)-1)%len(poly)]; samebits.Hypot(c[0]-before[0], c[1]-before[1]) > eps {
			out = append(out, c)
		}
	}
	if signedArea(out) < 0 {
		for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
			out[i], out[j] = out[j], out[i]
		}
	}
	return out
}

// isConvex says whether an outline turns left at every corner.
func isConvex(outline []point) bool {
	n := len(outline)
	for i, a := range outline {
		b, c := outline[(i+1)%n], outline[(i+2)%n]
		if float64((b[0]-a[0])*(c[1]-b[1]))-float64((b[1]-a[1])*(c[0]-b[0])) < -eps {
			return false
		}
	}
	return true
}

// inset cuts a convex outline along each edge moved inwards by its setback;
// nil where nothing is left.
func inset(outline []point, s setbacks) []point {
	left := outline
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		dx, dy := b[0]-a[0], b[1]-a[1]
		length, d := samebits.Hypot(dx, dy), max(0, s.edgeSetback(dx, dy))
		if d == 0 {
			continue
		}
		beyond := func(p point) float64 { return (float64((p[1]-a[1])*dx)-float64((p[0]-a[0])*dy))/length - d } // >= 0: stays
		var kept []point
		for j, p := range left {
			q := left[(j+1)%len(left)]
			u, v := beyond(p), beyond(q)
			if u >= 0 {
				kept = append(kept, p)
			}
			if u < 0 != (v < 0) {
				kept = append(kept, point{p[0] + (q[0]-p[0])*u/(u-v), p[1] + (q[1]-p[1])*u/(u-v)})
			}
		}
		left = kept
	}
	if len(left) < 3 || signedArea(left) < eps {
		return nil
	}
	return left
}

// side is an edge of an outline with its setback.
type side struct {
	a, b   point
	nx, ny float64 // inward, of length d
	d      float64
}

// strips are the convex pieces along the edges of an outline that setbacks
// keep free.
func strips(outline []point, s setbacks) [][]point {
	n := len(outline)
	sides := make([]side, n)
	for i, a := range outline {
		b := outline[(i+1)%n]
		dx, dy := b[0]-a[0], b[1]-a[1]
		length := samebits.Hypot(dx, dy)
		d := max(0, s.edgeSetback(dx, dy))
		sides[i] = side{a, b, -dy / length * d, dx / length * d, d}
	}
	var out [][]point
	for i, e := range sides {
		if e.d > 0 {
			out = append(out, []point{e.a, e.b, {e.b[0] + e.nx, e.b[1] + e.ny}, {e.a[0] + e.nx, e.a[1] + e.ny}})
		}
		next := sides[(i+1)%n]
		if e.d == 0 && next.d == 0 {
			continue
		}
		if meet, ok := meeting(e, next); ok {
			v := e.b
			// Two triangles: with unequal setbacks the four points need not be convex.
			out = append(out, []point{v, {v[0] + next.nx, v[1] + next.ny}, meet}, []point{v, meet, {v[0] + e.nx, v[1] + e.ny}})
		}
	}
	return out
}

// meeting is where two edges, each shifted inwards, cross.
func meeting(e, f side) (point, bool) {
	ux, uy := e.b[0]-e.a[0], e.b[1]-e.a[1]
	vx, vy := f.b[0]-f.a[0], f.b[1]-f.a[1]
	det := float64(ux*vy) - float64(uy*vx)
	if math.Abs(det) < eps {
		return point{}, false
	}
	wx, wy := f.a[0]+f.nx-e.a[0]-e.nx, f.a[1]+f.ny-e.a[1]-e.ny
	t := (float64(wx*vy) - float64(wy*vx)) / det
	return point{e.a[0] + e.nx + float64(t*ux), e.a[1] + e.ny + float64(t*uy)}, true
}
