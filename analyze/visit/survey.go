package visit

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// survey is the visit while anything that decides the size is unknown.
type survey struct{ *site }

// sheet says what to ask, measure and photograph, and who may open what.
func (s *survey) sheet() *Sheet {
	out := &Sheet{Kind: Survey, Title: "Survey sheet: find out what decides the size", Unknown: s.undecided,
		Lead: "Nothing is installed on this visit. The size is decided in the office once the points below are known."}
	if len(s.undecided) == 1 && s.Limits.Permission.Unknown() {
		out.Lead = "Only the permission to operate is missing: ask for it on the call, and the work sheet follows. Nothing is installed on this visit."
	}
	office := Part{"office", "Before leaving the office", append(s.beforeLeaving(), s.askPapers()...)}
	out.Parts = []Part{office, s.onArrival(), s.measurePlanes(), s.lookAtService(), s.lookAtArray(), surveyLeave()}
	out.Register = s.blankRows()
	return out
}

// askPapers are the questions that paper answers.
func (s *survey) askPapers() []Step {
	steps := []Step{}
	if s.Limits.Permission.Unknown() {
		steps = append(steps, fill("permission_paper", Anyone, "kW AC", "Ask the customer for the permission to operate; note its AC limit and its date."))
	}
	if s.TariffDefaulted {
		steps = append(steps, fill("tariff_paper", Anyone, "tariff", "Ask for a recent bill; note the tariff's name."))
	}
	return steps
}

// measurePlanes asks for each plane what the register does not hold of it.
func (s *survey) measurePlanes() Part {
	part := Part{Code: "roof", Head: "Roof: measure and photograph"}
	if len(s.Limits.Planes) == 0 {
		part.Steps = append(part.Steps, fill("plane_measure", Crew, "m × m, tilt °", "Measure every plane that could take modules: width along the eave, eave to ridge along the slope, tilt, facing."))
	}
	for _, r := range s.Limits.Planes {
		if r.Measured {
			part.Steps = append(part.Steps, fill("plane_check", Crew, "m × m", "%s: the register has %s. Check both lengths.", capital(s.plane(r.Plane.ID)), size(r.Plane)))
		} else {
			part.Steps = append(part.Steps, fill("plane_measure", Crew, "m × m, tilt °", "Measure %s: width along the eave, eave to ridge along the slope, tilt.", s.plane(r.Plane.ID)))
		}
	}
	if !(s.Room.Site.RoofPlanM2 > 0) {
		part.Steps = append(part.Steps, fill("roof_plan", Anyone, "m²", "Plan area of the whole roof, all planes, seen from above: it decides the strip kept free at the ridge."))
	}
	return Part{part.Code, part.Head, append(part.Steps,
		step("obstacles", Crew, "Sketch vents, skylights, chimneys and old modules with their distances from the edges."),
		step("structure", Crew, "From inside: rafters, spacing, condition. From outside: covering, age, layers."),
		step("shade", Crew, "Photograph the horizon from each plane along the sun's path: what casts shade, and at what time."))}
}

func size(p ingest.Plane) string {
	if len(p.PolygonM) > 0 {
		return "an outline"
	}
	return fmt.Sprintf("%s × %s m", num(p.WidthM, 2), num(p.SlopeM, 2))
}

// lookAtService reads what the electrical limits need; no cover is opened but
// by a licensed electrician.
func (s *survey) lookAtService() Part {
	part := Part{Code: "electrical", Head: "Panelboard: read, change nothing"}
	part.Steps = append(part.Steps,
		step("line_side", Electrician, "Only a licensed electrician opens the panelboard; the line side of the main breaker stays live. Others photograph the closed door and the meter."))
	part.Steps = append(part.Steps, s.serviceQuestions()...)
	return Part{part.Code, part.Head, append(part.Steps,
		step("panel_photos", Electrician, "Photograph the label inside, the breakers with their positions, grounding and free wall space."))}
}

// serviceQuestions are the service's values, those that the register lacks to be
// found out and the others to be checked.
func (s *survey) serviceQuestions() []Step {
	v := s.Room.Site.Service
	if v == nil {
		return []Step{fill("service_read", Electrician, "phases / V / A / A", "Read phases, volts, busbar rating and main breaker off the labels."),
			fill("spaces_read", Electrician, "spaces / A", "Count free breaker spaces; add up the PV breakers; note other supplies and where the main breaker feeds the busbar (end or center).")}
	}
	read, known := []string{}, []string{}
	note := func(what string, isKnown bool, value string) {
		if isKnown {
			known = append(known, what+" "+value)
		} else {
			read = append(read, what)
		}
	}
	note("busbar", v.BusbarAmps > 0, num(v.BusbarAmps, 0)+" A")
	note("main breaker", v.MainBreakerAmps > 0, num(v.MainBreakerAmps, 0)+" A")
	note("free spaces", v.FreeSpaces.Known, fmt.Sprint(v.FreeSpaces.V))
	note("PV breakers", v.PVBreakerAmps >= 0, num(v.PVBreakerAmps, 0)+" A")
	note("other supplies", v.OtherSupplyAmps >= 0, num(v.OtherSupplyAmps, 0)+" A")
	note("feed of the busbar", v.Feed != "", v.Feed)
	var steps []Step
	if len(read) > 0 {
		steps = append(steps, fill("service_read", Electrician, "A / spaces", "Not in the register, read it: %s.", list(read)))
	}
	if len(known) > 0 {
		steps = append(steps, fill("service_check", Electrician, "as read", "The register has %s. Check against the labels.", list(known)))
	}
	return steps
}

// lookAtArray settles what is there today.
func (s *survey) lookAtArray() Part {
	part := Part{Code: "array", Head: "The array and the gateway"}
	modules := 0
	for _, a := range s.Room.Site.Arrays {
		modules += a.Modules
	}
	if len(s.Room.Site.Arrays) == 0 {
		part.Steps = append(part.Steps, fill("array_count", Anyone, "modules", "Count the modules that are there, row by row; note make and model from a label."))
	} else {
		part.Steps = append(part.Steps, fill("array_count", Anyone, "modules", "Count the modules row by row: the register has %d in %s.", modules, plural(len(s.Room.Site.Arrays), "array")))
	}
	for _, f := range s.Array.Faults {
		if f.Live && mustVerify[f.Code] != "" {
			part.Steps = append(part.Steps, fill("array_verify", Crew, "as seen", "Verify: %s", sentence(f.Says)))
		}
	}
	if s.wired.DeviceBefore < 0 || math.IsNaN(s.wired.BeforeACKW) {
		part.Steps = append(part.Steps, fill("inverter_models", Crew, "model, count", "Read the inverters' model off a label or the gateway's list; count them."))
	}
	if g := s.Room.Site.Gateway; g == nil || g.Model == "" || g.SoftwareVersion == "" {
		part.Steps = append(part.Steps, fill("gateway_read", Anyone, "model, version", "Note the gateway's model and software version."))
	}
	if g := s.Room.Site.Gateway; g == nil || !(g.StorageKWh >= 0) || !g.BackupController.Known {
		part.Steps = append(part.Steps, fill("storage_ask", Anyone, "yes / no", "Ask and look: is there storage, a generator or a backup supply?"))
	}
	return part
}

func surveyLeave() Part {
	return Part{"leaving", "Before leaving the house", []Step{
		step("register", Anyone, "Complete the register rows below; leave blank what nobody could find out."),
		step("promise_nothing", Anyone, "Promise no size and no date: the office answers when the points above are known."),
	}}
}

// blankRows are the register rows that this visit completes.
func (s *survey) blankRows() []Rows {
	id := s.Room.Site.ID
	var out []Rows
	planes := Rows{File: "planes.csv", Header: "site_id,plane_id,width_m,slope_m,tilt_deg,azimuth_deg"}
	for _, r := range s.Limits.Planes {
		if !r.Measured {
			planes.Lines = append(planes.Lines, csvCells(id, r.Plane.ID, "", "", "", ""))
		}
	}
	if len(s.Limits.Planes) == 0 {
		planes.Lines = []string{csvCells(id, "P1", "", "", "", "")}
	}
	if len(planes.Lines) > 0 {
		out = append(out, planes)
	}
	if s.Limits.Permission.Unknown() || !(s.Room.Site.RoofPlanM2 > 0) {
		out = append(out, Rows{"sites.csv", "site_id,permission_limit_kw,roof_plan_m2", []string{csvCells(id, "", "")}})
	}
	if s.Limits.Service.Unknown() || s.Limits.Branch.Unknown() {
		profile := ""
		if p := s.Limits.Profile; p != nil {
			profile = p.ID
		}
		out = append(out, Rows{"services.csv", "site_id,phases,volts,busbar_amps,main_breaker_amps,pv_breaker_amps,other_supply_amps,free_spaces,feed,profile",
			[]string{csvCells(id, "", "", "", "", "", "", "", "", profile)}})
	}
	if s.Limits.Gateway.Unknown() {
		out = append(out, Rows{"gateways.csv", "site_id,gateway_model,software_version,reporting_inverters,backup_controller,storage_kwh", []string{csvCells(id, "", "", "", "", "")}})
	}
	return out
}
