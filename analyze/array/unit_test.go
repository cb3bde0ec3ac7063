package array

import (
	"math"
	"strings"
	"testing"
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// What a new module makes in the box: its watts times the light, less the inverter's
// loss and limit, times the factor.
func TestModuleInTheBox(t *testing.T) {
	v := box(10)
	v.Window = ingest.Window{Start: v.Series.Start, N: 240}
	year, _ := v.lived()
	r := Result{candidate: candidateBasis{lived: year, factor: 0.9, sd: 0.02, facing: sun.Plane{AzimuthDeg: 180}, source: sky.FromFleet}}
	flat := ingest.Plane{ID: "flat", AzimuthDeg: math.NaN(), ShadingPct: math.NaN()}
	m := ingest.Module{Watts: 400, TempCoefficientPctPC: -1e-12}
	for _, c := range []struct {
		what string
		inv  ingest.Inverter
		noon float64
	}{
		{"free", ingest.Inverter{EfficiencyPct: 95}, 0.9 * 0.95 * 400},
		{"behind 300 W", ingest.Inverter{Kind: "micro", ACWatts: 300, EfficiencyPct: 95}, 300},
		{"a string inverter's limit is not one module's", ingest.Inverter{Kind: "string", ACWatts: 300, EfficiencyPct: 95}, 0.9 * 0.95 * 400},
		{"no limit known", ingest.Inverter{Kind: "micro", EfficiencyPct: 95}, 0.9 * 0.95 * 400},
	} {
		out := r.ModuleOutput(flat, m, c.inv)
		closeTo(t, c.what, out.Wh[12], c.noon, 1e-6)
		closeTo(t, c.what+" at eight", out.Wh[8], 0.3*0.9*0.95*400, 1e-6)
		if len(out.Wh) != 240 || out.Wh[3] != 0 || out.Caveats != nil {
			t.Errorf("%s: %d hours, %+v", c.what, len(out.Wh), out.Caveats)
		}
		// as the array faces: 0.5 % of turn, 3 % for shade that is not known, 2 % of the factor
		closeTo(t, c.what+", sd", out.RelSD, math.Sqrt(0.005*0.005+0.03*0.03+0.02*0.02), 1e-9)
	}
	for what, p := range map[string]ingest.Plane{"no tilt": {TiltDeg: math.NaN(), AzimuthDeg: 180}, "no azimuth": {TiltDeg: 10, AzimuthDeg: math.NaN()}} {
		if out := r.ModuleOutput(p, m, ingest.Inverter{}); out.Wh != nil || !math.IsNaN(out.RelSD) {
			t.Errorf("%s: %+v", what, out)
		}
	}
	r.candidate.really = map[string]sun.Plane{"flat": {TiltDeg: 0, AzimuthDeg: 90}}
	if out := r.ModuleOutput(flat, m, ingest.Inverter{}); len(out.Caveats) != 1 || !strings.Contains(out.Caveats[0].Says, "faces 90 degrees, not 180") {
		t.Errorf("%+v", out.Caveats)
	}
	r.Shed()
	if out := r.ModuleOutput(flat, m, ingest.Inverter{}); out.Wh != nil {
		t.Error("shed, and yet it answers")
	}
}

// The doubt of a year, by hand: 0.5 % + 1.5 % a right angle of turn, three times that of
// the array's own sky; half of the shading; 8 % of what was filled.
func TestDoubtOfAYear(t *testing.T) {
	c := candidateBasis{facing: sun.Plane{TiltDeg: 90, AzimuthDeg: 180}}
	east := sun.Plane{TiltDeg: 90, AzimuthDeg: 90} // a right angle away
	south := sun.Plane{TiltDeg: 90, AzimuthDeg: 180}
	closeTo(t, "turn", c.relSD(east, 0), 0.02, 1e-9)
	closeTo(t, "no turn", c.relSD(south, 0), 0.005, 1e-9)
	c.source = sky.FromSelf
	closeTo(t, "own sky", c.relSD(east, 0), 0.06, 1e-9)
	c.source, c.sd = sky.FromFleet, 0.03
	closeTo(t, "factor", c.relSD(south, 0), math.Hypot(0.03, 0.005), 1e-9)
	c.sd, c.filled = 0, 0.5
	closeTo(t, "filled", c.relSD(south, 0), math.Hypot(0.04, 0.005), 1e-9)
	c.filled = 0
	closeTo(t, "shaded", c.relSD(south, 20), math.Hypot(0.1, 0.005), 1e-9)
}

// Which factor a new module gets: the usual one where nothing of the own is believed,
// else both, weighted by one over their variances.
func TestFactorOfNewModules(t *testing.T) {
	young := func(v *view) { // the array is new: nothing has aged
		v.model.Groups[0].From = v.Series.Start + ingest.Hour(len(v.wh)/2)
		v.model.Groups[0].Born = v.model.Groups[0].From
	}
	none := &Result{TrendPctYr: math.NaN(), TrendLow: math.NaN(), TrendHigh: math.NaN()}
	for _, c := range []struct {
		what       string
		typical    sky.Factor
		gain       float64
		level      healthyLevel
		said       string
		factor, sd float64
	}{
		{"nobody around, nothing of its own", sky.Factor{Value: math.NaN()}, 0, healthyLevel{math.NaN(), math.NaN()}, "", 1, 0.08},
		{"nine around", sky.Factor{Value: 0.9, SD: 0.045, Sites: 9}, 0, healthyLevel{math.NaN(), math.NaN()}, "", 0.9, 0.08},
		{"ten around", sky.Factor{Value: 0.9, SD: 0.045, Sites: 10}, 0, healthyLevel{math.NaN(), math.NaN()}, "", 0.9, 0.05},
		{"ten alike", sky.Factor{Value: 0.9, SD: 0.009, Sites: 10, AgeYears: math.NaN()}, 0.002, healthyLevel{math.NaN(), math.NaN()}, "", 0.9, 0.03},
		{"five years old, 0.2 % a year less lost", sky.Factor{Value: 0.9, SD: 0.009, Sites: 10, AgeYears: 5}, 0.002, healthyLevel{math.NaN(), math.NaN()}, "", 0.9 * math.Exp(-0.01), 0.03},
		{"a register in doubt", sky.Factor{Value: 0.9, SD: 0.045, Sites: 10}, 0, healthyLevel{0.5, 0.01}, CapacityMismatch, 0.9, 0.05},
		{"modules that came", sky.Factor{Value: 0.9, SD: 0.045, Sites: 10}, 0, healthyLevel{0.5, 0.01}, UnregisteredModules, 0.9, 0.05},
		// own: 0.8, give or take √(0.015² + 0.02²) = 2.5 %; usual: 0.9, give or take 5 %: weights 4 to 1
		{"both", sky.Factor{Value: 0.9, SD: 0.045, Sites: 10}, 0, healthyLevel{0.8, 0.012}, "", 0.82, 0.025 * 2 / math.Sqrt(5)},
	} {
		v := box(10)
		young(&v)
		v.Sky.Typical, v.Sky.Ageing = c.typical, sky.Ageing{Gain: c.gain}
		notes := said{}
		if c.said != "" {
			notes.faults = []Fault{{Code: c.said}}
		}
		got := candidate(&v, c.level, none, &notes)
		closeTo(t, c.what, got.factor, c.factor, 1e-5)
		closeTo(t, c.what+", sd", got.sd, c.sd, 1e-5)
		if got.facing != v.model.Groups[0].Plane || got.source != sky.FromFleet {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	// two years' trend of 0.2 %, give or take as much as the fleet's 0.25: half of it, and its doubt is 0.25/√2
	v := box(730)
	v.model.Groups[0].From = v.Series.Start + 24*365 - 8766*4
	v.model.Groups[0].Born = v.model.Groups[0].From
	r := &Result{TrendPctYr: -0.8, TrendLow: -0.8 - 1.645*0.25, TrendHigh: -0.8 + 1.645*0.25}
	ratio, sd := asNew(&v, r)
	closeTo(t, "half of a trend", ratio, math.Exp(0.001*4), 1e-9)
	closeTo(t, "its doubt", sd, 4*0.0025/math.Sqrt2, 1e-9)
	v.Sky.Ageing.SD = 0.001
	_, sd = asNew(&v, r)
	closeTo(t, "with the fleet's", sd, 4*math.Sqrt(0.0025*0.0025/2+1e-6), 1e-9)
	// not dated: five years around less one year of half the readings, 0.6 % a year not granted
	v.model.Groups[0].From = 0
	v.Sky.Typical.AgeYears = 365./365.25 + 4
	ratio, sd = asNew(&v, r)
	closeTo(t, "not dated", ratio, math.Exp(0.006*4), 1e-9)
	closeTo(t, "its doubt", sd, 0.018, 1e-12)
	v.Sky.Typical.AgeYears = 0.9
	if ratio, sd := asNew(&v, r); ratio != 1 || sd != 0 {
		t.Errorf("younger than the readings: %v %v", ratio, sd)
	}
}

// Planes under arrays that were turned, by the array that stands on them.
func TestTurnedPlanes(t *testing.T) {
	v := box(3)
	v.Site.Arrays = []ingest.Array{{ID: "a", PlaneID: "p"}, {ID: "b"}, {ID: "c", PlaneID: "q"}}
	v.planes = []PlaneFit{{ArrayIDs: []string{"a"}, TiltDeg: 20, AzimuthDeg: 90, Estimated: true}, {ArrayIDs: []string{"b"}, TiltDeg: 20, AzimuthDeg: 80, Estimated: true}, {ArrayIDs: []string{"c"}, TiltDeg: 30, AzimuthDeg: 180}}
	if got := turnedPlanes(&v); len(got) != 1 || got["p"] != (sun.Plane{TiltDeg: 20, AzimuthDeg: 90}) {
		t.Errorf("%+v", got)
	}
}

// The sky of a year: what was lived, the month's mean where it is not known, and what
// share that is.
func TestLivedYear(t *testing.T) {
	v := box(60)
	v.Window = ingest.Window{Start: v.Series.Start, N: 24 * 60}
	v.Sky.K = unknown(24 * 60)
	for i := range v.Sky.K {
		switch d := i / 24; {
		case d < 20:
			v.Sky.K[i] = 0.8
		case d < 30:
			v.Sky.K[i] = 0.5
		}
		v.tempC[i] = float64(i)
	}
	y, say := v.lived()
	// January's mean: 20 days of 0.8 and 10 of 0.5; February has none and gets it, too
	for d, want := range map[int]float64{3: 0.8, 25: 0.5, 30: 0.7, 31: 0.7, 59: 0.7} {
		closeTo(t, "K", y.k[24*d+12], want, 1e-9)
	}
	closeTo(t, "filled", y.filled, 0.5, 1e-12)
	closeTo(t, "air", y.temp[100], 100, 0)
	if codes(say) != "sky_filled" || !strings.Contains(say.caveats[0].Says, "50 % of") {
		t.Errorf("%+v", say)
	}
	for days, want := range map[int]string{3: "", 4: "sky_filled"} { // 5 % of sixty days are three
		for i := range v.Sky.K {
			if v.Sky.K[i] = 0.8; i/24 < days {
				v.Sky.K[i] = math.NaN()
			}
		}
		if _, say := v.lived(); codes(say) != want {
			t.Errorf("%d days: %q", days, codes(say))
		}
	}
	// a window that begins ten days before the readings
	v.Window.Start -= 240
	v.Sun.Place = sun.Place{LatitudeDeg: 40}
	y, _ = v.lived()
	if y.sun.Start != v.Window.Start || y.sun.N != 24*60 || y.k[240+24*10+12] != 0.8 || y.temp[240+100] != 100 {
		t.Errorf("K %v, air %v", y.k[240+24*10+12], y.temp[240+100])
	}
	for _, c := range []struct {
		from, n int
		same    bool
	}{{0, 1440, true}, {24, 1416, true}, {24, 1417, false}, {-1, 100, false}} {
		h := sunOver(v.Sun, ingest.Window{Start: v.Series.Start + ingest.Hour(c.from), N: c.n})
		if same := h.ClearGHI[12] == 1000 || h.ClearGHI[13] == 1000 && c.from == -1; same != c.same || h.N != c.n {
			t.Errorf("%+v: %v", c, h.ClearGHI[12])
		}
	}
	if got := monthlyK(v.Sun, unknown(1440)); got[3] != usualK {
		t.Errorf("nothing known: %v", got)
	}
	half := box(1)
	half.k[8], half.k[12] = 0.5, math.NaN() // weighted by the light: 300 of 4,200 at a half
	closeTo(t, "by light", monthlyK(half.Sun, half.k)[0], (4200-150)/4200., 1e-12)
}

// A lone array's own word carries to its healthy factor, where the two are within 12 %.
func TestLivedSkyOfALoneArray(t *testing.T) {
	v := box(1)
	v.Sky.K, v.Sky.SelfFactor, v.factor = []float64{0.8, 1.3, math.NaN()}, 0.9, 1
	closeTo(t, "of the fleet", v.livedK(0), 0.8, 0)
	closeTo(t, "of the fleet, bright", v.livedK(1), 1.3, 0)
	v.alone = true
	closeTo(t, "alone", v.livedK(0), 0.72, 1e-12)
	closeTo(t, "bright", v.livedK(1), 1.15, 1e-12)
	if !math.IsNaN(v.livedK(2)) {
		t.Error("not known")
	}
	for self, want := range map[float64]float64{math.Exp(0.119): 0.8 * math.Exp(0.119), math.Exp(-0.119): 0.8 * math.Exp(-0.119), math.Exp(0.121): 0.8, math.Exp(-0.121): 0.8} {
		v.Sky.SelfFactor = self
		closeTo(t, "further apart", v.livedK(0), want, 1e-9)
	}
}

// The year as mended, with what was added: 1.25 of 5.2 kWh a day.
func TestYearOfTheBox(t *testing.T) {
	v := box(40)
	v.Window = ingest.Window{Start: v.Series.Start, N: 24 * 30}
	v.factor, v.grown = 0.8, 0.25
	var r Result
	r.candidate.lived, _ = v.lived()
	r.year(v)
	closeTo(t, "kWh", r.ExpectedKWhYr, 30*boxDay, 1e-6)
	if len(r.YearWh) != 720 || math.Abs(r.YearWh[12]-1000) > 1e-6 {
		t.Errorf("%d hours", len(r.YearWh))
	}
}

// The part of the report year between two times.
func TestShareOfYear(t *testing.T) {
	w := ingest.Window{Start: ingest.HourOf(boxDate(0)), N: 8760}
	for _, c := range []struct {
		from, to int
		want     float64
	}{{0, 365, 1}, {-50, 500, 1}, {73, 146, 0.2}, {-73, 73, 0.2}, {292, 400, 0.2}, {100, 100, 0}, {100, 50, 0}, {-100, -50, 0}, {400, 500, 0}} {
		closeTo(t, "share", shareOfYear(w, boxDate(c.from), boxDate(c.to)), c.want, 1e-12)
	}
	if got := shareOfYear(ingest.Window{}, boxDate(0), boxDate(9)); got != 0 {
		t.Errorf("no window: %v", got)
	}
	// hour by hour counts stand; what does not fit into the year shrinks; clipping does not
	r := Result{ExpectedKWhYr: 1000, ProductionIndex: math.NaN(), Faults: []Fault{
		{Code: Outage, KWhYr: 300, LossPct: 100, Live: true}, {Code: Shading, LossPct: 10, Live: true, Repairable: true}, {Code: Curtailment, KWhYr: 50, LossPct: 5, Repairable: true}, {Code: MeterDead, Live: true}}}
	r.price(w)
	for i, want := range [][2]float64{{300, 300}, {100, 100}, {50, 0}, {0, 0}} {
		closeTo(t, r.Faults[i].Code, r.Faults[i].KWhYr, want[0], 1e-9)
		closeTo(t, r.Faults[i].Code+" ahead", r.Faults[i].AheadKWhYr, want[1], 1e-9)
	}
	closeTo(t, "shortfall", r.ShortfallKWhYr, 100, 1e-9)
	if r.MeasuredKWhYr != 0 {
		t.Errorf("measured %v", r.MeasuredKWhYr)
	}
	r = Result{ExpectedKWhYr: 1000, ProductionIndex: 1.2, Faults: []Fault{{Code: Shading, LossPct: 10, On: boxDate(0), Live: true}}}
	r.price(w)
	if r.Faults[0].KWhYr != 0 || r.Faults[0].AheadKWhYr != 100 || r.MeasuredKWhYr != 1200 {
		t.Errorf("more than expected: %+v", r.Faults[0])
	}
}

// What the register's watts are wrong by, in words; and what to look at first.
func TestWatts(t *testing.T) {
	v := box(3)
	v.Sky.Typical = sky.Factor{Value: 0.9, SD: 0.045, Sites: 10}
	v.Options.CapacityPct = 15
	say := findCapacity(v, healthyLevel{0.63, 0.7 * 0.9 * 0.03})
	if codes(say) != CapacityMismatch || !strings.Contains(say.faults[0].Says, "says 1.0 kW, the output fits 0.7 kW: a wrong entry") {
		t.Fatalf("%+v", say)
	}
	closeTo(t, "sure", say.faults[0].Confidence, 0.3+0.1*0.3/math.Hypot(0.05, 0.03), 1e-9)
	say = findCapacity(v, healthyLevel{1.35, 0.01})
	if !strings.HasSuffix(say.faults[0].Says, "1.5 kW") {
		t.Errorf("%+v", say)
	}
	for level, want := range map[float64]int{0.764: 1, 0.766: 0, 1.034: 0, 1.036: 1} { // 15 % of 0.9, with twice 5 %
		if say := findCapacity(v, healthyLevel{level, 1e-6}); len(say.faults) != want {
			t.Errorf("%v: %+v", level, say)
		}
	}
	v.Sky.Typical.SD = 0.09 // twice a tenth is a fifth
	for level, want := range map[float64]int{0.719: 1, 0.721: 0} {
		if say := findCapacity(v, healthyLevel{level, 1e-6}); len(say.faults) != want {
			t.Errorf("%v: %+v", level, say)
		}
	}
	v.Sky.Typical = sky.Factor{Value: math.NaN(), Sites: 20}
	for level, want := range map[float64]int{0.649: 1, 0.651: 0, 1.349: 0, 1.351: 1} { // a third of the usual 1, where nobody shows it
		if say := findCapacity(v, healthyLevel{level, 1e-6}); len(say.faults) != want {
			t.Errorf("%v: %+v", level, say)
		}
	}
	v.Options.CapacityPct = 40
	if say := findCapacity(v, healthyLevel{0.62, 1e-6}); say.faults != nil {
		t.Errorf("a wider limit that was set: %+v", say)
	}
	if got := verify(v, healthyLevel{0.5, 0}); got != "" {
		t.Errorf("a half: %s", got)
	}
	if got := verify(v, healthyLevel{0.499, 0}); !strings.Contains(got, "makes 50 % of") {
		t.Errorf("less: %s", got)
	}
	if got := verify(v, healthyLevel{math.NaN(), 0}); got != "" {
		t.Errorf("not known: %s", got)
	}
}

// The facing's doubt as one of the azimuth: at 30 degrees of tilt twice, and no flatter
// than 8.
func TestDoubtOfAnAzimuth(t *testing.T) {
	for tilt, want := range map[float64]float64{30: 10, 90: 5, 8: 5 / math.Sin(8*math.Pi/180), 2: 5 / math.Sin(8*math.Pi/180)} {
		closeTo(t, "doubt", azimuthSD(&sky.FacingFit{Plane: sun.Plane{TiltDeg: tilt}, SDDeg: 5}), want, 1e-9)
	}
	v := box(40)
	v.factor = 0.8
	closeTo(t, "unlikely", unlikely(&v), math.Log(1/0.8), 1e-9)
	for d := 0; d < 40; d += 2 {
		v = v.on(d, d+1, times(0.8))
	}
	v.factor = 1
	v = v.summed()
	// half the levels at 0.8, half at 1: 0.9, a tenth away, all of them
	closeTo(t, "spread", levelSpread(&v), 0.1/0.9, 1e-9)
}

// The whole judgement of the box, without an argument about its facing.
func TestTheBoxJudged(t *testing.T) {
	v := box(400)
	for i := range v.wh { // no two days alike, or the top is a flat one
		v.wh[i] *= 0.98 + 0.001*float64(i/24%41)
	}
	site := *v.Site
	site.Arrays = []ingest.Array{{ID: "main", Modules: 1, ModuleWatts: 1000, AzimuthDeg: 180, CommissionedOn: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)}}
	in := v.Input
	in.Site, in.Clock = &site, &sky.Clock{}
	in.Window = ingest.Window{Start: v.Series.Start + 24*35, N: 8760}
	r := Assess(in)
	if r.Refusal != "" || len(r.Faults) > 0 {
		t.Fatalf("%q, %+v", r.Refusal, r.Faults)
	}
	closeTo(t, "index", r.ProductionIndex, 1, 0.005)
	closeTo(t, "kW", r.CapacityKW, 1, 1e-9)
	closeTo(t, "made", r.MeasuredKWhYr, 365*boxDay, 10)
	closeTo(t, "expected", r.ExpectedKWhYr, 365*boxDay, 10)
	if !math.IsNaN(r.ACLimitKW) || r.IndexDays != 365 || len(r.ExpectedWh) != 9600 || len(r.Months) != 14 || r.Verify != "" {
		t.Errorf("limit %v, %d days, %d months, %q", r.ACLimitKW, r.IndexDays, len(r.Months), r.Verify)
	}
	in.Window = ingest.Window{}
	if r := Assess(in); r.Refusal == "" {
		t.Error("no report year, and no refusal")
	}
	in.Sky.Source, in.Window = sky.FromNone, ingest.Window{Start: v.Series.Start, N: 8760}
	if r := Assess(in); r.Refusal == "" {
		t.Error("no sky, and no refusal")
	}
}

// doubled is the box with an array of 2 kW.
func doubled(days int) view {
	v := box(days)
	v.model.Groups[0].Watts *= 2
	return v.summed()
}

// What depends on the array's size and on the factor that it is read with.
func TestSizesAndFactors(t *testing.T) {
	v := doubled(200)
	p := pts([2]float64{60, 1}, [2]float64{60, 1.5})
	if f := grownFault(&v, p, &rise{60, 1.5}); !strings.Contains(f.Says, "1.0 kW more than the 2.0 kW") {
		t.Errorf("%s", f.Says)
	}
	v.Sky.Typical = sky.Factor{Value: 0.8, SD: 0.01, Sites: 10}
	if say := findCapacity(v, healthyLevel{0.56, 0.001}); len(say.faults) != 1 || !strings.Contains(say.faults[0].Says, "says 2.0 kW, the output fits 1.4 kW") {
		t.Errorf("%+v", say.faults)
	}
	if got := verify(v, healthyLevel{0.399, 0}); !strings.Contains(got, "makes 50 % of") {
		t.Errorf("%q", got)
	}
	if got := verify(v, healthyLevel{0.4, 0}); got != "" {
		t.Errorf("%q", got)
	}
	// a level of 1 under a factor of 0.8 is 0.8 of what is usual, and fits nothing
	for _, c := range []struct {
		factor, before, after float64
		want                  bool
	}{{0.8, 1, 1.33, false}, {1.2, 1, 1.33, true}, {0.8, 1.2, 1.35, false}, {0.8, 1.2, 1.4, true}} {
		v := box(200)
		v.factor = c.factor
		p := pts([2]float64{60, c.before}, [2]float64{60, c.after})
		if got := growth(&v, p, []segment{{0, 60, c.before}, {60, 120, c.after}}, nil); (got != nil) != c.want {
			t.Errorf("%+v: %+v", c, got)
		}
	}
	b := box(3)
	b.Catalogue = &ingest.Catalogue{Inverters: []ingest.Inverter{{Model: "S", Kind: "string", ACWatts: 1000}}}
	b.Site.Arrays = []ingest.Array{{InverterModel: "S", Inverters: ingest.Some(4)}}
	if got := kOfN(&b, 0.25); !strings.Contains(got, "output is 25 % below") {
		t.Error(got)
	}
	b.Site.Arrays[0].Inverters = ingest.Opt[int]{}
	if got := kOfN(&b, 0.25); !strings.Contains(got, "output is 25 % below") {
		t.Error(got)
	}
}

// What is said of readings as they come.
func TestReadingsAsTheyCome(t *testing.T) {
	in := box(5).Input
	in.TempC = make([]float64, 120)
	if v, say := readHours(in); codes(say) != "" || v.alone || v.k == nil || v.wh[12] != 1000 {
		t.Errorf("%+v", say)
	}
	in.TempC = nil
	if _, say := readHours(in); codes(say) != "air_typical" {
		t.Errorf("no weather: %+v", say)
	}
	in.Sky.Source = sky.FromSelf
	if v, _ := readHours(in); !v.alone || v.k != nil {
		t.Error("a lone array's own sky")
	}
	in.Series = &ingest.Series{Start: in.Series.Start, StepMinutes: 60}
	if v, say := readHours(in); codes(say) != "no_production" || !math.IsNaN(v.wh[12]) {
		t.Errorf("no production: %+v", say)
	}
}

// A single hour a day at the registered limit is clipping where the output's own flat
// top stands there too; a flat top below it is none.
func TestFlatTopAtTheLimit(t *testing.T) {
	for top, want := range map[float64]int{895: 1, 870: 0} {
		v := box(120)
		v.limit(900)
		v = v.on(0, 120, func(hour int, wh float64) float64 {
			if hour == 11 {
				return top
			}
			return 0.6 * wh
		})
		for i := range v.wh { // no two days alike but for the top
			if i%24 != 11 {
				v.wh[i] *= 1 - 0.001*float64(i/24)
			}
		}
		v = v.summed()
		if say := findClipping(v, said{}); len(say.faults) != want {
			t.Errorf("a top at %v: %+v", top, say.faults)
		}
	}
}

// Ends of what is looked at: a trend needs a year between its first and last day, an
// outage is over with a twentieth of the output, a month's coverage is that of its light.
func TestEndsOfSteps(t *testing.T) {
	for days, want := range map[int]bool{445: false, 446: true} { // from day 80 on
		r := Result{TrendPctYr: math.NaN()}
		r.trend(box(days).on(0, 80, gone))
		if math.IsNaN(r.TrendPctYr) == want {
			t.Errorf("%d days: %v", days, r.TrendPctYr)
		}
	}
	for share, live := range map[float64]bool{0.04: true, 0.06: false} {
		_, say := findOutages(box(60).on(20, 30, times(0)).on(30, 60, times(share)))
		if len(say.faults) != 1 || say.faults[0].Live != live {
			t.Errorf("%v of it afterwards: %+v", share, say.faults)
		}
	}
	v := box(31).on(3, 4, func(hour int, wh float64) float64 {
		if wh > 0 {
			return math.NaN()
		}
		return wh
	})
	closeTo(t, "coverage", months(&v)[0].CoveragePct, 100*30./31, 1e-9)
}
