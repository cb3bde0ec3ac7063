package visit

import (
	"fmt"
	"math"

	"rowen/analyze/headroom"
)

// work is the visit for a size of which everything is known.
type work struct {
	*site
	jobs map[string]string // those of the plan, each with its target
}

func newWork(s *site) *work {
	w := &work{s, map[string]string{}}
	for _, name := range s.Plan.Jobs {
		w.jobs[name] = ""
		for _, j := range s.Limits.Jobs {
			if j.Name == name {
				w.jobs[name] = j.Target
			}
		}
	}
	return w
}

func (w *work) has(job string) bool { _, ok := w.jobs[job]; return ok }

func (w *work) sheet() *Sheet {
	out := &Sheet{Kind: Work, Title: fmt.Sprintf("Work sheet: add %s", plural(w.Plan.Modules, "module")),
		Lead:      "Everything that decides the size is in the register. If the house shows otherwise, stop and make it a survey.",
		Materials: w.materials(), Sums: w.sums(), Register: w.newRows()}
	out.Parts = []Part{w.office(), w.onArrival(), w.panelboard(), w.onTheRoof(), w.commission(), w.leave()}
	return out
}

func (w *work) office() Part {
	steps := w.beforeLeaving()
	if w.has(headroom.SoftwareUpdate) {
		steps = append(steps, step("software", Anyone, "Update the gateway from the office to %s and wait until it shows the new version.", w.jobs[headroom.SoftwareUpdate]))
	}
	after := num(w.wired.BeforeACKW+w.wired.AddedACKW, 3)
	switch limit := w.Room.Site.PermissionLimitKW; {
	case w.has(headroom.NewPermission):
		steps = append(steps, step("permission", Utility, "The new permission for %s kW AC in all is granted in writing before anybody leaves.", after))
	case math.IsNaN(limit):
		steps = append(steps, step("permission", Utility, "Permission to operate at hand; after this job the site has %s kW AC.", after))
	default:
		steps = append(steps, step("permission", Utility, "Permission to operate at hand: %s kW AC are allowed, %s kW after this job.", num(limit, 2), after))
	}
	return Part{"office", "Before leaving the office", steps}
}

// materials count what is carried, by plane and by branch.
func (w *work) materials() []Material {
	m, inv := w.Room.Module, w.Room.Inverter
	out := []Material{}
	for _, p := range w.Plan.ByPlane {
		if p.Modules > 0 {
			out = append(out, Material{p.Modules, fmt.Sprintf("%s %s, %g W", many(p.Modules, "module"), m.Model, m.Watts), w.plane(p.PlaneID)})
		}
	}
	out = append(out, Material{w.wired.Inverters, many(w.wired.Inverters, "inverter") + " " + inv.Model, w.branchesInWords()})
	if n := len(w.wired.Branches); n > 0 {
		poles := poleWord[w.wired.Poles]
		out = append(out, Material{n, fmt.Sprintf("%s-pole %s, %s A, listed for the panelboard", poles, many(n, "breaker"), num(w.wired.BreakerAmps, 0)), ""},
			Material{n, "end cap and junction for a new branch", ""})
	}
	if w.wired.OnOld > 0 {
		out = append(out, Material{w.wired.OnOld, "cable drops to branches that are there", ""})
	}
	out = append(out, Material{1, "spare inverter and 1 spare module of the same models", ""},
		Material{0, "branch cable, rails, attachments, flashing, sealant, clips, labels", ""})
	if w.has(headroom.GatewaySwap) {
		out = append(out, Material{1, "gateway " + w.jobs[headroom.GatewaySwap], ""})
	}
	if w.has(headroom.Subpanel) {
		out = append(out, Material{1, "subpanel, " + w.jobs[headroom.Subpanel] + ", with its feeder and breaker", ""})
	}
	if w.has(headroom.PanelboardUpgrade) {
		out = append(out, Material{1, "panelboard, " + w.jobs[headroom.PanelboardUpgrade], ""})
	}
	return out
}

var poleWord = map[int]string{1: "one", 2: "two", 3: "three"}

func (w *work) branchesInWords() string {
	switch {
	case len(w.wired.Branches) == 0:
		return "all on branches that are there"
	case len(w.wired.Branches) == 1 && w.wired.OnOld == 0:
		return fmt.Sprintf("%d on one new branch", w.wired.Branches[0])
	}
	words := ""
	for i, n := range w.wired.Branches {
		if i > 0 {
			words += " + "
		}
		words += fmt.Sprint(n)
	}
	words += " on new branches"
	if w.wired.OnOld > 0 {
		words += fmt.Sprintf(", %d on old ones", w.wired.OnOld)
	}
	return words
}

// sums shows the arithmetic behind the counts.
func (w *work) sums() []string {
	c := w.wired
	var out []string
	if n := len(c.Branches); n > 0 {
		out = append(out, fmt.Sprintf("Branch: %d × %s A × %g = %s A of %s A.", c.Branches[0], num(c.UnitAmps, 2), c.Factor, num(float64(c.Branches[0])*c.UnitAmps*c.Factor, 1), num(c.BreakerAmps, 0)))
		if free := w.freeSpaces(); free != "" {
			out = append(out, fmt.Sprintf("Spaces: %d × %d = %d of %s.", n, c.Poles, n*c.Poles, free))
		}
	}
	out = append(out, fmt.Sprintf("AC: %s + %s = %s kW.", num(c.BeforeACKW, 3), num(c.AddedACKW, 3), num(c.BeforeACKW+c.AddedACKW, 3)))
	kg := headroom.LoadKgPerM2(w.Room.Module)
	area := w.Room.Module.WidthM * w.Room.Module.HeightM * float64(w.Plan.Modules)
	return append(out, fmt.Sprintf("Weight: %s m² × %s kg/m² = %.0f kg.", num(area, 1), num(kg, 1), kg*area))
}

func (w *work) freeSpaces() string {
	switch v := w.Room.Site.Service; {
	case w.has(headroom.PanelboardUpgrade):
		return "the new panelboard"
	case w.has(headroom.Subpanel):
		return "the subpanel"
	case w.has(headroom.SupplySideConnection), v == nil || !v.FreeSpaces.Known:
		return ""
	default:
		return fmt.Sprintf("%d free", v.FreeSpaces.V)
	}
}

func (w *work) panelboard() Part {
	steps := w.isolate()
	if v := w.Room.Site.Service; v != nil && v.BusbarAmps > 0 && v.MainBreakerAmps > 0 {
		steps = append(steps, fill("busbar_label", Electrician, "A / A", "Read the labels: the register has busbar %s A, main breaker %s A. Anything smaller: stop.", num(v.BusbarAmps, 0), num(v.MainBreakerAmps, 0)))
	}
	if w.has(headroom.Subpanel) {
		steps = append(steps, step("subpanel", Electrician, "Set the subpanel (%s) and its feeder and have them inspected first; the new branches end there.", w.jobs[headroom.Subpanel]))
	}
	if w.has(headroom.PanelboardUpgrade) {
		steps = append(steps, step("panelboard_upgrade", Electrician, "Replace the panelboard (%s), move the old circuits over and have it inspected first.", w.jobs[headroom.PanelboardUpgrade]))
	}
	if w.has(headroom.GatewaySwap) {
		steps = append(steps, step("gateway_swap", Electrician, "Put in the new gateway %s and move the old inverters over to it.", w.jobs[headroom.GatewaySwap]))
	}
	switch n := len(w.wired.Branches); {
	case w.has(headroom.SupplySideConnection):
		steps = append(steps, step("supply_side", Utility, "The utility takes the service dead; %s end in a combiner before the main breaker behind a disconnect.", plural(n, "new branch")))
	case n > 0:
		steps = append(steps, step("breakers", Electrician, "Fit %d %s-pole %s of %s A%s.", n, poleWord[w.wired.Poles], many(n, "breaker"), num(w.wired.BreakerAmps, 0), w.oppositeEnd()))
	}
	steps = append(steps,
		fill("torque", Electrician, "N·m", "Tighten each terminal to the value on its label or data sheet%s; note value and source.", w.clause("torque")),
		step("grounding", Electrician, "Bond rails, modules and equipment; ground as required%s.", w.clause("grounding")))
	if w.Limits.Profile.SiteRule("rapid_shutdown") != "" {
		steps = append(steps, step("rapid_shutdown", Electrician, "Rapid shutdown covers the new modules too%s; the switch is where responders look.", w.clause("rapid_shutdown")))
	}
	return Part{"electrical", "Electrical", append(steps, step("labels", Electrician, "Label every new breaker, disconnect and source%s.", w.clause("labels")))}
}

// oppositeEnd says where new breakers go, where the profile's rule asks for it.
func (w *work) oppositeEnd() string {
	if v, p := w.Room.Site.Service, w.Limits.Profile; v != nil && v.Feed == "end" && p != nil && p.BusbarPct > 100 {
		return ", beside the old PV breakers at the end opposite the main breaker"
	}
	return ""
}

func (w *work) onTheRoof() Part {
	o := w.Room.Options
	var steps []Step
	for _, p := range w.Plan.ByPlane {
		room := w.room(p.PlaneID)
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
		steps = append(steps, fill("plane_layout", Crew, "m × m", "%s%s: %d modules in %s%s. Measure first; smaller: stop.", capital(w.plane(p.PlaneID)), size, p.Modules, orEither(room.Orientation), beside))
	}
	steps = append(steps, step("setbacks", Crew, "Keep free: ridge %s m, eave %s m, sides %s m. %s", num(w.ridgeM(), 2), num(o.EaveSetbackM, 2), num(o.SideSetbackM, 2), w.ridgeRule()),
		step("attachment", Crew, "Attach to the structure as the racking's data sheet says; flash and seal each penetration before the next."),
		fill("weight", Crew, "structure checked by", "%.0f kg go up; no stack heavier than two people carry stays on the roof.", headroom.LoadKgPerM2(w.Room.Module)*w.Room.Module.WidthM*w.Room.Module.HeightM*float64(w.Plan.Modules)),
		step("serial_first", Crew, "Note each inverter's serial number in its place on the map before a module covers it."),
		step("connectors", Crew, "Join only connectors of one make and type%s; no cable lies on the covering.", w.clause("connectors")))
	return Part{"roof", "On the roof", steps}
}

// ridgeM is the setback that the limits were found with: the widest of the
// planes that take modules.
func (w *work) ridgeM() float64 {
	m := 0.0
	for _, p := range w.Plan.ByPlane {
		if room := w.room(p.PlaneID); p.Modules > 0 && room != nil {
			m = max(m, room.RidgeM)
		}
	}
	return m
}

// ridgeRule says what would hold otherwise, where the whole roof decides.
func (w *work) ridgeRule() string {
	o := w.Room.Options
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

func (w *work) commission() Part {
	return Part{"commissioning", "Commissioning, in this order", []Step{
		fill("dead_tests", Electrician, "MΩ", "Still dead: continuity, polarity, insulation resistance, torque marks."),
		step("keep_off", Electrician, "Lock the new branches off. Until inspection and permission nothing new carries voltage; what may be tried earlier, the utility or the authority says in writing."),
		step("inspection", Utility, "The authority's inspection has passed, and the permission to operate is there in writing%s.", w.clauseOrNone("inspection")),
		step("energize", Electrician, "Only now: switch on branch by branch, and set the grid profile that today's rules ask for."),
		w.serials(),
		fullDay(),
	}}
}

func (w *work) leave() Part {
	steps := []Step{
		step("map_updated", Crew, "The map shows every new inverter, its branch and its plane. Photograph rows, cable runs, labels."),
		step("register", Anyone, "Complete the register rows below and add them the same day."),
	}
	if l := w.Limits.Legacy; l != nil && w.Plan.Modules > l.KeepsUpTo {
		steps = append(steps, step("tariff_told", Anyone, "The customer has been told in writing: %s", l.Says))
	} else {
		steps = append(steps, step("tariff_told", Anyone, "The customer has been told what the new array changes on the bill."))
	}
	return Part{"leaving", "Before leaving the house", steps}
}

// newRows are the register's rows for what was added.
func (w *work) newRows() []Rows {
	rows := Rows{File: "arrays.csv", Header: "site_id,array_id,modules,module_model,plane_id,inverter_model,inverters,commissioned_on"}
	id := w.newArrayID()
	left := w.wired.Inverters
	planes := []headroom.PlaneCount{}
	for _, p := range w.Plan.ByPlane {
		if p.Modules > 0 {
			planes = append(planes, p)
		}
	}
	for i, p := range planes {
		inverters := (p.Modules + w.wired.PerInverter - 1) / w.wired.PerInverter
		if i == len(planes)-1 || inverters > left {
			inverters = left
		}
		left -= inverters
		row := id
		if len(planes) > 1 {
			row = fmt.Sprintf("%s-%d", id, i+1)
		}
		rows.Lines = append(rows.Lines, csvCells(w.Room.Site.ID, row, fmt.Sprint(p.Modules), w.Room.Module.Model, p.PlaneID, w.Room.Inverter.Model, fmt.Sprint(inverters), ""))
	}
	return []Rows{rows}
}
