package headroom

import (
	"cmp"
	"fmt"
	"math"
	"rowen/ingest"
	"rowen/ingest/samebits"
	"slices"
	"strings"
)

// minFireSlopeDeg is a slope of 2 in 12; below it the fire-access rules of the
// ridge do not hold (IRC R324.6, published).
const minFireSlopeDeg = 9.4623

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

// steepestRoof is the tangent of 60 degrees: a plane that is not in the register
// is taken to be no steeper, so that its plan area is at least what closes the
// roof (our choice: steeper planes carry no roof worth the name).
var steepestRoof = math.Sqrt(3)

// ridgeChoice is what the fire-access rule of the ridge leads to.
type ridgeChoice struct {
	rooms     []room
	most      int     // Many: no bound
	ridgeM    float64 // the setback of planes under the rule
	says, ask string
}

// ridge applies the rule that modules, old and new, above a share of the whole
// roof's plan area widen the ridge setback for all of it: the better of two is
// taken, as many as stay below the share, or what fits with the wide setback.
//
// The rule speaks of the whole roof, and a register often holds only the planes
// worth having. The register's plan area of the whole roof decides; without it,
// counted on is only what the planes of the register hold for certain: the
// share of their own area, and of the least area that closes the roof. A whole
// roof closes: its planes' areas, each times the sine of its tilt and pointing
// where it faces, add up to about nothing (gable and hip alike; within 15 %,
// our choice). Where they do not, what would fit if the rest of the roof is
// large enough is the upper bound, and the page asks for the roof's plan area.
// Another plane in the register never takes room away.
//
// Source: IRC R324.6, 18 and 36 inches at 33 % (secondary), handbook 10.1.
func (r *roof) ridge(in Input, longM, shortM float64) ridgeChoice {
	o := in.Options
	out := ridgeChoice{rooms: r.narrow, most: Many, ridgeM: o.RidgeSetbackM}
	if !(o.AreaSharePct > 0) || !(r.planM2 > 0) {
		return out
	}
	missing := samebits.Hypot(r.lean[0], r.lean[1])
	roofM2 := r.planM2 + missing/steepestRoof
	if in.Site.RoofPlanM2 > roofM2 {
		roofM2 = in.Site.RoofPlanM2
	}
	under, narrow := r.underShare(in.Site.Planes, longM*shortM, o.AreaSharePct/100*roofM2), sum(r.narrow)
	if under >= narrow {
		return out
	}
	widened := r.widen(in, longM, shortM)
	share := fmt.Sprintf("%g %% of the roof's plan area (%.1f m2 of %.1f m2, old modules %.1f m2)", o.AreaSharePct, o.AreaSharePct/100*roofM2, roofM2, r.oldM2)
	switch wide := sum(widened); {
	case wide >= narrow: // the wider setback costs nothing
	case under >= wide:
		out.most = under
		out.says = fmt.Sprintf(" Beyond %s the ridge setback grows from %g m to %g m for the whole roof: the count stops there.", share, o.RidgeSetbackM, o.WideRidgeSetbackM)
	default:
		out.rooms, out.ridgeM = widened, o.WideRidgeSetbackM
		out.says = fmt.Sprintf(" Old and new modules exceed %s: the ridge setback is %g m for the whole roof.", share, o.WideRidgeSetbackM)
		if r.oldM2 > 0 {
			r.cautions = append(r.cautions, Caution{Code: "old_modules_near_ridge",
				Says: fmt.Sprintf("The wider ridge setback of %g m applies to the old modules too: check on site that none lies inside it.", o.WideRidgeSetbackM)})
		}
	}
	part := !(in.Site.RoofPlanM2 > 0) && (missing > 0.15*r.leanM2 || r.measured < len(r.rooms))
	if part && min(out.most, sum(out.rooms)) < narrow {
		out.ask = "the whole roof's plan area"
		out.says += fmt.Sprintf(" The register does not hold the whole roof: if that has %.0f m2 in plan or more, %d fit with %g m at the ridge.",
			math.Ceil(r.neededM2(in, longM*shortM)), narrow, o.RidgeSetbackM)
		r.cautions = append(r.cautions, Caution{Code: "ridge_setback_may_widen", Says: strings.TrimSpace(out.says)})
	}
	return out
}

// neededM2 is the plan area of the whole roof that lets every module of the
// narrow setback stay within the share.
func (r *roof) neededM2(in Input, moduleM2 float64) float64 {
	covered := r.oldM2
	for i, pl := range in.Site.Planes {
		if underFireRule(pl) {
			covered += float64(float64(r.narrow[i].n) * moduleM2 * samebits.Cos(pl.TiltDeg*math.Pi/180))
		}
	}
	return covered / (in.Options.AreaSharePct / 100)
}

// underShare is how many modules can be added before old and new pass the
// share of the plan area, wherever they are put: the flattest planes are taken
// first, on which a module covers most.
func (r *roof) underShare(planes []ingest.Plane, moduleM2, allowedM2 float64) int {
	flattest := make([]int, len(planes))
	for i := range flattest {
		flattest[i] = i
	}
	slices.SortStableFunc(flattest, func(a, b int) int { return cmp.Compare(planes[a].TiltDeg, planes[b].TiltDeg) })
	count, left, full := 0, allowedM2-r.oldM2, false
	for _, i := range flattest {
		n := r.narrow[i].n
		if underFireRule(planes[i]) {
			each := moduleM2 * samebits.Cos(planes[i].TiltDeg*math.Pi/180)
			fits := 0
			if !full {
				fits = min(n, floorPositive(left/each))
			}
			full = full || fits < n
			left, n = left-float64(float64(fits)*each), fits
		}
		count += n
	}
	return count
}
