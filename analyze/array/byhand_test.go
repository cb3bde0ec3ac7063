package array

import (
	"math"
	"slices"
	"testing"
	"time"

	"rowen/analyze/sky"
	"rowen/ingest"
)

func closeTo(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

// A usable day has 0.7 of its energy measured, 0.7 of its sky known and a tenth of a
// clear day's light; its level needs three tenths, and three tenths of it in the open.
func TestWhatADayTells(t *testing.T) {
	good := day{measured: 8, expected: 10, full: 10, light: 50, known: 100, clear: 100, open: 4, openDue: 5}
	for _, c := range []struct {
		what         string
		change       func(*day)
		index, level float64
	}{
		{"as it should be", func(*day) {}, 0.8, 0.8},
		{"0.7 of it measured", func(d *day) { d.full = 10 / 0.7 }, 0.8, 0.8},
		{"less", func(d *day) { d.full = 14.3 }, math.NaN(), math.NaN()},
		{"nothing expected", func(d *day) { d.full, d.expected = 0, 0 }, math.NaN(), math.NaN()},
		{"0.7 of its sky known", func(d *day) { d.known, d.light = 70, 35 }, 0.8, 0.8},
		{"less", func(d *day) { d.known, d.light = 69, 35 }, math.NaN(), math.NaN()},
		{"no sky known", func(d *day) { d.known, d.clear = 0, 0 }, math.NaN(), math.NaN()},
		{"a tenth of the light", func(d *day) { d.light = 10 }, 0.8, math.NaN()},
		{"less", func(d *day) { d.light = 9.9 }, math.NaN(), math.NaN()},
		{"three tenths of the light", func(d *day) { d.light = 30 }, 0.8, 0.8},
		{"less", func(d *day) { d.light = 29 }, 0.8, math.NaN()},
		{"three tenths in the open", func(d *day) { d.open, d.openDue = 2.4, 3 }, 0.8, 0.8},
		{"less", func(d *day) { d.open, d.openDue = 2.3, 2.9 }, 0.8, math.NaN()},
		{"set aside", func(d *day) { d.aside = true }, 0.8, math.NaN()},
	} {
		d := good
		c.change(&d)
		for k, got := range [2]float64{d.index(), d.level()} {
			want := [2]float64{c.index, c.level}[k]
			if math.Abs(got-want) > 1e-12 || math.IsNaN(got) != math.IsNaN(want) {
				t.Errorf("%s: index %g, level %g", c.what, d.index(), d.level())
			}
		}
	}
	for k, want := range map[float64]float64{0.2: 0, 0.3: 0, 0.6: 0.5, 0.9: 1, 1.1: 1} {
		closeTo(t, "beam's part", beamPart(k), want, 1e-12)
	}
}

// Steps down are paired with the steps up that make them good, the last one first;
// what is made good in part stays open for the rest.
func TestStepsDownAndUp(t *testing.T) {
	levels := func(means ...float64) (segs []segment) {
		for i, m := range means {
			segs = append(segs, segment{10 * i, 10*i + 10, m})
		}
		return segs
	}
	for _, c := range []struct {
		what  string
		means []float64
		want  []drop
	}{
		{"a fault that was mended", []float64{1, 0.8, 1}, []drop{{from: 10, to: 20, was: 1, size: 0.2}}},
		{"one that lasts", []float64{1, 0.8}, []drop{{from: 10, to: 20, was: 1, size: 0.2}}},
		{"too small", []float64{1, 0.92, 1}, nil},
		{"small ones add up", []float64{1, 0.94, 0.88}, []drop{{from: 20, to: 30, was: 1, size: 0.12}}},
		{"one on top of another, both mended", []float64{1, 0.8, 0.6, 0.8, 1}, []drop{{from: 10, to: 40, was: 1, size: 0.2, under: true}, {from: 20, to: 30, was: 0.8, size: 0.2}}},
		{"both mended at once", []float64{1, 0.8, 0.6, 1}, []drop{{from: 10, to: 30, was: 1, size: 0.2, under: true}, {from: 20, to: 30, was: 0.8, size: 0.2}}},
		{"mended by a half", []float64{1, 0.8, 0.9}, []drop{{from: 10, to: 30, was: 1, size: 0.1}}},
		{"a rise alone", []float64{1, 1.3}, nil},
	} {
		n := 10 * len(c.means)
		got := drops(points{x: make([]float64, n)}, levels(c.means...), 0.1)
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			g, w := got[i], c.want[i]
			same = g.from == w.from && g.to == w.to && g.under == w.under && math.Abs(g.was-w.was) < 1e-12 && math.Abs(g.size-w.size) < 1e-12
		}
		if !same {
			t.Errorf("%s: %+v, want %+v", c.what, got, c.want)
		}
	}
}

// 4 points at 1 and 4 at 0 have a step and no cost; 1 1 0 1 0 0 is best cut after the
// second, or before the fifth: 4·3/16 = 0.75. A line that is level, falls and is level again is a slide.
func TestStepsAndSlides(t *testing.T) {
	closeTo(t, "a step", bestStep([]float64{1, 1, 1, 1, 0, 0, 0, 0}), 0, 1e-12)
	closeTo(t, "a ragged one", bestStep([]float64{1, 1, 0, 1, 0, 0}), 0.75, 1e-12)
	var p points
	for d := range 120 {
		x := 1.0
		if d >= 40 {
			x = max(0.7, 1-0.3*float64(d-40)/50)
		}
		p.day, p.x, p.w = append(p.day, d), append(p.x, x), append(p.w, 1)
	}
	closeTo(t, "the slide that it is", slideCost(p.x, p.day, 40, 90), 0, 1e-9)
	if c := slideCost(p.x, p.day, 40, 70); c < 0.01 {
		t.Errorf("a shorter slide costs %g", c)
	}
	if c := slideCost(p.x, p.day, 50, 50); !math.IsInf(c, 1) {
		t.Errorf("a slide of no length costs %g", c)
	}
	if ramp, on := isRamp(p, 0, 60, 120); !ramp || on < 34 || on > 46 {
		t.Errorf("a slide from day 40 on: %v from %d", ramp, on)
	}
	for d := range p.x {
		if p.x[d] = 1; d >= 60 {
			p.x[d] = 0.7
		}
	}
	if ramp, _ := isRamp(p, 0, 60, 120); ramp {
		t.Error("a step is called a slide")
	}
	if ramp, on := isRamp(p, 0, 60, 74); ramp || on != 60 {
		t.Error("fourteen points after it are too few")
	}
	p.w[0] = 3
	p.x[0], p.x[1] = 2, 1
	closeTo(t, "weighted mean", p.mean(0, 2), 7./4, 1e-12)
	closeTo(t, "weight", p.weight(0, 3), 5, 0)
	if over := p.over(2, 1); over.x[0] != 2 || over.x[1] != 0.5 || p.x[1] != 1 {
		t.Errorf("over a level: %v", over.x[:2])
	}
	if got := rollingMedian([]float64{5, 1, 9, 2}, 1); !slices.Equal(got, []float64{3, 5, 2, 5.5}) {
		t.Errorf("rolling median %v", got)
	}
	p.noise = 0.02 // a loss of 0.06 over three looks of a week's weather is three sigma
	closeTo(t, "certainty", p.certainty(0.06, 3), 0.5, 1e-12)
	closeTo(t, "of twelve sigma", p.certainty(0.24, 3), 0.95, 1e-12)
	closeTo(t, "of twice the noise in four times the days", p.certainty(0.06, 12), 0.65, 1e-12)
	closeTo(t, "at least", p.certainty(0.001, 3), 0.3, 0.06)
	closeTo(t, "at most", p.certainty(9, 3), 0.98, 0)
}

// Of a change by -0.2 the array's own clear days must show 0.4 of it, on three days
// on either side.
func TestSecondWitness(t *testing.T) {
	for _, c := range []struct {
		what   string
		inside float64
		days   int // inside
		around int
		want   bool
	}{
		{"all of it", 0.8, 5, 5, true}, {"0.4 of it", 0.9199, 5, 5, true}, {"less", 0.921, 5, 5, false}, {"the other way", 1.2, 5, 5, false},
		{"three days", 0.8, 3, 3, true}, {"two days", 0.8, 2, 5, false}, {"two days around", 0.8, 5, 2, false},
	} {
		w := &witness{ratio: slices.Repeat([]float64{math.NaN()}, 400)}
		for i := range c.days {
			w.ratio[200+i] = 2 * c.inside
		}
		for i := range c.around {
			w.ratio[199-i] = 2
		}
		w.ratio[79], w.ratio[330] = 0.5, 0.5 // beyond 120 days
		if got := w.confirms(200, 210, -0.2); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	if !(*witness)(nil).confirms(0, 1, -1) {
		t.Error("where nobody is asked nothing is denied")
	}
}

// Two hours of 1 kWh where 2 and 3 are expected, one that is not read and one by night:
// 2 of 5 kWh, two of three lit hours.
func TestMonthOfAnArray(t *testing.T) {
	m := monthSum{Month: Month{First: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}}
	m.add(1000, 2000, true)
	m.add(1000, 3000, true)
	m.add(math.NaN(), 5000, true)
	m.add(100, 0, false)
	out := m.closed(nil)
	closeTo(t, "measured", out[0].MeasuredKWh, 2.1, 1e-12)
	closeTo(t, "expected", out[0].ExpectedKWh, 10, 1e-12)
	closeTo(t, "index", out[0].ProductionIndex, 0.4, 1e-12)
	closeTo(t, "coverage", out[0].CoveragePct, 200./3, 1e-9)
	m = monthSum{Month: Month{First: m.First}}
	m.add(1000, 2000, true)
	m.add(math.NaN(), 8000, true) // a fifth of what was expected
	if out := m.closed(nil); !math.IsNaN(out[0].ProductionIndex) {
		t.Errorf("an index of a fifth: %+v", out[0])
	}
	m = monthSum{Month: Month{First: m.First}}
	m.add(math.NaN(), 2000, true)
	if out := m.closed(nil); !math.IsNaN(out[0].MeasuredKWh) || out[0].CoveragePct != 0 {
		t.Errorf("nothing read: %+v", out[0])
	}
	if out := (&monthSum{}).closed(nil); out != nil {
		t.Errorf("no month: %+v", out)
	}
}

// A drift of -1 % a year beside a granted ageing of 0.6 is -1.6; the sky's own drift
// widens a half interval of 0.3 to √(0.3² + (1.645·0.12)²).
func TestTrendByHand(t *testing.T) {
	var r Result
	r.setTrend(-1, -1.3, -0.8)
	closeTo(t, "trend", r.TrendPctYr, -1.6, 1e-12)
	closeTo(t, "at least", r.TrendLow, -1.6-math.Hypot(0.3, 1.645*0.12), 1e-12)
	closeTo(t, "at most", r.TrendHigh, -1.6+math.Hypot(0.2, 1.645*0.12), 1e-12)
}

// Of arrays around that make 0.9 of their watts, give or take 0.03: one that makes 0.6 is
// off by a third; one of 0.8 by a ninth, which a limit of 10.1 % lets through only where
// it is two standard deviations.
func TestRegisteredWatts(t *testing.T) {
	for _, c := range []struct {
		what       string
		factor, sd float64
		typical    sky.Factor
		grown      float64
		found      bool
	}{
		{"a third less", 0.6, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0, true},
		{"a ninth less", 0.8, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0, true},
		{"a ninth less, and in doubt", 0.8, 0.05, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0, false},
		{"a tenth less", 0.81, 0.001, sky.Factor{Value: 0.9, SD: 0.003, Sites: 10}, 0, false},
		{"a fifth more", 1.08, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0, true},
		{"beside nine arrays", 0.6, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 9}, 0, false}, // 0.86 of them is usual, and a third is no more than chance
		{"half, beside nine", 0.43, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 9}, 0, true},
		{"modules came", 0.6, 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0.2, false},
		{"not known", math.NaN(), 0.01, sky.Factor{Value: 0.9, SD: 0.03, Sites: 10}, 0, false},
	} {
		v := view{record: new(record), grown: c.grown, model: &sky.Model{Groups: []sky.Group{{Watts: 5000}}}}
		v.Series = &ingest.Series{}
		v.Sky.Typical = c.typical
		v.Options.CapacityPct, v.Options.UsualFactor = 10.1, 0.86
		say := findCapacity(v, healthyLevel{c.factor, c.sd})
		if (len(say.faults) == 1) != c.found {
			t.Errorf("%s: %+v", c.what, say.faults)
		}
	}
}
