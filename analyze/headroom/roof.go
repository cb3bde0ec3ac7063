package headroom

import (
	"fmt"
	"math"
	"strings"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// roof is the roof as the limit sees it.
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

// assessRoof finds the room on every plane and the limit of the whole roof.
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
				plan := samebits.Cos(pl.TiltDeg * math.Pi / 180)
				r.planM2 += float64(planeArea(pl) * plan)
				sin, cos := samebits.Sincos(pl.AzimuthDeg * math.Pi / 180)
				lean := float64(planeArea(pl) * samebits.Sin(pl.TiltDeg*math.Pi/180))
				r.leanM2, r.lean[0], r.lean[1] = r.leanM2+lean, r.lean[0]+float64(lean*sin), r.lean[1]+float64(lean*cos)
				for _, g := range r.on[i] {
					r.oldM2 += float64(g.areaM2() * plan)
				}
			}
		}
		r.rooms, r.narrow = append(r.rooms, pr), append(r.narrow, narrow)
	}
	return r
}

// ceiling chooses between the narrow and the wide ridge setback, and adds up.
func (r *roof) ceiling(in Input, longM, shortM float64) Ceiling {
	o := in.Options
	choice := r.ridge(in, longM, shortM)
	for i := range r.rooms {
		if r.rooms[i].RidgeM = o.RidgeSetbackM; underFireRule(r.rooms[i].Plane) {
			r.rooms[i].RidgeM = choice.ridgeM
		}
	}
	n, low, high := r.take(choice.rooms, longM, shortM, o.ModuleGapM)
	n, low = min(n, choice.most), min(low, choice.most)
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
		loose += float64(float64(g.modules) * g.cellM2(gap))
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

// problemIn says whether a row of this site in a table was set aside.
func problemIn(s *ingest.Site, table string) bool {
	for _, p := range s.Problems {
		if !p.Kept && strings.Contains(p.File, table) {
			return true
		}
	}
	return false
}
