package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// VisitSheet lists what the crew needs for a plan at this site, cautions
// first. Trade practice in plain words; it holds no personal data.
//
// In:      the site's input and result, and the plan that was chosen.
// Out:     headed lists, each with at least one sentence; what is not known is
//
//	said as something to find out. A plan without modules gives nil.
func VisitSheet(in Input, r Result, plan Plan) []List {
	if plan.Modules <= 0 {
		return nil
	}
	f := gather(in)
	v := visit{f: &f, in: in, r: r, plan: plan, circuits: f.circuitsFor(plan)}
	return []List{
		{"cautions", "First: what can go wrong", v.cautions()},
		{"before_leaving", "Before leaving the office", v.beforeLeaving()},
		{"bring", "Bring along", v.bring()},
		{"panelboard", "At the panelboard", v.panelboard()},
		{"devices", "Device count in the gateway", v.devices()},
		{"record", "Record on the array map", v.record()},
		{"measure", "Measure and photograph", v.measure()},
		{"sign", "Who must sign", v.sign()},
		{"order", "Order of commissioning", v.order()},
	}
}

// circuits is how the new inverters are spread over branch circuits.
type circuits struct {
	inverters int // new ones
	onOld     int // of which on branches that are there
	branches  int // new ones; -1: not known
	fullest   int // inverters on the fullest new branch
	breaker   float64
	spaces    int
}

func (f *facts) circuitsFor(plan Plan) circuits {
	c := circuits{inverters: (plan.Modules + f.perInverter - 1) / f.perInverter, branches: -1, breaker: math.NaN()}
	per := perBranch(f.in.Inverter, f.unitAmps(), f.factor)
	if per <= 0 {
		return c
	}
	if f.in.Site.Service != nil && f.in.Inverter.Kind != "string" && f.phaseVolts > 0 {
		c.onOld = min(c.inverters, f.onSpare())
	}
	rest := c.inverters - c.onOld
	c.branches = (rest + per - 1) / per
	if c.branches > 0 {
		c.fullest = (rest + c.branches - 1) / c.branches
	}
	c.spaces = c.branches * f.spacesPerBranch()
	if c.breaker = f.in.Inverter.BranchBreakerAmps; !(c.breaker > 0) {
		c.breaker = nextBreaker(f.sizes(), f.factor*f.unitAmps()*float64(c.fullest))
	}
	return c
}

// visit is the material of a visit sheet.
type visit struct {
	f    *facts
	in   Input
	r    Result
	plan Plan
	circuits
}

func (v *visit) has(job string) bool { return slices.Contains(v.plan.Jobs, job) }

func (v *visit) target(job string) string {
	for _, j := range v.r.Jobs {
		if j.Name == job {
			return j.Target
		}
	}
	return ""
}

func (v *visit) cautions() []string {
	out := []string{
		"Work in a panelboard can kill: the line side of the main breaker stays live. Only licensed people open it; prove dead before touching.",
		"This sheet is a desk screening, not a design: roof structure, panelboard, labels and the utility's rules are checked here, on site, under the local code.",
		"Nothing new is left running before the inspection and the permission to operate.",
	}
	for _, c := range v.r.Cautions {
		out = append(out, c.Says)
	}
	for _, ask := range v.r.Ask {
		out = append(out, "Not known, find out: "+ask+".")
	}
	if l := v.r.Legacy; l != nil && v.plan.Modules > l.KeepsUpTo {
		out = append(out, l.Says)
	}
	return out
}

func (v *visit) beforeLeaving() []string {
	var out []string
	if g := v.in.Site.Gateway; g != nil {
		if silent(g, v.in.AsOf) {
			out = append(out, "Reach the gateway first: it has been silent since "+g.LastSeenOn.Format("2006-01-02")+".")
		}
		if v.has(SoftwareUpdate) {
			out = append(out, fmt.Sprintf("Update the gateway's software from the office: %s has %s and must have at least %s. Wait until it reports the new version.", g.Model, g.SoftwareVersion, v.leastSoftware()))
		} else if !v.has(GatewaySwap) {
			out = append(out, fmt.Sprintf("See that the gateway reports: %s, software %s.", orNotKnown(g.Model), orNotKnown(g.SoftwareVersion)))
		}
	}
	if v.has(NewPermission) {
		out = append(out, fmt.Sprintf("The new permission for %d modules (%s kW AC in all) must be granted before anything is mounted.", v.plan.Modules, v.acAfter()))
	} else {
		out = append(out, fmt.Sprintf("Take along the permission to operate and its limit; after this job the site has %s kW AC.", v.acAfter()))
	}
	return append(out, "Print the site's array map as it is today and the list of inverter serial numbers.")
}

// leastSoftware is the version that mixing asks for; without a rule the latest.
func (v *visit) leastSoftware() string {
	for _, r := range v.f.mixingRules() {
		if g := v.in.Site.Gateway; r.MinSoftware != "" && (len(r.Gateways) == 0 || contains(r.Gateways, g.Model)) {
			return r.MinSoftware
		}
	}
	return v.target(SoftwareUpdate)
}

func (v *visit) acAfter() string {
	if math.IsNaN(v.r.ExistingACKW) {
		return fmt.Sprintf("what the old inverters make (not known) and %s more", num2(float64(v.inverters)*v.in.Inverter.ACWatts/1000))
	}
	return num2(v.r.ExistingACKW + float64(v.inverters)*v.in.Inverter.ACWatts/1000)
}

func (v *visit) bring() []string {
	out := []string{fmt.Sprintf("%d modules %s, %g W, %g x %g m.", v.plan.Modules, v.in.Module.Model, v.in.Module.Watts, v.in.Module.WidthM, v.in.Module.HeightM)}
	for _, p := range v.plan.ByPlane {
		if p.Modules > 0 {
			out = append(out, fmt.Sprintf("Of these %d on plane %s%s.", p.Modules, p.PlaneID, v.layout(p.PlaneID)))
		}
	}
	out = append(out, fmt.Sprintf("%d inverters %s and their mounting hardware.", v.inverters, v.in.Inverter.Model))
	switch {
	case v.branches > 0:
		out = append(out, fmt.Sprintf("Cable and end caps for %d new branch circuit%s, the fullest with %d inverters; %d breaker%s of %s A listed for the panelboard.",
			v.branches, plural(v.branches), v.fullest, v.branches, plural(v.branches), numOr(v.breaker)))
	case v.branches < 0:
		out = append(out, "Cable and breakers for the new branch circuits: their number is not known, see the panelboard first.")
	}
	if v.onOld > 0 {
		out = append(out, fmt.Sprintf("Cable to join %d inverters to the branches that are there.", v.onOld))
	}
	if v.has(GatewaySwap) {
		out = append(out, fmt.Sprintf("The gateway %s in place of %s.", v.target(GatewaySwap), v.in.Site.Gateway.Model))
	}
	if v.has(PanelboardUpgrade) {
		out = append(out, fmt.Sprintf("The new panelboard (%s).", v.target(PanelboardUpgrade)))
	}
	kg := loadKgPerM2(v.in.Module) * v.in.Module.WidthM * v.in.Module.HeightM * float64(v.plan.Modules)
	return append(out, fmt.Sprintf("About %.0f kg go on the roof, %s kg/m2 where modules lie; labels for every new breaker and disconnect.", kg, num(loadKgPerM2(v.in.Module))))
}

func (v *visit) layout(plane string) string {
	for _, p := range v.r.Planes {
		switch {
		case p.Plane.ID != plane:
		case !p.Measured:
			return ", which nobody has measured"
		case p.OldModules > 0 && p.Orientation != "":
			return fmt.Sprintf(", in %s, beside the %d that are there", p.Orientation, p.OldModules)
		case p.Orientation != "":
			return ", in " + p.Orientation
		}
	}
	return ""
}

func (v *visit) panelboard() []string {
	var out []string
	switch {
	case v.has(SupplySideConnection):
		out = append(out, fmt.Sprintf("The new branches (%d) end in a combiner of their own, connected before the main breaker behind a disconnect of its own; the utility takes the service dead for it.", max(0, v.branches)))
	case v.branches > 0:
		out = append(out, fmt.Sprintf("%d new breaker%s of %s A in %d free spaces%s.", v.branches, plural(v.branches), numOr(v.breaker), v.spaces, v.spacesNow()))
	case v.branches == 0:
		out = append(out, "No new breaker: the branches that are there take the new inverters.")
	default:
		out = append(out, "Count the free breaker spaces, and settle the branches before anything is mounted.")
	}
	if v.r.Service.Says != "" {
		out = append(out, v.r.Service.Says)
	}
	if s := v.in.Site.Service; s != nil && s.Feed == "end" && v.r.Profile != nil && v.r.Profile.BusbarPct > 100 && v.branches > 0 && !v.has(SupplySideConnection) {
		out = append(out, "New PV breakers go to the end of the busbar opposite to the main breaker, next to the old ones, and are labelled so that nobody moves them.")
	}
	if s := v.in.Site.Service; s != nil && s.UpstreamBusbarAmps > 0 {
		out = append(out, "The panelboard upstream must pass its rule too: read its labels as well.")
	}
	return out
}

func (v *visit) spacesNow() string {
	switch s := v.in.Site.Service; {
	case v.has(PanelboardUpgrade):
		return " of the new panelboard"
	case s != nil && s.FreeSpaces.Known:
		return fmt.Sprintf(" (the register has %d)", s.FreeSpaces.V)
	}
	return " (how many there are is not in the register)"
}

func (v *visit) devices() []string {
	if !v.r.ExistingInverters.Known {
		return []string{fmt.Sprintf("The count before is not known: read it off the gateway, then add %d.", v.inverters)}
	}
	before := v.r.ExistingInverters.V
	out := []string{fmt.Sprintf("Enter at commissioning: %d before + %d added = %d after.", before, v.inverters, before+v.inverters)}
	if g := v.in.Site.Gateway; g != nil && g.ReportingInverters.Known && v.f.units.Known && g.ReportingInverters.V != v.f.units.V {
		out = append(out, fmt.Sprintf("The gateway reports %d today and the register has %d: settle which is right before adding.", g.ReportingInverters.V, v.f.units.V))
	}
	return append(out,
		"Enter the serial numbers from the array map, row by row, and match them against the count. Then close the gateway's device list: no open scan, which would take in a neighbor's devices.",
		"A device that is missing afterwards is looked for on the roof (plug, serial number on its label), not scanned for.")
}

func (v *visit) record() []string {
	out := []string{
		fmt.Sprintf("The serial numbers of all %d new inverters, each in its place on the array map.", v.inverters),
		"The serial numbers of the new modules by row and column, and which branch each inverter hangs on.",
	}
	if v.has(GatewaySwap) {
		out = append(out, "The serial number of the new gateway, and that the old one is taken out of the account.")
	}
	return append(out, "The old inverters' serial numbers where the map does not have them yet.")
}

func (v *visit) measure() []string {
	var planes []string
	for _, p := range v.plan.ByPlane {
		if p.Modules > 0 {
			planes = append(planes, p.PlaneID)
		}
	}
	which := "each plane"
	if len(planes) > 0 {
		which = "plane " + strings.Join(planes, ", ")
	}
	out := []string{
		fmt.Sprintf("Width along the eave, slope length and tilt of %s; distance of every vent, skylight and old module from the edges.", which),
		"Rafters, their spacing and condition from inside; the covering's condition from outside.",
		"Photograph the panelboard closed, open and its label; the main breaker; the meter; the grounding; the way up to the roof.",
		"Voltage at the panelboard with the old array running, and the torque of every new terminal.",
	}
	return append(out, "Photograph the finished rows, the cable runs and every label before leaving.")
}

func (v *visit) sign() []string {
	var out []string
	if p := v.r.Profile; p != nil {
		out = append(out, fmt.Sprintf("A licensed electrician, for what profile %s (%s, %s) leaves open.", p.ID, p.Source, p.Edition))
		for _, c := range p.Confirm {
			out = append(out, "Electrician: "+c+".")
		}
	}
	if len(out) < 2 {
		out = append(out[:0], "A licensed electrician: busbar rating and listing, breaker positions, conductors, grounding, labels, local amendments.")
	}
	return append(out, "The customer: layout, interruption of supply, and any change of tariff terms.",
		"The inspector, and the utility for the permission to operate.")
}

func (v *visit) order() []string {
	out := []string{"Take the old array and the branch circuits dead and lock them; prove dead."}
	if v.has(PanelboardUpgrade) {
		out = append(out, "Replace the panelboard and have it inspected first; move the old branches over.")
	}
	out = append(out, "Mount rails, inverters and modules; plug the branches; note the serial numbers while they can be seen.")
	if v.has(GatewaySwap) {
		out = append(out, "Put in the new gateway and move the old inverters over to it.")
	}
	out = append(out, "Fit breakers and labels. Test dead: continuity, polarity, insulation resistance, torque.",
		"Keep the new branches off and locked until the inspection has passed and the permission to operate is there; the old ones may run under their old permission. Whether anything may be switched on earlier for a test is for the utility or the authority to say, in writing.",
		"After inspection and permission to operate: switch on branch by branch, set the grid profile that today's rules ask for, and compare the gateway's count with the one above. Watch a full hour before leaving it running.")
	return append(out, "Enter the new modules in the register on the same day.")
}

func orNotKnown(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

func numOr(x float64) string {
	if !(x > 0) {
		return "(to be sized)"
	}
	return num(x)
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}
