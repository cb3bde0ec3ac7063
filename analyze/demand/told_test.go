package demand

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
	"rowen/analyze/stat"
	"rowen/ingest"
)

// metered is a household of n days from 2025-01-01 on whose hours are read as they are.
func metered(n int, wh []float64) *household {
	start := ingest.Hour(20089 * 24)
	in := &Input{Location: time.UTC, Scratch: new(Scratch), Series: &ingest.Series{Start: start, StepMinutes: 60}}
	c := ingest.NewCalendar(time.UTC, start, 24*n)
	b := basis{name: BasisMeter, wh: wh, gross: true}
	return &household{in: in, basis: b, calendar: c, days: daysOf(b, c, false)}
}

func date(d int) time.Time { return time.Date(2025, 1, 1+d, 0, 0, 0, 0, time.UTC) }

// What is doubted, at and around each limit.
func TestDoubtsByHand(t *testing.T) {
	clean := func() (*household, *change.Story, *Result) {
		s := flatStory(400, 24)
		s.Columns.Method, s.Columns.WeatherR, s.Columns.Measured = MethodDegreeDays, 0.9, slices.Repeat([]bool{true}, 400)
		return metered(400, make([]float64, 9600)), s, &Result{Growth: Growth{GrowthPctYr: 2, MatchedPctYr: 2}, Explained: Explained{FitCVRMSEPct: 20}, Outlook: Outlook{WindowPct: 100}}
	}
	has := func(do func(h *household, s *change.Story, r *Result)) []ingest.Caveat {
		h, s, r := clean()
		do(h, s, r)
		return caveatsOf(h, s, r)
	}
	if got := has(func(*household, *change.Story, *Result) {}); len(got) != 0 {
		t.Fatalf("nothing to doubt: %+v", got)
	}
	for _, c := range []struct {
		what string
		do   func(h *household, s *change.Story, r *Result)
		code string // "": none
		says string
	}{
		{"no growth", func(_ *household, _ *change.Story, r *Result) { r.GrowthPctYr = nan }, "growth_unknown", "span 400 days"},
		{"weather that does not go along", func(_ *household, s *change.Story, _ *Result) { s.Columns.WeatherR = fit.LeastR - 0.01 }, "weather_refused", ""},
		{"weather that just does", func(_ *household, s *change.Story, _ *Result) { s.Columns.WeatherR = fit.LeastR }, "", ""},
		{"41 of 400 days without a temperature", func(_ *household, s *change.Story, _ *Result) { clear(s.Columns.Measured[:41]) }, "weather_part", "359 of 400"},
		{"40 of 400", func(_ *household, s *change.Story, _ *Result) { clear(s.Columns.Measured[:40]) }, "", ""},
		{"a miss of 61 %", func(_ *household, _ *change.Story, r *Result) { r.FitCVRMSEPct = 61 }, "not_weather_explained", "61 %"},
		{"of 60 %", func(_ *household, _ *change.Story, r *Result) { r.FitCVRMSEPct = 60 }, "", ""},
		{"3.1 points apart", func(_ *household, _ *change.Story, r *Result) { r.MatchedPctYr = 5.1 }, "growth_methods_disagree", "2.0 % a year; the same months of two years compared give 5.1 %"},
		{"3.1 points below", func(_ *household, _ *change.Story, r *Result) { r.MatchedPctYr = -1.1 }, "growth_methods_disagree", ""},
		{"3 points apart", func(_ *household, _ *change.Story, r *Result) { r.MatchedPctYr = 5 }, "", ""},
		{"a tenth of the window filled", func(_ *household, _ *change.Story, r *Result) { r.WindowPct = 90 }, "", ""},
		{"more", func(_ *household, _ *change.Story, r *Result) { r.WindowPct = 88 }, "window_filled", "12 % of"},
		{"one day of absence", func(_ *household, _ *change.Story, r *Result) { r.AbsenceDays = 1 }, "absence", "1 days"},
		{"empty for a day", func(_ *household, s *change.Story, _ *Result) { s.Days.Absent[399] = true }, "stands_empty", "last 1 days"},
		{"sums of days", func(h *household, _ *change.Story, _ *Result) { h.in.Series.StepMinutes = 1440 }, "hours_assumed", ""},
		{"readings of 12 hours", func(h *household, _ *change.Story, _ *Result) { h.in.Series.StepMinutes = 720 }, "", ""},
		{"bills", func(h *household, _ *change.Story, _ *Result) { h.name = BasisBills }, "hours_assumed", ""},
	} {
		got := has(c.do)
		if c.code == "" && len(got) != 0 || c.code != "" && (len(got) != 1 || got[0].Code != c.code || !strings.Contains(got[0].Says, c.says)) {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	// all days of absence, to the first
	s := flatStory(3, 1)
	s.Days.Absent = []bool{true, true, true}
	if got := emptyAtEnd(s.Days); got != 3 {
		t.Errorf("empty all along: %d", got)
	}
}

// Residuals of 3 kWh on each of 100 counted days, of a mean of 10, with Params taken off:
// 100·√(900/(100 - p))/10.
func TestMissOfTheModel(t *testing.T) {
	s := flatStory(110, 10)
	for k := range 110 {
		s.Fit.Resid[k] = 3
		s.Days.Counted[k] = k < 100
	}
	s.Days.Recount()
	s.Fit.Params, s.Fit.HeatSlope, s.Fit.CoolSlope = 10, 1.5, 0.5
	r := explained(s)
	near(t, "CV(RMSE)", r.FitCVRMSEPct, 100*math.Sqrt(900./90)/10, 1e-9)
	if r.HeatingKWhPerKDay == r.HeatingKWhPerKDay || r.CoolingKWhPerKDay == r.CoolingKWhPerKDay {
		t.Errorf("%+v", r)
	}
	s.Columns.HasHeat, s.Columns.HasCool = true, true
	if r = explained(s); r.HeatingKWhPerKDay != 1.5 || r.CoolingKWhPerKDay != 0.5 {
		t.Errorf("%+v", r)
	}
	if got := countKnown([]float64{1, nan, 0, nan}); got != 2 {
		t.Errorf("%d known", got)
	}
}

// How sure a rate is: 0.6 at a score of 2, 0.8 at 5, 0.95 from 10 on.
func TestScoreOfARate(t *testing.T) {
	for score, want := range map[float64]float64{0: 0.6, 2: 0.6, 3.5: 0.7, 5: 0.8, 7.5: 0.875, 9.999: 0.94997, 10: 0.95, 50: 0.95} {
		near(t, "score", scoreOfRate(score), want, 1e-9)
	}
}

// What pulses say: a car, a load that left, and what is no car.
func TestVerdictOfPulses(t *testing.T) {
	came := pulse.Change{PerWeek: 3, BeforePerWeek: 0.3, MinKW: 3.5, Score: 10, EachKWh: 9}
	left := came
	left.Left = true
	for _, c := range []struct {
		what    string
		v       load.Verdict
		a       pulse.Change
		kind    string
		detail  string
		because string
	}{
		{"came", load.Verdict{Kind: KindOther}, came, KindEV, "", "loads of 3.5 kW and more began: about 3 a week, 0 before"},
		{"grew", load.Verdict{Kind: KindBaseload}, func() pulse.Change { a := came; a.BeforePerWeek = 0.31; return a }(), KindEV, "", "began or grew"},
		{"from two to five", load.Verdict{Kind: KindDeparture}, func() pulse.Change { a := came; a.BeforePerWeek = 2; return a }(), KindEV, "", "about 5 a week, 2 before"},
		{"with a name", load.Verdict{Kind: KindHeatPump, Detail: "x"}, came, KindHeatPump, "x", ""},
		{"left", load.Verdict{Kind: KindOther}, func() pulse.Change { a := left; a.BeforePerWeek = 2; return a }(), KindDeparture, "use_fell", "about 5 a week before, 2 since"},
		{"left, as the days say", load.Verdict{Kind: KindDeparture, Detail: "y"}, left, KindDeparture, "y", ""},
	} {
		got := ofPulses(c.v, &c.a, nil)
		if string(got.Kind) != string(c.kind) || got.Detail != c.detail || !strings.Contains(got.Because, c.because) {
			t.Errorf("%s: %+v", c.what, got)
		}
		if c.because != "" {
			near(t, c.what, got.Score, 0.95, 1e-12)
		}
	}
	// with date and energy: a fifth either way, or what the days say
	h := metered(100, make([]float64, 2400))
	var e Event
	a := pulse.Change{Day: 40, Low: 30, Top: 50, KWhYr: 1000}
	h.dateByRate(&e, &a, 0)
	if !e.On.Equal(date(40)) || !e.OnLow.Equal(date(30)) || !e.OnHigh.Equal(date(50)) || e.KWhYr != 1000 || e.KWhYrLow != 800 || e.KWhYrHigh != 1200 {
		t.Errorf("%+v", e)
	}
	a.Left = true
	h.dateByRate(&e, &a, 300)
	if e.KWhYr != -1000 || e.KWhYrLow != -1300 || e.KWhYrHigh != -700 {
		t.Errorf("%+v", e)
	}
	if got := h.eventsOfRates([]pulse.Change{a}); len(got) != 1 || got[0].Kind != KindDeparture || !got[0].Live || !got[0].On.Equal(date(40)) || !strings.Contains(got[0].Says, "Since about 2025-02-10:") {
		t.Errorf("%+v", got)
	}
	if got := h.eventsOfRates(nil); got != nil {
		t.Errorf("%+v", got)
	}
	// the known step of a rate is that of its day
	rates := []pulse.Change{{Day: 10}, {Day: 40, Left: true}, {Day: 45, Low: 42, Top: 48}}
	g := change.Group{Day: 40, Low: 38, Top: 42, Parts: change.Steps{{Step: fit.Step{Day: 10}}, {Step: fit.Step{Day: 40}, Known: true}}}
	if got := stepOf(rates, &g); got != &rates[1] {
		t.Errorf("%+v", got)
	}
	g.Parts[1].Known = false
	if got := stepOf(rates, &g); got != nil {
		t.Errorf("%+v", got)
	}
	columns := fit.Columns{Answers: []fit.Column{{What: fit.ToCold}, {What: fit.ToNothing, Year: 365.25}, {What: fit.ToNothing, Year: 365.25}}}
	g.Parts = change.Steps{{Step: fit.Step{Day: 40, Beta: 2, Column: 1}}}
	if got := arrivalNear(rates, &g, &columns); got != &rates[0] && got != &rates[2] {
		t.Errorf("%+v", got)
	}
	if got := arrivalNear(rates[1:2], &g, &columns); got != nil {
		t.Errorf("one that left: %+v", got)
	}
	// known steps enter the first column that follows nothing
	steps := knownSteps(rates, &columns)
	if len(steps) != 3 || steps[2].Column != 1 || steps[2].Day != 45 || steps[2].Low != 42 || steps[2].Top != 48 || !steps[2].Known {
		t.Errorf("%+v", steps)
	}
	// 45 days between the ranges are one change, 46 are two
	for d, want := range map[int]bool{42 + 45: true, 42 + 46: false, 38 - 45: true, 38 - 46: false} {
		r := pulse.Change{Low: d, Top: d, Day: d}
		if got := sameChange(&r, &g, &columns); got != want {
			t.Errorf("day %d: %v", d, got)
		}
	}
	g.Parts[0].Beta = 0
	if r := (pulse.Change{Low: 40, Top: 40}); !sameChange(&r, &g, &columns) {
		t.Error("a change of nothing is no fall")
	}
}

// Rates that are said: above their limits, within the days.
func TestIntervalsOfTheReadings(t *testing.T) {
	wh := make([]float64, 240)
	for i := range wh {
		wh[i] = float64(i)
	}
	h := metered(10, wh)
	v := h.intervals()
	if v.PerDay != 24 || len(v.KW) != 240 || v.KW[100] != 0.1 || v.FirstDay != 20089 || v.Cold != nil {
		t.Errorf("%d a day, %d in all, %v", v.PerDay, len(v.KW), v.KW[100])
	}
	// readings of 15 and 30 minutes that begin two hours before the days: 0.1 kWh in 15 minutes are 0.4 kW
	for _, minutes := range []int{15, 30} {
		per := 60 / minutes
		f := &ingest.Fine{Start: h.calendar.Start - 2, StepMinutes: minutes}
		for i := range 244 * per {
			f.Wh[ingest.Consumption] = append(f.Wh[ingest.Consumption], float32(i))
		}
		h.in.Series.Fine = f
		v := h.intervals()
		if v.PerDay != 24*per || len(v.KW) != 240*per {
			t.Fatalf("%d minutes: %d a day, %d in all", minutes, v.PerDay, len(v.KW))
		}
		for _, i := range []int{0, 5, 240*per - 1} {
			near(t, "kW", v.KW[i], float64(i+2*per)*float64(per)/1000, 1e-9)
		}
		f.Wh[ingest.Consumption] = f.Wh[ingest.Consumption][:100*per]
		if v := h.intervals(); !math.IsNaN(v.KW[98*per]) || math.IsNaN(v.KW[98*per-1]) {
			t.Error("where the finer readings end nothing is known")
		}
		f.Start = h.calendar.Start + 1
		if v := h.intervals(); !math.IsNaN(v.KW[per-1]) || v.KW[per] != 0 {
			t.Error("before the finer readings begin nothing is known")
		}
	}
	for _, minutes := range []int{5, 60} {
		h.in.Series.Fine.StepMinutes = minutes
		if v := h.intervals(); v.PerDay != 24 {
			t.Errorf("%d minutes: %d a day", minutes, v.PerDay)
		}
	}
	h.in.Series.Fine = nil
	// a net meter: imports tell
	h.gross, h.name = false, BasisNet
	if v := h.intervals(); v != nil {
		t.Error("no import, and intervals")
	}
	h.in.Series.Wh[ingest.Import] = slices.Repeat([]float64{500}, 200)
	if v := h.intervals(); v.KW[199] != 0.5 || !math.IsNaN(v.KW[200]) {
		t.Errorf("%v %v", v.KW[199], v.KW[200])
	}
	h.in.TempC = slices.Repeat([]float64{5}, 240)
	if v := h.intervals(); len(v.Cold) != 10 || v.Cold[9] != 10 || v.Hot[9] != 0 {
		t.Errorf("cold %v", v.Cold)
	}
	h.in.Series.StepMinutes = 1440
	if v := h.intervals(); v != nil {
		t.Error("sums of days have no intervals")
	}
	series := h.in.Series
	h.in.Series = nil
	if v := h.intervals(); v != nil {
		t.Error("no readings, and intervals")
	}
	h.in.Series = series
	// production plus import less export, as far as all are read
	f := &ingest.Fine{}
	f.Wh[ingest.Consumption] = []float32{9}
	f.Wh[ingest.Production], f.Wh[ingest.Import], f.Wh[ingest.Export] = []float32{5, 6, 7}, []float32{1, 2}, []float32{3, 4, 5, 6}
	h.name = BasisMeter
	if got := h.fineWh(f); !slices.Equal(got, []float32{9}) {
		t.Errorf("%v", got)
	}
	h.name = "derived"
	if got := h.fineWh(f); !slices.Equal(got, []float32{3, 4}) {
		t.Errorf("%v", got)
	}
	for _, c := range []ingest.Channel{ingest.Production, ingest.Import, ingest.Export} {
		was := f.Wh[c]
		f.Wh[c] = nil
		if got := h.fineWh(f); got != nil {
			t.Errorf("without %v: %v", c, got)
		}
		f.Wh[c] = was
	}
	if h.fine() != nil {
		t.Error("no finer readings, and some are told")
	}
}

// The shape of an event's hours: what rose, or fell, of the day; a usual day where nothing
// is known of it.
func TestHoursOfAnEvent(t *testing.T) {
	g := change.Group{Day: 7}
	sh := load.Shape{Known: true}
	sh.Delta[3], sh.Delta[4], sh.Delta[5] = 1, 3, -2
	p := profileOf(&g, &sh, false)
	if p.day != 7 || p.share[3] != 0.25 || p.share[4] != 0.75 || p.share[5] != 0 {
		t.Errorf("%+v", p)
	}
	if p := profileOf(&g, &sh, true); p.share[5] != 1 || p.share[3] != 0 {
		t.Errorf("what falls: %+v", p)
	}
	sh.Delta = [24]float64{}
	for what, p := range map[string]profile{"no hour rose": profileOf(&g, &sh, false), "not known": profileOf(&g, &load.Shape{}, false)} {
		for hour, v := range p.share {
			near(t, what, v, plainDay[hour], 1e-12)
		}
	}
	for _, c := range []struct {
		kind   string
		detail string
		want   bool
	}{{KindOther, "", true}, {KindOther, "net_fell", false}, {KindDeparture, "use_fell", true}, {KindDeparture, "", false}, {KindEV, "", false}, {KindEV, "use_fell", false}} {
		if got := unnamed(load.Verdict{Kind: c.kind, Detail: c.detail}); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// The share of a year that was seen: of a load that came 100 days before the end, those
// days and 45 to either side, 190 of 365.
func TestShareThatWasSeen(t *testing.T) {
	s := flatStory(800, 10)
	g := &change.Group{Day: 700, Parts: change.Steps{{Step: fit.Step{Day: 700, Beta: 2}}}}
	var p profile
	near(t, "share", seenShare(s, g, &p), 190./365, 1e-9)
	n := 0
	for _, is := range p.seen {
		if is {
			n++
		}
	}
	if n != 190 || !p.seen[(700-45)%365] || p.seen[(700-46)%365] || !p.seen[(799+45)%365] || p.seen[(799+46)%365] {
		t.Errorf("%d days are seen", n)
	}
	for d := 750; d < 800; d++ {
		s.Days.Counted[d] = false
	}
	near(t, "less is read", seenShare(s, g, &p), 140./365, 1e-9)
	g.Parts[0].Beta = -2
	near(t, "of what left", seenShare(s, g, &p), 140./365, 1e-9)
	g.Parts[0].Beta = 0
	near(t, "of nothing", seenShare(s, g, &p), 1, 0)
	g.Day, g.Parts[0].Beta = 300, 2
	near(t, "more than a year", seenShare(s, g, &p), 1, 0)
}

// Bills by hand: 300 kWh over thirty days are 10 a day; where export is billed too and the
// array is metered, what it made comes on top.
func TestBillsByHand(t *testing.T) {
	bill := func(from, to int, imported, exported float64) ingest.Bill {
		return ingest.Bill{From: date(from), To: date(to), ImportKWh: imported, ExportKWh: exported}
	}
	days := func() *fit.Days {
		d := &fit.Days{First: 20089, KWh: slices.Repeat([]float64{nan}, 60), Share: make([]float64, 60), Counted: make([]bool, 60), Absent: make([]bool, 60)}
		return d
	}
	made := slices.Repeat([]float64{4}, 60)
	for _, c := range []struct {
		what  string
		bill  ingest.Bill
		made  []float64
		from  int
		to    int
		kwh   float64
		gross bool
	}{
		{"imports alone", bill(0, 30, 300, nan), nil, 0, 30, 10, false},
		{"imports alone beside production", bill(0, 30, 300, nan), made, 0, 30, 10, false},
		{"with exports", bill(0, 30, 300, 60), nil, 0, 30, 8, true},
		{"with exports beside production", bill(0, 30, 300, 60), made, 0, 30, 12, true},
		{"up to the end", bill(50, 70, 200, 0), nil, 50, 60, 10, true},
		{"of no day", bill(5, 5, 300, 60), nil, 0, 0, 0, true},
		{"without a sum", bill(0, 30, nan, nan), nil, 0, 0, 0, true},
	} {
		d := days()
		if got := spread(d, c.bill, c.made); got != c.gross {
			t.Errorf("%s: gross %v", c.what, got)
		}
		for k, v := range d.KWh {
			in := k >= c.from && k < c.to
			if math.IsNaN(v) == in || in && (math.Abs(v-c.kwh) > 1e-9 || d.Share[k] != 1) || d.Counted[k] != in {
				t.Errorf("%s: day %d at %v", c.what, k, v)
			}
		}
	}
	d := days() // what one bill said another does not change
	spread(d, bill(0, 20, 200, nan), nil)
	spread(d, bill(10, 30, 600, nan), nil)
	if d.KWh[19] != 10 || d.KWh[20] != 30 {
		t.Errorf("%v and %v", d.KWh[19], d.KWh[20])
	}
	for missing, known := range map[int]bool{3: true, 4: false} { // nine tenths of thirty
		v := slices.Repeat([]float64{2}, 30)
		for k := range missing {
			v[k] = nan
		}
		if got := meanOfMost(v); math.IsNaN(got) == known || known && got != 2 {
			t.Errorf("%d of 30 missing: %v", missing, got)
		}
	}
	if lo, hi := spanOf([]ingest.Bill{bill(30, 60, 1, nan), bill(0, 30, 1, nan), bill(5, 9, 1, nan)}); lo != 20089 || hi != 20149 {
		t.Errorf("from %d to %d", lo, hi)
	}
	if lo, hi := spanOf(nil); lo != 0 || hi != 0 {
		t.Errorf("no bills: from %d to %d", lo, hi)
	}
	// the whole household: fewer than twelve bills, south of the equator
	for n, few := range map[int]bool{11: true, 12: false} {
		in := &Input{Location: time.UTC, Scratch: new(Scratch), LatitudeDeg: -30}
		for k := range n {
			in.Bills = append(in.Bills, bill(30*k, 30*k+30, 300, 0))
		}
		h := &household{in: in}
		h.readBills()
		codes := fmt.Sprint(h.caveats)
		if strings.Contains(codes, "bills_few") != few || !strings.Contains(codes, "bills_only") || !h.days.South || h.days.N() != 30*n || h.gross || h.days.KWh[100] != 10 || h.calendar.N != 720*n {
			t.Errorf("%d bills: %s, %d days, gross %v", n, codes, h.days.N(), h.gross)
		}
		if month, pct := h.billedMonth(h.calendar.Months()[1]); month != 280 || pct != 100 {
			t.Errorf("February: %v kWh, %v %%", month, pct)
		}
	}
	in := &Input{Location: time.UTC, Scratch: new(Scratch), LatitudeDeg: 0, Bills: []ingest.Bill{bill(0, 30, 300, 0)}}
	in.Series = &ingest.Series{Start: 20089*24 + 240, StepMinutes: 60}
	in.Series.Wh[ingest.Production] = slices.Repeat([]float64{100}, 24*30)
	h := &household{in: in}
	got := h.productionByDay(20089, 45)
	for d, v := range got {
		if known := d >= 10 && d < 40; math.IsNaN(v) == known || known && math.Abs(v-2.4) > 1e-12 {
			t.Errorf("day %d: %v kWh", d, v)
		}
	}
	if h.readBills(); h.days.South || !math.IsNaN(h.days.KWh[5]) { // ten days of thirty are not metered
		t.Errorf("on the equator: %v", h.days.KWh[5])
	}
	none := &household{in: &Input{Scratch: new(Scratch)}}
	if none.readBills(); none.days != nil {
		t.Error("no bills, and days")
	}
	// a change within a bill may lie anywhere in it
	h = &household{in: &Input{Bills: []ingest.Bill{bill(0, 30, 1, 1), bill(30, 60, 1, 1), bill(60, 90, 1, 1)}}, days: flatStory(90, 1).Days}
	for _, c := range [][4]int{{40, 50, 30, 60}, {30, 59, 0, 60}, {10, 70, 0, 89}, {0, 5, 0, 30}} {
		if low, high := h.billsAround(&change.Group{Low: c[0], Top: c[1]}); low != c[2] || high != c[3] {
			t.Errorf("%v: from %d to %d", c, low, high)
		}
	}
}

// The counts of a region by hand: a day at twice the home's median stands sixteen bins
// above the middle, at half of it sixteen below; days that are read in part, or empty,
// are not counted.
func TestCountsOfARegion(t *testing.T) {
	wh := slices.Repeat([]float64{1000}, 24*500)
	set := func(d int, v float64) {
		for i := 24 * d; i < 24*d+24; i++ {
			wh[i] = v
		}
	}
	set(50, 2001)
	set(51, 499)
	set(52, 0)
	set(53, 1e7)
	set(54, 0.01)
	for i := 24 * 55; i < 24*55+3; i++ { // 21 of 24 hours: 0.875
		wh[i] = nan
	}
	wh[24*56], wh[24*56+1] = nan, nan // 22 of 24: 0.917
	s := &ingest.Series{Start: 20089 * 24, StepMinutes: 60}
	s.Wh[ingest.Consumption] = wh
	b := NewSeasonBuilder()
	c := ingest.NewCalendar(time.UTC, s.Start, len(wh))
	b.Add(41, -3, c, s)
	counts := b.Counts()
	if len(counts) != 1 || counts[0].Lat != 10 || counts[0].Lon != -1 || counts[0].Homes.All.Sites != 1 || counts[0].Homes.Steady.Sites != 1 {
		t.Fatalf("%d regions", len(counts))
	}
	for _, kept := range []dayCounts{counts[0].Homes.All, counts[0].Homes.Steady} {
		for d, want := range map[int]int{0: 32, 50: 48, 51: 15, 52: -1, 53: 63, 54: 0, 55: -1, 56: 32, 499: 32} {
			for bin, n := range kept.Bins[d] {
				if is := bin == want; n != 0 && !is || is && n != 1 {
					t.Errorf("day %d: %d in bin %d", d, n, bin)
				}
			}
		}
	}
	// a home whose level moves by a fifth counts with all, not with those that keep theirs
	moved := &ingest.Series{Start: s.Start, StepMinutes: 60}
	moved.Wh[ingest.Consumption] = slices.Clone(wh)
	for i := 24 * 360; i < len(wh); i++ {
		moved.Wh[ingest.Consumption][i] *= 1.25
	}
	b.Add(41, -3, c, moved)
	counts = b.Counts()
	if counts[0].Homes.All.Sites != 2 || counts[0].Homes.Steady.Sites != 1 || counts[0].Homes.All.Bins[0][32] != 2 || counts[0].Homes.Steady.Bins[0][32] != 1 {
		t.Errorf("%d and %d homes", counts[0].Homes.All.Sites, counts[0].Homes.Steady.Sites)
	}
	// 364 days are less than a year
	for days, want := range map[int]int{364: 0, 365: 1} {
		b := NewSeasonBuilder()
		s := &ingest.Series{Start: 20089 * 24, StepMinutes: 60}
		s.Wh[ingest.Consumption] = slices.Repeat([]float64{1000}, 24*days)
		b.Add(41, -3, ingest.NewCalendar(time.UTC, s.Start, 24*days), s)
		if got := len(b.Counts()); got != want {
			t.Errorf("%d days: %d regions", days, got)
		}
	}
	// counts of other builders add up, whatever the days that they cover
	other := NewSeasonBuilder()
	early := &ingest.Series{Start: s.Start - 24*100, StepMinutes: 60}
	early.Wh[ingest.Consumption] = slices.Repeat([]float64{1000}, 24*700)
	other.Add(41, -3, ingest.NewCalendar(time.UTC, early.Start, 24*700), early)
	other.Join(b.Counts())
	all := other.Counts()[0].Homes.All
	if all.Sites != 3 || all.First != 20089-100 || len(all.Bins) != 700 || all.Bins[100][32] != 3 || all.Bins[99][32] != 1 || all.Bins[600][32] != 1 {
		t.Errorf("%d homes from %d over %d days", all.Sites, all.First, len(all.Bins))
	}
}

// The signal of twelve homes that keep their level and rise together by a bin, 4.4 %, a
// year: the rise is taken out, the season stays.
func TestSignalOfARegion(t *testing.T) {
	build := func(homes int) *Season {
		b := NewSeasonBuilder()
		for k := range homes {
			s := &ingest.Series{Start: 20089 * 24, StepMinutes: 60}
			for i := range 24 * 728 {
				d := float64(i / 24)
				s.Wh[ingest.Consumption] = append(s.Wh[ingest.Consumption], 1000*math.Exp(0.3*math.Cos(2*math.Pi*d/364)+math.Ln2/16*d/364+0.001*float64(k)))
			}
			b.Add(41, -3, ingest.NewCalendar(time.UTC, s.Start, 24*728), s)
		}
		return b.Close()
	}
	sig := build(12).At(43.9, -0.1)
	if sig == nil || sig.Sites != 12 || sig.First != 20089 || len(sig.Log) != 728 || build(12).At(44.1, -0.1) != nil || build(11).At(41, -3) != nil {
		t.Fatalf("%+v", sig != nil)
	}
	var off []float64
	for d := 0; d+364 < 728; d++ {
		off = append(off, sig.Log[d+364]-sig.Log[d])
	}
	near(t, "no rise is left", stat.Median(off), 0, 0.004)
	near(t, "winter over summer", sig.Log[364]-sig.Log[182], 0.6, 0.05)
	// from the day that rises are counted from 20089 - 12783 = 7306 days, and a year to the home's median
	near(t, "the first day", sig.Log[0], 0.3-math.Ln2/16*(7306+364)/364, 0.05)
	if (*Season)(nil).At(41, -3) != nil {
		t.Error("no season, and a signal")
	}
}

// Draws of 560 days of residuals that err one by one, with an sd of 1 and weights of
// 0.01: √560 hundredths, widened for twenty blocks by Student's t; with ten slow columns
// ten blocks are free.
func TestDrawsByHand(t *testing.T) {
	rng := stat.Rand(3)
	w, e, ones := slices.Repeat([]float64{0.01}, 560), make([]float64, 560), slices.Repeat([]float64{1}, 560)
	for k := range e {
		e[k] = float64(2*(k%2)-1) * (1 + 0.01*rng.Float64())
	}
	rng.Shuffle(len(e), func(i, j int) { e[i], e[j] = e[j], e[i] })
	plain := 0.0 // over all starts of a block
	for a := 0; a+28 <= 560; a++ {
		plain += math.Pow(sumOf(e[a:a+28])*0.01, 2) / 533
	}
	for slow, want := range map[int]float64{0: 1.7247 / 1.6449, 10: math.Sqrt2 * 1.8125 / 1.6449, 18: math.Sqrt(5) * 2.1318 / 1.6449} { // t of 20, 10 and 4, from tables
		draws := bootstrapDrift(w, e, ones, slow, 4000, 7)
		near(t, "sd", stat.SD(draws), want*math.Sqrt(20*plain), 0.05*want*math.Sqrt(20*plain))
	}
	// what all days have alike is no doubt
	for _, v := range bootstrapDrift(w, slices.Repeat([]float64{5}, 560), ones, 3, 20, 7) {
		near(t, "the same on all days", v, 0, 1e-9)
	}
	// days that weigh nothing add nothing: only the first block tells
	clear(w[28:])
	near(t, "the first block alone", stat.SD(bootstrapDrift(w, e, ones, 0, 4000, 7)), 1.7247/1.6449*math.Sqrt(plain), 0.05*1.05*math.Sqrt(plain))
}

// Where only days are known an hour is a usual day's share of them: of 24 kWh 1.512 at
// 20 o'clock by the table. Days before and after the readings are not measured.
func TestHoursOfDaysOnly(t *testing.T) {
	s := flatStory(400, 24)
	o := outlookAt(s, nil, -2, 5)
	o.in.Series.StepMinutes = 1440
	out := make([]float64, 120)
	if n := o.lived(out); n != 72 {
		t.Errorf("%d hours measured", n)
	}
	near(t, "at 20 o'clock", out[3*24+20], 24000*0.063, 1e-9)
	near(t, "a day", sumOf(out[:24]), 24000, 1e-6)
	s.Days.KWh[1] = nan
	if n := o.lived(out); n != 48 {
		t.Errorf("%d hours measured", n)
	}
	o = outlookAt(s, nil, 398, 5)
	o.in.Series.StepMinutes = 1440
	if n := o.lived(out); n != 48 {
		t.Errorf("%d hours measured at the end", n)
	}
}

// Months by hand: January with 0.8 of its hours read, February with all.
func TestMonthsByHand(t *testing.T) {
	wh := slices.Repeat([]float64{1000}, 24*59)
	for i := range 24 * 31 {
		if i%5 == 0 {
			wh[i] = nan
		}
	}
	h := metered(59, wh)
	h.in.Series.Wh[ingest.Import] = slices.Repeat([]float64{500}, 24*61)
	h.in.Series.Start -= 48 // two days of readings before the days
	clear(h.in.Series.Wh[ingest.Import][:48])
	m := h.months()
	if len(m) != 2 {
		t.Fatalf("%d months", len(m))
	}
	near(t, "January", m[0].ConsumptionKWh, 744, 1e-9)
	near(t, "its hours", m[0].DataPct, 100*595./744, 1e-9)
	near(t, "February", m[1].ConsumptionKWh, 672, 1e-9)
	near(t, "its hours", m[1].DataPct, 100, 1e-9)
	near(t, "imports", m[0].ImportKWh, 372, 1e-9)
	near(t, "imports", m[1].ImportKWh, 336, 1e-9)
	h.gross = false
	if m := h.months(); !math.IsNaN(m[1].ConsumptionKWh) || m[1].DataPct != 100 {
		t.Errorf("a net meter: %+v", m[1])
	}
}
