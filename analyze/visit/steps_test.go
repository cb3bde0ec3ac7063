package visit

import (
	"math"
	"strings"
	"testing"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/ingest"
)

// says is the text of a step; "" where the sheet has no such step.
func says(s *Sheet, code string) string {
	var out []string
	for _, p := range s.Parts {
		for _, st := range p.Steps {
			if st.Code == code {
				out = append(out, st.Says)
			}
		}
	}
	return strings.Join(out, "\n")
}

// turn is one thing that is otherwise at the house, and a step with words that
// it must or must not have then.
type turn struct {
	what   string
	change func(*Input)
	code   string
	with   string // "": the step is not there
}

func check(t *testing.T, kind Kind, turns []turn) {
	t.Helper()
	for _, x := range turns {
		in := house("split-phase-200")
		x.change(&in)
		in.Limits = headroom.Assess(in.Room)
		s := Write(in)
		if s == nil || s.Kind != kind {
			t.Errorf("%s: %+v", x.what, s)
			continue
		}
		got := says(s, x.code)
		if (x.with == "") != (got == "") || !strings.Contains(got, x.with) {
			t.Errorf("%s: step %s says %q, want %q", x.what, x.code, got, x.with)
		}
	}
}

var outline = [][2]float64{{0, 0}, {14, 0}, {14, 6}, {0, 6}}

func nothing(*Input) {}

func plan(n int, jobs ...string) func(*Input) {
	return func(in *Input) {
		in.Plan = headroom.Plan{Modules: n, Jobs: jobs, ByPlane: []headroom.PlaneCount{{PlaneID: "P2", Modules: n}}}
	}
}

// The steps that every sheet shares, here on a work sheet. 29 CFR 1926.1101(b)
// presumes asbestos in what is of 1980 and before.
func TestStepsOfEveryVisit(t *testing.T) {
	seen := func(days int) func(*Input) {
		return func(in *Input) { in.Room.Site.Gateway.LastSeenOn = in.AsOf.AddDate(0, 0, -days) }
	}
	ground := func(kinds ...string) func(*Input) {
		return func(in *Input) {
			for i, k := range kinds {
				in.Room.Site.Planes[i].RoofKind = k
			}
		}
	}
	year := func(y int) func(*Input) {
		return func(in *Input) { in.Room.Site.Planes[1].RoofYear = ingest.Some(y) }
	}
	check(t, Work, []turn{
		{"a gateway that was never seen", nothing, "gateway_reports", "gateway reports (HG-2, software 5.2.1180)"},
		{"a gateway seen a month ago", seen(31), "gateway_reports", "gateway reports"},
		{"a gateway silent for longer", seen(32), "gateway_reports", "silent since 2026-09-30"},
		{"no month to judge", func(in *Input) { seen(90)(in); in.AsOf = time.Time{} }, "gateway_reports", "gateway reports"},
		{"work", nothing, "customer_present", "when the supply is off."},
		{"a roof", nothing, "ladder", "Ladder"},
		{"a roof", nothing, "fall", "Fall protection"},
		{"a roof and a plot", ground("ground", "shingle"), "ladder", "Ladder"},
		{"a plot and a roof", ground("shingle", "ground"), "roof_condition", "Look at covering"},
		{"plots only", ground("ground", "ground"), "ladder", ""},
		{"plots only", ground("ground", "ground"), "fall", ""},
		{"a covering of the last year with asbestos", year(1980), "asbestos", "specialist"},
		{"a covering of the first year without", year(1981), "asbestos", ""},
		{"a plot of that year", func(in *Input) { year(1950)(in); ground("ground", "ground")(in) }, "asbestos", ""},
		{"no storage", nothing, "lockout", "PV breakers and every other supply"},
		{"storage", func(in *Input) { in.Room.Site.Gateway.StorageKWh = 5 }, "lockout", "storage or backup supply"},
		{"backup", func(in *Input) { in.Room.Site.Gateway.BackupController = ingest.Some(true) }, "lockout", "storage or backup supply"},
	})
	check(t, Survey, []turn{
		{"a survey", func(in *Input) { in.Room.Site.Service = nil }, "customer_present", "nothing is switched off"},
		{"no gateway", func(in *Input) { in.Room.Site.Gateway = nil }, "gateway_reports", "No gateway is in the register"},
		{"no planes", func(in *Input) { in.Room.Site.Planes = nil; in.Plan.ByPlane[0].PlaneID = "of A1" }, "ladder", "Ladder"},
	})
	in := house("split-phase-200")
	in.Repair, in.Room.Site.Service = true, nil
	in.Limits = headroom.Assess(in.Room)
	if got := says(Write(in), "customer_present"); !strings.Contains(got, "supply is off") {
		t.Errorf("a repair where something is unknown: %q", got)
	}
}

// 13 x 265 W = 3.445 kW are there; 12 x 410 W make 8.365 kW, 9 make 7.135 kW.
func TestStepsOfWork(t *testing.T) {
	check(t, Work, []turn{
		{"permission", nothing, "permission", "20 kW AC are allowed, 8.365 kW after"},
		{"nine", plan(9), "permission", "7.135 kW after"},
		{"a new permission", plan(12, headroom.NewPermission), "permission", "new permission for 8.365 kW AC in all is granted"},
		{"software", plan(12, headroom.SoftwareUpdate), "software", "Update the gateway"},
		{"no software", nothing, "software", ""},
		{"gateway", plan(12, headroom.GatewaySwap), "gateway_swap", "new gateway"},
		{"no gateway", nothing, "gateway_swap", ""},
		{"subpanel", plan(12, headroom.Subpanel), "subpanel", "new branches end there"},
		{"panelboard", plan(12, headroom.PanelboardUpgrade), "panelboard_upgrade", "Replace the panelboard"},
		{"supply side", plan(12, headroom.SupplySideConnection), "supply_side", "2 new branches end"},
		{"supply side", plan(12, headroom.SupplySideConnection), "breakers", ""},
		{"breakers", nothing, "breakers", "Fit 2 two-pole breakers of 20 A, beside the old PV breakers"},
		{"center-fed", func(in *Input) { in.Room.Site.Service.Feed = "center" }, "breakers", "Fit 2 two-pole breakers of 20 A."},
		{"labels", nothing, "busbar_label", "busbar 225 A, main breaker 200 A"},
		{"a busbar of the least rating", func(in *Input) { in.Room.Site.Service.MainBreakerAmps = 0 }, "busbar_label", ""},
		{"layout", nothing, "plane_layout", "Plane P2 (facing south, tilt 20°) of 14 × 6 m: 12 modules in"},
		{"nothing there on the plane", nothing, "plane_layout", ". Measure first"},
		{"on the old plane", func(in *Input) {
			in.Plan.Modules = 1
			in.Plan.ByPlane[0] = headroom.PlaneCount{PlaneID: "P1", Modules: 1}
		}, "plane_layout", "beside the 13 that are there"},
		{"an outline", func(in *Input) {
			in.Room.Site.Planes[1].PolygonM = outline
		}, "plane_layout", "Plane P2 (facing south, tilt 20°): 12 modules"},
		// 12 x 1.134 m x 1.762 m = 23.977 m²; a module of 20 kg weighs 240 kg, the
		// racking of 3.1 kg/m² adds 74.3 kg.
		{"weight", func(in *Input) { in.Room.Module.WeightKg = 20 }, "weight", "314 kg go up"},
		{"the bill", nothing, "tariff_told", "what the new array changes"},
	})
}

func TestLegacyTermsAreTold(t *testing.T) {
	for n, want := range map[int]string{12: "changes on the bill", 13: "terms end"} {
		in := house("split-phase-200")
		plan(n)(&in)
		in.Limits.Legacy = &headroom.Legacy{KeepsUpTo: 12, Says: "the terms end"}
		if got := says(Write(in), "tariff_told"); !strings.Contains(got, want) {
			t.Errorf("%d modules: %q", n, got)
		}
	}
}

func TestStepsOfASurvey(t *testing.T) {
	forget := func(more func(*Input)) func(*Input) {
		return func(in *Input) { in.Room.Site.PermissionLimitKW = math.NaN(); more(in) }
	}
	service := func(more func(*ingest.Service)) func(*Input) {
		return forget(func(in *Input) { more(in.Room.Site.Service) })
	}
	check(t, Survey, []turn{
		{"permission", forget(nothing), "permission_paper", "AC limit"},
		{"permission at hand", func(in *Input) { in.Room.Site.Service = nil }, "permission_paper", ""},
		{"the tariff", forget(func(in *Input) { in.TariffDefaulted = true }), "tariff_paper", "recent bill"},
		{"the tariff at hand", forget(nothing), "tariff_paper", ""},
		{"a measured plane", forget(nothing), "plane_check", "the register has 8 × 4.2 m"},
		{"an outline", forget(func(in *Input) {
			in.Room.Site.Planes[1].PolygonM = outline
		}), "plane_check", "the register has an outline"},
		{"a plane without lengths", forget(func(in *Input) { in.Room.Site.Planes[1].WidthM = math.NaN() }), "plane_measure", "Measure plane P2"},
		{"no planes", forget(func(in *Input) { in.Room.Site.Planes = nil; in.Plan.ByPlane[0].PlaneID = "of A1" }), "plane_measure", "every plane that could"},
		{"the roof's area", forget(nothing), "roof_plan", ""},
		{"no area", forget(func(in *Input) { in.Room.Site.RoofPlanM2 = math.NaN() }), "roof_plan", "Plan area"},
		{"the whole service", forget(nothing), "service_read", ""},
		{"the whole service", forget(nothing), "service_check", "busbar 225 A, main breaker 200 A, free spaces 8, PV breakers 20 A, other supplies 0 A and feed of the busbar end"},
		{"no service", forget(func(in *Input) { in.Room.Site.Service = nil }), "spaces_read", "Count free breaker spaces"},
		{"no PV breakers", service(func(v *ingest.Service) { v.PVBreakerAmps = 0 }), "service_check", "PV breakers 0 A"},
		{"one value", service(func(v *ingest.Service) { v.PVBreakerAmps = math.NaN() }), "service_read", "read it: PV breakers."},
		{"several", service(func(v *ingest.Service) {
			v.BusbarAmps, v.MainBreakerAmps, v.OtherSupplyAmps, v.Feed = 0, 0, math.NaN(), ""
		}), "service_read", "read it: busbar, main breaker, other supplies and feed of the busbar."},
		{"the array", forget(nothing), "array_count", "the register has 13 in 1 array."},
		{"no array", forget(func(in *Input) { in.Room.Site.Arrays = nil }), "array_count", "Count the modules that are there"},
		{"the inverters", forget(nothing), "inverter_models", ""},
		{"unknown inverters", forget(func(in *Input) {
			in.Room.Site.Arrays[0].InverterModel = ""
			in.Room.Site.Gateway.ReportingInverters = ingest.Opt[int]{}
		}), "inverter_models", "count them"},
		{"the gateway", forget(nothing), "gateway_read", ""},
		{"a gateway without a model", forget(func(in *Input) { in.Room.Site.Gateway.Model = "" }), "gateway_read", "model and software version"},
		{"a gateway without a version", forget(func(in *Input) { in.Room.Site.Gateway.SoftwareVersion = "" }), "gateway_read", "model and software version"},
		{"no gateway", forget(func(in *Input) { in.Room.Site.Gateway = nil }), "gateway_read", "model and software version"},
		{"no storage", forget(nothing), "storage_ask", ""},
		{"storage not known", forget(func(in *Input) { in.Room.Site.Gateway.StorageKWh = math.NaN() }), "storage_ask", "is there storage"},
		{"backup not known", forget(func(in *Input) { in.Room.Site.Gateway.BackupController = ingest.Opt[bool]{} }), "storage_ask", "is there storage"},
		{"a fault to verify", forget(func(in *Input) {
			in.Array.Faults = []array.Fault{{Code: array.OrientationMismatch, Live: true, Says: "it faces west"}}
		}), "array_verify", "Verify: It faces west."},
		{"a fault that is over", forget(func(in *Input) {
			in.Array.Faults = []array.Fault{{Code: array.OrientationMismatch, Says: "it faced west"}}
		}), "array_verify", ""},
		{"a fault that leaves the register", forget(func(in *Input) {
			in.Array.Faults = []array.Fault{{Code: array.Shading, Live: true, Says: "dark in the east"}}
		}), "array_verify", ""},
	})
}

// The rows to complete are those that lack something, and no others.
func TestRegisterRowsOfASurvey(t *testing.T) {
	for what, c := range map[string]struct {
		forget func(*Input)
		want   string
	}{
		"permission": {func(in *Input) { in.Room.Site.PermissionLimitKW = math.NaN() }, "sites.csv:S1,,"},
		"roof area":  {func(in *Input) { in.Room.Site.RoofPlanM2 = math.NaN(); in.Room.Site.Arrays[0].InverterModel = "" }, "sites.csv:S1,, gateways.csv:S1,,,,,"},
		"a plane":    {func(in *Input) { in.Room.Site.Planes[1].WidthM = math.NaN() }, "planes.csv:S1,P2,,,,"},
		"no plane":   {func(in *Input) { in.Room.Site.Planes = nil; in.Plan.ByPlane[0].PlaneID = "of A1" }, "planes.csv:S1,P1,,,,"},
	} {
		in := house("split-phase-200")
		c.forget(&in)
		in.Limits = headroom.Assess(in.Room)
		var got []string
		for _, r := range Write(in).Register {
			got = append(got, r.File+":"+strings.Join(r.Lines, "|"))
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %q, want %q", what, got, c.want)
		}
	}
}

// A limit that is not known matters only below the size that is proposed.
func TestWhatLeavesTheSizeUndecided(t *testing.T) {
	in := house("split-phase-200")
	in.Limits.Gateway = headroom.Ceiling{Low: 12, High: headroom.Many, Ask: "the gateway's model"}
	if s := Write(in); s.Kind != Work {
		t.Errorf("12 modules, at least 12 possible: %s", s.Kind)
	}
	in.Limits.Gateway.Low = 11
	if s := Write(in); s.Kind != Survey || len(s.Unknown) != 1 || s.Unknown[0] != "The gateway's model" {
		t.Errorf("12 modules, at least 11 possible: %s %v", s.Kind, s.Unknown)
	}
	if got := Write(in).Lead; !strings.HasPrefix(got, "Nothing is installed") {
		t.Errorf("lead %q", got)
	}
	in = house("split-phase-200")
	in.Room.Site.PermissionLimitKW = math.NaN()
	in.Limits = headroom.Assess(in.Room)
	if s := Write(in); len(s.Unknown) != 1 || !strings.HasPrefix(s.Lead, "Only the permission") {
		t.Errorf("the permission alone: %v %q", s.Unknown, s.Lead)
	}
	in = house("split-phase-200")
	in.Plan.ByPlane = append(in.Plan.ByPlane, headroom.PlaneCount{PlaneID: "P9"})
	if s := Write(in); s.Kind != Work {
		t.Errorf("a plane that takes nothing decides: %v", s.Unknown)
	}
}

// A plan over two planes: 3 + 2 modules take 3 + 2 inverters, and the register
// gets a row per plane under the first free number.
func TestRowsOfWorkOnTwoPlanes(t *testing.T) {
	in := house("split-phase-200")
	in.Room.Site.Arrays = append(in.Room.Site.Arrays, ingest.Array{ID: "A3", Modules: 1, ModuleWatts: 300, PlaneID: "P1", InverterModel: "KV1-265"})
	in.Plan = headroom.Plan{Modules: 5, ByPlane: []headroom.PlaneCount{{PlaneID: "P1", Modules: 3}, {PlaneID: "P0"}, {PlaneID: "P2", Modules: 2}}}
	in.Room.Inverter.Model, in.Room.Module.Model = `KV2 "long"`, "TN,430"
	w := newWork(newSite(in))
	got := strings.Join(w.newRows()[0].Lines, "\n")
	want := `S1,A4-1,3,"TN,430",P1,"KV2 ""long""",3,` + "\n" + `S1,A4-2,2,"TN,430",P2,"KV2 ""long""",2,`
	if got != want {
		t.Errorf("rows\n%s\nwant\n%s", got, want)
	}
	// Two modules on each inverter: 3 take 2, and 2 take the 1 that is left of (5+1)/2 = 3.
	w.wired.PerInverter, w.wired.Inverters = 2, 3
	if got := strings.Join(w.newRows()[0].Lines, "\n"); !strings.Contains(got, `P1,"KV2 ""long""",2,`) || !strings.Contains(got, `P2,"KV2 ""long""",1,`) {
		t.Errorf("two to an inverter:\n%s", got)
	}
}

func TestWhereTheBranchesAre(t *testing.T) {
	for want, c := range map[string]headroom.Circuits{
		"all on branches that are there":       {OnOld: 3},
		"7 on one new branch":                  {Branches: []int{7}},
		"7 on new branches, 2 on old ones":     {Branches: []int{7}, OnOld: 2},
		"7 + 6 on new branches":                {Branches: []int{7, 6}},
		"7 + 6 on new branches, 1 on old ones": {Branches: []int{7, 6}, OnOld: 1},
	} {
		w := &work{&site{wired: c}, nil}
		if got := w.branchesInWords(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// 12 modules of 1.134 m x 1.762 m cover 23.98 m².
func TestSumsOfTheLoad(t *testing.T) {
	in := house("split-phase-200")
	in.Room.Module.WeightKg = 20 // 20/1.998 = 10.0 kg/m², and 3.1 of racking
	wants(t, Write(in), "24 m² × 13.1 kg/m² = 314 kg")
	in.Room.Site.Service.FreeSpaces = ingest.Opt[int]{}
	w := newWork(newSite(in))
	if w.freeSpaces() != "" {
		t.Errorf("spaces that nobody counted: %q", w.freeSpaces())
	}
	for job, want := range map[string]string{headroom.Subpanel: "the subpanel", headroom.PanelboardUpgrade: "the new panelboard", headroom.SupplySideConnection: ""} {
		w.jobs = map[string]string{job: ""}
		if got := w.freeSpaces(); got != want {
			t.Errorf("%s: %q", job, got)
		}
	}
}

// Only the profiles that let a busbar exceed its rating ask for the opposite end.
func TestOppositeEnd(t *testing.T) {
	in := house("split-phase-200")
	w := newWork(newSite(in))
	p := *w.Limits.Profile
	w.Limits.Profile = &p
	for pct, want := range map[float64]bool{100: false, 120: true} {
		p.BusbarPct = pct
		if got := w.oppositeEnd() != ""; got != want {
			t.Errorf("%g %%: %v", pct, got)
		}
	}
	w.Limits.Profile = nil
	if w.oppositeEnd() != "" {
		t.Error("without a profile")
	}
}

// The ridge is kept free as wide as the widest of the planes that take modules asks.
func TestRidgeOfTheSheet(t *testing.T) {
	in := house("split-phase-200")
	in.Limits.Planes[0].RidgeM, in.Limits.Planes[1].RidgeM = 0.9, 0.45
	w := newWork(newSite(in))
	if got := w.ridgeM(); got != 0.45 {
		t.Errorf("ridge %g", got)
	}
	w.Plan.ByPlane = append(w.Plan.ByPlane, headroom.PlaneCount{PlaneID: "P1"})
	if got := w.ridgeM(); got != 0.45 {
		t.Errorf("ridge %g where P1 takes nothing", got)
	}
	w.Plan.ByPlane[1].Modules = 1
	if got := w.ridgeM(); got != 0.9 {
		t.Errorf("ridge %g where P1 takes one", got)
	}
	w.Room.Options.AreaSharePct = 33
	if got := w.ridgeRule(); !strings.Contains(got, "33 %") {
		t.Errorf("rule %q", got)
	}
	w.Room.Options.AreaSharePct = 0
	if got := w.ridgeRule(); got != "" {
		t.Errorf("no rule: %q", got)
	}
}
