package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/ingest"
)

// The shares of a roof that modules take, for planes that nobody has measured.
const (
	// Installed arrays cover 26 % of the roof in the median, 15 to 40 % (LBNL,
	// Tracking the Sun, systems to 2023; published, press summary).
	shareTypical, shareLow = 0.26, 0.15
	// Of the roof 0.4 to 0.75 can carry modules: 0.6 to 0.75 on plain gables,
	// 0.4 to 0.6 on cut-up roofs (common practice); 0.6 in the middle. The lower
	// ends lead to no room at all, which is the prior's lower bound.
	usableTypical, usableHigh = 0.60, 0.75
	// A roof with no old modules to reckon from, m2 (our choice, wide).
	roofTypicalM2, roofHighM2 = 110.0, 220.0
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
	narrow   []room       // with the ordinary ridge setback
	on       [][]oldGroup // by plane
	loose    []oldGroup
	planM2   float64 // plan area of the measured planes under the fire-access rule
	oldM2    float64 // plan area of the old modules on them
	lean     point   // sum of area x sin(tilt) towards east and north: 0 where the planes close to a whole roof
	leanM2   float64 // sum of area x sin(tilt)
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
// Out:     the sum over the planes, under the ridge rule of the whole roof.
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
	r := layOut(in, longM, shortM)
	if len(in.Site.Planes) == 0 {
		mid, top := r.prior(longM, shortM, in.Options.ModuleGapM)
		c := unknown("no_planes", fmt.Sprintf("No roof plane of this site is in the register; from what arrays usually cover, the roof might hold some %d more, and anything from 0 to %d.", mid, top),
			"every roof plane's width along the eave, slope length, tilt and azimuth", 0, top)
		c.Evidence = []string{priorEvidence}
		return c, nil, nil
	}
	c := r.ceiling(in, longM, shortM)
	r.cautions = append(r.cautions, roofCautions(in, r.rooms)...)
	if hidden := oldArrayHidden(in.Site); hidden != "" {
		c.Modules, c.Low = ingest.Opt[int]{}, 0
		c.Reason, c.Ask = "old_array_unknown", join(c.Ask, "; ", "what the old array covers: "+hidden)
		c.Says += " But " + hidden + ", so that its place on the roof is not known."
	}
	if rejected && c.Modules.Known {
		c.High, c.Modules = Many, ingest.Opt[int]{}
		c.Reason, c.Ask = "plane_row_set_aside", "the plane whose row was set aside"
		c.Says += " A row of this site's planes was set aside, so that more room may exist."
	}
	return c, r.rooms, r.cautions
}

func layOut(in Input, longM, shortM float64) *roof {
	o, r := in.Options, &roof{}
	r.on = r.place(in)
	for i, pl := range in.Site.Planes {
		pr := PlaneRoom{Plane: pl}
		for _, g := range r.on[i] {
			pr.OldModules += g.modules
		}
		ridge := o.RidgeSetbackM
		if pl.RoofKind == "ground" {
			ridge = 0 // a plot has no ridge
		}
		narrow, ok := roomOn(pl, setbacks{ridge, o.EaveSetbackM, o.SideSetbackM}, r.on[i], longM, shortM, o)
		pr.Measured = ok
		if ok {
			r.measured++
			if underFireRule(pl) {
				plan := math.Cos(pl.TiltDeg * math.Pi / 180)
				r.planM2 += planeArea(pl) * plan
				sin, cos := math.Sincos(pl.AzimuthDeg * math.Pi / 180)
				lean := planeArea(pl) * math.Sin(pl.TiltDeg*math.Pi/180)
				r.leanM2, r.lean[0], r.lean[1] = r.leanM2+lean, r.lean[0]+lean*sin, r.lean[1]+lean*cos
				for _, g := range r.on[i] {
					r.oldM2 += g.areaM2() * plan
				}
			}
		}
		r.rooms, r.narrow = append(r.rooms, pr), append(r.narrow, narrow)
	}
	return r
}

// underFireRule says whether the fire-access rule of the ridge holds for a plane.
func underFireRule(pl ingest.Plane) bool {
	return pl.RoofKind != "ground" && pl.TiltDeg > minFireSlopeDeg
}

// widen packs the planes under the fire-access rule with the wide setback.
func (r *roof) widen(in Input, longM, shortM float64) []room {
	o, out := in.Options, slices.Clone(r.narrow)
	for i, pl := range in.Site.Planes {
		if r.rooms[i].Measured && underFireRule(pl) && o.WideRidgeSetbackM > o.RidgeSetbackM {
			out[i], _ = roomOn(pl, setbacks{o.WideRidgeSetbackM, o.EaveSetbackM, o.SideSetbackM}, r.on[i], longM, shortM, o)
		}
	}
	return out
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

// ceiling chooses between the narrow and the wide ridge setback, and adds up.
func (r *roof) ceiling(in Input, longM, shortM float64) Ceiling {
	o := in.Options
	choice := r.ridge(in, longM, shortM)
	n, low, high := r.take(choice.rooms, longM, shortM, o.ModuleGapM)
	n, low = min(n, choice.most), min(low, choice.most, choice.low)
	c := Ceiling{Modules: ingest.Some(n), Low: low, High: max(high, sum(r.narrow)), Reason: "roof_room", Ask: choice.ask, Evidence: r.evidence(in)}
	c.Says = r.sentence(n) + "." + choice.says
	if n == 0 {
		c.Reason = "roof_full"
	}
	if r.measured == len(r.rooms) {
		if len(r.loose) > 0 && n > 0 {
			c.Modules, c.Reason = ingest.Opt[int]{}, "old_array_plane_unknown"
			c.Says += fmt.Sprintf(" That is without the old modules whose plane is not known: with them, %d to %d.", c.Low, c.High)
			c.Ask = join(c.Ask, "; ", "the plane that each old array lies on")
		}
		return c
	}
	mid, top := r.prior(longM, shortM, o.ModuleGapM)
	r.spread(mid, top)
	u := unknown("plane_not_measured", fmt.Sprintf("%d of %d roof planes have no dimensions: the measured ones hold %d; from what arrays usually cover, the roof might hold some %d more, and anything from 0 to %d.%s",
		len(r.rooms)-r.measured, len(r.rooms), n, mid, top, choice.says),
		"width along the eave and slope length of plane "+r.unmeasured(), low, high+top)
	u.Evidence = append(c.Evidence, priorEvidence)
	return u
}

const priorEvidence = "prior: arrays cover 26 % of a roof in the median, 15 to 40 % (published, LBNL Tracking the Sun); 40 to 75 % of a roof is usable (common practice)"

// ridgeChoice is what the fire-access rule of the ridge leads to.
type ridgeChoice struct {
	rooms     []room
	most, low int // Many: no bound
	says, ask string
}

// ridge applies the rule that modules, old and new, above a share of the whole
// roof's plan area widen the ridge setback for all of it: the better of two is
// taken, as many as stay below the share, or what fits with the wide setback.
//
// The rule speaks of the whole roof, and a register often holds only the
// planes worth having. A whole roof closes: its planes' areas, each times the
// sine of its tilt and pointing where it faces, add up to about nothing (gable
// and hip alike; within 15 %, our choice). Where they do not, the settings'
// ridge setback stands, the wide one goes into Low, and the page asks for the
// roof's plan area, unless the share is kept even of the roof that closes with
// the missing planes at the same tilt.
//
// Source: IRC R324.6, 18 and 36 inches at 33 % (secondary), handbook 10.1.
func (r *roof) ridge(in Input, longM, shortM float64) ridgeChoice {
	o := in.Options
	out := ridgeChoice{rooms: r.narrow, most: Many, low: Many}
	if !(o.AreaSharePct > 0) || !(r.planM2 > 0) {
		return out
	}
	missing := math.Hypot(r.lean[0], r.lean[1])
	whole := missing <= 0.15*r.leanM2
	roofM2 := r.planM2
	if !whole {
		roofM2 += missing * r.planM2 / r.leanM2
	}
	under := r.underShare(in.Site.Planes, longM*shortM, o.AreaSharePct/100*roofM2)
	if under >= sum(r.narrow) {
		return out
	}
	widened := r.widen(in, longM, shortM)
	wide := sum(widened)
	share := fmt.Sprintf("%g %% of the roof's plan area (%.1f m2 of %.1f m2, old modules %.1f m2)", o.AreaSharePct, o.AreaSharePct/100*roofM2, roofM2, r.oldM2)
	switch {
	case !whole && max(under, wide) >= sum(r.narrow): // whichever holds, as many fit
	case !whole:
		out.low = max(under, wide)
		out.ask = "the whole roof's plan area"
		out.says = fmt.Sprintf(" The register does not hold the whole roof: should old and new modules pass %s, the ridge setback grows to %g m and %d fit.", share, o.WideRidgeSetbackM, out.low)
		r.cautions = append(r.cautions, Caution{Code: "ridge_setback_may_widen", Says: strings.TrimSpace(out.says)})
	case under >= wide:
		out.most = under
		out.says = fmt.Sprintf(" Beyond %s the ridge setback would grow from %g m to %g m for the whole roof: the count stops there.", share, o.RidgeSetbackM, o.WideRidgeSetbackM)
	default:
		out.rooms = widened
		out.says = fmt.Sprintf(" Old and new modules pass %s: the ridge setback is %g m for the whole roof.", share, o.WideRidgeSetbackM)
		if r.oldM2 > 0 {
			r.cautions = append(r.cautions, Caution{Code: "old_modules_near_ridge",
				Says: fmt.Sprintf("The wider ridge setback of %g m holds for the old modules too: see on site that none lies inside it.", o.WideRidgeSetbackM)})
		}
	}
	return out
}

func sum(rooms []room) int {
	n := 0
	for _, r := range rooms {
		n += r.n
	}
	return n
}

// take writes the chosen rooms into the planes and adds up. What old modules
// cover whose plane is not known comes off the lower bounds.
func (r *roof) take(chosen []room, longM, shortM, gap float64) (n, low, high int) {
	loose := 0.0
	for _, g := range r.loose {
		loose += float64(g.modules) * g.cellM2(gap)
	}
	gone := int(math.Ceil(loose/((longM+gap)*(shortM+gap)) - 1e-9))
	for i, c := range chosen {
		pr := &r.rooms[i]
		pr.Modules, pr.Low, pr.High, pr.Orientation = c.n, max(0, c.low-gone), max(c.high, r.narrow[i].high), c.orientation
		if c.says != "" {
			r.cautions = append(r.cautions, Caution{Code: "plane_smaller_than_its_modules", Says: c.says + ": its room counts as none. Measure it."})
		}
		n, low, high = n+c.n, low+c.low, high+pr.High
	}
	for i := range r.rooms {
		pr := &r.rooms[i]
		pr.Says = roomSentence(*pr)
	}
	return n, max(0, low-gone), high
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
func (r *roof) underShare(planes []ingest.Plane, moduleM2, allowedM2 float64) int {
	flattest, free := 0.0, 0
	for i, pl := range planes {
		if !underFireRule(pl) {
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
	return free + floorPositive((allowedM2-r.oldM2)/(moduleM2*flattest))
}

// prior guesses the room on the planes without dimensions from what the old
// modules cover.
func (r *roof) prior(longM, shortM, gap float64) (mid, top int) {
	roofMid, roofTop := roofTypicalM2, roofHighM2
	if r.oldArea > 0 {
		roofMid, roofTop = r.oldArea/shareTypical, r.oldArea/shareLow
	}
	measured, taken := 0.0, r.oldArea // taken: by old modules on planes without dimensions
	for i, pr := range r.rooms {
		if pr.Measured {
			measured += planeArea(pr.Plane)
			for _, g := range r.on[i] {
				taken -= g.areaM2()
			}
		}
	}
	cell := (longM + gap) * (shortM + gap)
	mid = floorPositive(((roofMid-measured)*usableTypical - taken) / cell)
	return mid, max(mid, floorPositive(((roofTop-measured)*usableHigh-taken)/cell))
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
	return strings.Join(ids, ", ")
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
		if !p.Kept && strings.Contains(p.File, table) {
			return true
		}
	}
	return false
}
