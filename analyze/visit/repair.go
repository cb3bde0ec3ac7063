package visit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze/array"
)

// repair is the visit to an array that makes less than it should.
type repair struct {
	*site
	live []array.Fault
}

// sheet says what is wrong, since when, how sure, what it costs, what to look
// at first.
func (r *repair) sheet() *Sheet {
	out := &Sheet{Kind: Repair, Title: "Repair sheet: find out why the array makes less",
		Lead:     "Nothing is added on this visit. Look in the order below: what can be seen from the office and the ground comes first.",
		Findings: r.findings()}
	out.Parts = []Part{{"office", "From the office", r.officeLook()}, r.onArrival(), {"electrical", "At the panelboard and the inverters", r.electricalLook()}}
	if steps := r.roofLook(); len(steps) > 0 {
		out.Parts = append(out.Parts, Part{"roof", "On the roof", steps})
	}
	out.Parts = append(out.Parts, Part{"after", "After the repair", afterMending()})
	return out
}

// live are the faults that last, the costliest first; what only the register or
// the settings have wrong comes last.
func live(a *array.Result) []array.Fault {
	var out []array.Fault
	for _, f := range a.Faults {
		if f.Live {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(a, b array.Fault) int {
		return cmp.Or(cmp.Compare(b.AheadKWhYr, a.AheadKWhYr), a.On.Compare(b.On))
	})
	return out
}

func (r *repair) has(codes ...string) bool {
	return slices.ContainsFunc(r.live, func(f array.Fault) bool { return slices.Contains(codes, f.Code) })
}

// findings are the live faults, those of one code as one: the readings split an
// outage where a day between was too dark to tell.
func (r *repair) findings() []Finding {
	out := []Finding{}
	for _, f := range r.live {
		if i := slices.IndexFunc(out, func(x Finding) bool { return x.Code == f.Code }); i >= 0 {
			out[i].LostKWhYr += f.KWhYr
			out[i].AheadKWhYr += f.AheadKWhYr
			out[i].Says = strings.TrimSuffix(out[i].Says, ".") + "; " + f.Says + "."
			continue
		}
		out = append(out, Finding{Code: f.Code, Says: sentence(f.Says), Since: since(f), Where: r.where(f), ConfidencePct: math.Round(100 * f.Confidence),
			LostKWhYr: f.KWhYr, AheadKWhYr: f.AheadKWhYr})
	}
	for i := range out {
		out[i].LostKWhYr, out[i].AheadKWhYr = math.Round(out[i].LostKWhYr), math.Round(out[i].AheadKWhYr)
	}
	return out
}

// since says when a fault began, with its range where that is wide.
func since(f array.Fault) string {
	switch {
	case f.On.IsZero():
		return "before the readings begin"
	case !f.OnLow.IsZero() && !f.OnHigh.IsZero() && f.OnHigh.Sub(f.OnLow) > 3*24*time.Hour:
		return fmt.Sprintf("about %s (%s to %s)", f.On.Format(time.DateOnly), f.OnLow.Format(time.DateOnly), f.OnHigh.Format(time.DateOnly))
	}
	return f.On.Format(time.DateOnly)
}

// where names the part of the array that a fault can lie in, as the register
// has it: what the readings cannot tell apart is said.
func (r *repair) where(f array.Fault) string {
	var parts []string
	for _, a := range r.Room.Site.Arrays {
		text := fmt.Sprintf("%s: %s", a.ID, plural(a.Modules, "module"))
		if a.PlaneID != "" {
			text += " on " + r.plane(a.PlaneID)
		}
		if a.InverterModel != "" {
			text += ", " + a.InverterModel
		}
		parts = append(parts, text)
	}
	switch {
	case len(parts) == 0:
		return "the array is not in the register"
	case len(parts) > 1 && f.Code != array.Outage:
		return "the readings do not tell which of " + strings.Join(parts, "; ")
	}
	return strings.Join(parts, "; ")
}

func (r *repair) officeLook() []Step {
	steps := r.beforeLeaving()
	if r.has(array.Outage, array.InvertersDown, array.Decline) {
		steps = append(steps, fill("device_list", Anyone, "silent devices", "Compare the gateway's device list with the map: which inverters are silent, and do they share a branch?"))
	}
	if r.has(array.Outage) {
		steps = append(steps, step("supply_there", Anyone, "Ask the customer: is the house's supply there, and has a breaker tripped? Nobody resets it twice."))
	}
	if r.has(array.Shading) {
		steps = append(steps, step("shade_ask", Anyone, "Ask what was built or has grown toward the shaded side, and whose it is."))
	}
	if r.has(array.Curtailment) {
		steps = append(steps, step("limit_settings", Anyone, "Compare the export limit set in the gateway with the permission to operate."))
	}
	if r.has(array.MeterDead) {
		steps = append(steps, step("meter_comms", Anyone, "Find out whether the meter or its link is dead: the array may be well."))
	}
	return steps
}

func (r *repair) electricalLook() []Step {
	steps := []Step{step("line_side", Electrician, "Only a licensed electrician opens the panelboard: the line side of the main breaker stays live.")}
	if r.has(array.Outage, array.InvertersDown) {
		steps = append(steps,
			fill("branch_voltage", Electrician, "V per branch", "Note breaker positions; measure the voltage on each PV branch."),
			step("isolate_first", Electrician, "Before touching a conductor: switch off, lock and tag%s; prove dead on both sides.", r.clause("lockout")),
			step("terminals", Electrician, "Look for loose, hot or corroded terminals; tighten to the value on the label%s.", r.clause("torque")))
	}
	if r.has(array.Decline) && !r.has(array.Outage, array.InvertersDown) {
		steps = append(steps, fill("branch_current", Electrician, "A per branch", "In bright sun, compare the current of the PV branches with each other."))
	}
	if r.has(array.Curtailment) {
		steps = append(steps, step("grid_setting", Electrician, "In bright sun, read the grid voltage at the inverters: a limit may be acting. Changing a grid setting is for the utility to allow."))
	}
	return steps
}

func (r *repair) roofLook() []Step {
	var steps []Step
	if r.has(array.Outage, array.InvertersDown) {
		steps = append(steps,
			step("daylight", Crew, "Modules are live in daylight: never part a DC connector under load."),
			fill("dead_units", Crew, "serial numbers", "At the silent inverters: status light, plug, cable, water, gnawing. Replace like with like; note old and new serial number."),
			step("connectors", Crew, "Look for scorched connectors; join only connectors of one make and type%s.", r.clause("connectors")))
	}
	if r.has(array.Decline) {
		steps = append(steps, step("soiling", Crew, "Photograph soiling, cracks, discoloring and hot spots; clean one row and compare its output for a week before cleaning all."))
	}
	if r.has(array.Shading) {
		steps = append(steps, step("shade_look", Crew, "Look, do not repair: photograph the horizon from the shaded modules at the time of day that the readings name."))
	}
	if r.has(array.CapacityMismatch, array.UnregisteredModules, array.OrientationMismatch) {
		steps = append(steps, fill("array_verify", Crew, "count, facing", "Count the modules per plane and note each plane's facing: the register may be wrong, not the array."))
	}
	return steps
}

func afterMending() []Step {
	return []Step{
		step("re_energize", Electrician, "What was in service under its permission goes back on after dead tests; a changed design needs inspection and permission first."),
		fullDay(),
		step("map_updated", Crew, "Mark replaced units on the map; note in the register what was found and the date."),
	}
}
