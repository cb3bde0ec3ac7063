package headroom

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"rowen/ingest"
)

// anySite draws a site of any kind, with holes in its register.
func anySite(t *rapid.T) Input {
	in := baseInput()
	site, svc, gw := in.Site, in.Site.Service, in.Site.Gateway
	maybe := func(label string, x float64) float64 {
		if rapid.IntRange(0, 9).Draw(t, label+" unknown") == 0 {
			return math.NaN()
		}
		return x
	}
	svc.BusbarAmps = maybe("busbar", rapid.SampledFrom([]float64{100, 125, 200, 225, 400}).Draw(t, "busbar"))
	svc.MainBreakerAmps = maybe("main", rapid.SampledFrom([]float64{60, 100, 125, 150, 175, 200}).Draw(t, "main"))
	svc.OtherSupplyAmps = maybe("other", rapid.SampledFrom([]float64{0, 0, 20, 30}).Draw(t, "other"))
	svc.PVBreakerAmps = maybe("pv breakers", rapid.SampledFrom([]float64{20, 40, 60}).Draw(t, "pv breakers"))
	svc.BranchSpareAmps = maybe("spare", rapid.Float64Range(0, 12).Draw(t, "spare"))
	svc.LoadBreakersAmps = maybe("loads", rapid.Float64Range(40, 250).Draw(t, "loads"))
	svc.Feed = rapid.SampledFrom([]string{"end", "center", ""}).Draw(t, "feed")
	svc.Profile = rapid.SampledFrom([]string{"plain", "refusing", "strict", "split-phase-200", "single-phase-gb", "single-phase-au", "three-phase-de"}).Draw(t, "profile")
	if p := in.Catalogue.Profile(svc.Profile); p.Volts == 230 {
		svc.Phases, svc.Volts = ingest.Some(rapid.SampledFrom([]int{1, 3}).Draw(t, "phases")), 230
	}
	if rapid.IntRange(0, 3).Draw(t, "upstream") == 0 {
		svc.UpstreamBusbarAmps, svc.UpstreamMainBreakerAmps, svc.UpstreamFeed = 200, maybe("upstream main", 175), "end"
	}
	svc.FreeSpaces = ingest.Some(rapid.IntRange(0, 12).Draw(t, "spaces"))
	if rapid.IntRange(0, 9).Draw(t, "spaces unknown") == 0 {
		svc.FreeSpaces = ingest.Opt[int]{}
	}
	site.PermissionLimitKW = maybe("permission", rapid.Float64Range(1, 20).Draw(t, "permission"))
	n := rapid.IntRange(0, 40).Draw(t, "old")
	site.Arrays[0].Modules, site.Arrays[0].Inverters = n, ingest.Some(n)
	site.Arrays[0].InverterModel = rapid.SampledFrom([]string{"KV1-250", "KV2-380", "OD-50", ""}).Draw(t, "old inverter")
	site.Arrays[0].PlaneID = rapid.SampledFrom([]string{"P0", "P1"}).Draw(t, "old plane")
	if n == 0 {
		site.Arrays = nil
	}
	gw.Model = rapid.SampledFrom([]string{"HG-2", "HG-1", ""}).Draw(t, "gateway")
	gw.SoftwareVersion = rapid.SampledFrom([]string{"5.2.1180", "5.2.9", "5.10.1", "3.9.8", ""}).Draw(t, "software")
	gw.ReportingInverters = ingest.Some(n)
	gw.StorageKWh = maybe("storage", rapid.SampledFrom([]float64{0, 0, 0, 10}).Draw(t, "storage"))
	gw.BackupController = rapid.SampledFrom([]ingest.Opt[bool]{ingest.Some(false), ingest.Some(false), ingest.Some(true), {}}).Draw(t, "backup")
	site.GridType = rapid.SampledFrom([]string{"grid_tied", "grid_tied", "backup", "off_grid", ""}).Draw(t, "grid")
	site.Planes[1].WidthM = maybe("width", rapid.Float64Range(1, 14).Draw(t, "width"))
	site.Planes[1].SlopeM = rapid.Float64Range(1, 7).Draw(t, "slope")
	in.Options.CostOf[SoftwareUpdate] = rapid.SampledFrom([]float64{0, 50}).Draw(t, "cost of software")
	in.Options.CostOf[NewPermission] = rapid.SampledFrom([]float64{0, 450}).Draw(t, "cost of permission")
	if rapid.Bool().Draw(t, "supply side priced") {
		in.Options.CostOf[SupplySideConnection] = 1900
	}
	in.UseKWhYr, in.ProductionKWhYr, in.YieldKWhPerKW = maybe("use", 9000), 4000, 1500
	return in
}

func all(r Result) [5]Limit { return r.Limits() }

// Whatever the register holds or lacks: a number lies within its bounds, what
// is not known is neither a number nor a pass and says what to ask, and the
// smallest limit binds.
func TestEveryResultHoldsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anySite(t)
		r := Assess(in)
		smallest, unknownBelow := Many, false
		for _, c := range all(r) {
			switch {
			case c.Unlimited:
				if c.Modules.Known || c.Low != Many || c.High != Many {
					t.Fatalf("%s: no limit, and yet %+v", c.Name, c.Ceiling)
				}
			case c.Modules.Known:
				smallest = min(smallest, c.Modules.V)
				if c.Modules.V < 0 || c.Low > c.Modules.V || c.High < c.Modules.V || c.Low < 0 {
					t.Fatalf("%s: %+v", c.Name, c.Ceiling)
				}
			default:
				if c.Ask == "" || c.Modules.V != 0 || c.Low > c.High {
					t.Fatalf("%s: not known, and yet %+v", c.Name, c.Ceiling)
				}
				if !slices.Contains(r.Ask, c.Ask) {
					t.Fatalf("%s: %q is not among what to ask: %q", c.Name, c.Ask, r.Ask)
				}
			}
			if c.Says == "" || c.Reason == "" {
				t.Fatalf("%s: no reason: %+v", c.Name, c.Ceiling)
			}
		}
		for _, c := range all(r) {
			unknownBelow = unknownBelow || !c.Modules.Known && !c.Unlimited && c.Low < smallest
		}
		if r.Possible.Known == unknownBelow || r.Possible.Known && r.Possible.V != smallest {
			t.Fatalf("possible %+v with the smallest known ceiling %d, unknown below it: %v", r.Possible, smallest, unknownBelow)
		}
		if r.PossibleLow > r.PossibleHigh {
			t.Fatalf("possible from %d to %d", r.PossibleLow, r.PossibleHigh)
		}
		rooms := 0
		for _, p := range r.Planes {
			rooms += p.Modules
		}
		if r.Roof.Modules.Known && r.Roof.Modules.V > rooms {
			t.Fatalf("the roof holds %d and its planes %d", r.Roof.Modules.V, rooms)
		}
		if again := Assess(in); !cmp.Equal(r, again, cmpopts.EquateNaNs()) {
			t.Fatalf("the same site, another answer:\n%s", cmp.Diff(r, again, cmpopts.EquateNaNs()))
		}
	})
}

// better says whether a change for the better lowered a limit.
func better(t *rapid.T, before, after Ceiling, what string) {
	t.Helper()
	switch {
	case after.Unlimited:
	case before.Unlimited:
		t.Fatalf("%s: a limit appeared: %+v", what, after)
	case before.Modules.Known && after.Modules.Known && after.Modules.V < before.Modules.V:
		t.Fatalf("%s lowered a ceiling from %d to %d\n%+v\n%+v", what, before.Modules.V, after.Modules.V, before, after)
	case before.Modules.Known && !after.Modules.Known && after.Low < before.Modules.V: // a 0 may give way to what nobody knows
		t.Fatalf("%s made a ceiling unknown: %+v, %+v", what, before, after)
	case after.Low < before.Low:
		t.Fatalf("%s lowered a lower bound from %d to %d", what, before.Low, after.Low)
	}
}

func TestMoreNeverLowersACeiling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anySite(t)
		if rapid.Bool().Draw(t, "all jobs paid") {
			in.Options.CostOf[SoftwareUpdate], in.Options.CostOf[NewPermission] = 50, 450
		}
		free := in.Options.CostOf[SoftwareUpdate] == 0 || in.Options.CostOf[NewPermission] == 0
		before := Assess(in)
		site := *in.Site
		svc, gw := *site.Service, *site.Gateway
		site.Service, site.Gateway, site.Planes = &svc, &gw, slices.Clone(site.Planes)
		changed := in
		changed.Site = &site
		what := rapid.SampledFrom([]string{"busbar", "smaller main", "spaces", "software", "roof width", "roof slope", "permission", "spare", "larger gateway", "fewer old"}).Draw(t, "what")
		switch what {
		case "busbar":
			svc.BusbarAmps *= rapid.Float64Range(1, 2).Draw(t, "more")
		case "smaller main":
			if in.Catalogue.Profile(svc.Profile).SupplySide {
				delete(changed.Options.CostOf, SupplySideConnection) // its rating is the main breaker's
				before = Assess(changed)
			}
			svc.MainBreakerAmps *= rapid.Float64Range(0.5, 1).Draw(t, "less")
		case "spaces":
			svc.FreeSpaces.V += rapid.IntRange(0, 6).Draw(t, "more")
		case "software":
			newer := map[string]string{"5.2.9": "5.2.1180", "5.2.1180": "5.10.0", "3.9.8": "3.10.0", "5.10.1": "10.0"}
			if v, ok := newer[gw.SoftwareVersion]; ok {
				gw.SoftwareVersion = v
			}
		case "roof width":
			site.Planes[1].WidthM *= rapid.Float64Range(1, 2).Draw(t, "more")
		case "roof slope":
			site.Planes[1].SlopeM *= rapid.Float64Range(1, 2).Draw(t, "more")
		case "permission":
			site.PermissionLimitKW += rapid.Float64Range(0, 10).Draw(t, "more")
		case "spare":
			svc.BranchSpareAmps += rapid.Float64Range(0, 10).Draw(t, "more")
		case "larger gateway":
			cat := *in.Catalogue
			cat.Gateways = slices.Clone(cat.Gateways)
			for i := range cat.Gateways {
				cat.Gateways[i].MaxInverters += 20
			}
			changed.Catalogue = &cat
		case "fewer old":
			if len(site.Arrays) == 0 || site.Arrays[0].Modules < 2 {
				return
			}
			site.Arrays = slices.Clone(site.Arrays)
			site.Arrays[0].Modules--
			site.Arrays[0].Inverters.V--
			gw.ReportingInverters.V--
		}
		after := Assess(changed)
		x, y := all(before), all(after)
		for i := range x {
			if free && (x[i].Name == Permission || x[i].Name == Gateway || x[i].Name == Service) {
				continue // a free job counts as done only while it is needed
			}
			better(t, x[i].Ceiling, y[i].Ceiling, what+": "+x[i].Name)
		}
		better(t, Ceiling{Modules: before.Possible, Low: before.PossibleLow, High: before.PossibleHigh},
			Ceiling{Modules: after.Possible, Low: after.PossibleLow, High: after.PossibleHigh}, what+": what is possible")
	})
}

// An enabling job never makes things worse, more jobs never less, and no set
// holds a job that it could do without.
func TestJobsNeverMakeThingsWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anySite(t)
		f := gather(in)
		roof, _, _ := assessRoof(in)
		p := newPlan(&f, roof)
		for set := uint(0); set < 1<<len(p.offers); set++ {
			for i := range p.offers {
				a, b := p.ceilings(set).limits(), p.ceilings(set|1<<i).limits()
				for k := range a {
					better(t, a[k].Ceiling, b[k].Ceiling, fmt.Sprintf("%s after %v: %s", p.offers[i].name, p.names(set), a[k].Name))
				}
			}
		}
		r := Assess(in)
		base := r.PossibleLow
		if r.Possible.Known {
			base = r.Possible.V
		}
		cost := 0.0
		for _, s := range r.JobSets {
			if s.Modules <= base || s.Cost <= cost {
				t.Fatalf("set %+v after %d modules for %v", s, base, cost)
			}
			base, cost = s.Modules, s.Cost
		}
		for _, j := range r.Jobs {
			if j.Gains < 0 || j.Lifts == "" && j.Gains > 0 {
				t.Fatalf("job %+v", j)
			}
		}
	})
}

// A jobs' subset search by plain brute force: every set's modules and cost from
// a site whose register was changed by hand instead of by the offers.
func TestJobSetsAgainstAChangedRegister(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anySite(t)
		if in.Site.Service.Profile != "plain" || math.IsNaN(in.Site.Service.BusbarAmps) {
			return
		}
		delete(in.Options.CostOf, SupplySideConnection)
		in.Options.CostOf[NewPermission] = 450
		r := Assess(in)
		for _, s := range r.JobSets {
			site := *in.Site
			svc, gw := *site.Service, *site.Gateway
			site.Service, site.Gateway = &svc, &gw
			cost := 0.0
			for _, j := range s.Jobs {
				cost += in.Options.CostOf[j]
				switch j {
				case PanelboardUpgrade:
					for _, size := range []float64{125, 225, 400, 600} {
						if size > svc.BusbarAmps && size >= svc.MainBreakerAmps {
							svc.BusbarAmps = size
							break
						}
					}
					svc.Feed, svc.FreeSpaces = "end", ingest.Some(max(8, svc.FreeSpaces.V))
				case Subpanel: // six spaces where the profile names none (our choice)
					svc.FreeSpaces = ingest.Some(max(6, svc.FreeSpaces.Or(0)))
				case NewPermission:
					site.PermissionLimitKW = 1000
				case GatewaySwap:
					gw.Model, gw.SoftwareVersion = "HG-2", "5.2.1180"
				case SoftwareUpdate:
					gw.SoftwareVersion = in.Catalogue.Gateway(gw.Model).LatestSoftware
				}
			}
			done := in
			done.Site = &site
			got := Assess(done)
			switch {
			case cost != s.Cost, got.Possible.Known == s.Open:
				t.Fatalf("set %+v: the changed register gives %+v for %v", s, got.Possible, cost)
			case s.Open && got.PossibleHigh != s.Modules, !s.Open && got.Possible.V != s.Modules:
				t.Fatalf("set %+v: the changed register gives %+v, at most %d", s, got.Possible, got.PossibleHigh)
			}
		}
	})
}

// Feet and inches that a mapping turned into metres give the same answer.
func TestFeetAndInchesGiveTheSameAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		feet, inches := rapid.IntRange(4, 45).Draw(t, "feet"), rapid.IntRange(0, 11).Draw(t, "inches")
		slope := rapid.IntRange(48, 300).Draw(t, "slope, inches")
		byInches, byFeet := baseInput(), baseInput()
		byInches.Site.Planes[1].WidthM = float64(12*feet+inches) * 0.0254
		byInches.Site.Planes[1].SlopeM = float64(slope) * 0.0254
		byFeet.Site.Planes[1].WidthM = (float64(feet) + float64(inches)/12) * 0.3048
		byFeet.Site.Planes[1].SlopeM = float64(slope) / 12 * 0.3048
		a, b := Assess(byInches), Assess(byFeet)
		if a.Roof.Modules != b.Roof.Modules || a.Possible != b.Possible {
			t.Fatalf("%+v by inches, %+v by feet", a.Roof, b.Roof)
		}
		// And an exact fit in inches is a fit: 3 modules of 44 inches side by side with gaps of 1 inch.
		s := rectangle(0, 0, (3*44.0+2)*0.0254, 70*0.0254)
		if n, _ := pack(s, 44*0.0254, 70*0.0254, 0.0254); n != 3 {
			t.Fatalf("%d modules in an exact fit of 3", n)
		}
	})
}

func TestVersionsCompareByParts(t *testing.T) {
	// Oldest to newest; the order is of numbers, as the contract says.
	order := []string{"3.9.8", "3.9.40", "3.10.2", "5.2", "5.2.9", "5.2.1180-rc1", "5.2.1180", "5.10.0", "8.9.40", "8.10.2", "10.0", "99999999999999999999.1"}
	for i, a := range order {
		for j, b := range order {
			want := 0
			if i < j {
				want = -1
			} else if i > j {
				want = 1
			}
			if got, ok := compareVersions(a, b); !ok || got != want {
				t.Errorf("compare %s with %s: %d, %v; want %d", a, b, got, ok, want)
			}
		}
	}
	for _, same := range [][2]string{{"5.2", "5.2.0"}, {"v5.2.1", "5.2.1"}, {"5.02.1", "5.2.1"}, {" 5.2 ", "5.2.0.0"}} {
		if got, ok := compareVersions(same[0], same[1]); !ok || got != 0 {
			t.Errorf("%q and %q differ: %d, %v", same[0], same[1], got, ok)
		}
	}
	for _, bad := range []string{"", "unknown", "-", "v"} {
		if _, ok := compareVersions(bad, "1.0"); ok {
			t.Errorf("%q passed for a version", bad)
		}
	}
}

func TestSilentAfterAMonth(t *testing.T) {
	asOf := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		seen string
		want bool
	}{{"2026-10-31", false}, {"2026-10-01", false}, {"2026-09-30", true}, {"2026-11-20", false}} {
		if got := silent(&ingest.Gateway{LastSeenOn: date(c.seen)}, asOf); got != c.want {
			t.Errorf("seen on %s: silent %v", c.seen, got)
		}
	}
	if silent(nil, asOf) || silent(&ingest.Gateway{}, asOf) {
		t.Error("a gateway of which nobody knows when it was seen is not known to be silent")
	}
}

// A larger plane never holds fewer, old modules on it or not, and fewer old
// modules never leave less.
func TestALargerPlaneNeverHoldsFewer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, s := rapid.Float64Range(2, 14).Draw(t, "width"), rapid.Float64Range(2, 8).Draw(t, "slope")
		old := oldGroup{rapid.IntRange(0, 30).Draw(t, "old"), rapid.Float64Range(1.5, 1.8).Draw(t, "long"), rapid.Float64Range(0.9, 1.15).Draw(t, "short")}
		o := DefaultOptions()
		room := func(w, s float64, old oldGroup) room {
			r, ok := roomOn(plane("P", w, s, 30, 180), setbacks{o.RidgeSetbackM, o.EaveSetbackM, o.SideSetbackM}, []oldGroup{old}, 1.762, 1.134, o)
			if !ok || r.low > r.n || r.high < r.n {
				t.Fatalf("%+v, %v", r, ok)
			}
			return r
		}
		before := room(w, s, old)
		if after := room(w*rapid.Float64Range(1, 1.6).Draw(t, "wider"), s, old); after.n < before.n {
			t.Fatalf("wider: %+v, then %+v", before, after)
		}
		if after := room(w, s*rapid.Float64Range(1, 1.6).Draw(t, "longer"), old); after.n < before.n {
			t.Fatalf("longer: %+v, then %+v", before, after)
		}
		if old.modules > 0 {
			fewer := old
			fewer.modules--
			if after := room(w, s, fewer); after.n < before.n {
				t.Fatalf("fewer old: %+v, then %+v", before, after)
			}
		}
	})
}
