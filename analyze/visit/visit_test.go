package visit

import (
	"math"
	"strings"
	"testing"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/headroom"
	"rowen/ingest"
	"rowen/ingest/register/profiles"
)

// house is a site of which everything is known: 13 old micro-inverters, 18
// modules to add on two planes.
func house(profile string) Input {
	var p ingest.ServiceProfile
	for _, x := range profiles.Shipped() {
		if x.ID == profile {
			p = x
		}
	}
	site := &ingest.Site{ID: "S1", Customer: "Ada Example", Contact: "ada@example.invalid", GridType: "grid_tied", PermissionLimitKW: 20, RoofPlanM2: 250,
		Arrays:  []ingest.Array{{ID: "A1", Modules: 13, ModuleWatts: 300, PlaneID: "P1", InverterModel: "KV1-265", TiltDeg: 20, AzimuthDeg: 90}},
		Planes:  []ingest.Plane{{ID: "P1", WidthM: 8, SlopeM: 4.2, TiltDeg: 20, AzimuthDeg: 90, RoofKind: "shingle"}, {ID: "P2", WidthM: 14, SlopeM: 6, TiltDeg: 20, AzimuthDeg: 180, RoofKind: "shingle"}},
		Service: &ingest.Service{Volts: p.Volts, BusbarAmps: 225, MainBreakerAmps: 200, FreeSpaces: ingest.Some(8), Feed: "end", Profile: profile, LoadBreakersAmps: math.NaN(), PVBreakerAmps: 20, BranchSpareAmps: 0},
		Gateway: &ingest.Gateway{Model: "HG-2", SoftwareVersion: "5.2.1180", ReportingInverters: ingest.Some(13), BackupController: ingest.Some(false)},
	}
	same := false
	c := &ingest.Catalogue{
		Inverters: []ingest.Inverter{{Model: "KV1-265", Family: "KV", Generation: 1, Kind: "micro", ACWatts: 265, PerBranch: 14, BranchBreakerAmps: 20},
			{Model: "KV2-410", Family: "KV", Generation: 2, Kind: "micro", ACWatts: 410, MaxModuleWatts: 560, PerBranch: 9, BranchBreakerAmps: 20}},
		Gateways: []ingest.GatewayModel{{Model: "HG-2", MaxInverters: 120, LatestSoftware: "5.2.1180"}},
		Mixing:   []ingest.MixingRule{{Family: "KV", Generations: []int{1, 2}, Gateways: []string{"HG-2"}, MinSoftware: "5.2.1180", SameBranch: &same}},
		Profiles: []ingest.ServiceProfile{p},
	}
	in := headroom.Input{Site: site, Catalogue: c, Module: ingest.Module{Model: "TN-430", Watts: 430, WidthM: 1.134, HeightM: 1.762}, Inverter: c.Inverters[1],
		AsOf: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), ExistingWatts: math.NaN(), UseKWhYr: 9000, PastUseKWhYr: 9000, ProductionKWhYr: 4000, YieldKWhPerKW: 1400, PeakLoadKW: math.NaN(),
		Options: headroom.DefaultOptions()}
	return Input{Room: in, Limits: headroom.Assess(in), Array: &array.Result{}, AsOf: in.AsOf,
		Plan: headroom.Plan{Modules: 12, ByPlane: []headroom.PlaneCount{{PlaneID: "P2", Modules: 12}}}}
}

func text(s *Sheet) string {
	var b strings.Builder
	for _, m := range s.Materials {
		b.WriteString(num(float64(m.Count), 0) + " " + m.What + ": " + m.Where + "\n")
	}
	b.WriteString(strings.Join(append(append([]string{s.Title, s.Lead}, s.Unknown...), s.Sums...), "\n") + "\n")
	for _, p := range s.Parts {
		for _, st := range p.Steps {
			b.WriteString(st.Code + ": " + st.Says + "\n")
		}
	}
	return b.String()
}

func wants(t *testing.T, s *Sheet, texts ...string) {
	t.Helper()
	for _, w := range texts {
		if !strings.Contains(text(s), w) {
			t.Errorf("no %q in\n%s", w, text(s))
		}
	}
}

// 410 W at 240 V are 1.7083 A; 9 of them times 1.25 are 19.2 A, so 12 take two
// branches of 6: 6 x 1.7083 x 1.25 = 12.8 A, and two spaces each.
func TestWorkSheetCounts(t *testing.T) {
	s := Write(house("split-phase-200"))
	if s.Kind != Work {
		t.Fatalf("%s: %v", s.Kind, s.Unknown)
	}
	wants(t, s, "add 12 modules", "12 modules TN-430", "plane P2 (facing south, tilt 20°)", "12 inverters KV2-410", "6 + 6 on new branches", "2 two-pole breakers, 20 A",
		"6 × 1.71 A × 1.25 = 12.8 A of 20 A", "2 × 2 = 4 of 8 free", "3.445 + 4.92 = 8.365 kW" /* 13 x 265 = 3,445 W */, "13 before + 12 added = 25 after", "end opposite the main breaker", "NEC 690.12")
	if got := s.Register[0].Lines[0]; got != "S1,A2,12,TN-430,P2,KV2-410,12," {
		t.Errorf("register row %q", got)
	}
	if strings.Contains(text(s), "Ada") || strings.Contains(text(s), "asbestos") {
		t.Error("personal data, or a warning of asbestos without a year")
	}
}

// One place's sheet never cites another's code; a rule of one place alone is
// left out elsewhere.
func TestSheetsCiteTheirOwnPlace(t *testing.T) {
	marks := map[string][]string{"split-phase-200": {"NEC", "CFR"}, "single-phase-gb": {"BS ", "Regulations 2005", "EREC"}, "single-phase-au": {"AS/NZS", "WHS"}, "three-phase-de": {"VDE", "DGUV", "TRGS"}}
	for profile, own := range marks {
		in := house(profile)
		in.Room.Site.Planes[1].RoofYear = ingest.Some(1970)
		in.Limits = headroom.Assess(in.Room)
		s := newSite(in)
		all := text(newWork(s).sheet()) + text((&survey{s}).sheet()) + text((&repair{s, live(in.Array)}).sheet())
		if !strings.Contains(all, own[0]) || !strings.Contains(all, "asbestos is likely") {
			t.Errorf("%s cites nothing of its own", profile)
		}
		for other, texts := range marks {
			for _, m := range texts {
				if other != profile && strings.Contains(all, m) {
					t.Errorf("%s cites %q", profile, m)
				}
			}
		}
	}
}

// Anything unknown that decides the size makes a survey: no material, no count.
func TestUnknownMakesASurvey(t *testing.T) {
	for what, forget := range map[string]func(*Input){
		"a plane":        func(in *Input) { in.Room.Site.Planes[1].WidthM = math.NaN() },
		"the service":    func(in *Input) { in.Room.Site.Service = nil },
		"the permission": func(in *Input) { in.Room.Site.PermissionLimitKW = math.NaN() },
		"the inverters":  func(in *Input) { in.Room.Site.Arrays[0].InverterModel = "" },
		"no planes":      func(in *Input) { in.Room.Site.Planes = nil; in.Plan.ByPlane[0].PlaneID = "of A1" },
		"the array": func(in *Input) {
			in.Array.Faults = []array.Fault{{Code: array.CapacityMismatch, Live: true, Says: "the register says 4 kW, the output fits 5 kW"}}
		},
	} {
		in := house("split-phase-200")
		forget(&in)
		in.Limits = headroom.Assess(in.Room)
		s := Write(in)
		if s.Kind != Survey || len(s.Unknown) == 0 || len(s.Materials)+len(s.Sums) > 0 {
			t.Errorf("%s unknown: %s, %v", what, s.Kind, s.Unknown)
		}
		if strings.Contains(text(s), "of A1") || strings.Contains(text(s), "12 modules") {
			t.Errorf("%s unknown:\n%s", what, text(s))
		}
	}
}

// A shadow is looked at, an inverter replaced; nothing is added.
func TestRepairSheet(t *testing.T) {
	in := house("split-phase-200")
	in.Repair = true
	in.Array.Faults = []array.Fault{
		{Code: array.Shading, Live: true, Repairable: true, Says: "dark in the east", AheadKWhYr: 200, Confidence: 0.8},
		{Code: array.InvertersDown, Live: true, Repairable: true, Says: "4 of 13 are down", AheadKWhYr: 900, KWhYr: 300, Confidence: 0.9, On: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)},
		{Code: array.Outage, Says: "it was off", KWhYr: 50},
	}
	s := Write(in)
	if s.Kind != Repair || len(s.Findings) != 2 || s.Findings[0].Code != array.InvertersDown || s.Findings[0].Since != "2026-07-01" || s.Findings[1].Since != "before the readings begin" {
		t.Fatalf("%+v", s)
	}
	wants(t, s, "shade_look: Look, do not repair", "dead_units", "silent")
	if strings.Contains(text(s), "add 12") || len(s.Materials) > 0 {
		t.Error("a repair sheet adds modules")
	}
	if Write(Input{Room: in.Room, Limits: in.Limits, Array: in.Array}) != nil {
		t.Error("a sheet for nothing")
	}
}
