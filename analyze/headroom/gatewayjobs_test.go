package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// A gateway for 120 inverters that has 10 takes 110 more.
func TestGatewayAtItsLimits(t *testing.T) {
	devices := func(n int) func(*Input) {
		return func(in *Input) { in.Site.Gateway.ReportingInverters = ingest.Some(n) }
	}
	for _, c := range []struct {
		what   string
		change func(*Input)
		want   string // limit, low to high, reason
	}{
		{"ten", func(in *Input) {}, "110 110 110 device_limit"},
		{"it reports more than the register has", devices(12), "108 108 108 device_limit"},
		{"it reports fewer", devices(8), "110 110 110 device_limit"},
		{"one left", devices(119), "1 1 1 device_limit"},
		{"full", devices(120), "0 0 0 gateway_full"},
		{"more than it takes", devices(121), "0 0 0 gateway_full"},
		{"fewer while generations share it", func(in *Input) { in.Catalogue.Mixing[0].MaxInverters = 40 }, "30 30 30 device_limit"},
		{"the most generous rule", func(in *Input) {
			in.Catalogue.Mixing[0].MaxInverters = 40
			more := in.Catalogue.Mixing[0]
			more.MaxInverters = 50
			in.Catalogue.Mixing = append(in.Catalogue.Mixing, more)
		}, "40 40 40 device_limit"},
		{"a rule without a limit", func(in *Input) {
			in.Catalogue.Mixing[0].MaxInverters = 40
			more := in.Catalogue.Mixing[0]
			more.MaxInverters = 0
			in.Catalogue.Mixing = append(in.Catalogue.Mixing, more)
		}, "110 110 110 device_limit"},
		{"a rule of more than the gateway takes", func(in *Input) { in.Catalogue.Mixing[0].MaxInverters = 300 }, "110 110 110 device_limit"},
		{"one generation", func(in *Input) { in.Catalogue.Mixing[0].MaxInverters = 40; in.Inverter = in.Catalogue.Inverters[0] }, "110 110 110 device_limit"},
		{"no old inverter is known", func(in *Input) { in.Site.Arrays[0].InverterModel = "" }, fmt.Sprintf("? 0 %d old_inverters_unknown", Many)},
		{"no model", func(in *Input) { in.Site.Gateway.Model = "" }, fmt.Sprintf("? 0 %d mixing_unknown", Many)},
		{"a gateway that is full either way", func(in *Input) {
			in.Inverter, in.Site.Gateway.ReportingInverters, in.Site.Arrays[0].Inverters = in.Catalogue.Inverters[0], ingest.Opt[int]{}, ingest.Opt[int]{}
			in.Site.Arrays[0].InverterModel, in.Inverter.Family, in.Inverter.Generation = "OD-50", "OD", 1 // strings: their number is not the modules'
		}, "? 0 120 device_limit_unknown"},
		{"software just new enough", func(in *Input) { in.Site.Gateway.SoftwareVersion = "5.2.1181" }, "110 110 110 device_limit"},
		{"software one older", func(in *Input) { in.Site.Gateway.SoftwareVersion = "5.2.1179" }, "0 0 0 needs_software_update"},
		{"the latest is too old", func(in *Input) {
			in.Site.Gateway.SoftwareVersion, in.Catalogue.Gateways[0].LatestSoftware = "5.2.1178", "5.2.1179"
		}, "0 0 0 needs_gateway_swap"},
		{"its software is not known", func(in *Input) { in.Site.Gateway.SoftwareVersion = "" }, "? 0 110 mixing_unknown"},
		{"the latest is not known", func(in *Input) {
			in.Site.Gateway.SoftwareVersion, in.Catalogue.Gateways[0].LatestSoftware = "5.2.1178", ""
		}, "? 0 110 mixing_unknown"},
		{"a gateway that no rule names", func(in *Input) { in.Site.Gateway.Model = "HG-1" }, "0 0 0 needs_gateway_swap"},
		{"storage", func(in *Input) { in.Site.Gateway.StorageKWh = 1 }, "0 0 0 blocked_by_storage"},
		{"storage not known", func(in *Input) { in.Site.Gateway.StorageKWh = math.NaN() }, "? 0 110 mixing_unknown"},
		{"no rule", func(in *Input) { in.Catalogue.Mixing = nil }, "0 0 0 no_mixing_rule"},
	} {
		in := baseInput()
		in.Options.CostOf = nil // no job counts as done
		c.change(&in)
		g := Assess(in).Gateway
		n := "?"
		if g.Modules.Known {
			n = fmt.Sprint(g.Modules.V)
		}
		if got := fmt.Sprintf("%s %d %d %s", n, g.Low, g.High, g.Reason); got != c.want {
			t.Errorf("%s: %s, want %s: %s %s", c.what, got, c.want, g.Says, g.Ask)
		}
	}
}

// The gateway that takes most, of those that a rule names with software new
// enough; the first of equals; where nothing mixes, none smaller than today's.
func TestSwapTarget(t *testing.T) {
	add := func(model string, most int, software string) func(*Input) {
		return func(in *Input) {
			in.Catalogue.Gateways = append(in.Catalogue.Gateways, ingest.GatewayModel{Model: model, MaxInverters: most, LatestSoftware: software})
			in.Catalogue.Mixing[0].Gateways = append(in.Catalogue.Mixing[0].Gateways, model)
		}
	}
	for _, c := range []struct {
		what   string
		change func(*Input)
		want   string
	}{
		{"the one named", func(in *Input) {}, "HG-2"},
		{"a larger one", add("HG-3", 130, "6"), "HG-3"},
		{"one as large", add("HG-3", 120, "6"), "HG-2"},
		{"a larger one with old software", add("HG-3", 130, "5.2.1179"), "HG-2"},
		{"a larger one with just enough", add("HG-3", 130, "5.2.1180"), "HG-3"},
		{"a larger one with unknown software", add("HG-3", 130, ""), "HG-2"},
		{"a rule that asks for no software", func(in *Input) { add("HG-3", 130, "")(in); in.Catalogue.Mixing[0].MinSoftware = "" }, "HG-3"},
		{"a rule that names none", func(in *Input) { in.Catalogue.Mixing[0].Gateways = nil }, "HG-2"},
		{"nothing mixed, today's takes 50", func(in *Input) { in.Inverter = in.Catalogue.Inverters[0] }, "HG-2"},
		{"nothing mixed, today's takes as many", func(in *Input) { in.Inverter = in.Catalogue.Inverters[0]; in.Catalogue.Gateways[1].MaxInverters = 120 }, "HG-2"},
		{"nothing mixed, today's takes more", func(in *Input) { in.Inverter = in.Catalogue.Inverters[0]; in.Catalogue.Gateways[1].MaxInverters = 121 }, ""},
		{"mixed, today's takes more", func(in *Input) { in.Catalogue.Gateways[1].MaxInverters = 121 }, "HG-2"},
		{"not known", func(in *Input) { in.Site.Gateway.Model = "" }, ""},
	} {
		in := baseInput()
		in.Site.Gateway.Model = "HG-1"
		c.change(&in)
		f := gather(in)
		if got := f.mixing.swapTarget(f.asItStands()); got != c.want {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
	}
}

func TestWhatJobsBring(t *testing.T) {
	for _, c := range []struct {
		has, profile, spaces int
		ok                   bool
	}{{5, 0, 6, true}, {6, 0, 6, false}, {7, 0, 6, false}, {6, 7, 7, true}, {7, 7, 7, false}, {0, 1, 1, true}} {
		in := baseInput()
		in.Site.Service.FreeSpaces = ingest.Some(c.has)
		f := gather(in)
		p := *f.profile
		p.SubpanelFreeSpaces, f.profile = c.profile, &p
		if n, ok := f.subpanel(f.asItStands()); n != c.spaces || ok != c.ok {
			t.Errorf("a subpanel, %+v: %d %v", c, n, ok)
		}
	}
	// The next larger busbar that is no smaller than the main breaker.
	for _, c := range []struct {
		busbar, main float64
		sizes        []float64
		want         float64
	}{
		{100, 100, nil, 125}, {125, 100, nil, 225}, {125, 225, nil, 225}, {125, 226, nil, 400}, {225, 200, nil, 400}, {600, 200, nil, 0}, {200, 200, []float64{200, 320}, 320}, {100, 200, []float64{200, 320}, 200},
	} {
		in := baseInput()
		in.Site.Service.BusbarAmps, in.Site.Service.MainBreakerAmps = c.busbar, c.main
		f := gather(in)
		p := *f.profile
		p.UpgradeBusbarAmps, f.profile = c.sizes, &p
		if got, spaces, ok := f.upgrade(f.asItStands()); got != c.want || ok != (c.want > 0) || ok && spaces != 8 {
			t.Errorf("a panelboard, %+v: %g A, %d spaces, %v", c, got, spaces, ok)
		}
		p.UpgradeFreeSpaces, p.BusbarPct = 12, 0 // no rule for the busbar: spaces are all that it brings
		if got, spaces, ok := f.upgrade(f.asItStands()); got != 0 || spaces != 12 || !ok {
			t.Errorf("no busbar rule: %g A, %d spaces, %v", got, spaces, ok)
		}
	}
	// An update is offered where the gateway has less than the latest software.
	for version, want := range map[string]bool{"5.2.1179": true, "5.2.1180": false, "5.2.1181": false, "": false} {
		in := baseInput()
		in.Site.Gateway.SoftwareVersion = version
		f := gather(in)
		o := offer{}
		if got := f.offerUpdate(&o, f.asItStands()); got != want || got && o.target != "5.2.1180" {
			t.Errorf("software %q: %v %q", version, got, o.target)
		}
	}
	f := gather(baseInput())
	none := f.asItStands()
	none.gateway = ""
	if f.offerUpdate(&offer{}, none) {
		t.Error("an update of a gateway that nobody knows")
	}
}

func TestWordsOfAJob(t *testing.T) {
	for want, c := range map[string]struct {
		job  Job
		open bool
	}{
		"Set a subpanel beside the panelboard: 6 free spaces (usually 3 weeks): gains 20 modules.": {Job{Name: Subpanel, Target: "6 free spaces", Weeks: 3, Gains: 20}, false},
		"Set a subpanel beside the panelboard: 6 free spaces: gains 20 modules.":                   {Job{Name: Subpanel, Target: "6 free spaces", Weeks: math.NaN(), Gains: 20}, true},
		"Replace the panelboard: 400 A busbar: gains nothing alone.":                               {Job{Name: PanelboardUpgrade, Target: "400 A busbar"}, false},
		"Replace the panelboard: 400 A busbar: what it gains depends on what is not known.":        {Job{Name: PanelboardUpgrade, Target: "400 A busbar"}, true},
	} {
		if got := jobSentence(c.job, c.open); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// 2 free spaces carry one branch of 10. A subpanel's 6 carry 30, and the new
// permission 12 kW allows (12 - 2.5)/0.38 = 25 until it is lifted.
func TestSetsOfJobs(t *testing.T) {
	in := baseInput()
	in.Site.Service.FreeSpaces = ingest.Some(2)
	in.Site.Service.BranchSpareAmps = 0
	in.Site.Planes = append(in.Site.Planes, plane("P2", 40, 8, 30, 180))
	in.Options.CostOf = map[string]float64{Subpanel: 900, NewPermission: 300, SoftwareUpdate: 0}
	in.Options.WeeksOf = map[string]float64{Subpanel: 3}
	in.Site.Service.BusbarAmps = 400 // (480 - 200)/1.25 x 240/380 - 6.6 = 134 modules
	r := Assess(in)
	if r.Possible.V != 10 || r.Binding != Branch {
		t.Fatalf("possible %+v by %s", r.Possible, r.Binding)
	}
	var got []string
	for _, s := range r.JobSets {
		got = append(got, fmt.Sprintf("%s %g %d %v", strings.Join(s.Jobs, "+"), s.Cost, s.Modules, s.Open))
	}
	if want := []string{"subpanel 900 25 false", "new_permission+subpanel 1200 30 false"}; !slices.Equal(got, want) {
		t.Errorf("sets %q, want %q", got, want)
	}
	var jobs []string
	for _, j := range r.Jobs {
		jobs = append(jobs, fmt.Sprintf("%s %g %g %d %s", j.Name, j.Cost, j.Weeks, j.Gains, j.Lifts))
	}
	if want := []string{"new_permission 300 NaN 0 permission", "subpanel 900 3 15 branch"}; !slices.Equal(jobs, want) {
		t.Errorf("jobs %q, want %q", jobs, want)
	}
}

func TestLiftsAndOrder(t *testing.T) {
	if got := Lifts(PanelboardUpgrade); !slices.Equal(got, []string{Service, Branch}) {
		t.Errorf("%q", got)
	}
	if got := Lifts(NewPermission); !slices.Equal(got, []string{Service, Permission}) {
		t.Errorf("%q", got)
	}
	if got := Lifts("nothing"); len(got) != 0 {
		t.Errorf("%q", got)
	}
}

// The smallest limit binds, the first of equals; one that nobody knows leaves
// the rest open only where it may be smaller.
func TestWhichLimitBinds(t *testing.T) {
	known := func(n int) Ceiling { return Ceiling{Modules: ingest.Some(n), Low: n, High: n} }
	for _, c := range []struct {
		what string
		five ceilings
		want string
	}{
		{"one", ceilings{known(9), known(8), known(7), known(8), known(9)}, "7 7 7 branch"},
		{"equals", ceilings{known(9), known(7), known(7), known(8), known(7)}, "7 7 7 service"},
		{"none", ceilings{known(9), noLimit(), noLimit(), noLimit(), noLimit()}, "9 9 9 roof"},
		{"unknown, at least as much", ceilings{known(9), unknown("", "", "", 9, Many), noLimit(), noLimit(), noLimit()}, "9 9 9 roof"},
		{"unknown, perhaps less", ceilings{known(9), unknown("", "", "", 8, Many), noLimit(), noLimit(), noLimit()}, "? 8 9 "},
		{"unknown, surely less", ceilings{known(9), unknown("", "", "", 2, 6), noLimit(), noLimit(), noLimit()}, "? 2 6 "},
		{"nothing known", ceilings{unknown("", "", "", 2, 6), noLimit(), noLimit(), noLimit(), noLimit()}, "? 2 6 "},
	} {
		n, low, high, binding := c.five.possible()
		text := "?"
		if n.Known {
			text = fmt.Sprint(n.V)
		}
		if got := fmt.Sprintf("%s %d %d %s", text, low, high, binding); got != c.want {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
	}
}

// The permission counts AC: (12 - 2.5) kW / 0.38 kW = 25. A program's cap counts
// energy: 100 % of 9,000 kWh, 4,000 kWh made, 1,500 kWh/kW x 0.43 kW = 645 kWh a
// module: (9,000 - 4,000)/645 = 7.75; of last year's 8,000 kWh it would be 6.
func TestPermissionAtItsLimits(t *testing.T) {
	capped := func(use, past, made, yield float64) func(*Input) {
		return func(in *Input) {
			in.Site.Service.Profile = "capped"
			in.UseKWhYr, in.PastUseKWhYr, in.ProductionKWhYr, in.YieldKWhPerKW = use, past, made, yield
		}
	}
	nan := math.NaN()
	for _, c := range []struct {
		what   string
		change func(*Input)
		want   string
	}{
		{"12 kW", func(in *Input) {}, "25 25 25 permission_limit"},
		{"exactly 26", func(in *Input) { in.Site.PermissionLimitKW = 2.5 + 26*0.38 }, "26 26 26 permission_limit"},
		{"no room", func(in *Input) { in.Site.PermissionLimitKW = 2 }, "0 0 0 permission_limit"},
		{"not known", func(in *Input) { in.Site.PermissionLimitKW = nan }, fmt.Sprintf("? 0 %d permission_unknown", Many)},
		{"the old ones are not known", func(in *Input) { in.Site.Arrays[0].InverterModel = "" }, "? 0 31 old_ac_unknown"}, // 12/0.38 = 31.6
		{"the new one is not known", func(in *Input) { in.Inverter.ACWatts = 0 }, fmt.Sprintf("? 0 %d old_ac_unknown", Many)},
		{"a program", capped(9000, 9000, 4000, 1500), "7 7 7 program_cap"},
		{"a program, use has grown", capped(9000, 8000, 4000, 1500), "7 6 7 program_cap"},
		{"a program, use has fallen", capped(9000, 9500, 4000, 1500), "7 7 7 program_cap"},
		{"a program, exactly 8", capped(4000+8*645, nan, 4000, 1500), "8 8 8 program_cap"},
		{"a program, too much already", capped(3000, nan, 4000, 1500), "0 0 0 program_cap"},
		{"a program, no use", capped(nan, nan, 4000, 1500), "? 0 25 permission_limit"},
		{"a program, no yield", capped(9000, nan, 4000, nan), "? 0 25 permission_limit"},
		{"a program, the permission is smaller", func(in *Input) { capped(9000, nan, 4000, 1500)(in); in.Site.PermissionLimitKW = 4.5 }, "5 5 5 permission_limit"},
	} {
		in := baseInput()
		in.Options.CostOf = nil
		c.change(&in)
		g := Assess(in).Permission
		n := "?"
		if g.Modules.Known {
			n = fmt.Sprint(g.Modules.V)
		}
		got := fmt.Sprintf("%s %d %d %s", n, g.Low, g.High, g.Reason)
		if strings.HasPrefix(c.want, "? 0 25") { // whose reason is given is of no weight
			got, c.want = strings.Join(strings.Fields(got)[:3], " "), "? 0 25"
		}
		if got != c.want {
			t.Errorf("%s: %s, want %s: %s", c.what, got, c.want, g.Says)
		}
	}
	in := baseInput()
	capped(9000, 8000, 4000, 1500)(&in)
	if says := Assess(in).Permission.Says; !strings.Contains(says, "100 % of the consumption: 9000 kWh of 9000 kWh; the old modules make 4000 kWh: room for 7 more at 645 kWh each. By the last twelve months alone (8000 kWh) it would be 6") {
		t.Errorf("says %q", says)
	}
}
