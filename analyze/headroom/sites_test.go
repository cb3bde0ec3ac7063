package headroom

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/ingest/register/profiles"
	"rowen/scripts/outside"
)

// handSite is one block of testdata/headroom/sites.txt.
type handSite struct {
	name, clause, work string
	given, expect      []string
	line               int
}

func handSites(t testing.TB) []handSite {
	t.Helper()
	f, err := os.Open(filepath.Join(outside.Root(), "testdata", "headroom", "sites.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out []handSite
	sc := bufio.NewScanner(f)
	for line := 1; sc.Scan(); line++ {
		text := sc.Text()
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		if name, ok := strings.CutPrefix(text, "site "); ok {
			out = append(out, handSite{name: name, line: line})
			continue
		}
		key, rest, ok := strings.Cut(text, ":")
		s := &out[len(out)-1]
		switch {
		case ok && key == "clause":
			s.clause = rest
		case ok && key == "work":
			s.work = rest
		case ok && key == "given":
			s.given = strings.Fields(rest)
		case ok && key == "expect":
			s.expect = strings.Fields(rest)
		default:
			t.Fatalf("sites.txt:%d: %q is no line of a site", line, text)
		}
	}
	return out
}

func TestSitesWorkedByHand(t *testing.T) {
	sites := handSites(t)
	if len(sites) < 40 {
		t.Fatalf("%d sites worked by hand, want at least 40", len(sites))
	}
	for _, s := range sites {
		if strings.TrimSpace(s.clause) == "" || strings.TrimSpace(s.work) == "" || len(s.expect) == 0 {
			t.Errorf("sites.txt:%d: %s lacks its clause, its arithmetic or what to expect", s.line, s.name)
		}
		t.Run(s.name, func(t *testing.T) {
			r := Assess(s.input(t))
			for _, e := range s.expect {
				key, want, ok := strings.Cut(e, "=")
				if !ok {
					t.Fatalf("sites.txt:%d: %q is no expectation", s.line, e)
				}
				if got := shown(t, r, key, want); got != want {
					t.Errorf("%s = %s, want %s", key, got, want)
				}
			}
			if t.Failed() {
				for _, c := range (ceilings{r.Roof, r.Service, r.Branch, r.Gateway, r.Permission}).limits() {
					t.Logf("%s: %+v", c.Name, c.Ceiling)
				}
				t.Logf("sets %v jobs %v free %v ask %q", r.JobSets, r.Jobs, r.FreeJobs, r.Ask)
			}
		})
	}
}

// shown prints one thing of a result as sites.txt writes it.
func shown(t *testing.T, r Result, key, want string) string {
	t.Helper()
	ceilings := map[string]Ceiling{"roof": r.Roof, "service": r.Service, "branch": r.Branch, "gateway": r.Gateway, "permission": r.Permission,
		"possible": {Modules: r.Possible, Low: r.PossibleLow, High: r.PossibleHigh}}
	name, field, _ := strings.Cut(key, ".")
	if c, ok := ceilings[name]; ok {
		switch field {
		case "":
			switch {
			case c.Unlimited:
				return "-"
			case !c.Modules.Known:
				return "?"
			}
			return strconv.Itoa(c.Modules.V)
		case "low":
			return strconv.Itoa(c.Low)
		case "high":
			return strconv.Itoa(c.High)
		case "reason":
			return c.Reason
		}
	}
	has := func(code string) bool {
		return slices.ContainsFunc(r.Cautions, func(c Caution) bool { return c.Code == code })
	}
	switch key {
	case "binds":
		return r.Binding
	case "free":
		return strings.Join(r.FreeJobs, "+")
	case "caution", "nocaution":
		if has(want) == (key == "caution") {
			return want
		}
		return fmt.Sprint(r.Cautions)
	case "asks":
		if strings.Contains(strings.Join(r.Ask, " "), want) {
			return want
		}
		return fmt.Sprintf("%q", r.Ask)
	case "sets":
		var out []string
		for _, s := range r.JobSets {
			out = append(out, fmt.Sprintf("%s:%g:%d", strings.Join(s.Jobs, "+"), s.Cost, s.Modules))
		}
		return strings.Join(out, ",")
	}
	t.Fatalf("sites.txt: %q is nothing to expect", key)
	return ""
}

// baseInput is the base that sites.txt describes.
func baseInput() Input {
	nan := math.NaN()
	cat := &ingest.Catalogue{
		Modules: []ingest.Module{{Model: "TN-430", Watts: 430, WidthM: 1.134, HeightM: 1.762}, {Model: "OLD-300", Watts: 300, WidthM: 0.992, HeightM: 1.640}},
		Inverters: []ingest.Inverter{
			{Model: "KV1-250", Family: "KV", Generation: 1, Kind: "micro", ACWatts: 250, MaxModuleWatts: 350, PerBranch: 16, BranchBreakerAmps: 20},
			{Model: "KV2-380", Family: "KV", Generation: 2, Kind: "micro", ACWatts: 380, MaxModuleWatts: 540, PerBranch: 10, BranchBreakerAmps: 20},
			{Model: "OD-50", Family: "OD", Generation: 1, Kind: "string", ACWatts: 5000, BranchBreakerAmps: 30},
		},
		Gateways: []ingest.GatewayModel{{Model: "HG-2", MaxInverters: 120, LatestSoftware: "5.2.1180"}, {Model: "HG-1", MaxInverters: 50, LatestSoftware: "3.9.40"}},
		Mixing: []ingest.MixingRule{{Family: "KV", Generations: []int{1, 2}, Gateways: []string{"HG-2"}, MinSoftware: "5.2.1180",
			GridTypes: []string{"grid_tied"}, BlockedBy: []string{"backup_controller", "storage"}}},
	}
	plain := ingest.ServiceProfile{ID: "plain", Volts: 240, Phases: 2, BusbarPct: 120, ContinuousFactor: 1.25, Source: "made for this table", Edition: "1"}
	with := func(id string, change func(*ingest.ServiceProfile)) ingest.ServiceProfile {
		p := plain
		p.ID = id
		change(&p)
		return p
	}
	cat.Profiles = append(profiles.Shipped(), plain,
		with("refusing", func(p *ingest.ServiceProfile) { p.CenterFed = "refuse" }),
		with("strict", func(p *ingest.ServiceProfile) { p.StrictBreaker = true }),
		with("single", func(p *ingest.ServiceProfile) { p.Volts, p.Phases = 230, 1 }),
		with("capped", func(p *ingest.ServiceProfile) { p.ProgramCapPctOfUse = 100 }))
	return Input{
		Site: &ingest.Site{ID: "s", GridType: "grid_tied", PermissionLimitKW: 12,
			Arrays: []ingest.Array{{ID: "a", Modules: 10, ModuleWatts: 300, ModuleModel: "OLD-300", TiltDeg: 30, AzimuthDeg: 90, PlaneID: "P0",
				InverterModel: "KV1-250", Inverters: ingest.Some(10)}},
			Planes: []ingest.Plane{plane("P0", 5.70, 3.80, 30, 90), plane("P1", 10.60, 4.50, 30, 180)},
			Service: &ingest.Service{Phases: ingest.Some(2), Volts: 240, BusbarAmps: 225, MainBreakerAmps: 200, PVBreakerAmps: nan, OtherSupplyAmps: 0,
				FreeSpaces: ingest.Some(8), BranchSpareAmps: nan, Feed: "end", Profile: "plain",
				UpstreamBusbarAmps: nan, UpstreamMainBreakerAmps: nan, LoadBreakersAmps: nan},
			Gateway: &ingest.Gateway{Model: "HG-2", SoftwareVersion: "5.2.1180", ReportingInverters: ingest.Some(10),
				LastSeenOn: date("2026-10-31"), BackupController: ingest.Some(false), StorageKWh: 0},
		},
		Catalogue: cat, Module: cat.Modules[0], Inverter: cat.Inverters[1], AsOf: date("2026-11-01"),
		ExistingWatts: nan, UseKWhYr: nan, PastUseKWhYr: nan, ProductionKWhYr: nan, YieldKWhPerKW: nan, PeakLoadKW: nan,
		Options: DefaultOptions(),
	}
}

func plane(id string, w, s, tilt, azimuth float64) ingest.Plane {
	return ingest.Plane{ID: id, WidthM: w, SlopeM: s, TiltDeg: tilt, AzimuthDeg: azimuth, ShadingPct: 0, BlockedM2: 0, RoofKind: "shingle", RoofYear: ingest.Some(2020)}
}

func date(s string) time.Time {
	d, err := time.Parse("2006-01-02", s)
	if err != nil {
		panic(err)
	}
	return d
}

// input is the base with what the site changes.
func (s handSite) input(t testing.TB) Input {
	in := baseInput()
	site, svc, gw, array := in.Site, in.Site.Service, in.Site.Gateway, &in.Site.Arrays[0]
	oldInvertersGiven, reportingGiven := false, false
	for _, g := range s.given {
		key, v, _ := strings.Cut(g, "=")
		number := func() float64 {
			if v == "?" {
				return math.NaN()
			}
			x, err := strconv.ParseFloat(v, 64)
			if err != nil {
				t.Fatalf("sites.txt:%d: %s: %v", s.line, g, err)
			}
			return x
		}
		count := func() ingest.Opt[int] {
			if v == "?" {
				return ingest.Opt[int]{}
			}
			return ingest.Some(int(number()))
		}
		text := func() string { return strings.TrimPrefix(v, "?") }
		switch key {
		case "busbar":
			svc.BusbarAmps = number()
		case "main":
			svc.MainBreakerAmps = number()
		case "feed":
			svc.Feed = text()
		case "other":
			svc.OtherSupplyAmps = number()
		case "volts":
			svc.Volts = number()
		case "phases":
			svc.Phases = count()
		case "profile":
			svc.Profile = map[string]string{"nec": "split-phase-200"}[v]
			if svc.Profile == "" {
				svc.Profile = v
			}
		case "spaces":
			svc.FreeSpaces = count()
		case "spare":
			svc.BranchSpareAmps = number()
		case "pvbreakers":
			svc.PVBreakerAmps = number()
		case "loads":
			svc.LoadBreakersAmps = number()
		case "upbus":
			svc.UpstreamBusbarAmps = number()
		case "upmain":
			svc.UpstreamMainBreakerAmps = number()
		case "upfeed":
			svc.UpstreamFeed = text()
		case "noservice":
			site.Service = nil
		case "old":
			array.Modules = int(number())
		case "oldinverter":
			array.InverterModel = text()
		case "oldinverters":
			array.Inverters, oldInvertersGiven = count(), true
		case "oldmodule":
			array.ModuleModel = v
		case "oldplane":
			array.PlaneID = v
		case "oldtilt":
			array.TiltDeg, array.AzimuthDeg = number(), number()
		case "module_watts":
			in.Module.Watts = number()
		case "gateway":
			gw.Model = v
		case "software":
			gw.SoftwareVersion = v
		case "reporting":
			gw.ReportingInverters, reportingGiven = count(), true
		case "backup":
			gw.BackupController = ingest.Some(v == "yes")
		case "storage":
			gw.StorageKWh = number()
		case "seen":
			gw.LastSeenOn = date(v)
		case "nogateway":
			site.Gateway = nil
		case "grid":
			site.GridType = text()
		case "permission":
			site.PermissionLimitKW = number()
		case "plan":
			site.RoofPlanM2 = number()
		case "use":
			in.UseKWhYr = number()
		case "past":
			in.PastUseKWhYr = number()
		case "production":
			in.ProductionKWhYr = number()
		case "yield":
			in.YieldKWhPerKW = number()
		case "peak":
			in.PeakLoadKW = number()
		case "same_branch":
			yes := v == "yes"
			in.Catalogue.Mixing[0].SameBranch = &yes
		case "rulegateways":
			in.Catalogue.Mixing[0].Gateways = nil
		case "cost_software":
			in.Options.CostOf[SoftwareUpdate] = number()
		case "cost_supply":
			in.Options.CostOf[SupplySideConnection] = number()
		case "setbacks":
			in.Options.RidgeSetbackM, in.Options.EaveSetbackM, in.Options.SideSetbackM = number(), number(), number()
			in.Options.WideRidgeSetbackM = number()
		case "roof":
			site.Planes = handRoof(t, v)
		default:
			t.Fatalf("sites.txt:%d: nothing can be given as %q", s.line, g)
		}
	}
	if !oldInvertersGiven {
		array.Inverters = ingest.Some(array.Modules)
	}
	if !reportingGiven {
		gw.ReportingInverters = array.Inverters
	}
	if array.Modules == 0 {
		site.Arrays = nil
	}
	return in
}

// handRoof reads ID:WxS:tilt:azimuth[:blocked[:kind]] planes between
// semicolons; a polygon stands as x,y_x,y_… in place of WxS.
func handRoof(t testing.TB, text string) []ingest.Plane {
	var out []ingest.Plane
	for _, one := range strings.Split(text, ";") {
		f := strings.Split(one, ":")
		num := func(s string) float64 {
			if s == "?" {
				return math.NaN()
			}
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatalf("sites.txt: plane %q: %v", one, err)
			}
			return x
		}
		p := plane(f[0], math.NaN(), math.NaN(), num(f[2]), num(f[3]))
		if w, s, ok := strings.Cut(f[1], "x"); ok {
			p.WidthM, p.SlopeM = num(w), num(s)
		} else {
			for _, c := range strings.Split(f[1], "_") {
				x, y, _ := strings.Cut(c, ",")
				p.PolygonM = append(p.PolygonM, [2]float64{num(x), num(y)})
			}
		}
		if len(f) > 4 {
			p.BlockedM2 = num(f[4])
		}
		if len(f) > 5 {
			p.RoofKind = f[5]
		}
		out = append(out, p)
	}
	return out
}
