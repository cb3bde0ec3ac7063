package demand

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

func plain(seed uint64) home {
	return home{seed: seed, baseKWhDay: 22, growthPct: 2, heatSlope: 0.2, coolSlope: 1, noise: 0.12}
}

// whole fails where a result has a hole that it must not have.
func whole(t *testing.T, r Result, w ingest.Window) {
	t.Helper()
	if r.Refusal != "" {
		t.Fatalf("refused: %s", r.RefusalSays)
	}
	if len(r.NextYearWh) != w.N {
		t.Fatalf("next year has %d hours, want %d", len(r.NextYearWh), w.N)
	}
	sum := 0.0
	for i, v := range r.NextYearWh {
		if math.IsNaN(v) || v < 0 {
			t.Fatalf("next year's hour %d is %v", i, v)
		}
		sum += v / 1000
	}
	near(t, "sum of the hours", sum, r.NextYearKWh, 1e-6*sum)
	if !(r.NextYearLow <= r.NextYearKWh && r.NextYearKWh <= r.NextYearHigh) {
		t.Errorf("next year %v is not within %v..%v", r.NextYearKWh, r.NextYearLow, r.NextYearHigh)
	}
}

// What is no event: a hot summer, a gap, a long absence, holidays.
func TestNoEvents(t *testing.T) {
	for name, change := range map[string]func(*home){
		"nothing":      func(*home) {},
		"gap":          func(h *home) { h.gapFrom, h.gapDays = 600, 60 },
		"hot summer":   func(h *home) { h.hotYear = 600 },
		"absence":      func(h *home) { h.absentFrom, h.absentDays = 400, 90 },
		"holiday":      func(h *home) { h.absentFrom, h.absentDays = 800, 14 },
		"empty at end": func(h *home) { h.absentFrom, h.absentDays = 870, 60 },
	} {
		for _, withTemp := range []bool{true, false} {
			h := plain(3)
			change(&h)
			in := h.input(withTemp)
			r := Assess(in)
			whole(t, r, in.Window)
			if name == "hot summer" && !withTemp {
				continue // without a thermometer or a fleet nothing tells heat from habit
			}
			if len(r.Events) > 0 {
				t.Errorf("%s (temperatures %v): %s", name, withTemp, r.Events[0].Says)
			}
			if name == "empty at end" && !slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "stands_empty" }) {
				t.Errorf("%s is not said: %v", name, r.Caveats)
			}
			if a := r.AbsenceDays; (name == "absence" && (a < 80 || a > 95)) || (name == "nothing" && a > 0) {
				t.Errorf("%s: %d days of absence", name, a)
			}
		}
	}
}

// What is put in is found again, with its date, kind and energy.
func TestEventsAreFound(t *testing.T) {
	for _, c := range []struct {
		kind    string
		day     int
		kwhYear float64
		set     func(*home)
	}{
		{KindEV, 700, 8 * 365, func(h *home) { h.evFrom, h.evKWhDay = 700, 8 }},
		{KindPoolPump, 500, 7 * 1.3 * 365, func(h *home) { h.poolFrom = 500 }},
		{KindBaseload, 650, 0.25 * 8766, func(h *home) { h.baseloadFrom, h.baseloadW = 650, 250 }},
		{KindHeatPump, 560, math.NaN(), func(h *home) { h.hpFrom, h.hpSlope = 560, 1.5 }},
		{KindDeparture, 450, math.NaN(), func(h *home) { h.leftFrom, h.leftShare = 450, 0.3 }},
	} {
		for _, withTemp := range []bool{true, false} {
			h := plain(11)
			c.set(&h)
			in := h.input(withTemp)
			if c.kind == KindEV { // what this car really drew
				c.kwhYear = 0
				twin := plain(11).input(withTemp).Series.Wh[ingest.Consumption]
				for i, v := range in.Series.Wh[ingest.Consumption] {
					c.kwhYear += (v - twin[i]) / 1000 / float64(len(twin)/24-c.day) * 365
				}
			}
			r := Assess(in)
			whole(t, r, in.Window)
			if len(r.Events) != 1 {
				t.Errorf("%s (temperatures %v): %d events", c.kind, withTemp, len(r.Events))
				continue
			}
			e := r.Events[0]
			if e.Kind != c.kind {
				t.Errorf("%s (temperatures %v) was taken for: %s", c.kind, withTemp, e.Says)
			}
			if off := e.On.Sub(synthStart.AddDate(0, 0, c.day)).Hours() / 24; math.Abs(off) > 14 {
				t.Errorf("%s (temperatures %v) is %v days off", c.kind, withTemp, off)
			}
			if !math.IsNaN(c.kwhYear) && math.Abs(e.KWhYr/c.kwhYear-1) > 0.25 && (c.kwhYear < e.KWhYrLow || c.kwhYear > e.KWhYrHigh) {
				t.Errorf("%s (temperatures %v): %v kWh a year (%v..%v), put in %v", c.kind, withTemp, e.KWhYr, e.KWhYrLow, e.KWhYrHigh, c.kwhYear)
			}
		}
	}
}

// A car that came a quarter of a year before the end charges for twelve
// months: of 2920 kWh a year three quarters are carried on.
func TestNextYearCarriesTheCar(t *testing.T) {
	h := plain(21)
	h.evFrom, h.evKWhDay = 913-91, 8
	in := h.input(true)
	r := Assess(in)
	near(t, "carried, kWh", r.FromEventsKWh, 8*(365-91), 0.3*8*(365-91))
	h.evFrom = 0
	without := Assess(h.input(true))
	near(t, "the car in next year, kWh", r.NextYearKWh-without.NextYearKWh, 8*365, 0.3*8*365)
}

// A heat pump that came in March heats next winter, from October on.
func TestNextYearHeatsNextWinter(t *testing.T) {
	h := plain(22)
	h.hpFrom, h.hpSlope = 670, 1.5 // 2026-03-02 of readings that end in October
	in := h.input(true)
	r := Assess(in)
	h.hpFrom = 0
	without := Assess(h.input(true))
	winter := func(r Result) float64 { // November to February, the window's first 120 days
		sum := 0.0
		for _, v := range r.NextYearWh[:120*24] {
			sum += v / 1000
		}
		return sum
	}
	// About 12 K below 15 °C for 120 days.
	if more := winter(r) - winter(without); more < 0.6*1.5*12*120 {
		t.Errorf("next winter has %v kWh more, the heat pump needs about %v; events %v", more, 1.5*12*120, r.Events)
	}
}

// Consumption times c: levels times c, growth as it was.
func TestScaling(t *testing.T) {
	h := plain(31)
	h.evFrom, h.evKWhDay = 600, 10
	a := Assess(h.input(true))
	in := h.input(true)
	for i := range in.Series.Wh[ingest.Consumption] {
		in.Series.Wh[ingest.Consumption][i] *= 1.25
	}
	b := Assess(in)
	near(t, "level", b.LevelKWhYr, 1.25*a.LevelKWhYr, 1e-3*a.LevelKWhYr)
	near(t, "growth", b.GrowthPctYr, a.GrowthPctYr, 0.05)
	near(t, "next year", b.NextYearKWh, 1.25*a.NextYearKWh, 2e-3*a.NextYearKWh)
}

// The same readings four years later (1461 days are as many weeks less two
// days, so 28 years: 10227 days, whole weeks) say the same.
func TestShiftedByYears(t *testing.T) {
	h := plain(32)
	h.evFrom, h.evKWhDay = 600, 10
	in := h.input(true)
	a := Assess(in)
	in.Series.Start += 10227 * 24
	in.Window.Start += 10227 * 24
	b := Assess(in)
	near(t, "level", b.LevelKWhYr, a.LevelKWhYr, 2e-3*a.LevelKWhYr)
	near(t, "growth", b.GrowthPctYr, a.GrowthPctYr, 0.1)
	if len(a.Events) != len(b.Events) {
		t.Errorf("%d events, then %d", len(a.Events), len(b.Events))
	}
}

// A constant load from the beginning adds to the level, and no event comes of it.
func TestConstantBase(t *testing.T) {
	h := plain(33)
	a := Assess(h.input(true))
	in := h.input(true)
	for i := range in.Series.Wh[ingest.Consumption] {
		in.Series.Wh[ingest.Consumption][i] += 200
	}
	b := Assess(in)
	near(t, "level", b.LevelKWhYr-a.LevelKWhYr, 0.2*8760, 15)
	near(t, "growth, kWh a year", b.GrowthKWhYr, a.GrowthKWhYr, 0.2*math.Abs(a.GrowthKWhYr)+10)
	if len(b.Events) != len(a.Events) {
		t.Errorf("a constant load made events: %v", b.Events)
	}
}

func TestBasis(t *testing.T) {
	h := plain(41)
	s, _, w := h.make()
	n := s.Len()
	use := s.Wh[ingest.Consumption]
	production, imported, exported := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range use {
		if hour := i % 24; hour >= 8 && hour < 17 {
			production[i] = 1500
		}
		imported[i], exported[i] = math.Max(use[i]-production[i], 0), math.Max(production[i]-use[i], 0)
	}
	meter := Assess(Input{SiteID: "b", Series: s, Window: w})

	derived := &ingest.Series{Start: s.Start, StepMinutes: 60}
	derived.Wh[ingest.Production], derived.Wh[ingest.Import], derived.Wh[ingest.Export] = production, imported, exported
	r := Assess(Input{SiteID: "b", Series: derived, Window: w})
	if r.Basis != BasisDerived {
		t.Fatalf("basis %q", r.Basis)
	}
	near(t, "derived level", r.LevelKWhYr, meter.LevelKWhYr, 1e-6*meter.LevelKWhYr)
	near(t, "derived growth", r.GrowthPctYr, meter.GrowthPctYr, 1e-6)

	// A refused production meter leaves net figures, and says so.
	derived.Quality = []ingest.Quality{{Code: "stuck", Channel: ingest.Production, Consequence: ingest.RefuseChannel}}
	r = Assess(Input{SiteID: "b", Series: derived, Window: w})
	if r.Basis != BasisNet || !slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "net_only" }) {
		t.Errorf("basis %q, caveats %v", r.Basis, r.Caveats)
	}

	// Bills alone: the same use by month.
	var bills []ingest.Bill
	day := make([]float64, n/24)
	for i := range use {
		day[i/24] += use[i] / 1000
	}
	at := time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)
	for d := 0; d < len(day); {
		to := at.AddDate(0, 1, 0)
		b := ingest.Bill{From: at, To: to, ExportKWh: math.NaN()}
		for ; at.Before(to); at = at.AddDate(0, 0, 1) {
			b.ImportKWh += day[d]
			d++
		}
		bills = append(bills, b)
	}
	r = Assess(Input{SiteID: "b", Bills: bills, Window: w})
	if r.Basis != BasisBills {
		t.Fatalf("basis %q (%s)", r.Basis, r.RefusalSays)
	}
	whole(t, r, w)
	near(t, "billed level", r.LevelKWhYr, meter.LevelKWhYr, 0.02*meter.LevelKWhYr)
	if len(r.Events) > 0 {
		t.Errorf("bills made events: %v", r.Events[0].Says)
	}
}

func TestRefusals(t *testing.T) {
	if r := Assess(Input{SiteID: "none"}); r.Refusal != RefusedNoData {
		t.Errorf("no data: %q", r.Refusal)
	}
	h := plain(42)
	h.months = 6
	if r := Assess(h.input(true)); r.Refusal != RefusedTooShort {
		t.Errorf("six months: %q", r.Refusal)
	}
	h.months = 13
	in := h.input(true)
	r := Assess(in)
	whole(t, r, in.Window)
	if !math.IsNaN(r.GrowthPctYr) {
		t.Errorf("thirteen months gave a growth of %v", r.GrowthPctYr)
	}
}

// The same input gives the same result, and the input stays as it was.
func TestDeterministicAndUntouched(t *testing.T) {
	h := plain(51)
	h.evFrom, h.evKWhDay = 600, 9
	in, twin := h.input(true), h.input(true)
	a, b := Assess(in), Assess(in)
	opts := cmp.Options{cmpopts.EquateNaNs(), cmpopts.IgnoreUnexported(Event{})}
	if d := cmp.Diff(a, b, opts); d != "" {
		t.Error(d)
	}
	// A worker's memory, used by another site before, changes nothing.
	in.Scratch = new(Scratch)
	other := plain(52).input(true)
	other.Scratch = in.Scratch
	Assess(other)
	if d := cmp.Diff(a, Assess(in), opts); d != "" {
		t.Errorf("with memory used before: %s", d)
	}
	if d := cmp.Diff(in.Series.Wh, twin.Series.Wh, cmpopts.EquateNaNs()); d != "" {
		t.Error("the readings were changed")
	}
}

// The fleet's signal does not depend on the order of the sites.
func TestSeasonOrder(t *testing.T) {
	var homes []*ingest.Series
	for k := range 14 {
		s, _, _ := plain(uint64(100 + k)).make()
		homes = append(homes, s)
	}
	build := func(order []*ingest.Series) *fit.Signal {
		b := NewSeasonBuilder()
		for _, s := range order {
			b.Add(45, 9, ingest.NewCalendar(time.UTC, s.Start, s.Len()), s)
		}
		return b.Close().At(45, 9)
	}
	a := build(homes)
	slices.Reverse(homes)
	if d := cmp.Diff(a, build(homes), cmpopts.EquateNaNs()); d != "" {
		t.Error(d)
	}
	if a == nil || build(homes[:5]) != nil {
		t.Error("14 sites are enough and 5 are not")
	}
}
