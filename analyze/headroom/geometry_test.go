package headroom

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rowen/ingest"
)

// The usual sizes by watts; NaN is not known.
func TestSizesOfOldModules(t *testing.T) {
	for watts, long := range map[float64]float64{0: 1.65, 300: 1.65, 301: 1.722, 400: 1.722, 401: 1.762} {
		if got, _ := oldSize(watts); got != long {
			t.Errorf("%g W: %g m long, want %g", watts, got, long)
		}
	}
	if got, short := oldSize(math.NaN()); got != 1.65 || short != 0.992 {
		t.Errorf("of unknown watts: %g x %g m", got, short)
	}
	g := oldGroup{3, 1.5, 1}
	if g.areaM2() != 4.5 || g.cellM2(0.5) != 3 {
		t.Errorf("three of 1.5 x 1 m cover %g m2, with gaps of 0.5 m %g each", g.areaM2(), g.cellM2(0.5))
	}
	c := &ingest.Catalogue{Modules: []ingest.Module{{Model: "wide", WidthM: 1.8, HeightM: 1.1}, {Model: "flat", WidthM: 1.8}}}
	if g := groupOf(ingest.Array{Modules: 2, ModuleModel: "wide", ModuleWatts: 300}, c); g != (oldGroup{2, 1.8, 1.1}) {
		t.Errorf("a module that the catalogue gives lying: %+v", g)
	}
	if g := groupOf(ingest.Array{Modules: 2, ModuleModel: "flat", ModuleWatts: 300}, c); g != (oldGroup{2, 1.65, 0.992}) {
		t.Errorf("a module without a height: %+v", g)
	}
}

// Which plane an array lies on: the one it names; else the only one within 10 degrees
// of its tilt and 25 of its azimuth; else the only one.
func TestPlaneOfAnArray(t *testing.T) {
	south, east, level := plane("S", 5, 5, 30, 180), plane("E", 5, 5, 30, 90), plane("L", 5, 5, 2, 0)
	for _, c := range []struct {
		what          string
		id            string
		tilt, azimuth float64
		planes        []ingest.Plane
		want          int
	}{
		{"by its name", "E", 30, 180, []ingest.Plane{south, east}, 1},
		{"ten degrees of tilt", "", 40, 180, []ingest.Plane{east, south}, 1},
		{"eleven", "", 41, 180, []ingest.Plane{east, south}, -1},
		{"25 degrees of azimuth", "", 30, 155, []ingest.Plane{east, south}, 1},
		{"26", "", 30, 154, []ingest.Plane{east, south}, -1},
		{"around north", "", 30, 350, []ingest.Plane{east, plane("N", 5, 5, 30, 10)}, 1},
		{"a level plane faces every way", "", 5, 222, []ingest.Plane{east, level}, 1},
		{"one of three degrees does not", "", 5, 222, []ingest.Plane{east, plane("L", 5, 5, 3, 0)}, -1},
		{"two alike", "", 30, 180, []ingest.Plane{south, east, plane("S2", 5, 5, 25, 190)}, -1},
		{"three alike", "", 30, 180, []ingest.Plane{south, south, south}, -1},
		{"the only plane", "", 60, 0, []ingest.Plane{south}, 0},
		{"none", "", 30, 180, nil, -1},
	} {
		if got := planeOf(ingest.Array{PlaneID: c.id, TiltDeg: c.tilt, AzimuthDeg: c.azimuth}, c.planes); got != c.want {
			t.Errorf("%s: plane %d, want %d", c.what, got, c.want)
		}
	}
}

// 5 m2 are blocked, 1 and 1 of them by obstacles whose place is known: 3 m2 are 1.5
// cells of 2 m2.
func TestBlockedAreaInModules(t *testing.T) {
	for _, c := range []struct{ blocked, lost, atMost float64 }{{5, 2, 2}, {4.9, 1, 2}, {6, 2, 2}, {6.1, 2, 3}, {2, 0, 0}, {0, 0, 0}, {math.NaN(), 0, 0}} {
		pl := ingest.Plane{BlockedM2: c.blocked, ObstaclesM: [][4]float64{{1, 1, 2, 2}, {4, 3, 2, 3.5}}}
		lost, atMost := blockedModules(pl, 2)
		if float64(lost) != c.lost || float64(atMost) != c.atMost {
			t.Errorf("%g m2: %d lost, %d at most, want %g and %g", c.blocked, lost, atMost, c.lost, c.atMost)
		}
	}
	if got := planeArea(ingest.Plane{WidthM: 6, SlopeM: 4}); got != 24 {
		t.Errorf("6 x 4 m are %g m2", got)
	}
	if got := planeArea(ingest.Plane{WidthM: 6, SlopeM: 4, PolygonM: []point{{0, 0}, {0, 3}, {4, 0}}}); got != 6 {
		t.Errorf("a triangle drawn clockwise has %g m2", got)
	}
}

// Modules of 1 x 1.5 m, gap 0.1, on 5 x 4 m: rows of four (4.3 m), the first from 0 to
// 1.5 m, the second from 1.6; columns of two, every 1.1 m. A box takes the gaps in.
func TestWhereOldModulesLie(t *testing.T) {
	for _, c := range []struct {
		what string
		v    layout
		n    int
		want [][4]float64
		left int
	}{
		{"five from the eave", layout{}, 5, [][4]float64{{-0.1, -0.1, 4.4, 1.6}, {-0.1, 1.5, 1.1, 3.2}}, 0},
		{"five from the ridge", layout{fromRidge: true}, 5, [][4]float64{{-0.1, 2.4, 4.4, 4.1}, {-0.1, 0.8, 1.1, 2.5}}, 0},
		{"more than there is room for", layout{}, 20, [][4]float64{{-0.1, -0.1, 4.4, 1.6}, {-0.1, 1.5, 4.4, 3.2}}, 12},
		{"three in columns of two", layout{columns: true, perLine: 2}, 3, [][4]float64{{-0.1, -0.1, 1.1, 3.2}, {1.0, -0.1, 2.2, 1.6}}, 0},
		{"in columns of one", layout{columns: true, perLine: 1}, 2, [][4]float64{{-0.1, -0.1, 1.1, 1.6}, {1.0, -0.1, 2.2, 1.6}}, 0},
		{"none", layout{}, 0, nil, 0},
	} {
		boxes, left := lay(rectangle(0, 0, 5, 4), c.v, 1, 1.5, 0.1, c.n)
		got := make([][4]float64, 0, len(boxes))
		for _, b := range boxes {
			lo, hi := bounds(b)
			got = append(got, [4]float64{lo[0], lo[1], hi[0], hi[1]})
			if len(b) != 4 || signedArea(b) <= 0 {
				t.Errorf("%s: %v is no box whose corners run counter-clockwise", c.what, b)
			}
		}
		if left != c.left || !slices.EqualFunc(got, c.want, closeBox) {
			t.Errorf("%s: %v and %d left, want %v and %d", c.what, got, left, c.want, c.left)
		}
	}
	for height, left := range map[float64]int{3.1: 0, 3.09: 4} { // two rows fit exactly
		for _, v := range []layout{{}, {fromRidge: true}} {
			if _, got := lay(rectangle(0, 0, 5, height), v, 1, 1.5, 0.1, 8); got != left {
				t.Errorf("on %g m, %+v: %d left, want %d", height, v, got, left)
			}
		}
	}
	s := rectangle(0, 0, 5, 4) // a vent from 2 to 2.5 m: one module left of it, two right
	s.blocked = [][]point{box(2, 0, 2.5, 1)}
	boxes, left := lay(s, layout{}, 1, 1.5, 0.1, 3)
	if left != 0 || len(boxes) != 2 || math.Abs(boxes[1][0][0]-2.4) > 1e-12 || math.Abs(boxes[1][1][0]-4.7) > 1e-12 {
		t.Errorf("beside a vent: %v, %d left", boxes, left)
	}
	if _, left := lay(s, layout{}, 1, 1.5, 0.1, 20); left != 13 { // three in the first row, four in the second
		t.Errorf("beside a vent: %d of 20 left", left)
	}
	if boxes, left := lay(s, layout{perLine: 2}, 1, 1.5, 0.1, 3); left != 0 || len(boxes) != 3 { // two in the first row, over both sides
		t.Errorf("two to a row: %v, %d left", boxes, left)
	}
	if _, left := lay(surface{}, layout{}, 1, 1.5, 0.1, 3); left != 3 {
		t.Errorf("on nothing: %d left", left)
	}
}

func closeBox(a, b [4]float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-9 {
			return false
		}
	}
	return true
}

// What is blocked along the eave and the ridge pushes the first row inwards.
func TestFirstRowOfOldModules(t *testing.T) {
	s := rectangle(0, 0, 5, 4)
	s.blocked = [][]point{box(0, 0, 5, 0.3), box(0, 3.7, 5, 4)}
	for fromRidge, want := range map[bool]float64{false: 0.3, true: 2.2} {
		if got := newPacker(s).firstRow(1.5, fromRidge); math.Abs(got-want) > 1e-6 {
			t.Errorf("from the ridge %v: at %g m, want %g", fromRidge, got, want)
		}
	}
	s.blocked = [][]point{box(0, 0, 5, 4)}
	for fromRidge, want := range map[bool]float64{false: 0, true: 2.5} { // no room anywhere
		if got := newPacker(s).firstRow(1.5, fromRidge); got != want {
			t.Errorf("no room, from the ridge %v: at %g m", fromRidge, got)
		}
	}
}

// Old modules of 1 x 1.5 m on 4 x 3 m, where eight of that size fit upright. Three of
// them leave five, lying in columns or rows; laid flat in rows of two they leave three.
func TestRoomBesideOldModules(t *testing.T) {
	for _, c := range []struct {
		what         string
		old          int
		blocked      float64
		n, low, high int
		says         string
	}{
		{"none", 0, 0, 8, 8, 8, ""},
		{"three", 3, 0, 5, 3, 5, ""},
		{"three and a module's area of vents", 3, 1.5, 4, 2, 5, ""},
		{"none, and less than half a module's area", 0, 0.7, 8, 7, 8, ""},
		{"eight", 8, 0, 0, 0, 0, ""},
		{"nine", 9, 0, 0, 0, 0, "1 of the old modules find no place on plane P"},
	} {
		pl := plane("P", 4, 3, 30, 180)
		pl.BlockedM2 = c.blocked
		var old []oldGroup
		if c.old > 0 {
			old = []oldGroup{{c.old, 1.5, 1}}
		}
		r, ok := roomOn(pl, setbacks{}, old, 1.5, 1, Options{})
		if !ok || r.n != c.n || r.low != c.low || r.high != c.high || !strings.HasPrefix(r.says, c.says) || (r.says == "") != (c.says == "") {
			t.Errorf("%s: %+v, want %d (%d to %d)", c.what, r, c.n, c.low, c.high)
		}
	}
	// With gaps of 0.1 m 3 x 1 upright and 2 x 2 lying; a cell has 1.6 x 1.1 m, of which
	// 0.87 m2 are less than half.
	gaps := plane("P", 4, 3, 30, 180)
	gaps.BlockedM2 = 0.87
	if r, _ := roomOn(gaps, setbacks{}, nil, 1.5, 1, Options{ModuleGapM: 0.1}); r.n != 4 || r.low != 3 || r.high != 4 || r.orientation != "landscape" {
		t.Errorf("with gaps: %+v", r)
	}
	if _, ok := roomOn(ingest.Plane{ID: "P"}, setbacks{}, nil, 1.5, 1, Options{}); ok {
		t.Error("a plane without dimensions has room")
	}
	// Rows for the columns: three of 1.5 m in 4.7 m with gaps of 0.1, but no more than there are modules.
	for old, want := range map[int]int{9: 3 + 3, 2: 3 + 2} {
		if got := len(layoutsOf(rectangle(0, 0, 9, 4.7), []oldGroup{{old, 1.5, 1}}, 0.1)); got != want {
			t.Errorf("%d old modules can lie in %d ways, want %d", old, got, want)
		}
	}
}

// What may be wrong with an outline, and what is put right.
func TestOutlines(t *testing.T) {
	for _, c := range []struct {
		poly []point
		want string
	}{
		{[]point{{0, 0}, {4, 0}}, "2 corners"},
		{[]point{{0, 0}, {4, 0}, {4, math.NaN()}}, "not a number"},
		{[]point{{0, 0}, {4, 0}, {math.Inf(1), 2}}, "not a number"},
		{[]point{{0, 0}, {4, 0}, {8, 0}}, "no area"},
		{[]point{{0, 0}, {4, 3}, {4, 0}, {0, 2}}, "crosses itself"},
		{[]point{{0, 0}, {6, 0}, {6, 4}, {1, -1}}, "crosses itself"}, // the last edge but one crosses the first
		{[]point{{0, 0}, {4, 0}, {4, 3}, {2, 1}, {0, 3}}, ""},
		{[]point{{0, 0}, {4, 0}, {2, 3}}, ""},
	} {
		if got := outlineProblem(c.poly); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%v: %q, want %q", c.poly, got, c.want)
		}
	}
	want := []point{{0, 0}, {4, 0}, {4, 3}, {1, 3}, {0, 1}}
	clockwise := []point{{0, 1}, {1, 3}, {1, 3}, {4, 3}, {4, 0}, {0, 0}, {0, 0}}
	got := counterClockwise(clockwise)
	for i := 0; len(got) == 5 && got[0] != want[0] && i < 5; i++ {
		got = append(got[1:], got[0])
	}
	if !slices.Equal(got, want) {
		t.Errorf("turned round and without repeats: %v", got)
	}
	for _, c := range []struct {
		poly   []point
		convex bool
	}{
		{[]point{{0, 0}, {3, 1}, {4, 4}, {1, 3}}, true}, {[]point{{0, 0}, {3, 1}, {4, 4}, {2, 1.9}}, false},
		{[]point{{0, 0}, {4, 0}, {4, 3}, {2, 3}, {0, 3}}, true}, {[]point{{0, 0}, {4, 1}, {1, 1}, {1, 4}}, false},
	} {
		if got := isConvex(c.poly); got != c.convex {
			t.Errorf("%v: convex %v", c.poly, got)
		}
	}
	if got := transposed(surface{outline: []point{{0, 0}, {4, 0}, {0, 3}}}).outline; !slices.Equal(got, []point{{3, 0}, {0, 4}, {0, 0}}) {
		t.Errorf("on its side: %v", got)
	}
}

// Rows slide down until a lower edge touches a corner: of corners at 0, 2.3, 4, 1 and
// -0.5 m and a pitch of 1.6 that is at 0, 0.7, 0.8, 1 and 1.1.
func TestRowOffsets(t *testing.T) {
	s := surface{outline: []point{{0, 0}, {8, 0}, {8, 2.3}, {4, 2.3}, {4, 4}, {0, 4}}, blocked: [][]point{{{1, 1}, {2, 1}, {2, 3.2}, {1, 3.2}}, {{5, -0.5}, {6, -0.5}, {6, 0}}}}
	got := newPacker(s).offsets(1.5, 0.1)
	want := []float64{0, 0.7, 0.8, 1, 1.1}
	if !slices.EqualFunc(got, want, func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }) {
		t.Errorf("offsets %v, want %v", got, want)
	}
	for b, want := range map[packing]packing{{3, 0.2}: {3, 0.2}, {3, 0.7}: {3, 0.5}, {4, 0.9}: {4, 0.9}, {2, 0.1}: {3, 0.5}} {
		if got := (packing{3, 0.5}).or(b); got != want { // more modules, else the lower rows
			t.Errorf("of 3 at 0.5 and %+v: %+v", b, got)
		}
	}
	for _, c := range []struct {
		length, w, gap float64
		n              int
	}{{4.3, 1, 0.1, 4}, {4.29, 1, 0.1, 3}, {1, 1, 0.1, 1}, {0.99, 1, 0.1, 0}, {0, 1, 0, 0}, {3, 1, 0, 3}} {
		if got := fit(c.length, c.w, c.gap); got != c.n {
			t.Errorf("%g m hold %d of %g m with gaps of %g, want %d", c.length, got, c.w, c.gap, c.n)
		}
	}
}

// What stays free over the whole of a band, by outlines whose sides are read off.
func TestFreeStretchesOfABand(t *testing.T) {
	l := []point{{0, 0}, {8, 0}, {8, 3}, {4, 3}, {4, 6}, {0, 6}}
	u := []point{{0, 0}, {6, 0}, {6, 4}, {4, 4}, {4, 2}, {2, 2}, {2, 4}, {0, 4}}
	triangle := []point{{0, 0}, {4, 0}, {2, 4}}
	for _, c := range []struct {
		what    string
		outline []point
		y0, y1  float64
		want    []span
	}{
		{"an L's foot", l, 0, 3, []span{{0, 8}}}, {"its leg", l, 3, 6, []span{{0, 4}}}, {"both", l, 2, 4, []span{{0, 4}}},
		{"a U's arms", u, 2, 4, []span{{0, 2}, {4, 6}}}, {"and some of its foot", u, 1, 3, []span{{0, 2}, {4, 6}}}, {"its foot", u, 0, 2, []span{{0, 6}}},
		{"a triangle", triangle, 0, 1, []span{{0.5, 3.5}}}, {"higher up", triangle, 1, 3, []span{{1.5, 2.5}}},
	} {
		got := newPacker(surface{outline: c.outline}).band(c.y0, c.y1)
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			same = math.Abs(got[i].lo-c.want[i].lo) < 1e-9 && math.Abs(got[i].hi-c.want[i].hi) < 1e-9
		}
		if !same {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
	for _, c := range []struct {
		lo, hi float64
		want   []span
	}{{1, 2, []span{{0, 1}, {2, 5}, {7, 8}}}, {-1, 2, []span{{2, 5}, {7, 8}}}, {4, 7.5, []span{{0, 4}, {7.5, 8}}}, {-1, 9, nil}, {5, 7, []span{{0, 5}, {7, 8}}}} {
		if got := without([]span{{0, 5}, {7, 8}}, c.lo, c.hi, nil); !slices.Equal(got, c.want) {
			t.Errorf("without %g to %g: %v, want %v", c.lo, c.hi, got, c.want)
		}
	}
	diamond := []point{{1, 0}, {2, 1}, {1, 2}, {0, 1}}
	for _, c := range []struct {
		y0, y1, lo, hi float64
		ok             bool
	}{{0.5, 1, 0, 2, true}, {0, 0.5, 0.5, 1.5, true}, {1.5, 3, 0.5, 1.5, true}, {0.9, 1.1, 0, 2, true}, {-1, 3, 0, 2, true}, {2, 3, 0, 0, false}, {-1, 0, 0, 0, false}, {5, 6, 0, 0, false}} {
		lo, hi, ok := shadow(diamond, c.y0, c.y1)
		if ok != c.ok || ok && (math.Abs(lo-c.lo) > 1e-9 || math.Abs(hi-c.hi) > 1e-9) {
			t.Errorf("a diamond from %g to %g covers %g to %g, %v", c.y0, c.y1, lo, hi, ok)
		}
	}
}

// A square of 4 m loses 0.2 m at the eave, 0.5 at the ridge and 0.3 on either side; a
// roof of 1 m loses all to 0.5 m on either side.
func TestInsetByHand(t *testing.T) {
	lo, hi := bounds(inset(box(0, 0, 4, 4), setbacks{ridge: 0.5, eave: 0.2, side: 0.3}))
	if !closeBox([4]float64{lo[0], lo[1], hi[0], hi[1]}, [4]float64{0.3, 0.2, 3.7, 3.5}) {
		t.Errorf("from %v to %v", lo, hi)
	}
	if got := inset(box(0, 0, 1, 4), setbacks{side: 0.5}); got != nil {
		t.Errorf("nothing should be left: %v", got)
	}
	if got := inset(box(0, 0, 4, 4), setbacks{eave: -1}); !slices.Equal(got, box(0, 0, 4, 4)) {
		t.Errorf("a setback outwards: %v", got)
	}
	// The eave moved up by 0.2 and the right side moved in by 0.3 meet at (3.7, 0.2).
	e := side{a: point{0, 0}, b: point{4, 0}, ny: 0.2}
	f := side{a: point{4, 0}, b: point{4, 4}, nx: -0.3}
	if p, ok := meeting(e, f); !ok || math.Abs(p[0]-3.7) > 1e-12 || math.Abs(p[1]-0.2) > 1e-12 {
		t.Errorf("meeting at %v, %v", p, ok)
	}
	// Away from the origin, a slope of 3 to 4 moved in by 0.5, (-0.4, 0.3): at 0.2 above
	// the eave at 1 it has gone 0.025 of its way back, to 5 - 0.4 - 0.075.
	e, f = side{a: point{1, 1}, b: point{5, 1}, ny: 0.2}, side{a: point{5, 1}, b: point{8, 5}, nx: -0.4, ny: 0.3}
	for _, pair := range [][2]side{{e, f}, {f, e}} {
		if p, ok := meeting(pair[0], pair[1]); !ok || math.Abs(p[0]-4.525) > 1e-12 || math.Abs(p[1]-1.2) > 1e-12 {
			t.Errorf("meeting at %v, %v", p, ok)
		}
	}
	e = side{a: point{0, 0}, b: point{4, 0}}
	if _, ok := meeting(e, side{a: point{4, 0}, b: point{9, 0}}); ok {
		t.Error("edges on one line meet")
	}
	for _, c := range []struct {
		poly []point
		want bool
	}{{box(1, 2, 4, 4), true}, {[]point{{0, 0}, {4, 0}, {4, 3}, {1, 3}}, false}, {[]point{{0, 0}, {4, 0}, {4, 3}}, false}, {[]point{{0, 0}, {4, 0}, {4, 3}, {2, 3}, {0, 3}}, false}} {
		if got := isRectangle(c.poly); got != c.want {
			t.Errorf("%v: a rectangle: %v", c.poly, got)
		}
	}
	if s := rectangle(0, 0, 3, 0); s.outline != nil {
		t.Errorf("a rectangle without height: %v", s)
	}
	// Obstacles are boxes with their margin, however their corners are given.
	pl := plane("P", 4, 3, 30, 180)
	pl.ObstaclesM = [][4]float64{{2, 1.5, 1, 1}}
	s, ok := surfaceOf(pl, setbacks{}, 0.25)
	blo, bhi := bounds(s.blocked[0])
	if !ok || !closeBox([4]float64{blo[0], blo[1], bhi[0], bhi[1]}, [4]float64{0.75, 0.75, 2.25, 1.75}) {
		t.Errorf("from %v to %v", blo, bhi)
	}
}

// What is kept free along the edges of a convex outline lies within the setback of
// one of them, or of its continuation at a corner.
func TestStripsTakeNoMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		outline := convex(t)
		if outlineProblem(outline) != "" || signedArea(outline) < 4 {
			return
		}
		d := rapid.Float64Range(0.1, 0.5).Draw(t, "setback")
		pieces := strips(outline, setbacks{d, d, d})
		lo, hi := bounds(outline)
		for x := lo[0]; x <= hi[0]; x += 0.23 {
			for y := lo[1]; y <= hi[1]; y += 0.19 {
				nearest := math.Inf(1)
				for i, a := range outline {
					b := outline[(i+1)%len(outline)]
					dx, dy := b[0]-a[0], b[1]-a[1]
					nearest = min(nearest, ((y-a[1])*dx-(x-a[0])*dy)/math.Hypot(dx, dy))
				}
				if nearest > d+1e-6 && slices.ContainsFunc(pieces, func(p []point) bool { return insideConvex(counterClockwise(p), x, y) }) {
					t.Fatalf("(%v, %v) is %v from the nearest edge and kept free for %v", x, y, nearest, d)
				}
			}
		}
	})
}
