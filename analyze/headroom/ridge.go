package headroom

import (
	"fmt"
	"math"
	"rowen/ingest"
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
