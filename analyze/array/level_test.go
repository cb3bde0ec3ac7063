package array

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// pts are points a day apart, from runs of so many at a level.
func pts(runs ...[2]float64) (p points) {
	for _, r := range runs {
		for range int(r[0]) {
			p.day, p.x, p.w = append(p.day, len(p.x)), append(p.x, r[1]), append(p.w, 1)
		}
	}
	p.noise = 0.01
	return p
}

// The days' levels as points: their light over a clear day's, squared, is the weight, and
// a stray day is pulled in to three sigma of the eleven around.
func TestPointsOfDays(t *testing.T) {
	v := box(40).on(20, 21, times(0.5)).on(30, 31, gone)
	v.day = slices.Clone(v.day)
	v.day[10].light = 0.5 * v.day[10].known
	v.day[11].light = 1.1 * v.day[11].known
	p := v.levelPoints()
	if len(p.x) != 39 || p.day[29] != 29 || p.day[30] != 31 {
		t.Fatalf("%d points: %v", len(p.x), p.day)
	}
	closeTo(t, "weight of half the light", p.w[10], 0.25, 1e-9)
	closeTo(t, "weight of more than clear", p.w[11], 1, 1e-9)
	closeTo(t, "noise", p.noise, 0.005, 1e-12)
	closeTo(t, "a stray day", p.x[20], 1-0.015, 1e-9)
	v = box(40).on(20, 21, times(1.5))
	p = v.levelPoints()
	closeTo(t, "a stray day above", p.x[20], 1.015, 1e-9)
	// every other day 0.02 higher: differences of 0.02, MAD 0.02, 1.4826·0.02/√2
	v = box(41)
	for d := 0; d < 41; d += 2 {
		v = v.on(d, d+1, times(1.02))
	}
	p = v.levelPoints()
	closeTo(t, "noise", p.noise, 1.4826*0.02/math.Sqrt2, 1e-5)
}

// Levels within 3 % are one; of 1, 0.98 and 0.9 the first two.
func TestLevelsThatAreAlike(t *testing.T) {
	for _, c := range []struct {
		what string
		p    points
		want []segment
	}{
		{"one", pts([2]float64{60, 1}), []segment{{0, 60, 1}}},
		{"a step", pts([2]float64{30, 1}, [2]float64{30, 0.9}), []segment{{0, 30, 1}, {30, 60, 0.9}}},
		{"2 % are no step", pts([2]float64{30, 1}, [2]float64{30, 0.98}), []segment{{0, 60, 0.99}}},
		{"3.1 % are", pts([2]float64{30, 1}, [2]float64{30, 0.969}), []segment{{0, 30, 1}, {30, 60, 0.969}}},
		{"2 % and then 8 %", pts([2]float64{30, 1}, [2]float64{10, 0.98}, [2]float64{40, 0.9}), []segment{{0, 40, 0.995}, {40, 80, 0.9}}},
		{"up", pts([2]float64{30, 0.9}, [2]float64{30, 1}), []segment{{0, 30, 0.9}, {30, 60, 1}}},
		{"the nearer two", pts([2]float64{30, 1}, [2]float64{30, 0.975}, [2]float64{30, 0.956}), []segment{{0, 30, 1}, {30, 90, 0.9655}}},
	} {
		got := c.p.segments()
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			same = got[i].from == c.want[i].from && got[i].to == c.want[i].to && math.Abs(got[i].mean-c.want[i].mean) < 1e-9
		}
		if !same {
			t.Errorf("%s: %+v, want %+v", c.what, got, c.want)
		}
	}
}

// The healthy level is the highest that holds for a month of clear days, or an eighth of
// all; what is higher in the cold alone is snow on the others.
func TestHealthyLevel(t *testing.T) {
	v := box(400)
	cold := box(400)
	for i := range cold.tempC {
		if i < 24*60 {
			cold.tempC[i] = 0
		}
	}
	for _, c := range []struct {
		what string
		v    view
		p    points
		want float64
	}{
		{"one level", v, pts([2]float64{200, 0.9}), 0.9},
		{"thirty days of it", v, pts([2]float64{30, 1}, [2]float64{270, 0.9}), 1},
		{"29 days, and what comes next", v, pts([2]float64{29, 1}, [2]float64{271, 0.9}), 0.9},
		{"an eighth of eighty", v, pts([2]float64{10, 1}, [2]float64{70, 0.9}), 1},
		{"less of eighty", v, pts([2]float64{9, 1}, [2]float64{71, 0.9}), 0.9},
		{"eight of fewer", v, pts([2]float64{8, 1}, [2]float64{20, 0.9}), 1},
		{"seven", v, pts([2]float64{7, 1}, [2]float64{21, 0.9}), 0.9},
		{"with what is within 3 %", v, pts([2]float64{30, 1}, [2]float64{70, 0.975}, [2]float64{70, 0.8}), 0.975},
		{"and not with what is not", v, pts([2]float64{30, 1}, [2]float64{70, 0.969}, [2]float64{70, 0.8}), 1},
		{"14 % higher in the cold", cold, pts([2]float64{60, 1.14}, [2]float64{200, 1}), 1},
		{"16 %", cold, pts([2]float64{60, 1.16}, [2]float64{200, 1}), 1.16},
		{"14 % higher, not in the cold only", cold, pts([2]float64{100, 1.14}, [2]float64{200, 1}), 1.14},
	} {
		var segs []segment
		from := 0
		for i := 1; i <= len(c.p.x); i++ {
			if i == len(c.p.x) || c.p.x[i] != c.p.x[from] {
				segs = append(segs, segment{from, i, c.p.x[from]})
				from = i
			}
		}
		// the order of the levels must not matter
		if got := healthy(&c.v, c.p, segs); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
		slices.Reverse(segs)
		if got := healthy(&c.v, c.p, segs); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s, backwards: %v, want %v", c.what, got, c.want)
		}
	}
	// days of a quarter of the weight: forty make ten
	p := pts([2]float64{40, 1}, [2]float64{120, 0.9})
	for i := range 40 {
		p.w[i] = 0.25
	}
	if got := healthy(&v, p, []segment{{0, 40, 1}, {40, 160, 0.9}}); got != 0.9 {
		t.Errorf("ten days' worth of 130 is less than an eighth: %v", got)
	}
}

// Modules that came: a lasting step of more than a tenth, from a level that fits the
// register to one that does not.
func TestGrowthByHand(t *testing.T) {
	for _, c := range []struct {
		what  string
		p     points
		usual float64 // of the arrays around
		want  int     // point; 0: none
	}{
		{"a third more", pts([2]float64{60, 1}, [2]float64{60, 1.33}), 1, 60},
		{"a tenth", pts([2]float64{60, 1}, [2]float64{60, 1.1}), 1, 0},
		{"12 %", pts([2]float64{60, 1}, [2]float64{60, 1.12}), 1, 60},
		{"to what the register says", pts([2]float64{60, 0.5}, [2]float64{60, 1}), 1, 0},
		{"from below what fits", pts([2]float64{60, 0.89}, [2]float64{60, 1.2}), 1, 0},
		{"from what just fits", pts([2]float64{60, 0.91}, [2]float64{60, 1.2}), 1, 60},
		{"to what just fits", pts([2]float64{60, 0.95}, [2]float64{60, 1.09}), 1, 0},
		{"arrays around make more", pts([2]float64{60, 1}, [2]float64{60, 1.33}), 1.25, 0},
		{"ten days before", pts([2]float64{10, 1}, [2]float64{60, 1.33}), 1, 10},
		{"nine days before", pts([2]float64{9, 1}, [2]float64{60, 1.33}), 1, 0},
		{"fifteen days after", pts([2]float64{60, 1}, [2]float64{15, 1.33}), 1, 60},
		{"fourteen days after", pts([2]float64{60, 1}, [2]float64{14, 1.33}), 1, 0},
		{"it went again", pts([2]float64{60, 1}, [2]float64{60, 1.33}, [2]float64{60, 1.04}), 1, 0},
		{"most of it stayed", pts([2]float64{60, 1}, [2]float64{60, 1.33}, [2]float64{60, 1.06}), 1, 60},
		{"in two steps", pts([2]float64{30, 1}, [2]float64{30, 1.05}, [2]float64{60, 1.33}), 1, 60},
		{"no step", pts([2]float64{60, 1}), 1, 0},
	} {
		v := box(200)
		v.Options.UsualFactor = c.usual
		var segs []segment
		from := 0
		for i := 1; i <= len(c.p.x); i++ {
			if i == len(c.p.x) || c.p.x[i] != c.p.x[from] {
				segs = append(segs, segment{from, i, c.p.x[from]})
				from = i
			}
		}
		g := growth(&v, c.p, segs, nil)
		if got := 0; g != nil {
			got = g.at
			before := (c.p.x[0] + c.p.x[c.want/2+1]) / 2
			if got != c.want || c.what != "in two steps" && math.Abs(g.ratio-c.p.x[c.want]/before) > 1e-9 || c.what == "in two steps" && math.Abs(g.ratio-1.33/1.025) > 1e-9 {
				t.Errorf("%s: %+v", c.what, g)
			}
		} else if c.want != 0 {
			t.Errorf("%s: none", c.what)
		}
	}
	v := box(200)
	p := pts([2]float64{60, 1}, [2]float64{60, 1.5})
	f := grownFault(&v, p, &rise{60, 1.5})
	if f.Code != UnregisteredModules || !f.On.Equal(boxDate(60)) || !f.Live || !strings.Contains(f.Says, "rose by 50 %") || !strings.Contains(f.Says, "0.5 kW more than the 1.0 kW") {
		t.Errorf("%+v", f)
	}
	if f.OnLow.After(f.On) || f.OnHigh.Before(f.On) || f.On.Sub(f.OnLow).Hours() > 48 || f.OnHigh.Sub(f.On).Hours() > 48 {
		t.Errorf("from %s to %s", f.OnLow, f.OnHigh)
	}
}

// The range of a step without noise is the step and the point before; with noise it is
// where the squares grow by less than 2.71 · 3 variances. Of a step of size s, t points
// off cost about t s²: 8.13 σ² over s² of 4 σ² are two points.
func TestRangeOfAStep(t *testing.T) {
	p := pts([2]float64{200, 1}, [2]float64{200, 0.8})
	for _, c := range []struct {
		noise  float64
		lo, hi int
	}{{0.001, 199, 200}, {0.1, 197, 202}, {0.2, 191, 208}} { // 8.13·0.01/0.04 = 2.03; 8.13: eight points
		lo, hi := stepRange(p.x, 0, 200, 400, c.noise)
		if lo != c.lo || hi != c.hi {
			t.Errorf("noise %v: %d to %d, want %d to %d", c.noise, lo, hi, c.lo, c.hi)
		}
	}
	if lo, hi := stepRange(p.x, 0, 200, 400, 9); lo != 140 || hi != 259 { // sixty points to either side are looked at
		t.Errorf("all noise: %d to %d", lo, hi)
	}
	if lo, hi := stepRange(p.x, 190, 200, 207, 9); lo != 190 || hi != 206 {
		t.Errorf("between bounds: %d to %d", lo, hi)
	}
	if lo, _ := stepRange([]float64{1, 0, 0, 0}, 0, 1, 4, 0.001); lo != 0 {
		t.Errorf("at the start: %d", lo)
	}
}

// A loss by hand: nameDrops says what lies below 1 for fourteen days, or for 28 where it
// is over.
func TestNamedLosses(t *testing.T) {
	for _, c := range []struct {
		what   string
		runs   [][2]float64
		want   string
		on     int
		until  int
		loss   float64
		change func(v *view)
	}{
		{"a fifth to the end", [][2]float64{{100, 1}, {60, 0.8}}, InvertersDown, 100, -1, 20, nil},
		{"fourteen days", [][2]float64{{100, 1}, {14, 0.8}}, InvertersDown, 100, -1, 20, nil},
		{"thirteen days", [][2]float64{{100, 1}, {13, 0.8}}, "", 0, 0, 0, nil},
		{"28 days, and over", [][2]float64{{100, 1}, {28, 0.8}, {60, 1}}, InvertersDown, 100, 128, 20, nil},
		{"27 days, and over", [][2]float64{{100, 1}, {27, 0.8}, {60, 1}}, "", 0, 0, 0, nil},
		{"5 %", [][2]float64{{100, 1}, {60, 0.9499}}, InvertersDown, 100, -1, 5.01, nil},
		{"less", [][2]float64{{100, 1}, {60, 0.951}}, "", 0, 0, 0, nil},
		{"8 % at first", [][2]float64{{60, 0.92}, {100, 1}}, InvertersDown, -1, 60, 8, nil},
		{"7 % at first", [][2]float64{{60, 0.93}, {100, 1}}, "", 0, 0, 0, nil},
		{"7 % later", [][2]float64{{40, 1}, {60, 0.93}, {100, 1}}, InvertersDown, 40, 100, 7, nil},
		{"snow of sixty days", [][2]float64{{40, 1}, {60, 0.8}, {100, 1}}, "", 0, 0, 0, func(v *view) { clear(v.tempC) }},
		{"61 cold days", [][2]float64{{40, 1}, {61, 0.8}, {100, 1}}, InvertersDown, 40, 101, 20, func(v *view) { clear(v.tempC) }},
	} {
		v := box(300)
		if c.change != nil {
			c.change(&v)
		}
		p, segs := levels(c.runs...)
		p.noise = 0.01
		say := nameDrops(&v, p, segs, nil)
		if codes(say) != c.want {
			t.Errorf("%s: %+v", c.what, say)
			continue
		}
		if c.want == "" {
			continue
		}
		f := say.faults[0]
		if c.on < 0 && !f.On.IsZero() || c.on >= 0 && !f.On.Equal(boxDate(c.on)) || math.Abs(f.LossPct-c.loss) > 0.02 || f.Live != (c.until < 0) || !f.Live && !f.Until.Equal(boxDate(c.until)) || !f.Repairable {
			t.Errorf("%s: %+v", c.what, f)
		}
		if !f.Live && !strings.Contains(f.Says, "back since "+boxDate(c.until).Format("2006-01-02")) {
			t.Errorf("%s: %s", c.what, f.Says)
		}
	}
	// one on top of the other: the first is sized by its step, in what is left after it the second
	v := box(300)
	p, segs := levels([2]float64{100, 1}, [2]float64{100, 0.9}, [2]float64{100, 0.4})
	p.noise = 0.01
	say := nameDrops(&v, p, segs, nil)
	if len(say.faults) != 2 || math.Abs(say.faults[0].LossPct-10) > 1e-9 || math.Abs(say.faults[1].LossPct-500./9) > 1e-9 {
		t.Errorf("%+v", say.faults)
	}
}

// Dates of a drop: between days that told nothing, the middle.
func TestDateOfADrop(t *testing.T) {
	v := box(300)
	p := pts([2]float64{60, 1}, [2]float64{60, 0.8})
	p.noise = 0.001
	for gap, want := range map[int]int{0: 60, 1: 60, 2: 61, 9: 64, 10: 65} { // the middle of 60 and 60 + gap
		q := p
		q.day = slices.Clone(p.day)
		for i := 60; i < 120; i++ {
			q.day[i] += gap
		}
		on, lo, hi := onset(&v, q, drop{from: 60, to: 120})
		if !on.Equal(boxDate(want)) || !lo.Equal(boxDate(59)) || !hi.Equal(boxDate(60+gap)) {
			t.Errorf("%d days between: %s, from %s to %s", gap, on, lo, hi)
		}
	}
	if on, lo, hi := onset(&v, p, drop{from: 0, to: 60}); !on.IsZero() || !lo.IsZero() || !hi.IsZero() {
		t.Error("since before the data")
	}
	// sixty points before are looked at
	q := pts([2]float64{100, 0.5}, [2]float64{60, 1}, [2]float64{60, 0.8})
	q.noise = 0.001
	if _, lo, _ := onset(&v, q, drop{from: 160, to: 220}); !lo.Equal(boxDate(159)) {
		t.Errorf("from %s", lo)
	}
}

// A loss of a quarter is one of four inverters.
func TestInvertersOfALoss(t *testing.T) {
	v := box(3)
	v.Catalogue = &ingest.Catalogue{Inverters: []ingest.Inverter{{Model: "S", Kind: "string", ACWatts: 1000}}}
	for _, c := range []struct {
		counts []int // of the arrays; -1: not known
		loss   float64
		want   string
	}{
		{[]int{4}, 0.25, "1 of 4"}, {[]int{4}, 0.05, "1 of 4"}, {[]int{4}, 0.4, "2 of 4"}, {[]int{2, 3}, 0.6, "3 of 5"},
		{[]int{-1}, 0.25, "does not say"}, {[]int{3, -1}, 0.25, "does not say"}, {[]int{0}, 0.25, "does not say"},
	} {
		v.Site.Arrays = nil
		for _, n := range c.counts {
			a := ingest.Array{ID: "a", InverterModel: "S"}
			if n >= 0 {
				a.Inverters = ingest.Opt[int]{V: n, Known: true}
			}
			v.Site.Arrays = append(v.Site.Arrays, a)
		}
		if got := kOfN(&v, c.loss); !strings.Contains(got, c.want) {
			t.Errorf("%v: %s", c.counts, got)
		}
	}
}

// The whole of it: a box that makes 0.9 and then a fifth less, and one that grew.
func TestStepsOfTheBox(t *testing.T) {
	w, level, say := findSteps(box(200).on(0, 100, times(0.9)).on(100, 200, times(0.72)))
	if codes(say) != InvertersDown || !say.faults[0].On.Equal(boxDate(100)) {
		t.Fatalf("%+v", say)
	}
	closeTo(t, "loss", say.faults[0].LossPct, 20, 0.01)
	closeTo(t, "factor", level.factor, 0.9, 1e-6)
	closeTo(t, "the level after", w.day[150].level(), 0.8, 1e-6)
	// noise of 0.005/0.9 over a hundred days in threes, and 1 % of its own
	closeTo(t, "doubt", level.factorSD, 0.9*math.Hypot(0.005/0.9/math.Sqrt(100./3), 0.01), 1e-9)
	w, level, say = findSteps(box(200).on(100, 200, times(1.5)))
	if codes(say) != UnregisteredModules || w.grownOn != 100 {
		t.Fatalf("%+v, on %d", say, w.grownOn)
	}
	closeTo(t, "share that came", w.grown, 0.5, 1e-3)
	closeTo(t, "factor", level.factor, 1, 1e-3)
	closeTo(t, "the level after", w.day[150].level(), 1, 1e-3)
	for days, want := range map[int]bool{9: false, 10: true} {
		if _, level, _ := findSteps(box(days)); math.IsNaN(level.factor) == want {
			t.Errorf("%d days: %+v", days, level)
		}
	}
	w, level, say = findSteps(box(60).on(0, 60, times(100)))
	if codes(say) != "production_out_of_scale" || !math.IsNaN(level.factor) || w.factor != 1 || !math.IsNaN(w.wh[12]) {
		t.Errorf("%+v %+v", say, level)
	}
}

// A slide is joined from steps that follow one another down.
func TestSlidesFromSteps(t *testing.T) {
	var p points
	for d := range 300 {
		x := 1 - 0.3*min(1, max(0, float64(d-100)/100))
		p.day, p.x, p.w = append(p.day, d), append(p.x, x), append(p.w, 1)
	}
	p.noise = 0.005
	steps := []drop{{from: 130, to: 300, was: 1, size: 0.1, under: true}, {from: 165, to: 300, was: 0.9, size: 0.1}}
	out := joinSlides(p, steps)
	if len(out) != 1 || !out[0].slid || out[0].under || math.Abs(out[0].size-0.2) > 1e-12 || out[0].from < 85 || out[0].from > 115 || out[0].to != 300 {
		t.Errorf("%+v", out)
	}
	// one that was mended before the next is another
	out = joinSlides(p, []drop{{from: 130, to: 160, was: 1, size: 0.1}, {from: 165, to: 300, was: 0.9, size: 0.1}})
	if len(out) != 2 {
		t.Errorf("%+v", out)
	}
	if out := joinSlides(p, []drop{{from: 0, to: 300, was: 1, size: 0.1}}); len(out) != 1 || out[0].slid {
		t.Errorf("from the first day on: %+v", out)
	}
	flat := pts([2]float64{150, 1}, [2]float64{150, 0.8})
	if out := joinSlides(flat, []drop{{from: 150, to: 300, was: 1, size: 0.2}}); len(out) != 1 || out[0].slid || out[0].from != 150 {
		t.Errorf("a step: %+v", out)
	}
	for _, c := range []struct {
		start, from, to int
		want            bool
	}{{60, 130, 300, true}, {126, 130, 300, false}, {125, 130, 300, true}, {60, 130, 144, false}} {
		if got, on := isRamp(p, c.start, c.from, c.to); got != c.want || !got && c.from-c.start < 5 && on != c.from {
			t.Errorf("%+v: %v on %d", c, got, on)
		}
	}
}

// The strength of a skyline that makes the levels agree: x = 1 - a g, by hand.
func TestStrengthOfASkyline(t *testing.T) {
	season := func(a float64, bins int) (x, g []float64) {
		for i := range bins {
			low := 0.1 + 0.1*math.Cos(2*math.Pi*float64(i)/60) // low sun in winter
			g = append(g, low)
			x = append(x, 1-a*low)
		}
		return x, g
	}
	for _, c := range []struct{ a, want float64 }{{0, 0}, {0.8, 0.8}, {1.2, 1.2}, {-0.5, -0.5}, {0.1, 0}} {
		x, g := season(c.a, 120)
		closeTo(t, "strength", seasonStrength(x, g), c.want, 0.11)
	}
	// a step is no season
	x, g := season(0, 120)
	for i := 60; i < 120; i++ {
		x[i] = 0.8
	}
	closeTo(t, "a step", seasonStrength(x, g), 0, 0)
}

// Bins of six usable days each, with the mean of their weights.
func TestBinsOfDays(t *testing.T) {
	v := box(40).on(3, 4, gone)
	v.day = slices.Clone(v.day)
	for d := range v.day {
		v.day[d].low = 0.01 * float64(d) * v.day[d].openDue
	}
	v.day[0].open *= 0.5
	x, g, span := binLevels(&v)
	if len(x) != 6 || span != 39 {
		t.Fatalf("%v over %d days", x, span)
	}
	closeTo(t, "median", x[0], 1, 1e-9)
	closeTo(t, "weight", g[0], 0.01*(0+1+2+4+5+6)/6, 1e-12)
	closeTo(t, "weight", g[1], 0.01*(7+8+9+10+11+12)/6, 1e-12)
	if w, say := learnSkyline(box(200)); w.model.Groups[0].Skyline != 0 || say.caveats != nil {
		t.Error("less than a year tells no skyline")
	}
}

// A sky of seven arrays is thin, of eight it is not.
func TestThinSky(t *testing.T) {
	for _, c := range []struct {
		sites  uint16
		source string
		alone  bool
		want   bool
	}{{7, sky.FromFleet, false, true}, {8, sky.FromFleet, false, false}, {0, sky.FromFleet, false, false}, {3, sky.FromWeather, false, false}, {3, sky.FromFleet, true, false}, {1, sky.FromFleet, false, true}} {
		v := box(3)
		v.Sky.Sites = slices.Repeat([]uint16{c.sites}, 72)
		v.Sky.Sites[0] = 0 // an hour that nobody tells does not count
		v.Sky.Source, v.alone = c.source, c.alone
		if got := v.thin(); got != c.want || (v.witness() != nil) != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// A day on which less than 0.45 of the ground's light reached the modules tells no
// level: here 0.44 of it, and 0.46.
func TestDaysTurnedAway(t *testing.T) {
	for share, want := range map[float64]int{0.44: 29, 0.46: 30, 1: 30} {
		v := box(30)
		v.day[5].full *= share
		v.day[5].expected *= share
		if p := v.levelPoints(); len(p.day) != want {
			t.Errorf("%v of the light: %d days tell, want %d", share, len(p.day), want)
		}
	}
}
