package visit

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/headroom"
)

// work is the sheet for a size of which everything is known.
func (s *site) work() *Sheet {
	out := &Sheet{Kind: Work, Title: fmt.Sprintf("Work sheet: add %s", plural(s.Plan.Modules, "module")),
		Lead:      "Everything that decides the size is in the register. If the house shows otherwise, stop and make it a survey.",
		Materials: s.materials(), Sums: s.sums(), Register: s.newRows()}
	out.Parts = []Part{s.office(), s.onArrival(), s.panelboard(), s.onTheRoof(), s.commission(), s.leave()}
	return out
}

func (s *site) job(name string) bool { return slices.Contains(s.Plan.Jobs, name) }

func (s *site) target(job string) string {
	for _, j := range s.Limits.Jobs {
		if j.Name == job {
			return j.Target
		}
	}
	return ""
}

func (s *site) office() Part {
	steps := s.beforeLeaving()
	if s.job(headroom.SoftwareUpdate) {
		steps = append(steps, step("software", Anyone, "Update the gateway from the office to %s and wait until it shows the new version.", s.target(headroom.SoftwareUpdate)))
	}
	after := num(s.wired.BeforeACKW+s.wired.AddedACKW, 3)
	switch limit := s.Room.Site.PermissionLimitKW; {
	case s.job(headroom.NewPermission):
		steps = append(steps, step("permission", Utility, "The new permission for %s kW AC in all is granted in writing before anybody leaves.", after))
	case math.IsNaN(limit):
		steps = append(steps, step("permission", Utility, "Permission to operate at hand; after this job the site has %s kW AC.", after))
	default:
		steps = append(steps, step("permission", Utility, "Permission to operate at hand: %s kW AC are allowed, %s kW after this job.", num(limit, 2), after))
	}
	return Part{"office", "Before leaving the office", steps}
}

// materials count what is carried, by plane and by branch.
func (s *site) materials() []Material {
	m, inv := s.Room.Module, s.Room.Inverter
	out := []Material{}
	for _, p := range s.Plan.ByPlane {
		if p.Modules > 0 {
			out = append(out, Material{p.Modules, fmt.Sprintf("%s %s, %g W", many(p.Modules, "module"), m.Model, m.Watts), s.plane(p.PlaneID)})
		}
	}
	out = append(out, Material{s.wired.Inverters, many(s.wired.Inverters, "inverter") + " " + inv.Model, s.branchesInWords()})
	if n := len(s.wired.Branches); n > 0 {
		poles := poleWord[s.wired.Poles]
		out = append(out, Material{n, fmt.Sprintf("%s-pole %s, %s A, listed for the panelboard", poles, many(n, "breaker"), num(s.wired.BreakerAmps, 0)), ""},
			Material{n, "end cap and junction for a new branch", ""})
	}
	if s.wired.OnOld > 0 {
		out = append(out, Material{s.wired.OnOld, "cable drops to branches that are there", ""})
	}
	out = append(out, Material{1, "spare inverter and 1 spare module of the same models", ""},
		Material{0, "branch cable, rails, attachments, flashing, sealant, clips, labels", ""})
	if s.job(headroom.GatewaySwap) {
		out = append(out, Material{1, "gateway " + s.target(headroom.GatewaySwap), ""})
	}
	if s.job(headroom.Subpanel) {
		out = append(out, Material{1, "subpanel, " + s.target(headroom.Subpanel) + ", with its feeder and breaker", ""})
	}
	if s.job(headroom.PanelboardUpgrade) {
		out = append(out, Material{1, "panelboard, " + s.target(headroom.PanelboardUpgrade), ""})
	}
	return out
}

var poleWord = map[int]string{1: "one", 2: "two", 3: "three"}

func (s *site) branchesInWords() string {
	switch {
	case len(s.wired.Branches) == 0:
		return "all on branches that are there"
	case len(s.wired.Branches) == 1 && s.wired.OnOld == 0:
		return fmt.Sprintf("%d on one new branch", s.wired.Branches[0])
	}
	words := ""
	for i, n := range s.wired.Branches {
		if i > 0 {
			words += " + "
		}
		words += fmt.Sprint(n)
	}
	words += " on new branches"
	if s.wired.OnOld > 0 {
		words += fmt.Sprintf(", %d on old ones", s.wired.OnOld)
	}
	return words
}

// sums shows the arithmetic behind the counts.
func (s *site) sums() []string {
	c := s.wired
	var out []string
	if n := len(c.Branches); n > 0 {
		out = append(out, fmt.Sprintf("Branch: %d × %s A × %g = %s A of %s A.", c.Branches[0], num(c.UnitAmps, 2), c.Factor, num(float64(c.Branches[0])*c.UnitAmps*c.Factor, 1), num(c.BreakerAmps, 0)))
		if free := s.freeSpaces(); free != "" {
			out = append(out, fmt.Sprintf("Spaces: %d × %d = %d of %s.", n, c.Poles, n*c.Poles, free))
		}
	}
	out = append(out, fmt.Sprintf("AC: %s + %s = %s kW.", num(c.BeforeACKW, 3), num(c.AddedACKW, 3), num(c.BeforeACKW+c.AddedACKW, 3)))
	kg := headroom.LoadKgPerM2(s.Room.Module)
	area := s.Room.Module.WidthM * s.Room.Module.HeightM * float64(s.Plan.Modules)
	return append(out, fmt.Sprintf("Weight: %s m² × %s kg/m² = %.0f kg.", num(area, 1), num(kg, 1), kg*area))
}

func (s *site) freeSpaces() string {
	switch v := s.Room.Site.Service; {
	case s.job(headroom.PanelboardUpgrade):
		return "the new panelboard"
	case s.job(headroom.Subpanel):
		return "the subpanel"
	case s.job(headroom.SupplySideConnection), v == nil || !v.FreeSpaces.Known:
		return ""
	default:
		return fmt.Sprintf("%d free", v.FreeSpaces.V)
	}
}

func (s *site) panelboard() Part {
	steps := s.isolate()
	if v := s.Room.Site.Service; v != nil && v.BusbarAmps > 0 && v.MainBreakerAmps > 0 {
		steps = append(steps, fill("busbar_label", Electrician, "A / A", "Read the labels: the register has busbar %s A, main breaker %s A. Anything smaller: stop.", num(v.BusbarAmps, 0), num(v.MainBreakerAmps, 0)))
	}
	if s.job(headroom.Subpanel) {
		steps = append(steps, step("subpanel", Electrician, "Set the subpanel (%s) and its feeder and have them inspected first; the new branches end there.", s.target(headroom.Subpanel)))
	}
	if s.job(headroom.PanelboardUpgrade) {
		steps = append(steps, step("panelboard_upgrade", Electrician, "Replace the panelboard (%s), move the old circuits over and have it inspected first.", s.target(headroom.PanelboardUpgrade)))
	}
	if s.job(headroom.GatewaySwap) {
		steps = append(steps, step("gateway_swap", Electrician, "Put in the new gateway %s and move the old inverters over to it.", s.target(headroom.GatewaySwap)))
	}
	switch n := len(s.wired.Branches); {
	case s.job(headroom.SupplySideConnection):
		steps = append(steps, step("supply_side", Utility, "The utility takes the service dead; %s end in a combiner before the main breaker behind a disconnect.", plural(n, "new branch")))
	case n > 0:
		steps = append(steps, step("breakers", Electrician, "Fit %d %s-pole %s of %s A%s.", n, poleWord[s.wired.Poles], many(n, "breaker"), num(s.wired.BreakerAmps, 0), s.oppositeEnd()))
	}
	steps = append(steps,
		fill("torque", Electrician, "N·m", "Tighten each terminal to the value on its label or data sheet%s; note value and source.", s.clause("torque")),
		step("grounding", Electrician, "Bond rails, modules and equipment; ground as required%s.", s.clause("grounding")))
	if s.Limits.Profile.SiteRule("rapid_shutdown") != "" {
		steps = append(steps, step("rapid_shutdown", Electrician, "Rapid shutdown covers the new modules too%s; the switch is where responders look.", s.clause("rapid_shutdown")))
	}
	return Part{"electrical", "Electrical", append(steps, step("labels", Electrician, "Label every new breaker, disconnect and source%s.", s.clause("labels")))}
}

// oppositeEnd says where new breakers go, where the profile's rule asks for it.
func (s *site) oppositeEnd() string {
	if v, p := s.Room.Site.Service, s.Limits.Profile; v != nil && v.Feed == "end" && p != nil && p.BusbarPct > 100 {
		return ", beside the old PV breakers at the end opposite the main breaker"
	}
	return ""
}

func (s *site) onTheRoof() Part {
	o := s.Room.Options
	var steps []Step
	for _, p := range s.Plan.ByPlane {
		room := s.room(p.PlaneID)
		if p.Modules <= 0 || room == nil {
			continue
		}
		size := ""
		if len(room.Plane.PolygonM) == 0 {
			size = fmt.Sprintf(" of %s × %s m", num(room.Plane.WidthM, 2), num(room.Plane.SlopeM, 2))
		}
		beside := ""
		if room.OldModules > 0 {
			beside = fmt.Sprintf(", beside the %d that are there", room.OldModules)
		}
		steps = append(steps, fill("plane_layout", Crew, "m × m", "%s%s: %d modules in %s%s. Measure first; smaller: stop.", capital(s.plane(p.PlaneID)), size, p.Modules, orEither(room.Orientation), beside))
	}
	steps = append(steps, step("setbacks", Crew, "Keep free: ridge %s m, eave %s m, sides %s m. %s", num(s.ridgeM(), 2), num(o.EaveSetbackM, 2), num(o.SideSetbackM, 2), s.ridgeRule()),
		step("attachment", Crew, "Attach to the structure as the racking's data sheet says; flash and seal each penetration before the next."),
		fill("weight", Crew, "structure checked by", "%.0f kg go up; no stack heavier than two people carry stays on the roof.", headroom.LoadKgPerM2(s.Room.Module)*s.Room.Module.WidthM*s.Room.Module.HeightM*float64(s.Plan.Modules)),
		step("serial_first", Crew, "Note each inverter's serial number in its place on the map before a module covers it."),
		step("connectors", Crew, "Join only connectors of one make and type%s; no cable lies on the covering.", s.clause("connectors")))
	return Part{"roof", "On the roof", steps}
}

// ridgeM is the setback that the limits were found with: the widest of the
// planes that take modules.
func (s *site) ridgeM() float64 {
	m := 0.0
	for _, p := range s.Plan.ByPlane {
		if room := s.room(p.PlaneID); p.Modules > 0 && room != nil {
			m = max(m, room.RidgeM)
		}
	}
	return m
}

// ridgeRule says what would hold otherwise, where the whole roof decides.
func (s *site) ridgeRule() string {
	o := s.Room.Options
	if !(o.AreaSharePct > 0) {
		return ""
	}
	return fmt.Sprintf("Ridge by the whole roof: %s m while modules cover up to %s %% of it in plan, else %s m.", num(o.RidgeSetbackM, 2), num(o.AreaSharePct, 0), num(o.WideRidgeSetbackM, 2))
}

func orEither(orientation string) string {
	if orientation == "" {
		return "rows"
	}
	return orientation
}

func (s *site) commission() Part {
	return Part{"commissioning", "Commissioning, in this order", []Step{
		fill("dead_tests", Electrician, "MΩ", "Still dead: continuity, polarity, insulation resistance, torque marks."),
		step("keep_off", Electrician, "Lock the new branches off. Until inspection and permission nothing new carries voltage; what may be tried earlier, the utility or the authority says in writing."),
		step("inspection", Utility, "The authority's inspection has passed, and the permission to operate is there in writing%s.", s.clauseOrNone("inspection")),
		step("energize", Electrician, "Only now: switch on branch by branch, and set the grid profile that today's rules ask for."),
		s.serials(),
		s.fullDay(),
	}}
}

func (s *site) leave() Part {
	steps := []Step{
		step("map_updated", Crew, "The map shows every new inverter, its branch and its plane. Photograph rows, cable runs, labels."),
		step("register", Anyone, "Complete the register rows below and add them the same day."),
	}
	if l := s.Limits.Legacy; l != nil && s.Plan.Modules > l.KeepsUpTo {
		steps = append(steps, step("tariff_told", Anyone, "The customer has been told in writing: %s", l.Says))
	} else {
		steps = append(steps, step("tariff_told", Anyone, "The customer has been told what the new array changes on the bill."))
	}
	return Part{"leaving", "Before leaving the house", steps}
}

// newRows are the register's rows for what was added.
func (s *site) newRows() []Rows {
	rows := Rows{File: "arrays.csv", Header: "site_id,array_id,modules,module_model,plane_id,inverter_model,inverters,commissioned_on"}
	id := s.newArrayID()
	left := s.wired.Inverters
	planes := []headroom.PlaneCount{}
	for _, p := range s.Plan.ByPlane {
		if p.Modules > 0 {
			planes = append(planes, p)
		}
	}
	for i, p := range planes {
		inverters := (p.Modules + s.wired.PerInverter - 1) / s.wired.PerInverter
		if i == len(planes)-1 || inverters > left {
			inverters = left
		}
		left -= inverters
		row := id
		if len(planes) > 1 {
			row = fmt.Sprintf("%s-%d", id, i+1)
		}
		rows.Lines = append(rows.Lines, csvCells(s.Room.Site.ID, row, fmt.Sprint(p.Modules), s.Room.Module.Model, p.PlaneID, s.Room.Inverter.Model, fmt.Sprint(inverters), ""))
	}
	return []Rows{rows}
}
