package array

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// with gives the box another channel.
func (v view) with(c ingest.Channel, wh []float64) view {
	own, series := *v.record, *v.Series
	series.Wh[c], own.Series = wh, &series
	v.record = &own
	return v
}

// Ten days on which the output stands for two hours between 98.5 and 102 % of the limit
// are clipping, where that costs half a per cent.
func TestClippingByHand(t *testing.T) {
	// At a limit of 900 W two hours of 1,000 stand at it: 200 of 5,200 Wh a day are lost.
	clip := func(days int, at float64) view {
		v := box(100)
		v.limit(900)
		v = v.on(0, 100, times(0.9)).on(0, days, func(hour int, wh float64) float64 {
			if hour == 11 || hour == 12 {
				return at
			}
			return wh
		})
		return v
	}
	for _, c := range []struct {
		what string
		v    view
		want int
	}{
		{"ten days", clip(10, 895), 10}, {"nine days", clip(9, 895), 0}, {"98.5 %", clip(10, 0.985*900), 10}, {"less", clip(10, 0.984*900), 0},
		{"102 %", clip(10, 1.02*900), 10}, {"more", clip(10, 1.021*900), 0},
		{"one hour a day", clip(0, 0).on(0, 10, func(hour int, wh float64) float64 {
			if hour == 11 {
				return 895
			}
			return min(wh, 870)
		}), 0},
	} {
		// other days stand at 0.9 of 1,000 as well, and must not
		c.v = c.v.on(max(c.want, 10), 100, func(_ int, wh float64) float64 { return min(wh, 700) })
		if c.want == 0 {
			c.v = c.v.on(9, 10, func(_ int, wh float64) float64 { return wh })
		}
		got := clippedSince(&c.v, 0, 900, false)
		if c.what == "nine days" {
			c.v = c.v.on(9, 10, times(0.5))
			got = clippedSince(&c.v, 0, 900, false)
			if got.days != 9 {
				t.Errorf("nine days: %d", got.days)
			}
			if say := findClipping(c.v, said{}); say.faults != nil {
				t.Errorf("nine days: %+v", say.faults)
			}
			continue
		}
		if got.days != c.want {
			t.Errorf("%s: %d days, want %d", c.what, got.days, c.want)
		}
	}
	v := clip(100, 900)
	got := clippedSince(&v, 0, 900, false)
	closeTo(t, "cost", got.cost, 100*200, 1e-6)
	closeTo(t, "due", got.due, 100*5000, 1e-6) // under the limit already
	if got.days != 100 || len(got.months) != 4 {
		t.Errorf("%d days in %d months", got.days, len(got.months))
	}
	if got := clippedSince(&v, 40, 900, false); got.days != 60 || math.Abs(got.cost-60*200) > 1e-6 {
		t.Errorf("from day 40 on: %+v", got)
	}
	say := findClipping(v, said{})
	if codes(say) != Clipping || !strings.Contains(say.faults[0].Says, "the inverters' limit of 0.9 kW on 100 days") {
		t.Fatalf("%+v", say)
	}
	closeTo(t, "loss", say.faults[0].LossPct, 4, 1e-6)
	closeTo(t, "kWh a year", say.faults[0].KWhYr, 20*365.25/100, 1e-6)
	if !say.faults[0].Live {
		t.Error("clipping is over")
	}
	if !math.IsNaN(sky.FlatTop(box(30).wh)) && yearShare(0) != 0 {
		t.Error("no days")
	}
	for days, want := range map[int]float64{-3: 0, 0: 0, 50: 7.305, 366: 1} {
		closeTo(t, "share of a year", yearShare(days), want, 1e-12)
	}
}

// Where the register knows no limit, a flat top in three months is one, unless something
// else holds the output.
func TestClippingWithoutALimit(t *testing.T) {
	flat := func(days int) view {
		v := box(120)
		for i := range v.wh {
			v.wh[i] *= 0.9 + 0.001*float64(i/24%60)
			if i/24 >= days {
				v.wh[i] *= 0.75
			}
			v.wh[i] = min(820, v.wh[i])
		}
		return v.summed()
	}
	if say := findClipping(flat(100), said{}); codes(say) != Clipping || !strings.Contains(say.faults[0].Says, "does not know") || !strings.Contains(say.faults[0].Says, "0.8 kW") {
		t.Errorf("four months: %+v", say)
	}
	if say := findClipping(flat(55), said{}); say.faults != nil {
		t.Errorf("two months: %+v", say)
	}
	if say := findClipping(flat(100), said{faults: []Fault{{Code: Curtailment}}}); say.faults != nil {
		t.Errorf("held by something else: %+v", say)
	}
	if say := findClipping(flat(0), said{}); say.faults != nil {
		t.Errorf("free: %+v", say)
	}
}

// held is the box with its output held at 600 W over some days.
func held(from, to int) view {
	return box(120).on(from, to, func(_ int, wh float64) float64 { return min(wh, 600) })
}

func TestCurtailmentByHand(t *testing.T) {
	v := held(20, 50)
	w, say := findCurtailment(v)
	if codes(say) != Curtailment {
		t.Fatalf("%+v", say)
	}
	f := say.faults[0]
	if !f.On.Equal(boxDate(20)) || !f.OnLow.Equal(f.On) || !f.OnHigh.Equal(f.On) || f.Live || !f.Until.Equal(boxDate(50)) || !strings.Contains(f.Says, "output stands at 0.6 kW on 30 days") {
		t.Errorf("%+v", f)
	}
	// 200 + 400 + 400 + 200 Wh a day for thirty days, of what was due since
	closeTo(t, "kWh", f.KWhYr, 30*1.2, 1e-6)
	closeTo(t, "loss", f.LossPct, 100*30*1.2/(100*boxDay), 1e-6)
	closeTo(t, "confidence", f.Confidence, 0.8, 1e-9)
	for hour, want := range map[int]bool{9: false, 10: true, 11: true, 13: true, 14: false, 3: false} {
		if w.masked[24*30+hour] != want || w.masked[24*10+hour] || w.masked[24*50+hour] {
			t.Errorf("hour %d: masked %v", hour, w.masked[24*30+hour])
		}
	}
	if _, say := findCurtailment(held(20, 29)); say.faults != nil {
		t.Errorf("nine days: %+v", say.faults)
	}
	if _, say := findCurtailment(box(120)); say.faults != nil {
		t.Errorf("free: %+v", say.faults)
	}
	if _, say := findCurtailment(held(70, 120)); len(say.faults) != 1 || !say.faults[0].Live || !say.faults[0].Until.IsZero() {
		t.Errorf("to the end: %+v", say.faults)
	}
	if _, say := findCurtailment(held(0, 50)); len(say.faults) != 1 || !say.faults[0].On.IsZero() || !say.faults[0].OnHigh.IsZero() {
		t.Errorf("since before the data: %+v", say.faults)
	}
}

// What holds a day, by hand: two hours within 3 % of the watts of the top, each lacking
// more than 7 % of what is due.
func TestHeldDays(t *testing.T) {
	at := func(d, from, to int, hour12 float64) view { // hours of day d stand at 600
		return box(40).on(0, 40, times(0.5)).on(d, d+1, func(hour int, wh float64) float64 {
			if hour >= from && hour < to {
				return 600
			}
			return 0.5 * wh
		}).on(5, 6, func(hour int, wh float64) float64 {
			if hour == 12 {
				return hour12
			}
			return wh
		})
	}
	for _, c := range []struct {
		what                      string
		v                         view
		days, first, last, before int
	}{
		{"two hours", at(20, 11, 13, 0), 1, 20, 20, -1},
		{"one hour", at(20, 11, 12, 0), 0, -1, 0, -1},
		{"above it before, by 3 %", at(20, 11, 13, 630), 1, 20, 20, -1},
		{"by more", at(20, 11, 13, 631), 1, 20, 20, 5},
		{"where nothing lacks", at(20, 9, 10, 0), 0, -1, 0, -1},
	} {
		got := heldAt(&c.v, c.v.wh, 600)
		if want := (heldDays{first: c.first, last: c.last, before: c.before, days: c.days}); got != want {
			t.Errorf("%s: %+v, want %+v", c.what, got, want)
		}
	}
	for near, want := range map[float64]int{630: 1, 631: 0, 570: 1, 569: 0} {
		v := at(20, 11, 13, 0)
		if got := heldAt(&v, v.wh, near); got.days != want {
			t.Errorf("top %v: %d days", near, got.days)
		}
	}
	// held, then free, then held: the ceiling came after the free day
	v := box(60).on(0, 60, times(0.5)).on(10, 20, func(_ int, wh float64) float64 { return min(2*wh, 600) }).
		on(25, 26, func(hour int, wh float64) float64 { return 2 * wh }).on(30, 45, func(_ int, wh float64) float64 { return min(2*wh, 600) })
	if got := heldAt(&v, v.wh, 600); got != (heldDays{first: 30, last: 44, before: 25, days: 15}) {
		t.Errorf("free between: %+v", got)
	}
	// 93 % of what is due lack nothing
	for share, want := range map[float64]int{0.931: 0, 0.929: 1} {
		v := box(40).on(0, 20, times(0.5)).on(21, 40, times(0.5)).on(20, 21, times(share))
		if got := heldAt(&v, v.wh, 1000*share); got.days != want {
			t.Errorf("%v of what is due: %+v", share, got)
		}
	}
	// free days after it say nothing of when it came
	v = box(60).on(0, 20, times(0.5)).on(20, 45, func(_ int, wh float64) float64 { return min(wh, 600) })
	if got := heldAt(&v, v.wh, 600); got != (heldDays{first: 20, last: 44, before: -1, days: 25}) {
		t.Errorf("free afterwards: %+v", got)
	}
}

// What a ceiling cost is what lacks in the report year; with sixty days gone it is over.
func TestCurtailmentsCost(t *testing.T) {
	v := box(400).on(0, 100, func(_ int, wh float64) float64 { return min(wh, 600) })
	all := func(int) bool { return true }
	f := curtailment(&v, heldDays{first: 0, last: 99, before: -1, days: 100}, all, "")
	closeTo(t, "kWh of 65 days of the year", f.KWhYr, 65*1.2, 1e-6) // 400 days less 365 are 35
	closeTo(t, "loss", f.LossPct, 100*65*1.2/(365*boxDay), 1e-6)
	closeTo(t, "sure", f.Confidence, 0.95, 1e-12)
	for _, c := range []struct {
		held heldDays
		on   bool
	}{{heldDays{first: 29, last: 99, before: -1}, false}, {heldDays{first: 30, last: 99, before: -1}, true}, {heldDays{first: 29, last: 99, before: 0}, true}} {
		f := curtailment(&v, c.held, all, "")
		if f.On.IsZero() == c.on {
			t.Errorf("%+v: %s", c.held, f.On)
		}
		if c.on && (!f.OnLow.Equal(boxDate(max(0, c.held.before+1))) || !f.OnHigh.Equal(boxDate(c.held.first))) {
			t.Errorf("%+v: from %s to %s", c.held, f.OnLow, f.OnHigh)
		}
	}
	for last, live := range map[int]bool{340: false, 341: true} {
		f := curtailment(&v, heldDays{first: 50, last: last, before: 20}, all, "")
		if f.Live != live || !live && !f.Until.Equal(boxDate(last+1)) {
			t.Errorf("to day %d of 400: %+v", last, f)
		}
	}
	none := curtailment(&v, heldDays{first: 50, last: 99, before: 20}, func(int) bool { return false }, "")
	if none.KWhYr != 0 || none.LossPct != 0 {
		t.Errorf("no hour: %+v", none)
	}
}

// The ceiling holds export where that is metered, else production less consumption, else
// production.
func TestWhatACeilingHolds(t *testing.T) {
	v := box(3)
	if y, what := ceilinged(&v); what != "output" || !slices.Equal(y, v.wh) {
		t.Error(what)
	}
	c := slices.Repeat([]float64{100}, 72)
	w := v.with(ingest.Consumption, c)
	if y, what := ceilinged(&w); !strings.Contains(what, "less consumption") || y[12] != 900 || y[0] != -100 {
		t.Error(what)
	}
	e := slices.Repeat([]float64{50}, 72)
	w = w.with(ingest.Export, e)
	if y, what := ceilinged(&w); what != "export" || y[12] != 50 {
		t.Error(what)
	}
	w.Series.StepMinutes = 61
	if y, _ := ceilinged(&w); y != nil {
		t.Error("sums of days have no ceiling")
	}
	empty := box(3).with(ingest.Production, unknown(72))
	if y, _ := ceilinged(&empty); y != nil {
		t.Error("no production")
	}
}

// The value at which missing hours gather: a fifth of twenty and more.
func TestPlateau(t *testing.T) {
	hours := func(days int, do func(hour int, wh float64) float64) view { return box(60).on(0, days, do) }
	at600 := func(hour int, wh float64) float64 {
		if hour == 11 || hour == 12 {
			return 600
		}
		return wh
	}
	v := hours(10, at600)
	closeTo(t, "twenty hours at 600", plateau(&v, v.wh), 600, 1e-9)
	v = hours(10, at600).on(3, 4, func(hour int, wh float64) float64 {
		if hour == 12 {
			return 1000
		}
		return wh
	})
	if got := plateau(&v, v.wh); !math.IsNaN(got) {
		t.Errorf("nineteen hours: %v", got)
	}
	// twenty hours at 600 and eighty that lie apart, a fifth; with eighty-one it is less
	for apart, want := range map[int]bool{80: true, 90: false} {
		n := 0
		v := hours(10, at600).on(10, 60, func(hour int, wh float64) float64 {
			if n < apart && (hour == 11 || hour == 12) {
				n++
				return 65 + 30*float64(n%15) // far below 600, in bins of their own
			}
			return wh
		})
		if got := plateau(&v, v.wh); math.IsNaN(got) == want {
			t.Errorf("%d apart: %v", apart, got)
		}
	}
	// what stands above a ceiling while the sky would give more: 15 % of those at it, and no more
	for above, want := range map[int]bool{3: true, 4: false} {
		n := 0
		v := hours(10, at600).on(20, 30, func(hour int, wh float64) float64 {
			if n < above && hour == 12 {
				n++
				return 700
			}
			return wh
		})
		if got := plateau(&v, v.wh); math.IsNaN(got) == want {
			t.Errorf("%d above: %v", above, got)
		}
	}
	for above, want := range map[float64]bool{644: true, 646: false} { // 1.5 steps of 30 W
		n := 0
		v := hours(10, at600).on(20, 30, func(hour int, wh float64) float64 {
			if n < 9 && hour == 12 {
				n++
				return above
			}
			return wh
		})
		if got := plateau(&v, v.wh); math.IsNaN(got) == want {
			t.Errorf("nine at %v: %v", above, got)
		}
	}
	// an hour of K = 0.6 tells nothing; nor one that lacks 7 %; nor 3 % of the watts; nor one near the inverters' limit
	v = hours(30, at600)
	v.k = slices.Repeat([]float64{0.6}, len(v.k))
	if got := plateau(&v, v.wh); !math.IsNaN(got) {
		t.Errorf("dull hours: %v", got)
	}
	for wh, want := range map[float64]bool{929: true, 931: false, 31: true, 29: false} {
		v := hours(30, func(hour int, was float64) float64 {
			if hour == 11 || hour == 12 {
				return wh
			}
			return was
		})
		if got := plateau(&v, v.wh); math.IsNaN(got) == want || want && math.Abs(got-wh) > 1e-9 {
			t.Errorf("at %v: %v", wh, got)
		}
	}
	for limit, want := range map[float64]bool{700: false, 710: true} { // 85 % of 706 are 600
		v := hours(30, at600)
		v.limit(limit)
		v.expected = slices.Clone(box(60).expected)
		if got := plateau(&v, v.wh); math.IsNaN(got) == want {
			t.Errorf("under a limit of %v: %v", limit, got)
		}
	}
}

// The factor is the median over days of what was made below the limit.
func TestFactorOfDays(t *testing.T) {
	v := box(60).on(0, 60, times(0.8))
	closeTo(t, "0.8", freeRatio(&v), 0.8, 1e-9)
	v.factor = 0.5
	v = v.summed()
	closeTo(t, "whatever it was taken for", freeRatio(&v), 0.8, 1e-9)
	for days, want := range map[int]bool{14: false, 15: true} {
		v := box(60).on(days, 60, gone)
		if got := freeRatio(&v); math.IsNaN(got) == want {
			t.Errorf("%d days: %v", days, got)
		}
	}
	// hours at 95 % of a limit of 840 are left out: the rest stands at 1
	v = box(60)
	v.limit(840)
	v = v.on(0, 60, func(_ int, wh float64) float64 { return min(wh, 600) }).on(0, 60, func(_ int, wh float64) float64 {
		if wh == 600 {
			return 400
		}
		return wh
	})
	// 800 of expectation are above 0.95 · 840 = 798: only 300 and 500 are left
	closeTo(t, "below the limit", freeRatio(&v), 1, 1e-9)
	// a day with a fifth of its energy in hours without output says nothing of the level
	for hour, want := range map[int]float64{11: 4200. / 5200, 9: 4700. / 5200} {
		v := box(30).on(0, 30, func(h int, wh float64) float64 {
			if h == hour {
				return 0
			}
			return wh
		})
		closeTo(t, "an empty hour", freeRatio(&v), want, 1e-9)
	}
	v = box(30).on(0, 30, func(h int, wh float64) float64 { // 1,100 of 5,200
		if h == 8 || h == 10 {
			return 0
		}
		return wh
	})
	if got := freeRatio(&v); !math.IsNaN(got) {
		t.Errorf("more than a fifth: %v", got)
	}
	v, say := calibrate(box(60).on(0, 60, times(0.7)))
	if closeTo(t, "calibrated", v.factor, 0.7, 1e-9); say.caveats != nil || math.Abs(v.day[3].level()-1) > 1e-9 {
		t.Errorf("%+v, level %v", say, v.day[3].level())
	}
	for factor, fits := range map[float64]bool{0.1: true, 0.0999: false, 4: true, 4.001: false} {
		if say, got := inScale(&v, factor); got != fits || (codes(say) == "production_out_of_scale") == fits {
			t.Errorf("factor %v: %v %+v", factor, got, say)
		}
	}
	v, say = calibrate(box(60).on(0, 60, times(1000)))
	if codes(say) != "production_out_of_scale" || v.factor != 1 || !math.IsNaN(v.wh[12]) {
		t.Errorf("a thousandfold: %+v, factor %v", say, v.factor)
	}
	if v, say := calibrate(box(60).on(0, 60, gone)); v.factor != 1 || say.caveats != nil {
		t.Errorf("never read: %+v, factor %v", say, v.factor)
	}
}

// A day's sum is laid out along what was expected of its hours.
func TestSumsOfDays(t *testing.T) {
	even := func(v view) view {
		v.wh = slices.Clone(v.wh)
		for d := range v.day {
			sum := sum(v.wh[24*d : 24*d+24])
			for i := 24 * d; i < 24*d+24; i++ {
				v.wh[i] = sum / 24
			}
		}
		return v.with(ingest.Production, v.wh)
	}
	v, say := daysOnly(even(box(40).on(5, 40, times(0.6)).on(7, 8, func(hour int, wh float64) float64 {
		if hour == 3 {
			return math.NaN()
		}
		return wh
	})))
	if codes(say) != "days_only" {
		t.Errorf("%+v", say)
	}
	for hour, want := range map[int]float64{8: 300, 12: 1000, 15: 300} {
		closeTo(t, "an hour", v.wh[24*3+hour], want, 1e-6)
		closeTo(t, "an hour of 0.6", v.wh[24*6+hour], 0.6*want, 1e-6)
		if !math.IsNaN(v.wh[24*7+hour]) {
			t.Error("a day with a missing hour")
		}
	}
	lone := even(box(40).on(5, 20, times(0.6)))
	lone.Sky.Source = sky.FromNone
	lone.Sky.SelfFactor = math.NaN()
	v, say = daysOnly(lone)
	if codes(say) != "days_only sky_from_itself" || !v.alone || lone.alone || v.Sky.Source != sky.FromSelf {
		t.Errorf("%+v", say)
	}
	// the best of the weeks around is 1: days of 0.6 are lived under 0.6, and are not clear
	closeTo(t, "lived", v.Sky.K[24*8+12], 0.6, 1e-9)
	closeTo(t, "lived on a clear day", v.Sky.K[24*2+12], 1, 1e-9)
	if !math.IsNaN(v.k[24*8+12]) || v.k[24*2+12] != 1 {
		t.Errorf("judged by %v and %v", v.k[24*8+12], v.k[24*2+12])
	}
}

// The limits of what the steps run on.
func TestStepsForReadings(t *testing.T) {
	for minutes, want := range map[int]int{60: 10, 61: 4, 1440: 4, 15: 10} {
		if got := len(stepsFor(&ingest.Series{StepMinutes: minutes})); got != want {
			t.Errorf("%d minutes: %d steps", minutes, got)
		}
	}
	if o := (Options{MinLossPct: -1, AzimuthDeg: 10}).withDefaults(); o != (Options{MinLossPct: 5, CapacityPct: 15, AzimuthDeg: 10, UsualFactor: 0.9}) {
		t.Errorf("%+v", o)
	}
	s := said{faults: []Fault{{Code: Outage}}}
	if !s.has(Outage) || s.has(Decline) {
		t.Error("what was said")
	}
}
