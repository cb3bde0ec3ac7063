package headroom

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rowen/ingest"
)

// The plain twins of pack. They share no code with it.

// plainGrid packs an outline and boxes whose corners all lie on a grid of
// integers, module and gap included: it tries every offset of the grid and
// slides every module along every row.
func plainGrid(inside func(x, y int) bool, width, height, w, h, gap int) int {
	free := func(x, y int) bool { // every unit cell under the module
		for i := x; i < x+w; i++ {
			for j := y; j < y+h; j++ {
				if !inside(i, j) {
					return false
				}
			}
		}
		return true
	}
	best := 0
	for o := 0; o < h+gap; o++ {
		n := 0
		for y := o; y+h <= height; y += h + gap {
			for x := 0; x+w <= width; {
				if free(x, y) {
					n++
					x += w + gap
				} else {
					x++
				}
			}
		}
		best = max(best, n)
	}
	return best
}

func TestPackEqualsThePlainGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// A staircase: columns of unit width groups with their own heights, and boxes in it.
		steps := rapid.SliceOfN(rapid.IntRange(1, 22), 1, 4).Draw(t, "heights")
		run := rapid.IntRange(2, 9).Draw(t, "run")
		width, height := run*len(steps), slices.Max(steps)
		outline := []point{{0, 0}, {float64(width), 0}}
		for i := len(steps) - 1; i >= 0; i-- {
			x1, x0, y := float64((i+1)*run), float64(i*run), float64(steps[i])
			outline = append(outline, point{x1, y}, point{x0, y})
		}
		outline = counterClockwise(outline)
		gap := rapid.IntRange(0, 2).Draw(t, "gap") // no obstacle is narrower: the recipe keeps no gap across one
		var boxes [][4]int
		for range rapid.IntRange(0, 3).Draw(t, "boxes") {
			x, y := rapid.IntRange(0, width).Draw(t, "x"), rapid.IntRange(0, height).Draw(t, "y")
			boxes = append(boxes, [4]int{x, y, x + rapid.IntRange(max(1, gap), 4).Draw(t, "w"), y + rapid.IntRange(1, 4).Draw(t, "h")})
		}
		inside := func(x, y int) bool {
			if x >= width || y >= steps[x/run] {
				return false
			}
			for _, b := range boxes {
				if x >= b[0] && x < b[2] && y >= b[1] && y < b[3] {
					return false
				}
			}
			return true
		}
		w, h := rapid.IntRange(1, 5).Draw(t, "mw"), rapid.IntRange(1, 5).Draw(t, "mh")
		s := surface{outline: outline}
		for _, b := range boxes {
			s.blocked = append(s.blocked, box(float64(b[0]), float64(b[1]), float64(b[2]), float64(b[3])))
		}
		got, _ := pack(s, float64(w), float64(h), float64(gap))
		if want := plainGrid(inside, width, height, w, h, gap); got != want {
			t.Fatalf("pack %d, plain %d", got, want)
		}
	})
}

// plainConvex is the handbook's recipe for a convex outline: a row's stretch is
// the meeting of the cross-sections at its two edges, less the boxes it meets.
func plainConvex(outline []point, boxes [][4]float64, w, h, gap, offset float64) int {
	lo, hi := bounds(outline)
	section := func(y float64) (float64, float64) {
		a, b := math.Inf(1), math.Inf(-1)
		for i, p := range outline {
			q := outline[(i+1)%len(outline)]
			if min(p[1], q[1]) <= y && y <= max(p[1], q[1]) {
				if p[1] == q[1] {
					a, b = min(a, p[0], q[0]), max(b, p[0], q[0])
					continue
				}
				x := p[0] + (q[0]-p[0])*(y-p[1])/(q[1]-p[1])
				a, b = min(a, x), max(b, x)
			}
		}
		return a, b
	}
	n := 0
	for y := lo[1] + offset; y+h <= hi[1]+1e-9; y += h + gap {
		a0, b0 := section(y)
		a1, b1 := section(min(y+h, hi[1]))
		stretches := [][2]float64{{max(a0, a1), min(b0, b1)}}
		for _, b := range boxes {
			if b[3] <= y+1e-9 || b[1] >= y+h-1e-9 {
				continue
			}
			var cut [][2]float64
			for _, s := range stretches {
				cut = append(cut, [2]float64{s[0], min(s[1], b[0])}, [2]float64{max(s[0], b[2]), s[1]})
			}
			stretches = cut
		}
		for _, s := range stretches {
			if length := s[1] - s[0]; length > 0 {
				n += int(math.Floor((length+gap)/(w+gap) + 1e-9))
			}
		}
	}
	return n
}

// convex draws a convex outline: points on an ellipse, by angle.
func convex(t *rapid.T) []point {
	n := rapid.IntRange(3, 7).Draw(t, "corners")
	a, b := rapid.Float64Range(2, 7).Draw(t, "a"), rapid.Float64Range(1.5, 4).Draw(t, "b")
	var angles []float64
	for range n {
		angles = append(angles, rapid.Float64Range(0, 2*math.Pi).Draw(t, "angle"))
	}
	slices.Sort(angles)
	var out []point
	for _, φ := range angles {
		out = append(out, point{math.Round(1000*(a+a*math.Cos(φ))) / 1000, math.Round(1000*(b+b*math.Sin(φ))) / 1000})
	}
	return counterClockwise(out)
}

func TestPackOnSlantedOutlines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		outline := convex(t)
		if outlineProblem(outline) != "" || signedArea(outline) < 0.5 {
			return
		}
		var boxes [][4]float64
		s := surface{outline: outline}
		for range rapid.IntRange(0, 2).Draw(t, "boxes") {
			x, y := rapid.Float64Range(0, 10).Draw(t, "x"), rapid.Float64Range(0, 6).Draw(t, "y")
			boxes = append(boxes, [4]float64{x, y, x + 0.6, y + 0.8})
			s.blocked = append(s.blocked, box(x, y, x+0.6, y+0.8))
		}
		w, h, gap := rapid.Float64Range(0.6, 1.8).Draw(t, "w"), rapid.Float64Range(0.6, 1.8).Draw(t, "h"), 0.02
		got, at := pack(s, w, h, gap)
		if n := plainConvex(outline, boxes, w, h, gap, at); n != got {
			t.Fatalf("pack claims %d at offset %v, the plain recipe finds %d there", got, at, n)
		}
		for o := 0.0; o < h+gap; o += 0.001 {
			if n := plainConvex(outline, boxes, w, h, gap, o); n > got {
				t.Fatalf("pack %d, the plain recipe %d at offset %v", got, n, o)
			}
		}
	})
}

// For a convex outline, setbacks are each edge moved inwards by its own
// distance: what remains is the meeting of the moved half-planes. For any
// outline nothing nearer to an edge than its setback stays free.
func TestSetbacksKeepTheirDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		outline := convex(t)
		if outlineProblem(outline) != "" || signedArea(outline) < 4 || len(outline) < 3 {
			return
		}
		sb := setbacks{rapid.Float64Range(0, 1).Draw(t, "ridge"), rapid.Float64Range(0, 0.5).Draw(t, "eave"), rapid.Float64Range(0, 0.6).Draw(t, "side")}
		left, pieces := inset(outline, sb), strips(outline, sb)
		shortest := math.Inf(1)
		for i, a := range outline {
			b := outline[(i+1)%len(outline)]
			shortest = min(shortest, math.Hypot(b[0]-a[0], b[1]-a[1]))
		}
		lo, hi := bounds(outline)
		for x := lo[0]; x <= hi[0]; x += 0.13 {
			for y := lo[1]; y <= hi[1]; y += 0.11 {
				toLine, toEdge := math.Inf(1), math.Inf(1) // less the setback
				for i, a := range outline {
					b := outline[(i+1)%len(outline)]
					dx, dy := b[0]-a[0], b[1]-a[1]
					length := math.Hypot(dx, dy)
					u := max(0, min(1, ((x-a[0])*dx+(y-a[1])*dy)/(length*length)))
					toLine = min(toLine, ((y-a[1])*dx-(x-a[0])*dy)/length-sb.edgeSetback(dx, dy))
					toEdge = min(toEdge, math.Hypot(x-a[0]-u*dx, y-a[1]-u*dy)-sb.edgeSetback(dx, dy))
				}
				if math.Abs(toLine) > 1e-6 && insideConvex(left, x, y) != (toLine > 0) {
					t.Fatalf("(%v, %v) is %v from the nearest moved edge; left is %v", x, y, toLine, left)
				}
				if shortest < 1 || !insideConvex(outline, x, y) || toEdge > -1e-6 {
					continue // strips are for outlines whose edges are longer than their setbacks
				}
				if !slices.ContainsFunc(pieces, func(p []point) bool { return insideConvex(counterClockwise(p), x, y) }) {
					t.Fatalf("(%v, %v) lies within a setback and is not blocked", x, y)
				}
			}
		}
	})
}

func TestEdgesByTheWayTheyRun(t *testing.T) {
	s := setbacks{ridge: 3, eave: 1, side: 2}
	for _, c := range []struct{ dx, dy, want float64 }{
		{1, 0, 1}, {-1, 0, 3}, {0, 1, 2}, {0, -1, 2}, // the roof on the left: level to the right is an eave
		{1, 0.14, 1}, {-1, -0.14, 3}, {1, 0.21, 2}, // 8 degrees is level, 12 is not
	} {
		if got := s.edgeSetback(c.dx, c.dy); got != c.want {
			t.Errorf("edge (%g, %g): setback %g, want %g", c.dx, c.dy, got, c.want)
		}
	}
}

// An L of two 4 x 3 m arms (8 x 3 below, the left half 6 m up) with 0.3 m at
// its sides, 0.5 m at its ridges, 0.2 m at the eave, modules of 1 x 1 m without
// gaps: rows between 0.2 and 5.5 m; below 2.5 m from 0.3 to 7.7 m, 7 each; above
// from 0.3 to 3.7 m, 3 each. Two rows below (0.2 to 2.2), and 3 above (2.2, 3.2
// and 4.2 to 5.2): 7 + 7 + 3 + 3 + 3.
func TestSetbacksOfAnL(t *testing.T) {
	pl := ingest.Plane{PolygonM: []point{{0, 0}, {8, 0}, {8, 3}, {4, 3}, {4, 6}, {0, 6}}}
	s, ok := surfaceOf(pl, setbacks{ridge: 0.5, eave: 0.2, side: 0.3}, 0)
	if n, _ := pack(s, 1, 1, 0); !ok || n != 23 {
		t.Errorf("%d modules, want 23", n)
	}
}

func insideConvex(poly []point, x, y float64) bool {
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		if (b[0]-a[0])*(y-a[1])-(b[1]-a[1])*(x-a[0]) < -1e-9 {
			return false
		}
	}
	return len(poly) > 2
}
