package headroom

import (
	"math"
	"strings"
	"testing"

	"rowen/ingest"
)

// gable is two planes of 60 degrees that face each other, 10 m wide: modules of 1 x
// 1.5 m stand on them in two rows of ten where 3 m are free, and lie in two of six
// where 2.45 m are. Half of the slope's area is plan area.
func gable(slopeM float64) Input {
	in := baseInput()
	in.Site.Planes = []ingest.Plane{plane("S", 10, slopeM, 60, 180), plane("N", 10, slopeM, 60, 0)}
	in.Site.Arrays = nil
	in.Module = ingest.Module{Model: "m", Watts: 430, WidthM: 1, HeightM: 1.5}
	in.Options.RidgeSetbackM, in.Options.WideRidgeSetbackM = 0.45, 1.05
	in.Options.EaveSetbackM, in.Options.SideSetbackM, in.Options.ModuleGapM = 0, 0, 0
	return in
}

// 3.5 m of slope: 20 modules a plane beside 0.45 m at the ridge and 12 beside 1.05 m.
// The roof has 35 m2 in plan, a module covers 0.75 m2 of it.
func TestRidgeRuleByHand(t *testing.T) {
	old := func(n int) func(*Input) { // of 1 x 1.5 m, on the north side
		return func(in *Input) {
			in.Catalogue.Modules = append(in.Catalogue.Modules, ingest.Module{Model: "old", WidthM: 1, HeightM: 1.5})
			in.Site.Arrays = []ingest.Array{{ID: "A", Modules: n, ModuleModel: "old", PlaneID: "N", InverterModel: "KV1-250"}}
		}
	}
	for _, c := range []struct {
		what     string
		sharePct float64
		slopeM   float64
		alter    func(*Input)
		n, high  int
		ridgeM   float64
		ask      string
	}{
		{"no rule", 0, 3.5, nil, 40, 40, 0.45, ""},
		{"33 %: 11.55 m2 are 15 modules", 33, 3.5, nil, 24, 40, 1.05, ""},
		{"51.5 %: 18.025 m2 are 24", 51.5, 3.5, nil, 24, 40, 0.45, ""},
		{"80 %: 28 m2 are 37", 80, 3.5, nil, 37, 40, 0.45, ""},
		{"86 %: 30.1 m2 are 40", 86, 3.5, nil, 40, 40, 0.45, ""},
		{"the wide setback costs nothing", 33, 4.05, nil, 40, 40, 0.45, ""},
		{"a larger roof in the register", 33, 3.5, func(in *Input) { in.Site.RoofPlanM2 = 91 }, 40, 40, 0.45, ""},  // 30.03 m2
		{"not so large", 33, 3.5, func(in *Input) { in.Site.RoofPlanM2 = 75 }, 33, 40, 0.45, ""},                   // 24.75 m2
		{"a smaller roof than its planes", 33, 3.5, func(in *Input) { in.Site.RoofPlanM2 = 10 }, 24, 40, 1.05, ""}, // 35 m2 stand
		{"one side only: the rest has 17.5 m2 at least", 33, 3.5, func(in *Input) { in.Site.Planes = in.Site.Planes[:1] }, 15, 20, 0.45, "plan area"},
		{"one side and the whole roof", 33, 3.5, func(in *Input) { in.Site.Planes, in.Site.RoofPlanM2 = in.Site.Planes[:1], 35 }, 15, 20, 0.45, ""},
		{"a north side of 2.9 m closes the roof to 15 %", 33, 3.5, func(in *Input) { in.Site.Planes[1].SlopeM = 2.9 }, 22, 32, 1.05, ""},
		{"one of 2.4 m does not", 33, 3.5, func(in *Input) { in.Site.Planes[1].SlopeM = 2.4 }, 18, 30, 1.05, "plan area"},
		{"on the ground", 33, 3.5, func(in *Input) { in.Site.Planes[0].RoofKind, in.Site.Planes[1].RoofKind = "ground", "ground" }, 40, 40, 0.45, ""},
		{"nearly level", 33, 3.5, func(in *Input) { in.Site.Planes[0].TiltDeg, in.Site.Planes[1].TiltDeg = 9, 9 }, 40, 40, 0.45, ""},
		{"ten old ones: 28 m2 less 7.5 are 27", 80, 3.5, old(10), 27, 30, 0.45, ""},
		{"twelve old ones lie by the wide setback", 33, 3.5, old(12), 12, 28, 1.05, ""},
	} {
		in := gable(c.slopeM)
		in.Options.AreaSharePct = c.sharePct
		if c.alter != nil {
			c.alter(&in)
		}
		r, rooms, cautions := assessRoof(in)
		if !r.Modules.Known || r.Modules.V != c.n || r.High != c.high || !strings.Contains(r.Ask, c.ask) || (r.Ask == "") != (c.ask == "") {
			t.Errorf("%s: %+v, want %d, at most %d", c.what, r, c.n, c.high)
		}
		if want := c.ridgeM; rooms[0].RidgeM != want {
			t.Errorf("%s: the ridge setback is %g m", c.what, rooms[0].RidgeM)
		}
		moved := false
		for _, k := range cautions {
			moved = moved || k.Code == "old_modules_near_ridge"
		}
		if want := c.ridgeM > 1 && len(in.Site.Arrays) > 0; moved != want {
			t.Errorf("%s: the old modules near the ridge are spoken of: %v", c.what, moved)
		}
		// 15 m2 covered, and 22.5, over 0.33.
		if c.ask != "" && !strings.Contains(r.Says, map[int]string{15: "46 m2 in plan or more, 20 fit", 18: "69 m2 in plan or more, 30 fit"}[c.n]) {
			t.Errorf("%s: %s", c.what, r.Says)
		}
		if c.what == "80 %: 28 m2 are 37" && !strings.Contains(r.Says, "80 % of the roof's plan area (28.0 m2 of 35.0 m2, old modules 0.0 m2)") {
			t.Errorf("%s: %s", c.what, r.Says)
		}
	}
}

// Modules are taken on the flattest planes first, on which each covers most: of 5 m2
// left, three of 1 m2 at 60 degrees leave four of half a square meter, on a plane of
// 75.5 degrees; ten there use all. Planes not under the rule count whole.
func TestModulesUnderTheShare(t *testing.T) {
	steep := math.Acos(0.25) * 180 / math.Pi
	planes := []ingest.Plane{plane("steep", 1, 1, steep, 180), plane("level", 1, 1, 0, 180), plane("gable", 1, 1, 60, 180)}
	for _, c := range []struct{ gable, steep, want int }{{3, 10, 3 + 4 + 4}, {10, 10, 5 + 4}, {3, 2, 3 + 2 + 4}, {5, 3, 5 + 4}} {
		r := roof{oldM2: 1, narrow: []room{{n: c.steep}, {n: 4}, {n: c.gable}}}
		if got := r.underShare(planes, 2, 6); got != c.want {
			t.Errorf("%d and %d: %d under the share, want %d", c.gable, c.steep, got, c.want)
		}
	}
	r := roof{oldM2: 2, narrow: []room{{n: 4}, {n: 9}, {n: 3}}}
	// 2 m2 of old ones, four of half a square meter and three of one: 7 m2 are 35 % of 20.
	if got := r.neededM2(Input{Site: &ingest.Site{Planes: planes}, Options: Options{AreaSharePct: 35}}, 2); math.Abs(got-20) > 1e-9 {
		t.Errorf("%g m2 are needed", got)
	}
}

// Two old modules of 1.67 x 1.012 m with their gaps, whose plane is not known, cover
// 3.38 m2: as much as two new ones of 2.056 m2 each.
func TestLooseOldModules(t *testing.T) {
	r := roof{loose: []oldGroup{{2, 1.65, 0.992}}, narrow: []room{{high: 9}, {high: 5}},
		rooms: []PlaneRoom{{Measured: true}, {Measured: true}}}
	n, low, high := r.take([]room{{n: 8, low: 6, high: 8}, {n: 4, low: 1, high: 6}}, 1.762, 1.134, 0.02)
	if n != 12 || low != 5 || high != 15 {
		t.Errorf("%d, from %d to %d", n, low, high)
	}
	if a, b := r.rooms[0], r.rooms[1]; a.Low != 4 || a.High != 9 || b.Low != 0 || b.High != 6 {
		t.Errorf("%+v, %+v", a, b)
	}
}

func TestSentenceOfAPlane(t *testing.T) {
	p := ingest.Plane{ID: "P"}
	for want, pr := range map[string]PlaneRoom{
		"plane P: not measured":                     {Plane: p, Modules: 3},
		"plane P: 5 more in portrait":               {Plane: p, Measured: true, Modules: 5, Low: 5, High: 5, Orientation: "portrait"},
		"plane P: 0 more":                           {Plane: p, Measured: true, Orientation: "portrait"},
		"plane P: 5 more in landscape beside 3 old": {Plane: p, Measured: true, Modules: 5, Low: 5, High: 5, Orientation: "landscape", OldModules: 3},
		"plane P: 5 more in portrait (4 to 5)":      {Plane: p, Measured: true, Modules: 5, Low: 4, High: 5, Orientation: "portrait"},
		"plane P: 5 more in portrait (5 to 6)":      {Plane: p, Measured: true, Modules: 5, Low: 5, High: 6, Orientation: "portrait"},
		"plane P: 0 more beside 3 old (0 to 2)":     {Plane: p, Measured: true, High: 2, OldModules: 3},
	} {
		if got := roomSentence(pr); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// 26 % of a roof under 11.7 m2 of old modules make 45 m2 of it, and 15 % make 78; of a
// measured plane's 20 m2 nothing is guessed.
func TestPriorByHand(t *testing.T) {
	old := oldGroup{10, 1.3, 0.9}
	r := roof{oldArea: 11.7, measured: 1, on: [][]oldGroup{nil, {old}},
		rooms: []PlaneRoom{{Measured: true, Plane: plane("M", 5, 4, 30, 180)}, {Plane: ingest.Plane{ID: "U"}}, {Plane: ingest.Plane{ID: "V"}}}}
	// (45 - 20)·0.6 - 11.7 = 3.3 and (78 - 20)·0.75 - 11.7 = 31.8 m2, in cells of 2.
	mid, top := r.prior(1.9, 0.9, 0.1)
	if mid != 1 || top != 15 {
		t.Errorf("%d and %d", mid, top)
	}
	r.on[0], r.on[1] = r.on[1], nil // the old ones lie on the measured plane: 15 and 43.5 m2
	if mid, top = r.prior(1.9, 0.9, 0.1); mid != 7 || top != 21 {
		t.Errorf("beside old ones that are placed: %d and %d", mid, top)
	}
	r.spread(mid, top)
	if r.rooms[0].Modules != 0 || r.rooms[1].Modules != 3 || r.rooms[2].Modules != 3 || r.rooms[2].High != 21 {
		t.Errorf("spread: %+v", r.rooms)
	}
	if got := r.unmeasured(); got != "U, V" {
		t.Errorf("not measured: %s", got)
	}
	mid, top = (&roof{}).prior(1.9, 0.9, 0.1) // 110·0.6 = 66 and 220·0.75 = 165 m2
	if mid != 33 || top != 82 {
		t.Errorf("of nothing: %d and %d", mid, top)
	}
}

func TestOldArraysThatTheRegisterHides(t *testing.T) {
	set := []ingest.Reject{{File: "arrays.csv"}}
	for _, c := range []struct {
		s    ingest.Site
		want string
	}{
		{ingest.Site{Problems: set}, "set aside"},
		{ingest.Site{Problems: []ingest.Reject{{File: "arrays.csv", Kept: true}}}, ""},
		{ingest.Site{Problems: []ingest.Reject{{File: "planes.csv"}}}, ""},
		{ingest.Site{Service: &ingest.Service{PVBreakerAmps: 20}}, "PV breakers and no array"},
		{ingest.Site{Service: &ingest.Service{}}, ""},
		{ingest.Site{Service: &ingest.Service{PVBreakerAmps: 20}, Arrays: make([]ingest.Array, 1)}, ""},
	} {
		if got := oldArrayHidden(&c.s); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.s, got, c.want)
		}
	}
}

// A shingle roof of 20 years is old from its sixteenth on; 15 % of shade are no caution
// yet; 22 kg on 1 m2 and 3.1 kg of rails are 25.1 kg/m2.
func TestRoofCautionsByHand(t *testing.T) {
	in := Input{AsOf: date("2026-12-01"), Module: ingest.Module{Model: "m", WeightKg: 20, WidthM: 1, HeightM: 1}}
	if got := LoadKgPerM2(in.Module); math.Abs(got-23.1) > 1e-12 {
		t.Errorf("%g kg/m2", got)
	}
	if got := LoadKgPerM2(ingest.Module{WidthM: 2, HeightM: 1.1, WeightKg: 22}); math.Abs(got-13.1) > 1e-12 {
		t.Errorf("%g kg/m2", got)
	}
	if got := LoadKgPerM2(ingest.Module{WidthM: 2, HeightM: 1}); math.Abs(got-14.6) > 1e-12 {
		t.Errorf("of unknown weight: %g kg/m2", got)
	}
	for _, c := range []struct {
		what  string
		alter func(pl *ingest.Plane, in *Input)
		codes string
	}{
		{"as it should be", func(*ingest.Plane, *Input) {}, ""},
		{"15 years", func(pl *ingest.Plane, _ *Input) { pl.RoofYear = ingest.Some(2011) }, ""},
		{"16 years", func(pl *ingest.Plane, _ *Input) { pl.RoofYear = ingest.Some(2010) }, "roof_old"},
		{"30 years of tiles", func(pl *ingest.Plane, _ *Input) { pl.RoofKind, pl.RoofYear = "tile", ingest.Some(1996) }, "tile_roof"},
		{"31 years of tiles", func(pl *ingest.Plane, _ *Input) { pl.RoofKind, pl.RoofYear = "tile", ingest.Some(1995) }, "roof_old tile_roof"},
		{"15 % of shade", func(pl *ingest.Plane, _ *Input) { pl.ShadingPct = 15 }, ""},
		{"more", func(pl *ingest.Plane, _ *Input) { pl.ShadingPct = 16 }, "plane_shaded"},
		{"not known", func(pl *ingest.Plane, _ *Input) { pl.ShadingPct, pl.BlockedM2 = math.NaN(), math.NaN() }, "shading_unknown blocked_unknown"},
		{"vents whose place is known", func(pl *ingest.Plane, _ *Input) { pl.BlockedM2, pl.ObstaclesM = math.NaN(), make([][4]float64, 1) }, ""},
		{"no room", func(pl *ingest.Plane, _ *Input) { pl.ShadingPct, pl.ID = 50, "full" }, ""},
		{"heavy modules", func(_ *ingest.Plane, in *Input) { in.Module.WeightKg = 22 }, "dead_load_review"},
		{"a flat roof of no year", func(pl *ingest.Plane, _ *Input) { pl.RoofKind, pl.RoofYear = "flat", ingest.Opt[int]{} }, "flat_roof roof_age_unknown"},
	} {
		at, pl := in, plane("P", 5, 5, 30, 180)
		c.alter(&pl, &at)
		pr := PlaneRoom{Plane: pl, High: 4}
		if pl.ID == "full" {
			pr.High = 0
		}
		var codes []string
		for _, k := range roofCautions(at, []PlaneRoom{pr}) {
			codes = append(codes, k.Code)
			if c.what == "16 years" && !strings.Contains(k.Says, "of 2010, 16 years old") {
				t.Error(k.Says)
			}
		}
		if got := strings.Join(codes, " "); got != c.codes {
			t.Errorf("%s: %q, want %q", c.what, got, c.codes)
		}
	}
}
