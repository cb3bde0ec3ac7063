package headroom

import (
	"fmt"
	"math"
	"strings"

	"rowen/ingest"
)

// The shares of a roof that modules take, for planes that nobody has measured.
const (
	// Installed arrays cover 26 % of the roof in the median, 15 to 40 % (LBNL,
	// Tracking the Sun, systems to 2023; published, press summary).
	shareTypical, shareLow, shareHigh = 0.26, 0.15, 0.40
	// Of the roof 0.4 to 0.75 can carry modules: 0.6 to 0.75 on plain gables,
	// 0.4 to 0.6 on cut-up roofs (common practice); 0.6 in the middle.
	usableTypical, usableLow, usableHigh = 0.60, 0.40, 0.75
	// A roof with no old modules to reckon from, m2 (our choice, wide).
	roofTypicalM2, roofLowM2, roofHighM2 = 110.0, 40.0, 220.0
)

// minFireSlopeDeg is a slope of 2 in 12; below it the fire-access rules of the
// ridge do not hold (IRC R324.6, published).
const minFireSlopeDeg = 9.4623

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
func (g oldGroup) areaM2() float64            { return float64(g.modules) * g.longM * g.shortM }

// groupOf is what an array covers.
func groupOf(a ingest.Array, c *ingest.Catalogue) oldGroup {
	if m := c.Module(a.ModuleModel); m != nil && m.WidthM > 0 && m.HeightM > 0 {
		return oldGroup{a.Modules, max(m.WidthM, m.HeightM), min(m.WidthM, m.HeightM)}
	}
	l, s := oldSize(a.ModuleWatts)
	return oldGroup{a.Modules, l, s}
}

// roof is the roof as the ceiling sees it.
type roof struct {
	rooms    []PlaneRoom
	narrow   []room // with the ordinary ridge setback
	wide     []room // with the wide one
	loose    []oldGroup
	planM2   float64 // plan area of the measured planes under the fire-access rule
	oldM2    float64 // plan area of the old modules on them
	oldArea  float64 // all old modules, on the slope
	measured int
	cautions []Caution
}

// room is how many modules fit on a plane beside the old ones.
type room struct {
	n, low, high int
	orientation  string
	says         string
}

// assessRoof finds the room on every plane and the ceiling of the whole roof.
//
// In:      the planes with what is known of them, the old arrays, the module.
// Out:     the sum over the planes; where modules, old and new, would cover
//
//	more than AreaSharePct of the roof's plan area, the better of two:
//	as many as stay below that share, or what fits with the wide ridge
//	setback on every plane.
//
// Refuses: no planes, a plane without dimensions, a module without a size: not
//
//	known, with what the measured planes hold as the lower bound and a
//	prior above it.
//
// Edges:   what old modules cover is laid out in rows from the eave; the other
//
//	usual ways to lay them give Low and High.
//
// Source:  handbook sections 10.1 and 10.2; setbacks from the settings.
func assessRoof(in Input) (Ceiling, []PlaneRoom, []Caution) {
	longM, shortM := max(in.Module.WidthM, in.Module.HeightM), min(in.Module.WidthM, in.Module.HeightM)
	if !(shortM > 0) {
		return unknown("module_size_unknown", fmt.Sprintf("The module %s has no width and height in the catalogue.", in.Module.Model),
			"width and height of the module "+in.Module.Model, 0, Many), nil, nil
	}
	rejected := problemIn(in.Site, "planes")
	if len(in.Site.Planes) == 0 {
		return unknown("no_planes", "No roof plane of this site is in the register.",
			"every roof plane's width along the eave, slope length, tilt and azimuth", 0, Many), nil, nil
	}
	r := layOut(in, longM, shortM)
	c := r.ceiling(in, longM, shortM)
	if rejected && c.Modules.Known {
		c.High, c.Modules = Many, ingest.Opt[int]{}
		c.Reason, c.Ask = "plane_row_set_aside", "the plane whose row was set aside"
		c.Says += " A row of this site's planes was set aside, so that more room may exist."
	}
	return c, r.rooms, r.cautions
}

func layOut(in Input, longM, shortM float64) *roof {
	o, r := in.Options, &roof{}
	on := r.place(in)
	for i, pl := range in.Site.Planes {
		pr := PlaneRoom{Plane: pl}
		for _, g := range on[i] {
			pr.OldModules += g.modules
		}
		ridge := o.RidgeSetbackM
		if pl.RoofKind == "ground" {
			ridge = 0 // a plot has no ridge
		}
		fire := pl.RoofKind != "ground" && pl.TiltDeg > minFireSlopeDeg
		wideRidge := ridge
		if fire {
			wideRidge = max(ridge, o.WideRidgeSetbackM)
		}
		narrow, ok := roomOn(pl, setbacks{ridge, o.EaveSetbackM, o.SideSetbackM}, on[i], longM, shortM, o)
		pr.Measured = ok
		wide := narrow
		if ok && wideRidge > ridge {
			wide, _ = roomOn(pl, setbacks{wideRidge, o.EaveSetbackM, o.SideSetbackM}, on[i], longM, shortM, o)
		}
		if ok {
			r.measured++
			if fire {
				plan := math.Cos(pl.TiltDeg * math.Pi / 180)
				r.planM2 += planeArea(pl) * plan
				for _, g := range on[i] {
					r.oldM2 += g.areaM2() * plan
				}
			}
		}
		r.rooms, r.narrow, r.wide = append(r.rooms, pr), append(r.narrow, narrow), append(r.wide, wide)
	}
	return r
}

// place puts the old arrays on planes: by the plane they name, else on the
// only plane of their orientation, else on the only plane there is. What finds
// no plane stays loose.
func (r *roof) place(in Input) [][]oldGroup {
	on := make([][]oldGroup, len(in.Site.Planes))
	for _, a := range in.Site.Arrays {
		g := groupOf(a, in.Catalogue)
		r.oldArea += g.areaM2()
		if i := planeOf(a, in.Site.Planes); i >= 0 {
			on[i] = append(on[i], g)
			continue
		}
		r.loose = append(r.loose, g)
		r.cautions = append(r.cautions, Caution{Code: "array_plane_unknown",
			Says: fmt.Sprintf("Array %s names no plane and its orientation fits none alone: what it covers is taken off the planes with most room.", a.ID)})
	}
	return on
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

// roomOn packs one plane. Blocked area whose place is unknown takes away as
// many modules as it could cover, rounded up.
func roomOn(pl ingest.Plane, s setbacks, old []oldGroup, longM, shortM float64, o Options) (room, bool) {
	sf, ok := surfaceOf(pl, s, o.ObstacleMarginM)
	if !ok {
		return room{}, false
	}
	lost, atBest := blockedModules(pl, sf, (longM+o.ModuleGapM)*(shortM+o.ModuleGapM))
	if len(old) == 0 {
		n, way := packBest(sf, longM, shortM, o.ModuleGapM)
		return room{n: max(0, n-lost), low: max(0, n-lost), high: max(0, n-atBest), orientation: way}, true
	}
	out := room{low: Many}
	for i, v := range oldLayouts {
		n, way, left := besides(sf, old, v, longM, shortM, o.ModuleGapM)
		if i == 0 {
			out.n, out.orientation = max(0, n-lost), way
			if left > 0 {
				out.says = fmt.Sprintf("%d of the old modules find no place on plane %s by its dimensions and setbacks", left, pl.ID)
			}
		}
		out.low, out.high = min(out.low, max(0, n-lost)), max(out.high, max(0, n-atBest))
	}
	return out, true
}

// oldLayouts are the usual ways in which an old array lies: the first is the
// one counted on, the others say how much hangs on it.
var oldLayouts = []struct{ landscape, fromRidge bool }{{false, false}, {true, false}, {false, true}, {true, true}}

// besides packs what is left once the old modules are laid.
func besides(sf surface, old []oldGroup, v struct{ landscape, fromRidge bool }, longM, shortM, gap float64) (n int, way string, left int) {
	free := surface{sf.outline, append([][]point(nil), sf.blocked...)}
	for _, g := range old {
		w, h := g.shortM, g.longM
		if v.landscape {
			w, h = h, w
		}
		boxes, rest := lay(free, w, h, gap, g.modules, v.fromRidge)
		free.blocked, left = append(free.blocked, boxes...), left+rest
	}
	if left > 0 {
		return 0, "", left
	}
	n, way = packBest(free, longM, shortM, gap)
	return n, way, 0
}

// blockedModules is how many modules the plane's blocked area takes, where its
// place is not known: each started module's worth is one module lost; at best
// it lies where no module would have gone.
func blockedModules(pl ingest.Plane, sf surface, cellM2 float64) (lost, atBest int) {
	rest := pl.BlockedM2
	for _, o := range pl.ObstaclesM {
		rest -= math.Abs((o[2] - o[0]) * (o[3] - o[1]))
	}
	if !(rest > eps) {
		return 0, 0
	}
	return int(math.Ceil(rest/cellM2 - 1e-9)), 0
}

func planeArea(pl ingest.Plane) float64 {
	if len(pl.PolygonM) > 0 {
		return math.Abs(signedArea(pl.PolygonM))
	}
	return pl.WidthM * pl.SlopeM
}

// ceiling chooses between the narrow and the wide ridge setback, and adds up.
func (r *roof) ceiling(in Input, longM, shortM float64) Ceiling {
	o := in.Options
	chosen, says, shareCap := r.narrow, "", Many
	if o.AreaSharePct > 0 && r.planM2 > 0 && sum(r.narrow) > sum(r.wide) {
		under := r.underShare(in.Site.Planes, longM*shortM, o.AreaSharePct)
		wide := sum(r.wide)
		switch {
		case under >= sum(r.narrow): // the share is not reached
		case under >= wide:
			shareCap = under
			says = fmt.Sprintf(" Modules may cover %g %% of the roof's plan area (%.1f m2 of %.1f m2, old ones %.1f m2) before the ridge setback grows from %g m to %g m for the whole roof.",
				o.AreaSharePct, o.AreaSharePct/100*r.planM2, r.planM2, r.oldM2, o.RidgeSetbackM, o.WideRidgeSetbackM)
		default:
			chosen = r.wide
			says = fmt.Sprintf(" Old and new modules together pass %g %% of the roof's plan area (%.1f m2): the ridge setback is %g m for the whole roof.",
				o.AreaSharePct, r.planM2, o.WideRidgeSetbackM)
			if r.oldM2 > 0 {
				r.cautions = append(r.cautions, Caution{Code: "old_modules_near_ridge",
					Says: fmt.Sprintf("The wider ridge setback of %g m holds for the old modules too: see on site that none lies inside it.", o.WideRidgeSetbackM)})
			}
		}
	}
	n, low, high := r.take(chosen, longM, shortM, o.ModuleGapM)
	high = max(high, sum(r.narrow)) // the register may lack planes: the share would be smaller
	n, low = min(n, shareCap), min(low, shareCap)
	if r.measured == len(r.rooms) {
		c := Ceiling{Modules: ingest.Some(n), Low: low, High: high, Reason: "roof_room", Evidence: r.evidence(in)}
		if n == 0 {
			c.Reason = "roof_full"
		}
		c.Says = fmt.Sprintf("%s.%s", r.sentence(n), says)
		return c
	}
	mid, top := r.prior(longM, shortM, o.ModuleGapM)
	r.spread(mid, top)
	c := unknown("plane_not_measured", fmt.Sprintf("%d of %d roof planes have no dimensions: the measured ones hold %d; from what arrays usually cover, the roof might hold some %d more, and anything from 0 to %d.%s",
		len(r.rooms)-r.measured, len(r.rooms), n, mid, top, says),
		"width along the eave and slope length of "+r.unmeasured(), low, high+top)
	c.Evidence = append(r.evidence(in), "prior: arrays cover 26 % of a roof in the median, 15 to 40 % (published, LBNL Tracking the Sun); 40 to 75 % of a roof is usable (common practice)")
	return c
}

func sum(rooms []room) int {
	n := 0
	for _, r := range rooms {
		n += r.n
	}
	return n
}

// take writes the chosen rooms into the planes, takes off what loose old
// modules cover, and adds up.
func (r *roof) take(chosen []room, longM, shortM, gap float64) (n, low, high int) {
	loose := 0.0
	for _, g := range r.loose {
		loose += float64(g.modules) * g.cellM2(gap)
	}
	gone := int(math.Ceil(loose/((longM+gap)*(shortM+gap)) - 1e-9))
	for i, c := range chosen {
		pr := &r.rooms[i]
		pr.Modules, pr.Low, pr.High, pr.Orientation = c.n, c.low, max(c.high, r.narrow[i].high), c.orientation
		if c.says != "" {
			r.cautions = append(r.cautions, Caution{Code: "plane_smaller_than_its_modules", Says: c.says + ": its room counts as none. Measure it."})
		}
		n, low, high = n+c.n, low+c.low, high+pr.High
	}
	for left := gone; left > 0; {
		most := -1
		for i := range r.rooms {
			if r.rooms[i].Modules > 0 && (most < 0 || r.rooms[i].Modules > r.rooms[most].Modules) {
				most = i
			}
		}
		if most < 0 {
			break
		}
		cut := min(left, r.rooms[most].Modules)
		r.rooms[most].Modules -= cut
		r.rooms[most].Low = max(0, r.rooms[most].Low-cut)
		left -= cut
	}
	for i := range r.rooms {
		pr := &r.rooms[i]
		pr.Says = roomSentence(*pr)
	}
	return max(0, n-gone), max(0, low-gone), high
}

func roomSentence(pr PlaneRoom) string {
	if !pr.Measured {
		return fmt.Sprintf("plane %s: not measured", pr.Plane.ID)
	}
	s := fmt.Sprintf("plane %s: %d more", pr.Plane.ID, pr.Modules)
	if pr.Modules > 0 && pr.Orientation != "" {
		s += " in " + pr.Orientation
	}
	if pr.OldModules > 0 {
		s += fmt.Sprintf(" beside %d old", pr.OldModules)
	}
	if pr.Low < pr.Modules || pr.High > pr.Modules {
		s += fmt.Sprintf(" (%d to %d)", pr.Low, pr.High)
	}
	return s
}

// underShare is how many modules can be added before old and new pass the
// share of the plan area. Every module counts with the flattest of the planes:
// it covers most there.
func (r *roof) underShare(planes []ingest.Plane, moduleM2, sharePct float64) int {
	flattest, free := 0.0, 0
	for i, pl := range planes {
		if pl.RoofKind == "ground" || pl.TiltDeg <= minFireSlopeDeg {
			free += r.narrow[i].n // not under the rule
			continue
		}
		if r.narrow[i].n > 0 {
			flattest = max(flattest, math.Cos(pl.TiltDeg*math.Pi/180))
		}
	}
	if flattest == 0 {
		return Many
	}
	left := sharePct/100*r.planM2 - r.oldM2
	return free + max(0, int(math.Floor(left/(moduleM2*flattest)+1e-9)))
}

// prior guesses the room on the planes without dimensions from what the old
// modules cover.
func (r *roof) prior(longM, shortM, gap float64) (mid, top int) {
	cell := (longM + gap) * (shortM + gap)
	roofMid, roofTop := roofTypicalM2, roofHighM2
	if r.oldArea > 0 {
		roofMid, roofTop = r.oldArea/shareTypical, r.oldArea/shareLow
	}
	known := 0.0
	for _, pr := range r.rooms {
		if pr.Measured {
			known += planeArea(pr.Plane)
		}
	}
	mid = max(0, int(((roofMid-known)*usableTypical-r.oldArea)/cell))
	top = max(mid, int(((roofTop-known)*usableHigh-r.oldArea)/cell))
	return mid, top
}

// spread gives each plane without dimensions its share of the prior.
func (r *roof) spread(mid, top int) {
	missing := len(r.rooms) - r.measured
	for i := range r.rooms {
		if !r.rooms[i].Measured {
			r.rooms[i].Modules, r.rooms[i].High = mid/missing, top
		}
	}
}

func (r *roof) unmeasured() string {
	var ids []string
	for _, pr := range r.rooms {
		if !pr.Measured {
			ids = append(ids, pr.Plane.ID)
		}
	}
	return "plane " + strings.Join(ids, ", ")
}

func (r *roof) sentence(n int) string {
	parts := make([]string, len(r.rooms))
	for i, pr := range r.rooms {
		parts[i] = pr.Says
	}
	return fmt.Sprintf("The roof holds %d more: %s", n, strings.Join(parts, "; "))
}

func (r *roof) evidence(in Input) []string {
	o := in.Options
	return []string{fmt.Sprintf("module %g x %g m, gap %g m, setbacks: ridge %g m, eave %g m, side %g m (settings)",
		in.Module.WidthM, in.Module.HeightM, o.ModuleGapM, o.RidgeSetbackM, o.EaveSetbackM, o.SideSetbackM)}
}

// unknown is a ceiling that nobody knows.
func unknown(reason, says, ask string, low, high int) Ceiling {
	return Ceiling{Low: low, High: high, Reason: reason, Says: says, Ask: ask}
}

// problemIn says whether a row of this site in a table was set aside.
func problemIn(s *ingest.Site, table string) bool {
	for _, p := range s.Problems {
		if strings.Contains(p.File, table) {
			return true
		}
	}
	return false
}
