package headroom

import (
	"math"
	"slices"
	"testing"

	"rowen/ingest"
)

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

// A register row that was set aside leaves its limit not known.
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
