package option

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// dayInput is a site of one day whose bills can be worked out by hand: 24 hours,
// the use and today's output in kWh by hour, a module that makes 1 kWh at noon
// and at one o'clock, zero doubt.
//
//	use:    2 kWh at 12, 1 kWh at 13, 5 kWh at 20
//	output: 1 kWh at 12, 1 kWh at 13 (today)
//	before: bought 1 + 0 + 5 = 6, sold 0
//	with n: at 12 1 more is used, at 13 none; bought 5, sold n - 1 + n = 2n - 1
func dayInput(t testing.TB, tar ingest.Tariff, successor *ingest.Tariff) Input {
	in := Input{SiteID: "day", Window: ingest.Window{Start: 490008, N: 24}, Location: mustZone(t, "UTC"), LoadRelSD: 0,
		LoadWh: make([]float64, 24), ProductionWh: make([]float64, 24), ExistingKW: 4, Possible: 6,
		Money:  Money{HorizonYears: 10, CostPerModule: 1, CostPerVisit: 1},
		Tariff: mustCompile(t, tar)}
	if successor != nil {
		in.Successor = mustCompile(t, *successor)
	}
	first := in.Window.Start.Time().Hour()
	at := func(hour int) int { return (hour - first + 24) % 24 }
	in.LoadWh[at(12)], in.LoadWh[at(13)], in.LoadWh[at(20)] = 2000, 1000, 5000
	in.ProductionWh[at(12)], in.ProductionWh[at(13)] = 1000, 1000
	unit := make([]float64, 24)
	unit[at(12)], unit[at(13)] = 1000, 1000
	in.Planes = []Candidate{{PlaneID: "south", MaxModules: 6, UnitWh: unit, ModuleWatts: 400, ACWatts: 380}}
	return in
}

func priced(id string, price, export float64) ingest.Tariff {
	return ingest.Tariff{ID: id, Import: []ingest.TariffPeriod{{Name: "base", Price: price}}, Export: ingest.TariffExport{Credit: "rate", Price: export}}
}

// TestOptionByHand works one size out.
//
//	price 0.50, export 0.10, three modules: bought 5 x 0.50 = 2.50, sold 5 x 0.10 = 0.50
//	before 6 x 0.50 = 3.00; after 2.00; saving 1.00; cost 1 + 3 = 4; payback 4 years
//	added 6 kWh, of which 1 is used: 16.67 %; output 2 + 6 = 8 of a use of 8: 100 %
//	10 years without interest: 10 x 1.00 - 4 = 6.00; CO2 6 x 0.4 = 2.4 kg
//	levelised: 4 / (6 x 10) = 0.0667
func TestOptionByHand(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.Money.CO2KgPerKWh = 0.4
	r := Evaluate(in)
	o := r.Options[2]
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"before", o.BillBefore, 3.00}, {"after", o.BillAfter, 2.00}, {"saving", o.Saving.Value, 1.00}, {"cost", o.Cost, 4}, {"payback", o.SimplePaybackYears, 4},
		{"added", o.AddedKWhYr, 6}, {"own use", o.AddedSelfUsePct, 100. / 6}, {"coverage", o.CoverageAfterPct, 100}, {"net", o.NetBenefit.Value, 6}, {"co2", o.CO2KgYr, 2.4},
		{"levelised", o.CostPerKWh, 4. / 60}, {"kW DC", o.AddedKWDC, 1.2}, {"kW AC", o.AddedKWAC, 1.14}, {"chance", o.Chance, 1}, {"discounted payback", o.DiscountedPayback, 4},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
	// The second module on earn 2 x 0.10 x 10 = 2 each for 1: all six are best.
	if r.Best != 5 || r.BestWithJobs != 5 {
		t.Errorf("best %d, want 5", r.Best)
	}
}

// TestLegalCases works the three cases out, four modules on 4 kW whose terms
// allow 10 % (one module):
//
//	legacy 0.50 and 0.50, before 3.00; cost 5, ten years
//	within (1 module):  bought 5, sold 1: 2.50 - 0.50 = 2.00, saves 1.00; 10 - 2 = 8.00
//	successor (4):      0.40 and 0.05: 5 x 0.40 - 7 x 0.05 = 1.65, saves 1.35; 13.50 - 5 = 8.50
//	no feed-in (4):     bought 5, sold 0 on the legacy: 2.50, saves 0.50; 5 - 5 = 0
//	own meter (4):      3.00 - 8 x 0.05 = 2.60, saves 0.40; 4 - 5 = -1.00
func TestLegalCases(t *testing.T) {
	legacy, next := priced("old", 0.50, 0.50), priced("new", 0.40, 0.05)
	legacy.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "new"}
	in := dayInput(t, legacy, &next)
	r := Evaluate(in)
	one, four := r.Options[0], r.Options[3]
	if one.Case != WithinThreshold || math.Abs(one.BillAfter-2.00) > 1e-9 || math.Abs(one.NetBenefit.Value-8) > 1e-9 {
		t.Errorf("within: %s %v %v", one.Case, one.BillAfter, one.NetBenefit.Value)
	}
	if four.Case != OnSuccessor || math.Abs(four.BillAfter-1.65) > 1e-9 || math.Abs(four.NetBenefit.Value-8.50) > 1e-9 {
		t.Errorf("successor: %s %v %v", four.Case, four.BillAfter, four.NetBenefit.Value)
	}
	want := []CaseOutcome{{OnSuccessor, "new", true, 1.65, 1.35, 8.50}, {NonExport, "", false, 2.50, 0.50, 0}, {OwnMeter, "new", false, 2.60, 0.40, -1}}
	for i, w := range want {
		g := four.Cases[i]
		if g.Case != w.Case || g.Legal != w.Legal || math.Abs(g.BillAfter-w.BillAfter) > 1e-9 || math.Abs(g.Saving-w.Saving) > 1e-9 || math.Abs(g.NetBenefit-w.NetBenefit) > 1e-9 {
			t.Errorf("got %+v, want %+v", g, w)
		}
	}
	// Over all sizes: each more on the successor costs 1 and earns 10 x 2 x 0.05 = 1:
	// from 2 on all are worth 8.50 alike; the smallest of the equals is ranked.
	if o := r.Options[r.Best]; o.Case != OnSuccessor || math.Abs(o.NetBenefit.Value-8.5) > 1e-9 {
		t.Errorf("best: %+v", o)
	}
	var names []string
	for _, c := range r.Cases {
		names = append(names, c.Case)
		if c.Ranked != (c.Case == OnSuccessor) {
			t.Errorf("ranked: %+v", c)
		}
	}
	if !slices.Equal(names, []string{WithinThreshold, OnSuccessor, NonExport, OwnMeter}) {
		t.Errorf("cases: %v", names)
	}
	// A successor that pays nothing and costs more: staying within is ranked, and
	// where the text allows a meter of its own, that is legal too.
	next = priced("new", 0.60, 0.00)
	legacy.Legacy.Apart = []string{NonExport}
	in = dayInput(t, legacy, &next)
	r = Evaluate(in)
	if o := r.Options[r.Best]; o.Modules != 1 || o.Case != WithinThreshold {
		t.Errorf("best: %d modules, %s", o.Modules, o.Case)
	}
	// Two modules, no feed-in: 5 x 0.50 = 2.50, saves 0.50; successor: 5 x 0.60 = 3.00, saves 0.
	if o := r.Options[1]; o.Case != NonExport || math.Abs(o.Saving.Value-0.5) > 1e-9 || math.Abs(o.AddedSelfUsePct-25) > 1e-9 {
		t.Errorf("two modules: %s, saving %v, own use %v", o.Case, o.Saving.Value, o.AddedSelfUsePct)
	}
}

// TestNewTerms: old modules keep 0.50, new ones earn 0.10; two modules on 4 kW.
//
//	by capacity: new 0.8 of 4.8 kW: a sixth of the 3 sold
//	             5 x 0.50 - 3 x 5/6 x 0.50 - 3 x 1/6 x 0.10 = 2.50 - 1.25 - 0.05 = 1.20
//	by output:   at 12 sold 1 of 1 + 2 made, at 13 sold 2 of 1 + 2; new is two thirds
//	             2.50 - 3 x 1/3 x 0.50 - 3 x 2/3 x 0.10 = 2.50 - 0.50 - 0.20 = 1.80
//	gross:       8 x 0.50 - 2 x 0.50 - 4 x 0.10 = 4.00 - 1.00 - 0.40 = 2.60
func TestNewTerms(t *testing.T) {
	for _, c := range []struct {
		split, metering string
		after           float64
	}{{"capacity", "", 1.20}, {"output", "", 1.80}, {"", "gross", 2.60}} {
		tar := priced("fit", 0.50, 0.50)
		tar.Export.Metering = c.metering
		tar.Export.NewModules = &ingest.TariffExportNew{Price: 0.10, Split: c.split}
		if o := Evaluate(dayInput(t, tar, nil)).Options[1]; math.Abs(o.BillAfter-c.after) > 1e-9 {
			t.Errorf("%s %s: got %v, want %v", c.split, c.metering, o.BillAfter, c.after)
		}
	}
}

// TestNoFeedInSellsNothingNew: with terms for new modules and a legacy tariff
// whose text allows more without feeding in, two modules sell nothing: 5 x 0.50.
func TestNoFeedInSellsNothingNew(t *testing.T) {
	legacy, next := priced("old", 0.50, 0.50), priced("new", 0.90, 0)
	legacy.Export.NewModules = &ingest.TariffExportNew{Price: 0.10}
	legacy.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: 5, Successor: "new", Apart: []string{NonExport}}
	in := dayInput(t, legacy, &next)
	in.ProductionWh[slices.Index(in.LoadWh, 1000.0)] = 3000 // today's array sells 2 kWh at one o'clock: 1.00
	if o := Evaluate(in).Options[1]; o.Case != NonExport || math.Abs(o.BillAfter-(2.50-1.00)) > 1e-9 {
		t.Errorf("%s: after %v, want 1.50", o.Case, o.BillAfter)
	}
}

// TestJobs: sizes beyond what is possible now need the cheapest set that reaches
// them; a set's gain is its own best less the best as the site stands.
//
//	price 0.50, export 0.10, ten years: n modules are worth
//	10 x (0.50 + (2n - 1) x 0.10) - 1 - n = 3 + n; 2 as it stands: 5
//	three or four with set b (cost 0.5): 7 - 0.5 = 6.5; six with set a (cost 8): 9 - 8 = 1
func TestJobs(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.Possible, in.FreeJobs = 2, []string{"software_update"}
	in.JobSets = []JobSet{{[]string{"software_update", "panelboard_upgrade"}, 8, 6}, {[]string{"software_update", "new_permission"}, 0.5, 4}}
	r := Evaluate(in)
	if len(r.Options) != 6 {
		t.Fatalf("%d options, want 6", len(r.Options))
	}
	for _, c := range []struct {
		modules  int
		feasible bool
		jobs     string
		cost     float64
		net      float64
	}{{2, true, "software_update", 3, 5}, {4, false, "software_update new_permission", 5.5, 6.5}, {5, false, "software_update panelboard_upgrade", 14, 0}} {
		o := r.Options[c.modules-1]
		if o.Feasible != c.feasible || strings.Join(o.Jobs, " ") != c.jobs || math.Abs(o.Cost-c.cost) > 1e-9 || math.Abs(o.NetBenefit.Value-c.net) > 1e-9 {
			t.Errorf("%d modules: %v %v cost %v net %v", c.modules, o.Feasible, o.Jobs, o.Cost, o.NetBenefit.Value)
		}
	}
	if r.Best != 1 || r.BestWithJobs != 3 {
		t.Errorf("best %d and with jobs %d, want 1 and 3", r.Best, r.BestWithJobs)
	}
	a, b := r.Jobs[0], r.Jobs[1]
	if math.Abs(a.NetBenefitGained-(1-5)) > 1e-9 || a.ModulesGained != 4 || math.Abs(b.NetBenefitGained-1.5) > 1e-9 || b.ModulesGained != 2 || b.Best != 3 {
		t.Errorf("gains %+v", r.Jobs)
	}
	if a.Cost != 8 || b.Cost != 0.5 {
		t.Errorf("costs %+v", r.Jobs)
	}
	// At 3 a module n are worth 3 - n: one as it stands (2), three with set b
	// 0 - 0.5: a set is judged by what only it makes possible.
	dear := in
	dear.Money.CostPerModule = 3
	if g := Evaluate(dear).Jobs[1]; math.Abs(g.NetBenefitGained+2.5) > 1e-9 || g.Best != -1 {
		t.Errorf("dear: %+v", g)
	}
	in.MinModules = 3
	if r = Evaluate(in); r.Best != -1 || r.BestWithJobs != 3 {
		t.Errorf("with three at least: best %d and %d, want none and 3", r.Best, r.BestWithJobs)
	}
}

// TestNoneGains: where nothing pays, none is best, and the explanation looks at
// the one that loses least.
func TestNoneGains(t *testing.T) {
	in := yearInput(t, timeOfUse, timeOfUse, 1, 5)
	in.Money.CostPerModule = 5000
	r := Evaluate(in)
	if r.Best != -1 || r.BestWithJobs != -1 || len(r.Tornado) == 0 || len(r.Options) != 5 {
		t.Errorf("best %d, tornado %d", r.Best, len(r.Tornado))
	}
	in.Possible = 0
	if r = Evaluate(in); r.Best != -1 || len(r.Options) != 0 || r.Refusal != "" || !(r.BillBefore.Total > 0) {
		t.Errorf("no room: %+v", r)
	}
}

// TestSmallerWithinNoise: beyond what the house can use, modules earn just their
// cost: the larger sizes are better in half of the draws, and the smaller is chosen.
func TestSmallerWithinNoise(t *testing.T) {
	in := yearInput(t, timeOfUse, timeOfUse, 1, 12)
	last := func(in Input) (step, sd float64) {
		r := Evaluate(in)
		a, b := r.Options[10].NetBenefit, r.Options[11].NetBenefit
		return b.Mean - a.Mean, (b.High - b.Low) / 3.29
	}
	step, sd := last(in)
	in.Money.CostPerModule += step + 0.02*sd // the last module now loses a trifle
	in.Money.CostPerVisit = 0
	tight := in
	tight.Money.Doubt.BetterInPct = 0
	r, first := Evaluate(in), Evaluate(tight)
	if first.Best < 0 || r.Best < 0 || r.Best >= first.Best && first.Best > 0 {
		t.Errorf("best by the mean alone %d, with the noise %d: it must be smaller", first.Best, r.Best)
	}
	if gap := first.Options[first.Best].NetBenefit.Mean - r.Options[r.Best].NetBenefit.Mean; gap < 0 || gap > sd {
		t.Errorf("the smaller gives up %v, the noise is %v", gap, sd)
	}
}

// TestTornado: sorted by what they move; the ends are what the option is worth
// in a world with that unknown alone moved.
func TestTornado(t *testing.T) {
	in := yearInput(t, timeOfUse, timeOfUse, 1, 10)
	in.Money.CostPerModule = 300
	in.Money.Doubt.CostRelSDPct = 20
	r := Evaluate(in)
	o := r.Options[r.Best]
	if len(r.Tornado) != 6 {
		t.Fatalf("%d unknowns", len(r.Tornado))
	}
	for i, u := range r.Tornado {
		if i > 0 && u.High-u.Low > r.Tornado[i-1].High-r.Tornado[i-1].Low+1e-9 {
			t.Errorf("%s is wider than %s before it", u.Name, r.Tornado[i-1].Name)
		}
		if u.Low > o.NetBenefit.Value || u.High < o.NetBenefit.Value || u.Says == "" {
			t.Errorf("%+v does not hold %v", u, o.NetBenefit.Value)
		}
		if u.Name == "cost" { // 1.6449 x 20 % of the cost
			if want := o.NetBenefit.Value - 1.6449*0.2*o.Cost; math.Abs(u.Low-want) > 1e-3 {
				t.Errorf("cost: low %v, want %v", u.Low, want)
			}
		}
		if u.Name == "plane_output" {
			world := scaled(in, 1, 1, u.LowAt)
			world.Money.Doubt.Draws = 0
			if want := Evaluate(world).Options[r.Best].NetBenefit.Value; math.Abs(u.Low-want) > 0.01*(u.High-u.Low) {
				t.Errorf("plane: low %v, want %v", u.Low, want)
			}
		}
		if u.Name == "demand" {
			world := scaled(in, u.LowAt, 1, 1)
			world.Money.Doubt.Draws = 0
			if want := Evaluate(world).Options[r.Best].NetBenefit.Value; math.Abs(u.Low-want) > 0.01*(u.High-u.Low) {
				t.Errorf("demand: low %v, want %v", u.Low, want)
			}
		}
	}
}

// TestRepairFirst: a sick array is costed as mended; what mending alone saves is
// said apart.
//
//	sick: 0.5 kWh instead of 1 at 12 and 13: bought 1.5 + 0.5 + 5 = 7 x 0.50 = 3.50; mended 3.00
func TestRepairFirst(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.SickWh = slices.Clone(in.ProductionWh)
	for i := range in.SickWh {
		in.SickWh[i] /= 2
	}
	r := Evaluate(in)
	if math.Abs(r.RepairSavingYr-0.50) > 1e-9 || math.Abs(r.BillBefore.Total-3.00) > 1e-9 {
		t.Errorf("repair saves %v, before %v", r.RepairSavingYr, r.BillBefore.Total)
	}
	if !slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "counted_as_mended" }) {
		t.Error("the caveat is missing")
	}
}

// TestRefusals: no number where there is nothing to count with.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name string
		with func(*Input)
		says string
	}{
		{"no tariff", func(in *Input) { in.Tariff = nil }, "no tariff is known"},
		{"no successor", func(in *Input) {
			d := in.Tariff.Data
			d.Legacy = &ingest.TariffLegacy{Successor: "next"}
			in.Tariff = mustCompile(t, d)
		}, "its successor is not known"},
		{"missing hour", func(in *Input) { in.LoadWh[5] = math.NaN() }, "the use has hours that are missing"},
		{"infinite hour", func(in *Input) { in.ProductionWh[5] = math.Inf(1) }, "not finite"},
		{"negative unit", func(in *Input) { in.Planes[0].UnitWh[5] = -1 }, "module on plane south has hours"},
		{"short unit", func(in *Input) { in.Planes[0].UnitWh = in.Planes[0].UnitWh[1:] }, "covers 23 intervals"},
		{"wrong window", func(in *Input) { in.Window.N = 23 }, "no whole multiple"},
		{"no horizon", func(in *Input) { in.Money.HorizonYears = 0 }, "horizon_years 0 must be >= 1"},
	} {
		in := dayInput(t, priced("a", 0.5, 0.1), nil)
		c.with(&in)
		if r := Evaluate(in); !strings.Contains(r.Refusal, c.says) || r.Best != -1 || r.BestWithJobs != -1 || len(r.Options) != 0 {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

// TestCaveats: what the numbers rest on is said.
func TestCaveats(t *testing.T) {
	in := dayInput(t, priced("a", 0.5, 0.1), nil)
	in.TariffDefaulted, in.Phases = true, 3
	codes := func(r Result) (out []string) {
		for _, c := range r.Caveats {
			out = append(out, c.Code)
		}
		return out
	}
	if got := codes(Evaluate(in)); !slices.Equal(got, []string{"tariff_defaulted", "hourly_metering", "phases_summed"}) {
		t.Errorf("got %v", got)
	}
	monthly := priced("b", 0.5, 0)
	monthly.Export.Credit, monthly.Settlement = "retail", "monthly"
	if got := codes(Evaluate(dayInput(t, monthly, nil))); len(got) != 0 {
		t.Errorf("got %v, want none: by the month the interval does not matter", got)
	}
}

// TestRefine shares hours by the shape of finer readings.
//
//	hour 0: 8 Wh by 1 : 3 : 0 : 0 gives 2, 6, 0, 0; hour 1 lacks a step, hour 2
//	has no energy, hour 3 lies beyond the readings: shared evenly
func TestRefine(t *testing.T) {
	nan := float32(math.NaN())
	fine := &ingest.Fine{Start: 100, StepMinutes: 15}
	fine.Wh[ingest.Consumption] = []float32{9, 9, 9, 9, 1, 3, 0, 0, 1, nan, 1, 1, 0, 0, 0, 0}
	got, shaped := Refine([]float64{8, 4, 4, 4}, ingest.Window{Start: 101, N: 4}, fine, ingest.Consumption)
	if want := []float64{2, 6, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}; !slices.Equal(got, want) || shaped != 0.25 {
		t.Errorf("got %v, shaped %v", got, shaped)
	}
	// Five minutes become quarters: 1, 1, 2 | 0, 0, 0 | 4, 0, 0 | 0, 0, 0 of 16 Wh: 8, 0, 8, 0.
	five := &ingest.Fine{Start: 101, StepMinutes: 5}
	five.Wh[ingest.Consumption] = []float32{1, 1, 2, 0, 0, 0, 4, 0, 0, 0, 0, 0}
	if got, _ := Refine([]float64{16}, ingest.Window{Start: 101, N: 1}, five, ingest.Consumption); !slices.Equal(got, []float64{8, 0, 8, 0}) {
		t.Errorf("five minutes: got %v", got)
	}
	if got, _ := Refine([]float64{8}, ingest.Window{Start: 101, N: 1}, fine, ingest.Production); got != nil {
		t.Error("a channel that is not there has no shape")
	}
}

// TestMeteringInterval: by the hour a household that cooks for a quarter hour
// seems to use its own sun; by the quarter it does not.
//
//	noon: output 1 kWh even, use 2 kWh in one quarter: by the hour bought 1, sold 0;
//	by the quarter bought 2 - 0.25 = 1.75, sold 0.75
//	one module more, 1 kWh even: by the quarter bought 1.5, sold 1.5
func TestMeteringInterval(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.Possible = 1
	noon := slices.Index(in.LoadWh, 2000.0)
	fine := &ingest.Fine{Start: in.Window.Start, StepMinutes: 15}
	fine.Wh[ingest.Production], fine.Wh[ingest.Consumption] = make([]float32, 96), make([]float32, 96)
	for i := range 96 {
		fine.Wh[ingest.Production][i], fine.Wh[ingest.Consumption][i] = 1, 1
	}
	copy(fine.Wh[ingest.Consumption][4*noon:], []float32{0, 0, 9, 0})
	if !in.AtMeteringInterval(fine) {
		t.Fatal("not refined")
	}
	r := Evaluate(in)
	// Before: noon 1.75, one o'clock 0, evening 5 bought; 0.75 sold.
	if b := r.BillBefore; math.Abs(b.ImportKWh-6.75) > 1e-9 || math.Abs(b.ExportKWh-0.75) > 1e-9 {
		t.Errorf("before: bought %v, sold %v", b.ImportKWh, b.ExportKWh)
	}
	// After: bought 1.5 + 5 = 6.5, sold 1.5 + 1 = 2.5: 3.25 - 0.25 = 3.00.
	if got := r.Options[0].BillAfter; math.Abs(got-3.00) > 1e-9 {
		t.Errorf("after: %v, want 3.00", got)
	}
	if slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "hourly_metering" }) {
		t.Error("by the quarter hour nothing is hidden")
	}
	if in.AtMeteringInterval(nil) {
		t.Error("nothing to refine by")
	}
}

// TestHourlyBias by hand: output 4, 0, 0, 0 and use 1, 1, 1, 1: by the quarter 3
// are sold, by the hour none: 3 of 4.
func TestHourlyBias(t *testing.T) {
	fine := &ingest.Fine{StepMinutes: 15}
	fine.Wh[ingest.Production] = []float32{4, 0, 0, 0, 1, 1, 1, 1}
	fine.Wh[ingest.Consumption] = []float32{1, 1, 1, 1, 1, 1, 1, float32(math.NaN())}
	if got := HourlyBias(fine); math.Abs(got-0.75) > 1e-12 {
		t.Errorf("got %v, want 0.75", got)
	}
	if !math.IsNaN(HourlyBias(nil)) {
		t.Error("nothing to measure")
	}
}

// A size that somebody would sell: on made-up sizes whose net benefit is given
// by hand.
func TestProposals(t *testing.T) {
	size := func(n int, mean, chance float64, planes ...int) Option {
		o := Option{Modules: n, Feasible: true, Cost: 1000, NetBenefit: Spread{Value: mean, Mean: mean}, Chance: chance}
		for i, c := range planes {
			if c > 0 {
				o.ByPlane = append(o.ByPlane, PlaneCount{[]string{"P1", "P2"}[i], c})
			}
		}
		return o
	}
	sizes := func() []Option {
		return []Option{size(1, 10, 1, 1), size(2, 20, 1, 2), size(3, 30, 1, 3), size(4, 40, 1, 4), size(5, 50, 1, 4, 1), size(6, 60, 0.9, 4, 2), size(7, 70, 0.7, 4, 3)}
	}
	for _, tc := range []struct {
		name     string
		set      func(*Input, []Option)
		at, upTo int // modules
	}{
		{"nothing in doubt", func(*Input, []Option) {}, 7, 7},
		{"no offer whose low end is a loss", func(in *Input, _ []Option) { in.MinChance = 0.95 }, 4, 4},
		{"no lone module on another plane", func(in *Input, os []Option) { in.MinChance, os[4].Chance, os[5].Chance = 0.95, 1, 0.9 }, 4, 4},
		{"what the roof surely takes", func(in *Input, _ []Option) { in.SureNow = ingest.Some(3) }, 3, 7},
		{"what each plane surely takes", func(in *Input, _ []Option) { in.Planes[0].Sure = ingest.Some(2) }, 2, 7},
		{"nothing is sure: the size is asked for first", func(in *Input, _ []Option) { in.SureNow = ingest.Some(0) }, 7, 7},
		{"a whole branch where it costs nothing", func(in *Input, os []Option) { in.PerBranch, os[5].NetBenefit.Mean = 6, 69.9 }, 6, 7},
		{"a whole branch that costs something", func(in *Input, _ []Option) { in.PerBranch = 6 }, 7, 7},
	} {
		in := Input{MinModules: 2, Planes: []Candidate{{PlaneID: "P1"}, {PlaneID: "P2"}}}
		r := Result{Options: sizes()}
		tc.set(&in, r.Options)
		at, upTo := propose(&in, &draws{}, &r, func(o *Option) bool { return o.Feasible }, in.SureNow)
		if at < 0 || r.Options[at].Modules != tc.at || r.Options[upTo].Modules != tc.upTo {
			t.Errorf("%s: sizes at %d and %d, want %d and up to %d modules", tc.name, at, upTo, tc.at, tc.upTo)
		}
	}
}
