package headroom

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// Arithmetic of these tests: an inverter of 380 W at 240 V gives 1.583 A, times
// 1.25 for continuous duty 1.979 A, so that a breaker of 20 A carries 10 (NEC
// 690.9, 210.20) and one of 15 A carries 7.

func TestWireSpreadsEvenly(t *testing.T) {
	str := func(in *Input) { in.Inverter = in.Catalogue.Inverters[2] }
	for _, c := range []struct {
		what    string
		change  func(*Input)
		modules int
		want    string // on old branches, new branches, breaker, poles, devices before, kW before and added
	}{
		{"one branch", nil, 10, "0 [10] 20 A 2 poles 10 2.5 3.8"},
		{"one more than a branch", nil, 11, "0 [6 5] 20 A 2 poles 10 2.5 4.18"},
		{"two full", nil, 20, "0 [10 10] 20 A 2 poles 10 2.5 7.6"},
		{"three", nil, 23, "0 [8 8 7] 20 A 2 poles 10 2.5 8.74"},
		{"room for two on the old", func(in *Input) { in.Site.Service.BranchSpareAmps = 4 }, 13, "2 [6 5] 20 A 2 poles 10 2.5 4.94"},
		{"more room than needed", func(in *Input) { in.Site.Service.BranchSpareAmps = 4 }, 1, "1 [] 20 A 2 poles 10 2.5 0.38"},
		// No breaker named: 7 x 1.979 = 13.9 A, the next size is 15; 8 x 1.979 = 15.8 A: 20.
		{"the least breaker of seven", func(in *Input) { in.Inverter.BranchBreakerAmps = 0 }, 7, "0 [7] 15 A 2 poles 10 2.5 2.66"},
		{"the least breaker of eight", func(in *Input) { in.Inverter.BranchBreakerAmps = 0 }, 8, "0 [8] 20 A 2 poles 10 2.5 3.04"},
		{"no device is known", func(in *Input) {
			in.Site.Gateway, in.Site.Arrays[0].InverterModel, in.Site.Arrays[0].Inverters = nil, "", ingest.Opt[int]{}
		}, 10, "0 [10] 20 A 2 poles -1 NaN 3.8"},
		// 1.2 x 5,000 W / 430 W = 13.95: 13 modules on a string inverter, which has a circuit of its own.
		{"two string inverters", str, 14, "0 [1 1] 30 A 2 poles 10 2.5 10"},
		{"no old branch for strings", func(in *Input) { str(in); in.Site.Service.BranchSpareAmps = 100 }, 13, "0 [1] 30 A 2 poles 10 2.5 5"},
		{"three phases", func(in *Input) { in.Inverter.Phases = 3 }, 10, "0 [10] 20 A 3 poles 10 2.5 3.8"},
		{"no service", func(in *Input) { in.Site.Service = nil; in.Inverter.Phases = 3 }, 10, "unknown"},
		{"no volts", func(in *Input) { in.Site.Service.Volts, in.Site.Service.Profile = math.NaN(), "" }, 10, "unknown"},
		{"no limit of a branch", func(in *Input) { in.Inverter.PerBranch, in.Inverter.BranchBreakerAmps = 0, 0 }, 10, "unknown"},
		{"the maker's limit alone", func(in *Input) { in.Inverter.PerBranch = 4 }, 10, "0 [4 3 3] 20 A 2 poles 10 2.5 3.8"},
	} {
		in := baseInput()
		if c.change != nil {
			c.change(&in)
		}
		w := Wire(in, Plan{Modules: c.modules})
		got := "unknown"
		if w.Known {
			got = fmt.Sprintf("%d %v %g A %d poles %d %.4g %.4g", w.OnOld, w.Branches, w.BreakerAmps, w.Poles, w.DeviceBefore, w.BeforeACKW, w.AddedACKW)
		} else if w.Branches != nil || w.OnOld != 0 {
			got = "unknown, and yet wired"
		}
		if got != c.want {
			t.Errorf("%s, %d modules: %s, want %s", c.what, c.modules, got, c.want)
		}
	}
}

// Poles are the profile's where its phases are the service's, else by the phases.
func TestPolesOfABranch(t *testing.T) {
	for _, c := range []struct {
		phases, profilePhases, spaces, inverter int
		want                                    int
	}{
		{2, 2, 0, 0, 2}, {2, 2, 3, 0, 3}, {1, 2, 3, 0, 1}, {2, 1, 3, 0, 2}, {0, 2, 3, 0, 3}, {1, 1, 0, 0, 1}, {3, 3, 1, 3, 3}, {3, 3, 1, 1, 1},
	} {
		e := &electric{in: &Input{Inverter: ingest.Inverter{Phases: c.inverter}}}
		e.phases, e.profile = c.phases, &ingest.ServiceProfile{Phases: c.profilePhases, SpacesPerBranch: c.spaces}
		if got := e.spacesPerBranch(); got != c.want || e.poles() != c.want {
			t.Errorf("%+v: %d, %d", c, got, e.poles())
		}
	}
	for _, c := range []struct{ phases, inverter, want int }{{0, 0, 0}, {2, 0, 2}, {1, 0, 1}, {0, 3, 3}} {
		e := &electric{in: &Input{Inverter: ingest.Inverter{Phases: c.inverter}}}
		e.phases = c.phases
		if got := e.poles(); got != c.want {
			t.Errorf("no profile, %+v: %d", c, got)
		}
	}
}

// NEC 240.4(B): the next standard size at or above.
func TestNextBreaker(t *testing.T) {
	for amps, want := range map[float64]float64{0: 15, 15: 15, 15.01: 20, 20: 20, 51: 60, 6000: 6000} {
		if got := nextBreaker(standardBreakers, amps); got != want {
			t.Errorf("%g A: %g", amps, got)
		}
	}
	if got := nextBreaker([]float64{32, 16, 20}, 17); got != 20 {
		t.Errorf("sizes in any order: %g", got)
	}
	if !math.IsNaN(nextBreaker(standardBreakers, 6001)) {
		t.Error("a breaker above the largest")
	}
}

// The best mix of sizes within some amps: 15 A carry 7 and 20 A carry 10; 35 A
// are one of each, 40 A two of 20, 34 A two of 15. No branch breaker above 20 A.
func TestBestMixOfBreakers(t *testing.T) {
	f := gather(baseInput())
	for amps, want := range map[float64]int{-5: 0, 0: 0, 14.9: 0, 15: 7, 19.9: 7, 20: 10, 30: 14, 34: 14, 35: 17, 40: 20, 60: 30} {
		if got := f.byBreakers(amps); got != want {
			t.Errorf("%g A: %d modules, want %d", amps, got, want)
		}
	}
	in := baseInput()
	in.Inverter.BranchBreakerAmps, in.Inverter.PerBranch = 0, 0
	in.Catalogue.Profiles[len(in.Catalogue.Profiles)-4].BreakerSizesAmps = nil
	f = gather(in)
	if got := f.byBreakers(25); got != 12 { // 25/1.25/1.583 = 12.6
		t.Errorf("any size: %d", got)
	}
	p := *f.profile
	p.BreakerSizesAmps = []float64{12.5, 16} // halves of amps cannot be summed in whole ones
	f.profile = &p
	if got := f.byBreakers(25); got != 8 { // 16/1.25/1.583 = 8.1
		t.Errorf("the profile's sizes: %d", got)
	}
	if got := f.oldACW; got != 2500 {
		t.Fatal(got)
	}
}

// 70 A are left of 120 % of 225 A beside 200 A. Counted by breakers, 20 A of PV
// leave 50: two of 20 A carry 20 (10 A over). Other supplies take away.
func TestStrictBreakers(t *testing.T) {
	for _, c := range []struct {
		pv, other float64
		want      int
	}{{20, 0, 24}, {20, 10, 20}, {20, 20, 14}, {0, 0, 34}, {70, 0, 0}, {80, 0, 0}} {
		in := baseInput()
		in.Site.Service.Profile = "strict"
		in.Site.Service.PVBreakerAmps, in.Site.Service.OtherSupplyAmps = c.pv, c.other
		if got := Assess(in).Service; !got.Modules.Known || got.Modules.V != c.want {
			t.Errorf("PV %g A, other %g A: %+v, want %d", c.pv, c.other, got, c.want)
		}
	}
}

func TestSpareOnOldBranches(t *testing.T) {
	yes, no := true, false
	for _, c := range []struct {
		what   string
		change func(*Input)
		want   int
	}{
		{"4 A take two of 1.583 A", func(in *Input) {}, 2},
		{"exactly two", func(in *Input) { in.Site.Service.BranchSpareAmps = 2 * 380.0 / 240 }, 2},
		{"less than one", func(in *Input) { in.Site.Service.BranchSpareAmps = 1.5 }, 0},
		{"none", func(in *Input) { in.Site.Service.BranchSpareAmps = 0 }, 0},
		{"not known", func(in *Input) { in.Site.Service.BranchSpareAmps = math.NaN() }, 0},
		{"no service", func(in *Input) { in.Site.Service = nil }, 0},
		{"a rule that allows it", func(in *Input) { in.Catalogue.Mixing[0].SameBranch = &yes }, 2},
		{"a rule that forbids it", func(in *Input) { in.Catalogue.Mixing[0].SameBranch = &no }, 0},
		{"no rule", func(in *Input) { in.Catalogue.Mixing = nil }, 0},
		{"the same generation needs none", func(in *Input) { in.Catalogue.Mixing = nil; in.Inverter = in.Catalogue.Inverters[0] }, 3}, // 4/1.042
		{"no old inverter", func(in *Input) { in.Site.Arrays = nil }, 0},
		{"the old ones are not known", func(in *Input) { in.Site.Arrays[0].InverterModel = "" }, 0},
		{"strings", func(in *Input) { in.Inverter = in.Catalogue.Inverters[2]; in.Site.Service.BranchSpareAmps = 100 }, 0},
		// One old inverter has one branch, on which the maker allows 3.
		{"the maker's limit", func(in *Input) {
			in.Inverter.PerBranch, in.Site.Service.BranchSpareAmps = 3, 100
			in.Site.Arrays[0].Modules, in.Site.Arrays[0].Inverters = 1, ingest.Some(1)
		}, 3},
		{"the maker's limit on two", func(in *Input) {
			in.Inverter.PerBranch, in.Site.Service.BranchSpareAmps = 3, 100
			in.Site.Arrays[0].Modules, in.Site.Arrays[0].Inverters = 2, ingest.Some(2)
		}, 6},
		{"no maker's limit", func(in *Input) { in.Inverter.PerBranch, in.Site.Service.BranchSpareAmps = 0, 100 }, 63}, // 100/1.583 = 63.2
	} {
		in := baseInput()
		in.Site.Service.BranchSpareAmps = 4
		c.change(&in)
		if f := gather(in); f.spare != c.want {
			t.Errorf("%s: %d, want %d", c.what, f.spare, c.want)
		}
	}
}

// 8 free spaces are 4 branch circuits of 2 poles and 10 modules.
func TestBranchLimit(t *testing.T) {
	yes := true
	for _, c := range []struct {
		what   string
		change func(*Input)
		want   string // limit, low to high, reason
		says   string
	}{
		{"eight spaces", func(in *Input) {}, "40 40 50 branch_circuits", "count as full: 40."},
		{"seven spaces", func(in *Input) { in.Site.Service.FreeSpaces = ingest.Some(7) }, "30 30 40 branch_circuits", "7 free breaker spaces make 3 new branch circuits of 10 modules"},
		{"one space", func(in *Input) { in.Site.Service.FreeSpaces = ingest.Some(1) }, "0 0 10 no_breaker_space", "make 0 new"},
		{"the old branches are full", func(in *Input) { in.Site.Service.BranchSpareAmps = 0 }, "40 40 40 branch_circuits", "count as full: 40."},
		{"room in doubt", func(in *Input) { in.Site.Service.BranchSpareAmps = 4 }, "42 40 42 branch_circuits", "take 2 more (4 A of room): 42."},
		{"room without doubt", func(in *Input) { in.Site.Service.BranchSpareAmps = 4; in.Catalogue.Mixing[0].SameBranch = &yes }, "42 42 42 branch_circuits", "42."},
		{"room for others", func(in *Input) { in.Site.Service.BranchSpareAmps = 4; in.Catalogue.Mixing = nil }, "40 40 40 branch_circuits", "not for this generation"},
		{"a module at the inverter's limit", func(in *Input) { in.Module.Watts = 540 }, "40 40 50 branch_circuits", ""},
		{"a module above it", func(in *Input) { in.Module.Watts = 541 }, "0 0 0 module_exceeds_inverter", "takes at most 540 W"},
		{"an inverter without that limit", func(in *Input) { in.Inverter.MaxModuleWatts = 0 }, "40 40 50 branch_circuits", ""},
		{"no limit of a branch", func(in *Input) { in.Inverter.PerBranch, in.Inverter.BranchBreakerAmps = 0, 0 }, fmt.Sprintf("? 0 %d branch_unknown", Many), ""},
		{"spaces not known", func(in *Input) { in.Site.Service.FreeSpaces = ingest.Opt[int]{}; in.Site.Service.BranchSpareAmps = 4 }, fmt.Sprintf("? 2 %d spaces_unknown", Many), "take 2 more"},
		{"no service", func(in *Input) { in.Site.Service = nil }, fmt.Sprintf("? 0 %d spaces_unknown", Many), ""},
	} {
		in := baseInput()
		c.change(&in)
		b := Assess(in).Branch
		n := "?"
		if b.Modules.Known {
			n = fmt.Sprint(b.Modules.V)
		}
		if got := fmt.Sprintf("%s %d %d %s", n, b.Low, b.High, b.Reason); got != c.want || !strings.Contains(b.Says, c.says) {
			t.Errorf("%s: %s, want %s: %s", c.what, got, c.want, b.Says)
		}
		if inDoubt := c.what == "room in doubt"; strings.Contains(b.Ask, "both generations") != inDoubt {
			t.Errorf("%s: asks %q", c.what, b.Ask)
		}
	}
	in := baseInput()
	in.Site.Service.BranchSpareAmps = 4
	if e := Assess(in).Branch.Evidence; len(e) != 1 || !strings.Contains(e[0], "1.58 A continuous") {
		t.Errorf("evidence %q", e)
	}
}

// 1.25 x 2,500 W / 240 V = 13.02 A of breakers; half an amp is forgiven. 200 A
// at 240 V are 38.4 kW with the factor of 1.25 (NEC 220.87).
func TestElectricalCautionsAtTheirLimits(t *testing.T) {
	three := func(kw float64) func(*Input) {
		return func(in *Input) {
			in.Site.Service.Phases, in.Site.Service.Volts, in.PeakLoadKW = ingest.Some(3), 240, kw
		}
	}
	for _, c := range []struct {
		what, code string
		change     func(*Input)
		want       bool
	}{
		{"12.6 A", "pv_breakers_smaller", func(in *Input) { in.Site.Service.PVBreakerAmps = 12.6 }, false},
		{"12.5 A", "pv_breakers_smaller", func(in *Input) { in.Site.Service.PVBreakerAmps = 12.5 }, true},
		{"no breaker", "pv_breakers_smaller", func(in *Input) { in.Site.Service.PVBreakerAmps = 0 }, false},
		{"three phases", "pv_breakers_smaller", func(in *Input) { three(0)(in); in.Site.Service.PVBreakerAmps = 5 }, false},
		{"38.4 kW", "service_full_for_load", func(in *Input) { in.PeakLoadKW = 38.39 }, false},
		{"38.5 kW", "service_full_for_load", func(in *Input) { in.PeakLoadKW = 38.5 }, true},
		{"no main breaker", "service_full_for_load", func(in *Input) { in.PeakLoadKW, in.Site.Service.MainBreakerAmps = 60, 0 }, false},
		{"115 kW on three phases", "service_full_for_load", three(115), false},
		{"116 kW on three phases", "service_full_for_load", three(116), true},
		{"as many devices", "device_count_differs", func(in *Input) {}, false},
		{"one device more", "device_count_differs", func(in *Input) { in.Site.Gateway.ReportingInverters = ingest.Some(11) }, true},
		{"one device less", "device_count_differs", func(in *Input) { in.Site.Gateway.ReportingInverters = ingest.Some(9) }, true},
		{"devices not known", "device_count_differs", func(in *Input) { in.Site.Gateway.ReportingInverters = ingest.Opt[int]{} }, false},
	} {
		in := baseInput()
		c.change(&in)
		got := slices.ContainsFunc(Assess(in).Cautions, func(x Caution) bool { return x.Code == c.code })
		if got != c.want {
			t.Errorf("%s: %s %v: %v", c.what, c.code, got, Assess(in).Cautions)
		}
	}
	in := baseInput()
	in.PeakLoadKW = 40
	for _, x := range Assess(in).Cautions {
		if x.Code == "service_full_for_load" && !strings.Contains(x.Says, "40 kW is 166.7 A; times 1.25") {
			t.Errorf("says %q", x.Says)
		}
	}
}

// Of two limits that must both hold the smaller stands; of two ways the larger.
// What is not known decides unless it cannot.
func TestTighterAndLooser(t *testing.T) {
	known := func(n int) Ceiling {
		return Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: fmt.Sprint("k", n)}
	}
	open := func(low, high int) Ceiling { return unknown("u", "not known", "ask", low, high) }
	show := func(c Ceiling) string {
		switch {
		case c.Unlimited:
			return "none"
		case c.Modules.Known:
			return fmt.Sprintf("%d of %s, %d to %d", c.Modules.V, c.Reason, c.Low, c.High)
		}
		return fmt.Sprintf("%s ask %s, %d to %d", c.Reason, c.Ask, c.Low, c.High)
	}
	for _, c := range []struct {
		a, b            Ceiling
		tighter, looser string
	}{
		{known(3), known(5), "3 of k3, 3 to 3", "5 of k5, 5 to 5"},
		{known(5), known(3), "3 of k3, 3 to 3", "5 of k5, 5 to 5"},
		{known(5), noLimit(), "5 of k5, 5 to 5", ""},
		{noLimit(), known(5), "5 of k5, 5 to 5", "none"},
		{known(5), open(5, 9), "5 of k5, 5 to 5", "5 of k5, 5 to 9"},
		{known(5), open(4, 9), "u ask ask, 4 to 5", "5 of k5, 5 to 9"},
		{open(5, 9), known(5), "5 of k5, 5 to 5", "5 of k5, 5 to 9"},
		{open(4, 9), known(5), "u ask ask, 4 to 5", "5 of k5, 5 to 9"},
		{known(9), open(4, 9), "u ask ask, 4 to 9", "9 of k9, 9 to 9"},
		{open(2, 4), open(3, 6), "u ask ask, 2 to 4", "u ask ask, 3 to 6"},
	} {
		if got := show(tighter(c.a, c.b)); got != c.tighter {
			t.Errorf("tighter(%s; %s) = %s, want %s", show(c.a), show(c.b), got, c.tighter)
		}
		if got := show(looser(c.a, c.b)); c.looser != "" && got != c.looser {
			t.Errorf("looser(%s; %s) = %s, want %s", show(c.a), show(c.b), got, c.looser)
		}
	}
	first := known(4)
	first.Says = "the first"
	if got := tighter(first, known(4)); got.Says != "the first" {
		t.Errorf("of equals the first: %+v", got)
	}
	if got := looser(first, known(4)); got.Says != "the first" {
		t.Errorf("of equals the first: %+v", got)
	}
	for _, c := range [][3]string{{"a", "", "a"}, {"", "b", "b"}, {"a", "a", "a"}, {"a", "b", "a; b"}} {
		if got := join(c[0], "; ", c[1]); got != c[2] {
			t.Errorf("join(%q, %q) = %q", c[0], c[1], got)
		}
	}
	if orUnknown("") != "not known" || orUnknown("end") != "end" {
		t.Error("a feed's word")
	}
}

// Modules on an inverter: one, or for strings the DC that it takes.
func TestModulesOnAnInverter(t *testing.T) {
	for _, c := range []struct {
		kind          string
		watts, dc, ac float64
		want          int
	}{
		{"micro", 430, 9000, 5000, 1}, {"string", 430, 0, 5000, 13}, {"string", 400, 0, 5000, 15}, {"string", 430, 4300, 5000, 10}, {"string", 430, 4299, 5000, 9},
		{"string", 430, 0, 300, 1}, {"string", 0, 0, 5000, 1},
	} {
		got := perInverter(ingest.Module{Watts: c.watts}, ingest.Inverter{Kind: c.kind, MaxDCWatts: c.dc, ACWatts: c.ac})
		if got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
}
