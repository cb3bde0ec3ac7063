package headroom

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

func list(t *testing.T, sheet []List, code string) string {
	t.Helper()
	for _, l := range sheet {
		if l.Code == code {
			return strings.Join(l.Items, "\n")
		}
	}
	t.Fatalf("the sheet has no list %q", code)
	return ""
}

// wants fails where a list lacks one of the texts.
func wants(t *testing.T, sheet []List, code string, texts ...string) {
	t.Helper()
	got := list(t, sheet, code)
	for _, w := range texts {
		if !strings.Contains(got, w) {
			t.Errorf("%s: no %q in\n%s", code, w, got)
		}
	}
}

// Ten old inverters and ten new ones are twenty; ten at 1.58 A fill one 20 A
// branch (10 x 1.5833 = 15.83 A, within 16 A) and take a pair of spaces.
func TestVisitSheetOfTenMore(t *testing.T) {
	in := baseInput()
	in.Site.Gateway.SoftwareVersion = "5.2.9"
	r := Assess(in)
	sheet := VisitSheet(in, r, Plan{Modules: 10, ByPlane: []PlaneCount{{"P1", 10}}, Jobs: r.FreeJobs})
	if sheet[0].Code != "cautions" {
		t.Errorf("the sheet begins with %q, not with the cautions", sheet[0].Code)
	}
	wants(t, sheet, "devices", "10 before + 10 added = 20 after")
	wants(t, sheet, "bring", "10 modules TN-430", "10 on plane P1, in portrait", "10 inverters KV2-380", "1 new branch circuit, the fullest with 10", "1 breaker of 20 A")
	wants(t, sheet, "panelboard", "1 new breaker of 20 A in 2 free spaces", "the register has 8", "opposite to the main breaker")
	wants(t, sheet, "before_leaving", "Update the gateway's software", "5.2.9", "5.2.1180", "6.3 kW AC") // 10 x 0.25 + 10 x 0.38
	wants(t, sheet, "record", "serial numbers of all 10 new inverters", "array map")
	wants(t, sheet, "sign", "licensed electrician", "utility")
	wants(t, sheet, "cautions", "can kill", "desk screening", "permission to operate")
	order := list(t, sheet, "order")
	last := -1
	for _, step := range []string{"prove dead", "Mount", "Test dead", "off and locked until the inspection", "permission to operate: switch on"} {
		at := strings.Index(order, step)
		if at <= last {
			t.Errorf("%q does not come after what goes before it:\n%s", step, order)
		}
		last = at
	}
	// Nothing new carries voltage before the inspection, and no blind scan: it
	// takes in devices on the roof next door. Common practice of the trade.
	before, _, _ := strings.Cut(order, "After inspection and permission to operate")
	for _, word := range []string{"nergise", "witch on", "for the test only"} {
		if strings.Contains(before, word) {
			t.Errorf("%q stands before the inspection:\n%s", word, before)
		}
	}
	wants(t, sheet, "devices", "row by row", "no open scan", "looked for on the roof")
}

func TestVisitSheetOfJobs(t *testing.T) {
	in := baseInput()
	in.Site.Service.BusbarAmps, in.Site.Service.MainBreakerAmps = 100, 100
	in.Site.Gateway.Model, in.Site.Gateway.SoftwareVersion = "HG-1", "3.9.40"
	in.Site.PermissionLimitKW = 4
	in.Site.Gateway.LastSeenOn = date("2026-08-01")
	r := Assess(in)
	jobs := []string{GatewaySwap, NewPermission, PanelboardUpgrade}
	if n := len(r.JobSets); n == 0 || !slices.Equal(r.JobSets[n-1].Jobs, jobs) {
		t.Fatalf("sets %+v, want one of all three jobs", r.JobSets)
	}
	sheet := VisitSheet(in, r, Plan{Modules: 16, ByPlane: []PlaneCount{{"P1", 16}}, Jobs: jobs})
	wants(t, sheet, "before_leaving", "silent since 2026-08-01", "new permission for 16 modules (8.58 kW AC in all) must be granted") // 2.5 + 16 x 0.38
	wants(t, sheet, "bring", "The gateway HG-2 in place of HG-1", "new panelboard (125 A busbar)", "2 new branch circuits, the fullest with 8")
	wants(t, sheet, "panelboard", "4 free spaces of the new panelboard")
	wants(t, sheet, "order", "Replace the panelboard and have it inspected first", "Put in the new gateway")
	wants(t, sheet, "devices", "10 before + 16 added = 26 after")
}

// What is not known is said as something to find out, never as a number.
func TestVisitSheetOfAnUnknownSite(t *testing.T) {
	in := baseInput()
	in.Site.Service, in.Site.Gateway = nil, nil
	in.Site.Arrays[0].InverterModel, in.Site.Arrays[0].Inverters = "", ingest.Opt[int]{}
	in.Site.Planes[1].WidthM = math.NaN()
	sheet := VisitSheet(in, Assess(in), Plan{Modules: 6, ByPlane: []PlaneCount{{"P1", 6}}})
	wants(t, sheet, "devices", "not known", "add 6")
	wants(t, sheet, "bring", "nobody has measured")
	wants(t, sheet, "cautions", "find out: the electrical service", "find out: width along the eave")
	for _, l := range sheet {
		if len(l.Items) == 0 || l.Head == "" {
			t.Errorf("list %q is empty", l.Code)
		}
		for _, i := range l.Items {
			if strings.Contains(i, "NaN") || strings.Contains(i, "-1 ") || strings.Contains(i, "1048576") || strings.HasSuffix(i, "..") {
				t.Errorf("%s: %q", l.Code, i)
			}
		}
	}
	if VisitSheet(in, Assess(in), Plan{}) != nil {
		t.Error("a sheet for no modules")
	}
}

// No personal data reaches the sheet.
func TestVisitSheetHoldsNoPersonalData(t *testing.T) {
	in := baseInput()
	in.Site.Customer, in.Site.Contact = "Ada Example", "ada@example.invalid"
	for _, l := range VisitSheet(in, Assess(in), Plan{Modules: 4}) {
		for _, i := range l.Items {
			if strings.Contains(i, "Ada") || strings.Contains(i, "example.invalid") {
				t.Errorf("%s: %q", l.Code, i)
			}
		}
	}
}

func TestRoofCautions(t *testing.T) {
	for _, c := range []struct {
		code   string
		change func(*Input)
	}{
		{"roof_old", func(in *Input) { in.Site.Planes[1].RoofYear = ingest.Some(2005) }}, // 21 years, shingle lasts 20
		{"roof_age_unknown", func(in *Input) { in.Site.Planes[1].RoofYear = ingest.Opt[int]{} }},
		{"roof_kind_unknown", func(in *Input) { in.Site.Planes[1].RoofKind = "" }},
		{"tile_roof", func(in *Input) { in.Site.Planes[1].RoofKind = "tile" }},
		{"flat_roof", func(in *Input) { in.Site.Planes[1].RoofKind = "flat" }},
		{"plane_shaded", func(in *Input) { in.Site.Planes[1].ShadingPct = 25 }},
		{"shading_unknown", func(in *Input) { in.Site.Planes[1].ShadingPct = math.NaN() }},
		{"dead_load_review", func(in *Input) { in.Module.WeightKg = 45 }}, // 45/(1.134 x 1.762) + 3.1 = 25.6 kg/m2 > 24.4
		{"outline_unusable", func(in *Input) { in.Site.Planes[1].PolygonM = []point{{0, 0}, {4, 4}, {4, 0}, {0, 4}} }},
		{"plane_smaller_than_its_modules", func(in *Input) { in.Site.Planes[0].WidthM = 3 }},
		{"old_module_size_assumed", func(in *Input) { in.Site.Arrays[0].ModuleModel = "" }},
		{"array_plane_unknown", func(in *Input) { in.Site.Arrays[0].PlaneID, in.Site.Arrays[0].AzimuthDeg = "", 0 }},
		{"phases_differ", func(in *Input) { in.Site.Service.Phases = ingest.Some(1) }},
		{"pv_breakers_smaller", func(in *Input) { in.Site.Service.PVBreakerAmps = 10 }},
	} {
		has := func(in Input) bool {
			return slices.ContainsFunc(Assess(in).Cautions, func(x Caution) bool { return x.Code == c.code && x.Says != "" })
		}
		in := baseInput()
		if has(in) {
			t.Errorf("%s without a cause", c.code)
		}
		if c.change(&in); !has(in) {
			t.Errorf("no %s: %v", c.code, Assess(in).Cautions)
		}
	}
}

// A register row that was set aside leaves its ceiling not known.
func TestRowsSetAside(t *testing.T) {
	in := baseInput()
	in.Site.Problems = []ingest.Reject{{File: "planes.csv", Line: 7}}
	if c := Assess(in).Roof; c.Modules.Known || c.Low != 16 || c.Ask == "" {
		t.Errorf("a plane set aside: %+v", c)
	}
	in.Site.Problems = []ingest.Reject{{File: "arrays.csv", Line: 7}}
	r := Assess(in)
	for _, c := range all(r) {
		if c.Name != Branch && c.Modules.Known {
			t.Errorf("an array set aside: %s %+v", c.Name, c.Ceiling)
		}
	}
	if r.Possible.Known {
		t.Errorf("an array set aside: possible %+v", r.Possible)
	}
}

// Legacy terms by share, by size, and the larger of both: 10 % of 3 kW is
// 300 W, less than a module of 430 W; 1 kW takes two.
func TestLegacyTerms(t *testing.T) {
	for _, c := range []struct {
		pct, kw float64
		want    int
	}{{10, 0, 0}, {30, 0, 2}, {10, 1, 2}, {60, 1, 4}} {
		in := baseInput()
		in.Tariff = &ingest.Tariff{ID: "old", Legacy: &ingest.TariffLegacy{LostWhenAddedPct: c.pct, LostWhenAddedKW: c.kw, Successor: "new"}}
		if l := Assess(in).Legacy; l == nil || l.KeepsUpTo != c.want || l.Successor != "new" {
			t.Errorf("%g %%, %g kW: %+v, want %d", c.pct, c.kw, l, c.want)
		}
	}
	if Assess(baseInput()).Legacy != nil {
		t.Error("legacy terms without a tariff")
	}
}

// A rule may name other families that report through the same gateway.
func TestOtherFamiliesOfAMixingRule(t *testing.T) {
	in := baseInput()
	in.Site.Arrays[0].InverterModel, in.Site.Arrays[0].Inverters = "OD-50", ingest.Some(1)
	in.Catalogue.Mixing[0].OtherFamilies = []string{"OD"}
	if c := Assess(in).Gateway; !c.Modules.Known || c.Modules.V != 110 { // the gateway reports 10
		t.Errorf("%+v", c)
	}
}

// String inverters: how many modules hang on one is the catalogue's, else 1.2
// times its AC rating; each has a circuit of its own.
func TestNewStringInverters(t *testing.T) {
	in := baseInput()
	in.Site.Arrays, in.Site.Gateway.ReportingInverters = nil, ingest.Some(0)
	in.Inverter = ingest.Inverter{Model: "S", Family: "S", Kind: "string", ACWatts: 3800, BranchBreakerAmps: 20}
	r := Assess(in)
	// 1.2 x 3800 / 430 = 10.6: 10 a string inverter; (270 - 200)/1.25/15.83 = 3.5: 3; 8 spaces: 4; 12/3.8 = 3.2: 3.
	if r.Service.Modules.V != 30 || r.Branch.Modules.V != 40 || r.Permission.Modules.V != 30 || r.Gateway.Modules.V != 1200 {
		t.Errorf("service %+v\nbranch %+v\npermission %+v\ngateway %+v", r.Service, r.Branch, r.Permission, r.Gateway)
	}
	in.Inverter.MaxDCWatts = 5200 // 12 modules
	if r := Assess(in); r.Branch.Modules.V != 48 {
		t.Errorf("branch %+v", r.Branch)
	}
}
