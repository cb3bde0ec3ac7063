package array

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// town is an invented fleet of healthy plain homes, whose physics shares no
// line with the analysis, with its field. Tests copy a site and break it.
var town = sync.OnceValue(func() *fleetWithField {
	o := demo.Default()
	o.Seed, o.Sites, o.Months, o.PlainHomes, o.Faults, o.Events = 501, 40, 24, true, 0, 0
	f := loadFleet(noTest{}, o)
	return &fleetWithField{f, f.field()}
})

type fleetWithField struct {
	*fleet
	field *sky.Field
}

// noTest stands in for a test where none is at hand: a failure panics.
type noTest struct{ testing.TB }

func (noTest) Helper()           {}
func (noTest) Fatal(args ...any) { panic(args) }

// simple gives the place in the fleet of a site with one array that does not
// clip.
func (f *fleetWithField) simple(t *testing.T) int {
	t.Helper()
	for i := range f.series {
		site := f.fleet.fleet.Site(f.series[i].SiteID)
		if len(site.Arrays) == 1 && f.made.Truth(site.ID).ClippedKWhYr < 5 && site.Arrays[0].Inverters.V > 8 && !f.made.Truth(site.ID).Snow {
			return i
		}
	}
	t.Fatal("no simple site in the fleet")
	return 0
}

// broken copies a site's readings, lets do change its production, and judges.
func (f *fleetWithField) broken(i int, do func(s *ingest.Series)) Result {
	s := clone(&f.series[i])
	do(s)
	site := f.fleet.fleet.Site(s.SiteID)
	return Assess(Input{Site: site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i],
		Sky: f.field.At(f.sun[i].Place, s.Start, s.Len(), nil), Window: f.made.Truth(site.ID).Window})
}

func clone(s *ingest.Series) *ingest.Series {
	c := *s
	for ch := range c.Wh {
		c.Wh[ch] = slices.Clone(c.Wh[ch])
	}
	return &c
}

// from is the place of a local date in a series.
func from(f *fleetWithField, i int, date string) int {
	site := f.fleet.fleet.Site(f.series[i].SiteID)
	t, err := time.ParseInLocation("2006-01-02", date, site.Location)
	if err != nil {
		panic(err)
	}
	return int(ingest.HourOf(t) - f.series[i].Start)
}

func find(r Result, code string) *Fault {
	for i := range r.Faults {
		if r.Faults[i].Code == code {
			return &r.Faults[i]
		}
	}
	return nil
}

func daysOff(t time.Time, date string) float64 {
	d, _ := time.ParseInLocation("2006-01-02", date, t.Location())
	return math.Abs(t.Sub(d).Hours() / 24)
}

func TestHealthyIsHealthy(t *testing.T) {
	f := town()
	called := 0
	for i := range f.series {
		r := f.broken(i, func(*ingest.Series) {})
		if r.Refusal != "" {
			t.Errorf("%s refused: %s", f.series[i].SiteID, r.Refusal)
		}
		if math.Abs(r.ProductionIndex-1) > 0.05 {
			t.Errorf("%s: index %.3f", f.series[i].SiteID, r.ProductionIndex)
		}
		for _, c := range r.Faults {
			if c.Code != Clipping {
				t.Logf("%s called %s: %s", f.series[i].SiteID, c.Code, c.Says)
				called++
				break
			}
		}
		truth := f.made.Truth(f.series[i].SiteID)
		if e := r.ExpectedKWhYr/truth.MendedKWhYr - 1; math.Abs(e) > 0.04 {
			t.Errorf("%s: year of %.0f kWh, truly %.0f: %+.1f %%", f.series[i].SiteID, r.ExpectedKWhYr, truth.MendedKWhYr, 100*e)
		}
		if len(r.YearWh) != truth.Window.N || slices.ContainsFunc(r.YearWh, func(v float64) bool { return !(v >= 0) }) {
			t.Errorf("%s: the year holds %d hours or a hole", f.series[i].SiteID, len(r.YearWh))
		}
	}
	if called > 1 {
		t.Errorf("%d of %d healthy arrays are called sick", called, len(f.series))
	}
}

func TestStepIsFoundDatedAndSized(t *testing.T) {
	f := town()
	i := f.simple(t)
	healthy := f.broken(i, func(*ingest.Series) {})
	for _, share := range []float64{0.10, 0.25, 0.5} {
		r := f.broken(i, func(s *ingest.Series) {
			for j := from(f, i, "2026-05-10"); j < s.Len(); j++ {
				s.Wh[ingest.Production][j] *= 1 - share
			}
		})
		c := find(r, InvertersDown)
		if c == nil {
			t.Errorf("loss of %.0f %%: found %v", 100*share, r.Faults)
			continue
		}
		if daysOff(c.On, "2026-05-10") > 3 || !c.Live || !c.Until.IsZero() {
			t.Errorf("loss of %.0f %%: on %v, live %v, until %v", 100*share, c.On, c.Live, c.Until)
		}
		if math.Abs(c.LossPct-100*share) > 2 {
			t.Errorf("loss of %.0f %% sized at %.1f %%", 100*share, c.LossPct)
		}
		if e := r.ExpectedKWhYr/healthy.ExpectedKWhYr - 1; math.Abs(e) > 0.01 {
			t.Errorf("loss of %.0f %%: the mended year moved by %.1f %%", 100*share, 100*e)
		}
		if e := r.ShortfallKWhYr/(share*healthy.ExpectedKWhYr) - 1; math.Abs(e) > 0.2 {
			t.Errorf("loss of %.0f %%: mending gives %.0f kWh a year, should be %.0f", 100*share, r.ShortfallKWhYr, share*healthy.ExpectedKWhYr)
		}
	}
}

func TestMendedFaultIsNotLive(t *testing.T) {
	f := town()
	i := f.simple(t)
	r := f.broken(i, func(s *ingest.Series) {
		for j := from(f, i, "2025-05-10"); j < from(f, i, "2025-08-20"); j++ {
			s.Wh[ingest.Production][j] *= 0.7
		}
	})
	c := find(r, InvertersDown)
	if c == nil {
		t.Fatalf("found %v", r.Faults)
	}
	if c.Live || daysOff(c.On, "2025-05-10") > 3 || daysOff(c.Until, "2025-08-20") > 3 || math.Abs(c.LossPct-30) > 2 {
		t.Errorf("got %+v", *c)
	}
	if r.ShortfallKWhYr != 0 {
		t.Errorf("mending what is mended gives %.0f kWh", r.ShortfallKWhYr)
	}
}

func TestOutageAndDeadMeter(t *testing.T) {
	f := town()
	i := f.simple(t)
	dark := func(s *ingest.Series) {
		for j := from(f, i, "2026-06-05"); j < from(f, i, "2026-06-25"); j++ {
			s.Wh[ingest.Production][j] = 0
			s.Wh[ingest.Export] = nil
		}
	}
	r := f.broken(i, dark)
	if c := find(r, Outage); c == nil || daysOff(c.On, "2026-06-05") > 0.1 || daysOff(c.Until, "2026-06-25") > 0.1 || c.Live {
		t.Errorf("twenty dark days: %+v", r.Faults)
	}
	// the same readings, but the house exported meanwhile: the meter, not the array
	r = f.broken(i, func(s *ingest.Series) {
		made := slices.Clone(s.Wh[ingest.Production])
		dark(s)
		s.Wh[ingest.Export] = made
	})
	if c := find(r, MeterDead); c == nil || find(r, Outage) != nil || daysOff(c.On, "2026-06-05") > 1 {
		t.Errorf("dark days with export: %+v", r.Faults)
	}
	// dead from the first day on
	r = f.broken(i, func(s *ingest.Series) {
		clear(s.Wh[ingest.Production])
		s.Wh[ingest.Export] = nil
	})
	if c := find(r, Outage); c == nil || !c.On.IsZero() || !c.Live || r.ProductionIndex != 0 {
		t.Errorf("dead since before the data: index %v, %+v", r.ProductionIndex, r.Faults)
	}
	if e := r.ShortfallKWhYr/f.made.Truth(f.series[i].SiteID).MendedKWhYr - 1; math.Abs(e) > 0.12 {
		t.Errorf("mending gives %.0f kWh", r.ShortfallKWhYr)
	}
	// one value day and night
	r = f.broken(i, func(s *ingest.Series) {
		for j := from(f, i, "2026-06-05"); j < from(f, i, "2026-06-25"); j++ {
			s.Wh[ingest.Production][j] = 1234
		}
	})
	if c := find(r, MeterDead); c == nil || c.Live || len(r.Faults) != 1 {
		t.Errorf("frozen meter: %+v", r.Faults)
	}
	// silence to the end
	r = f.broken(i, func(s *ingest.Series) {
		for j := from(f, i, "2026-08-01"); j < s.Len(); j++ {
			s.Wh[ingest.Production][j] = math.NaN()
		}
	})
	if c := find(r, MeterDead); c == nil || !c.Live || daysOff(c.On, "2026-08-01") > 1 || c.Repairable {
		t.Errorf("silent meter: %+v", r.Faults)
	}
	if r.ShortfallKWhYr != 0 || slices.ContainsFunc(r.YearWh, math.IsNaN) {
		t.Errorf("a silent meter must cost nothing and leave no hole: %.0f kWh", r.ShortfallKWhYr)
	}
}

func TestScalingScalesTheFactorOnly(t *testing.T) {
	f := town()
	i := f.simple(t)
	a := f.broken(i, func(*ingest.Series) {})
	b := f.broken(i, func(s *ingest.Series) {
		for j := range s.Wh[ingest.Production] {
			s.Wh[ingest.Production][j] *= 0.93
		}
	})
	if math.Abs(b.Factor/a.Factor-0.93) > 0.003 || math.Abs(b.ProductionIndex-a.ProductionIndex) > 0.003 {
		t.Errorf("factor %.4f to %.4f (times 0.93 wanted), index %.4f to %.4f (unchanged wanted)", a.Factor, b.Factor, a.ProductionIndex, b.ProductionIndex)
	}
}

func TestMissingHoursChangeLittle(t *testing.T) {
	f := town()
	i := f.simple(t)
	a := f.broken(i, func(*ingest.Series) {})
	b := f.broken(i, func(s *ingest.Series) {
		for j := range s.Wh[ingest.Production] {
			if j%11 == 0 || j/24%9 == 0 {
				s.Wh[ingest.Production][j] = math.NaN()
			}
		}
	})
	if math.Abs(a.ProductionIndex-b.ProductionIndex) > 0.01 || math.Abs(b.Factor/a.Factor-1) > 0.01 {
		t.Errorf("index %.4f and %.4f, factor %.4f and %.4f", a.ProductionIndex, b.ProductionIndex, a.Factor, b.Factor)
	}
}

func TestDeclineIsASlideAndATrend(t *testing.T) {
	f := town()
	i := f.simple(t)
	begin := from(f, i, "2025-07-01")
	r := f.broken(i, func(s *ingest.Series) {
		for j := begin; j < s.Len(); j++ {
			s.Wh[ingest.Production][j] *= 1 - 0.25*float64(j-begin)/float64(s.Len()-begin)
		}
	})
	c := find(r, Decline)
	if c == nil || !c.Live || c.LossPct < 15 {
		t.Errorf("a slide of a quarter: %+v", r.Faults)
	}
	if r.TrendPctYr > -5 {
		t.Errorf("trend %.1f %%/yr (%.1f to %.1f)", r.TrendPctYr, r.TrendLow, r.TrendHigh)
	}
	healthy := f.broken(i, func(*ingest.Series) {})
	truth := f.made.Truth(f.series[i].SiteID).AgeingPctYr
	if truth < healthy.TrendLow-1 || truth > healthy.TrendHigh+1 {
		t.Errorf("healthy trend %.2f (%.2f to %.2f) %%/yr, truly %.2f", healthy.TrendPctYr, healthy.TrendLow, healthy.TrendHigh, truth)
	}
}

func TestSwappedChannelsAndClock(t *testing.T) {
	f := town()
	i := f.simple(t)
	r := f.broken(i, func(s *ingest.Series) {
		p, c := s.Wh[ingest.Production], s.Wh[ingest.Consumption]
		for j := from(f, i, "2026-07-01"); j < from(f, i, "2026-08-01"); j++ {
			p[j], c[j] = c[j], p[j]
		}
	})
	if !hasCaveat(r, "production_by_night") {
		t.Errorf("swapped channels: caveats %v", r.Caveats)
	}
	r = f.broken(i, func(s *ingest.Series) {
		p := s.Wh[ingest.Production]
		copy(p[:len(p)-2], slices.Clone(p[2:]))
	})
	if !hasCaveat(r, "clock_off") || find(r, OrientationMismatch) != nil {
		t.Errorf("clock two hours early: caveats %v, faults %v", r.Caveats, r.Faults)
	}
}

func hasCaveat(r Result, code string) bool {
	return slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == code })
}

func TestWithoutProduction(t *testing.T) {
	f := town()
	i := f.simple(t)
	truth := f.made.Truth(f.series[i].SiteID)
	r := f.broken(i, func(s *ingest.Series) { s.Wh[ingest.Production] = nil })
	if r.Refusal != "" || !math.IsNaN(r.ProductionIndex) || !hasCaveat(r, "no_production") {
		t.Errorf("refusal %q, index %v, caveats %v", r.Refusal, r.ProductionIndex, r.Caveats)
	}
	if e := r.ExpectedKWhYr/truth.MendedKWhYr - 1; math.Abs(e) > 0.12 {
		t.Errorf("the register alone gives %.0f kWh, truly %.0f", r.ExpectedKWhYr, truth.MendedKWhYr)
	}
}

func TestRefusesWithoutArray(t *testing.T) {
	f := town()
	i := f.simple(t)
	site := *f.fleet.fleet.Site(f.series[i].SiteID)
	site.Arrays = nil
	r := Assess(Input{Site: &site, Catalogue: &f.fleet.fleet.Catalogue, Series: &f.series[i], Calendar: f.calendar(&f.series[i]), Sun: f.sun[i],
		Sky: f.field.At(f.sun[i].Place, f.series[i].Start, f.series[i].Len(), nil)})
	if r.Refusal == "" {
		t.Error("no array, and no refusal")
	}
	if u := r.ModuleOutput(ingest.Plane{TiltDeg: 20, AzimuthDeg: 180}, ingest.Module{Watts: 400}, ingest.Inverter{}); u.Wh != nil || !math.IsNaN(u.RelSD) {
		t.Error("a refused site must give no module output")
	}
}

func TestModuleOutput(t *testing.T) {
	f := town()
	i := f.simple(t)
	r := f.broken(i, func(*ingest.Series) {})
	plane := ingest.Plane{ID: "x", TiltDeg: 25, AzimuthDeg: 200, ShadingPct: 0}
	module := ingest.Module{Watts: 430, TempCoefficientPctPC: -0.34}
	inverter := ingest.Inverter{Kind: "micro", ACWatts: 300, EfficiencyPct: 97}
	u := r.ModuleOutput(plane, module, inverter)
	if len(u.Wh) != r.Year.N || slices.ContainsFunc(u.Wh, func(v float64) bool { return !(v >= 0 && v <= 300) }) {
		t.Error("hours missing, below zero or above the inverter's limit")
	}
	if slices.Max(u.Wh) != 300 {
		t.Errorf("430 W behind 300 W never reach the limit: %.0f", slices.Max(u.Wh))
	}
	free := inverter
	free.ACWatts = 1000
	big := r.ModuleOutput(plane, module, free)
	double := module
	double.Watts *= 2
	twice := r.ModuleOutput(plane, double, free)
	if e := sum(twice.Wh)/sum(big.Wh) - 2; math.Abs(e) > 1e-9 {
		t.Errorf("twice the watts give %.6f times the energy", 2+e)
	}
	shaded := plane
	shaded.ShadingPct = 10
	lost := 1 - sum(r.ModuleOutput(shaded, module, free).Wh)/sum(big.Wh)
	if lost < 0.04 || lost > 0.10 { // a tenth of the beam, and beam is half to nine tenths of the light
		t.Errorf("10 %% of the beam cost %.1f %%", 100*lost)
	}
	turned := plane
	turned.AzimuthDeg = 20
	back := r.ModuleOutput(turned, module, free)
	if back.RelSD <= big.RelSD || sum(back.Wh) >= sum(big.Wh) {
		t.Errorf("facing away: %.0f kWh sd %.3f against %.0f kWh sd %.3f", sum(back.Wh)/1000, back.RelSD, sum(big.Wh)/1000, big.RelSD)
	}
	unknown := plane
	unknown.TiltDeg = math.NaN()
	if u := r.ModuleOutput(unknown, module, inverter); u.Wh != nil {
		t.Error("a plane without tilt gives hours")
	}
}

// TestAssessLeavesItsInputAlone and gives the same again.
func TestAssessLeavesItsInputAlone(t *testing.T) {
	f := town()
	i := f.simple(t)
	before := clone(&f.series[i])
	a, b := f.assess(i, f.field), f.assess(i, f.field)
	if d := cmp.Diff(before.Wh, f.series[i].Wh, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("the readings changed:\n%s", d)
	}
	if d := cmp.Diff(a, b, cmpopts.EquateNaNs(), cmpopts.IgnoreUnexported(Result{})); d != "" {
		t.Errorf("judged twice, two results:\n%s", d)
	}
}

// TestCandidatesAgainstTruth compares the yearly output of a new module on
// every plane of the fleet with the generator's: the target wants 3 % in the
// median and 8 % for 95 of 100 where source and target face within 90 degrees.
func TestCandidatesAgainstTruth(t *testing.T) {
	f := town()
	module, inverter := *f.fleet.fleet.Catalogue.Module("TN-430"), *f.fleet.fleet.Catalogue.Inverter("KV2-410")
	var off []float64
	for i := range f.series[:20] {
		site := f.fleet.fleet.Site(f.series[i].SiteID)
		r := f.broken(i, func(*ingest.Series) {})
		for _, p := range site.Planes {
			if math.Abs(math.Remainder(p.AzimuthDeg-site.Arrays[0].AzimuthDeg, 360)) > 90 {
				continue
			}
			truth := f.made.CandidateTruth(site.ID, p.ID, module.Watts, module.TempCoefficientPctPC, inverter.ACWatts, r.Year)
			off = append(off, math.Abs(sum(r.ModuleOutput(p, module, inverter).Wh)/sum(truth)-1))
		}
	}
	slices.Sort(off)
	if mid, high := off[len(off)/2], off[len(off)*95/100]; mid > 0.03 || high > 0.08 {
		t.Errorf("of %d planes half are within %.1f %% and 95 of 100 within %.1f %%", len(off), 100*mid, 100*high)
	}
}

// TestDaysOnly: with nothing but sums of days the index stands, a step is
// found, and nothing that needs hours is said.
func TestDaysOnly(t *testing.T) {
	f := town()
	i := f.simple(t)
	hourly := f.broken(i, func(*ingest.Series) {})
	coarse := func(s *ingest.Series, share float64) {
		s.StepMinutes = 1440
		p := s.Wh[ingest.Production]
		cal := f.calendar(s)
		for d := range cal.Days() {
			lo, hi := cal.Day(d)
			total := sum(p[lo:hi])
			if lo >= from(f, i, "2026-05-10") {
				total *= share
			}
			for j := lo; j < hi; j++ {
				p[j] = total / float64(hi-lo)
			}
		}
	}
	r := f.broken(i, func(s *ingest.Series) { coarse(s, 1) })
	if math.Abs(r.ProductionIndex-hourly.ProductionIndex) > 0.01 || len(r.Faults) > 0 {
		t.Errorf("index %.3f by days, %.3f by hours; faults %v", r.ProductionIndex, hourly.ProductionIndex, r.Faults)
	}
	r = f.broken(i, func(s *ingest.Series) { coarse(s, 0.8) })
	if c := find(r, InvertersDown); c == nil || daysOff(c.On, "2026-05-10") > 3 || math.Abs(c.LossPct-20) > 2 {
		t.Errorf("a fifth lost: %v", r.Faults)
	}
}

// TestAloneIsJudgedByClearDays: without neighbours a step is still found.
func TestAloneIsJudgedByClearDays(t *testing.T) {
	f := town()
	i := f.simple(t)
	s := clone(&f.series[i])
	for j := from(f, i, "2026-03-10"); j < s.Len(); j++ {
		s.Wh[ingest.Production][j] *= 0.7
	}
	site := f.fleet.fleet.Site(s.SiteID)
	own, err := sky.FromSite(sky.Input{Site: site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i]})
	if err != nil {
		t.Fatal(err)
	}
	field := sky.NewField(sky.Options{})
	field.Add(own)
	field.Close()
	r := Assess(Input{Site: site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i],
		Sky: field.At(f.sun[i].Place, s.Start, s.Len(), &own), Window: f.made.Truth(site.ID).Window})
	if c := find(r, InvertersDown); c == nil || daysOff(c.On, "2026-03-10") > 15 || math.Abs(c.LossPct-30) > 5 {
		t.Errorf("three tenths lost: %v", r.Faults)
	}
	if !hasCaveat(r, "sky_from_itself") {
		t.Errorf("caveats %v", r.Caveats)
	}
	if e := r.ExpectedKWhYr/f.made.Truth(site.ID).MendedKWhYr - 1; math.Abs(e) > 0.1 {
		t.Errorf("the mended year is %+.1f %% off", 100*e)
	}
}

// TestGarbageDoesNotPanic feeds short, empty, wild and holed series: a number
// or a refusal may come out, a panic or an endless year may not.
func TestGarbageDoesNotPanic(t *testing.T) {
	f := town()
	rnd := rand.New(rand.NewPCG(11, 11))
	for try := range 300 {
		i := rnd.IntN(len(f.series))
		n := []int{0, 1, 5, 24, 100, 700, 3000}[rnd.IntN(7)]
		s := &ingest.Series{SiteID: f.series[i].SiteID, Start: f.series[i].Start + ingest.Hour(rnd.IntN(4000)), StepMinutes: []int{60, 15, 1440}[rnd.IntN(3)]}
		wh := make([]float64, n)
		for j := range wh {
			switch rnd.IntN(6) {
			case 0:
				wh[j] = math.NaN()
			case 1:
				wh[j] = 0
			case 2:
				wh[j] = -500 * rnd.Float64()
			case 3:
				wh[j] = 1e9 * rnd.Float64()
			default:
				wh[j] = 4000 * rnd.Float64()
			}
		}
		if try%10 != 0 {
			s.Wh[ingest.Production] = wh
		}
		s.Wh[ingest.Consumption] = make([]float64, n)
		site := *f.fleet.fleet.Site(s.SiteID)
		site.Arrays = slices.Clone(site.Arrays)
		switch try % 4 {
		case 1:
			site.Arrays[0].TiltDeg, site.Arrays[0].AzimuthDeg, site.Arrays[0].PlaneID = math.NaN(), math.NaN(), ""
		case 2:
			site.Arrays[0].ModuleWatts, site.Arrays[0].ModuleModel = math.NaN(), ""
		case 3:
			site.Arrays[0].InverterModel, site.Location = "", nil
		}
		h := sun.NewHours(f.sun[i].Place, s.Start, n, sun.SkyModel{})
		est, err := sky.FromSite(sky.Input{Site: &site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: ingest.NewCalendar(site.Location, s.Start, s.Len()), Sun: h})
		field := f.field
		var self *sky.Estimate
		if err == nil {
			self = &est
			if try%2 == 0 {
				field = sky.NewField(sky.Options{})
				field.Add(est)
				field.Close()
			}
		}
		w := f.made.Truth(site.ID).Window
		r := Assess(Input{Site: &site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: ingest.NewCalendar(site.Location, s.Start, s.Len()), Sun: h, Sky: field.At(h.Place, s.Start, n, self), Window: w})
		if r.Refusal == "" && (len(r.YearWh) != w.N || slices.ContainsFunc(r.YearWh, func(v float64) bool { return !(v >= 0 && v < 1e6) })) {
			t.Fatalf("try %d: the year has %d hours, or one that is none: %+v", try, len(r.YearWh), r.Factor)
		}
		if u := r.ModuleOutput(site.Planes[0], ingest.Module{Watts: 400}, ingest.Inverter{}); r.Refusal == "" && (slices.ContainsFunc(u.Wh, math.IsNaN) || math.IsNaN(u.RelSD)) {
			t.Fatalf("try %d: module output with holes, sd %v, factor %v", try, u.RelSD, r.Factor)
		}
	}
}
