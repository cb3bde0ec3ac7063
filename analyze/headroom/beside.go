package headroom

import (
	"fmt"
	"math"
	"rowen/ingest"
	"slices"
)

// oldSize is the size of an old module of which only the watts are known:
// 60 and 72 cell frames and half-cut frames of their years (common practice).
func oldSize(watts float64) (longM, shortM float64) {
	switch {
	case !(watts > 0) || watts <= 300:
		return 1.65, 0.992
	case watts <= 400:
		return 1.722, 1.134
	}
	return 1.762, 1.134
}

// oldGroup is a number of like old modules on one plane.
type oldGroup struct {
	modules       int
	longM, shortM float64
}

func (g oldGroup) cellM2(gap float64) float64 { return (g.longM + gap) * (g.shortM + gap) }
func (g oldGroup) areaM2() float64            { return float64(float64(g.modules) * g.longM * g.shortM) }

// groupOf is what an array covers.
func groupOf(a ingest.Array, c *ingest.Catalogue) oldGroup {
	if m := c.Module(a.ModuleModel); m != nil && m.WidthM > 0 && m.HeightM > 0 {
		return oldGroup{a.Modules, max(m.WidthM, m.HeightM), min(m.WidthM, m.HeightM)}
	}
	l, s := oldSize(a.ModuleWatts)
	return oldGroup{a.Modules, l, s}
}

// place puts the old arrays on planes: by the plane they name, else on the
// only plane of their orientation, else on the only plane there is. What finds
// no plane stays loose.
func (r *roof) place(in Input) [][]oldGroup {
	on := make([][]oldGroup, len(in.Site.Planes))
	for _, a := range in.Site.Arrays {
		g := groupOf(a, in.Catalogue)
		r.oldArea += g.areaM2()
		if m := in.Catalogue.Module(a.ModuleModel); m == nil || !(m.WidthM > 0 && m.HeightM > 0) {
			r.cautions = append(r.cautions, Caution{Code: "old_module_size_assumed",
				Says: fmt.Sprintf("The old modules of array %s are not in the catalogue: their size is taken as usual for their watts, %g x %g m.", a.ID, g.longM, g.shortM)})
		}
		if i := planeOf(a, in.Site.Planes); i >= 0 {
			on[i] = append(on[i], g)
			continue
		}
		r.loose = append(r.loose, g)
		r.cautions = append(r.cautions, Caution{Code: "array_plane_unknown",
			Says: fmt.Sprintf("Array %s names no plane of the register and its orientation fits none alone: where it lies is not known.", a.ID)})
	}
	return on
}

// oldArrayHidden says why the register does not show all old modules; "".
func oldArrayHidden(s *ingest.Site) string {
	switch {
	case problemIn(s, "arrays"):
		return "a row of the old arrays was set aside"
	case len(s.Arrays) == 0 && s.Service != nil && s.Service.PVBreakerAmps > 0:
		return "there are PV breakers and no array in the register"
	}
	return ""
}

// planeOf finds an array's plane; -1 where that is not clear. Orientations
// agree within 10 degrees of tilt and 25 of azimuth (our choice: registers are
// rounded, and neighbouring planes of a roof differ by more).
func planeOf(a ingest.Array, planes []ingest.Plane) int {
	found := -1
	for i, p := range planes {
		if a.PlaneID != "" && a.PlaneID == p.ID {
			return i
		}
		if math.Abs(a.TiltDeg-p.TiltDeg) <= 10 && (math.Abs(math.Remainder(a.AzimuthDeg-p.AzimuthDeg, 360)) <= 25 || p.TiltDeg < 3) {
			if found >= 0 {
				found = -2
			} else if found == -1 {
				found = i
			}
		}
	}
	if found >= 0 {
		return found
	}
	if len(planes) == 1 {
		return 0
	}
	return -1
}

// roomOn packs one plane beside what is there.
func roomOn(pl ingest.Plane, s setbacks, old []oldGroup, longM, shortM float64, o Options) (room, bool) {
	sf, ok := surfaceOf(pl, s, o.ObstacleMarginM)
	if !ok {
		return room{}, false
	}
	lost, atMost := blockedModules(pl, (longM+o.ModuleGapM)*(shortM+o.ModuleGapM))
	if len(old) == 0 {
		n, way := packBest(sf, longM, shortM, o.ModuleGapM)
		return room{n: max(0, n-lost), low: max(0, n-atMost), high: n, orientation: way}, true
	}
	out := room{n: -1, low: Many}
	least := Many // old modules that find no place, at best
	for _, v := range layoutsOf(sf, old, o.ModuleGapM) {
		n, way, left := besides(sf, old, v, longM, shortM, o.ModuleGapM)
		least = min(least, left)
		if left > 0 { // they are there: so this is not how they lie
			continue
		}
		if v.columns && max(0, n-lost) > out.n {
			out.n, out.orientation = max(0, n-lost), way
		}
		out.low, out.high = min(out.low, max(0, n-atMost)), max(out.high, n)
	}
	if out.n < 0 { // no block holds them all: what is left is not counted on
		out.n, out.low = 0, 0
	}
	if least > 0 {
		out.says = fmt.Sprintf("%d of the old modules find no place on plane %s by its dimensions and setbacks", least, pl.ID)
	}
	return out, true
}

// layout is one way in which an old array may lie on its plane.
type layout struct {
	columns   bool // in columns from one side, each from the eave up, else in rows
	perLine   int  // modules in a column; 0: as many as fit
	landscape bool
	fromRidge bool
}

// layoutsOf are the usual ways: an upright block in the corner at the eave,
// every number of rows that fits, of which the one that leaves most is counted
// on; and rows from the eave, from the ridge and lying, which say how much
// hangs on it (our choice; the array map knows). A larger plane keeps every
// block of a smaller one, so that it never holds fewer.
func layoutsOf(sf surface, old []oldGroup, gap float64) []layout {
	out := []layout{{}, {fromRidge: true}, {landscape: true}}
	if len(sf.outline) == 0 {
		return out
	}
	lo, hi := bounds(sf.outline)
	rows := 1
	for _, g := range old {
		rows = max(rows, min(g.modules, fit(hi[1]-lo[1], g.longM, gap)))
	}
	for r := rows; r >= 1; r-- {
		out = append(out, layout{columns: true, perLine: r})
	}
	return out
}

// besides packs what is left once the old modules are laid.
func besides(sf surface, old []oldGroup, v layout, longM, shortM, gap float64) (n int, way string, left int) {
	free := surface{sf.outline, slices.Clone(sf.blocked)}
	for _, g := range old {
		w, h := g.shortM, g.longM
		if v.landscape {
			w, h = h, w
		}
		boxes, rest := lay(free, v, w, h, gap, g.modules)
		free.blocked, left = append(free.blocked, boxes...), left+rest
	}
	if left > 0 {
		return 0, "", left
	}
	n, way = packBest(free, longM, shortM, gap)
	return n, way, 0
}

// blockedModules is how many modules the plane's blocked area takes where its
// place is not known: its area in modules, rounded (a vent of less than half a
// module can usually be dodged by shifting the rows), and at most every started
// one. At best it lies where no module would have gone (our choice).
func blockedModules(pl ingest.Plane, cellM2 float64) (lost, atMost int) {
	rest := pl.BlockedM2
	for _, o := range pl.ObstaclesM {
		rest -= math.Abs((o[2] - o[0]) * (o[3] - o[1]))
	}
	return floorPositive(rest/cellM2 + 0.5), floorPositive(math.Ceil(rest/cellM2 - 1e-9))
}

func planeArea(pl ingest.Plane) float64 {
	if len(pl.PolygonM) > 0 {
		return math.Abs(signedArea(pl.PolygonM))
	}
	return pl.WidthM * pl.SlopeM
}
