package array

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// round is the box with a sun that goes from east to west: the eight hours stand 15
// degrees apart, each in the middle of a direction of its own, and up to 51 degrees high.
// The array makes what is expected of it.
func round(days int) view {
	v := box(days)
	heights := [8]float64{15, 27, 39, 51, 51, 39, 27, 15}
	for i := range v.Sun.Up {
		if at := i%24 - 8; at >= 0 && at < 8 {
			az, el := (127.5+15*float64(at))*math.Pi/180, heights[at]*math.Pi/180
			v.Sun.Up[i], v.Sun.East[i], v.Sun.North[i] = math.Sin(el), math.Cos(el)*math.Sin(az), math.Cos(el)*math.Cos(az)
		}
	}
	v = v.summed()
	return v.on(0, days, func(hour int, _ float64) float64 { return v.expected[hour] })
}

// roundBin is the direction of an hour of the round: 15 degrees around, 6 degrees up.
func roundBin(hour int) int {
	return [8]int{2, 4, 6, 8, 8, 6, 4, 2}[hour-8]*24 + 8 + hour - 8
}

// Directions are counted from north by east in 24 parts, and up in 15.
func TestDirections(t *testing.T) {
	for _, c := range []struct {
		azDeg, elDeg float64
		want         int
	}{{1, 3, 0}, {14, 3, 0}, {16, 3, 1}, {90.1, 3, 6}, {180.1, 3, 12}, {270.1, 3, 18}, {359, 3, 23}, {1, 5.9, 0}, {1, 6.1, 24}, {1, 45, 7 * 24}, {16, 89.9, 14*24 + 1}} {
		az, el := c.azDeg*math.Pi/180, c.elDeg*math.Pi/180
		if got := binOf(math.Cos(el)*math.Sin(az), math.Cos(el)*math.Cos(az), math.Sin(el)); got != c.want {
			t.Errorf("azimuth %v, height %v: %d, want %d", c.azDeg, c.elDeg, got, c.want)
		}
	}
	if got := binOf(0, 0, 1); got != 14*24 {
		t.Errorf("overhead: %d", got)
	}
	v := round(1)
	for hour := 8; hour < 16; hour++ {
		if got := v.bin(hour); got != roundBin(hour) {
			t.Errorf("%d o'clock: %d, want %d", hour, got, roundBin(hour))
		}
	}
}

// A direction of five looks is not known; the sixth makes it.
func TestMedianOfADirection(t *testing.T) {
	var looks []look
	for d := range 12 {
		looks = append(looks, look{day: d, bin: 7, ratio: float64(d)})
	}
	for _, c := range []struct {
		from, to int
		want     float64
	}{{0, 12, 5.5}, {3, 9, 5.5}, {6, 12, 8.5}, {6, 11, math.NaN()}, {7, 12, math.NaN()}} {
		m := medianByBin(looks, c.from, c.to)
		if got := m[7]; got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%d to %d: %v, want %v", c.from, c.to, got, c.want)
		}
		if !math.IsNaN(m[8]) {
			t.Error("a direction without looks")
		}
	}
	if got := smooth([]float64{1, math.NaN(), 3, 10, 5}, 1); !slices.EqualFunc(got, []float64{1, math.NaN(), 6.5, 5, 7.5}, func(a, b float64) bool { return a == b || a != a && b != b }) {
		t.Errorf("smooth: %v", got)
	}
}

// What lies around dark directions: one to either side, one above, and all below.
func TestAroundTheDark(t *testing.T) {
	var d darkness
	d.bin[2*24], d.n = true, 1
	out := d.around()
	for b, got := range out {
		up, az := b/24, b%24
		if want := up <= 3 && (az == 23 || az == 0 || az == 1); got != want {
			t.Errorf("row %d, column %d: %v", up, az, got)
		}
	}
	if got := d.top(); got != 18 {
		t.Errorf("top %v", got)
	}
	d.bin[14*24+12] = true
	if out = d.around(); !out[14*24+13] || !out[12] || out[14*24] {
		t.Error("at the top")
	}
	if got := d.top(); got != 90 {
		t.Errorf("top %v", got)
	}
	var o, all darkness
	o.bin[5], o.ratio[5], o.n = true, 0.4, 1
	all.join(&d)
	all.join(&o)
	all.join(&o)
	if all.n != 3 || all.ratio[5] != 0.4 || !all.bin[48] {
		t.Errorf("joined: %d", all.n)
	}
}

// A free direction frees what is above it; a column alone is none; and it must stay.
func TestWhatIsAHorizon(t *testing.T) {
	for _, c := range []struct {
		what string
		dark []int // bins
		free []int
		away []int // bins that are not there on both visits
		left []int
	}{
		{"two columns", []int{24 + 5, 24 + 6}, nil, nil, []int{24 + 5, 24 + 6}},
		{"across north", []int{24, 24 + 23}, nil, nil, []int{24, 24 + 23}},
		{"one column", []int{24 + 5, 48 + 5}, nil, nil, nil},
		{"two apart", []int{24 + 5, 24 + 7}, nil, nil, nil},
		{"above a free one", []int{48 + 5, 48 + 6, 24 + 6}, []int{24 + 5}, nil, nil},
		{"below a free one", []int{24 + 5, 24 + 6}, []int{48 + 5, 48 + 6}, nil, []int{24 + 5, 24 + 6}},
		{"at different heights", []int{24 + 5, 72 + 6}, nil, nil, []int{24 + 5, 72 + 6}},
		{"gone on one visit", []int{24 + 5, 24 + 6, 24 + 7}, nil, []int{24 + 7}, []int{24 + 5, 24 + 6}},
	} {
		var d darkness
		var median [binsAround * binsUp]float64
		for b := range median {
			median[b] = math.NaN()
		}
		for _, b := range c.dark {
			d.bin[b], median[b] = true, 0.5
			d.n++
		}
		for _, b := range c.free {
			median[b] = 0.92
		}
		d.keepHorizon(&median, func(b int) bool { return !slices.Contains(c.away, b) })
		var left []int
		for b, is := range d.bin {
			if is {
				left = append(left, b)
			}
		}
		slices.Sort(c.left)
		if !slices.Equal(left, c.left) || d.n != len(c.left) {
			t.Errorf("%s: %v (%d), want %v", c.what, left, d.n, c.left)
		}
	}
	// 0.919 is not free yet
	var d darkness
	var median [binsAround * binsUp]float64
	d.bin[48+5], d.bin[48+6], d.n = true, true, 2
	median[24+5] = 0.919
	if d.keepHorizon(&median, func(int) bool { return true }); d.n != 2 {
		t.Errorf("%d", d.n)
	}
}

// A shadow stands on both of the sun's visits; where others tell the sky, the last decides.
func TestSteadyShadow(t *testing.T) {
	v := box(400)
	looks := func(spring, autumn float64, n int) (out []look) {
		for i := range n {
			out = append(out, look{day: 60 + i, bin: 7, ratio: spring}, look{day: 250 + i, bin: 7, ratio: autumn})
		}
		return out
	}
	for _, c := range []struct {
		what           string
		spring, autumn float64
		n, from        int
		fleet, alone   bool
	}{
		{"dark both times", 0.5, 0.5, 4, 0, true, true},
		{"dark in autumn only", 1, 0.5, 4, 0, true, false},
		{"dark in spring only", 0.5, 1, 4, 0, false, false},
		{"free", 1, 1, 4, 0, false, false},
		{"0.95 is free", 0.5, 0.95, 4, 0, false, false},
		{"0.94 is not", 0.94, 0.94, 4, 0, true, true},
		{"three looks each", 1, 1, 3, 0, true, true},
		{"one visit", 1, 1, 4, 100, true, true},
		{"three and four", 1, 1, 4, 61, true, true},
	} {
		for _, lone := range []bool{false, true} {
			v.alone = lone
			want := c.fleet
			if lone {
				want = c.alone
			}
			if got := steady(&v, looks(c.spring, c.autumn, c.n), 7, c.from); got != want {
				t.Errorf("%s, alone %v: %v", c.what, lone, got)
			}
		}
	}
	v.alone = false
	// the last visit may be that of the next spring; day 355 of the year, the solstice of winter, counts to it
	last := looks(1, 1, 4)
	for i := range 9 {
		last = append(last, look{day: 390 + i, bin: 7, ratio: 0.5}, look{day: 60, bin: 8, ratio: 0})
	}
	if !steady(&v, last, 7, 0) {
		t.Error("dark at the last visit")
	}
	for day, want := range map[int]bool{170: true, 171: false, 353: false, 354: true} { // the 171st and 172nd, 354th and 355th day of 2025
		var l []look
		for i := range 4 {
			l = append(l, look{day: 20 + i, bin: 7, ratio: 1}, look{day: 250 + i, bin: 7, ratio: 0.5})
		}
		for range 9 {
			l = append(l, look{day: day, bin: 7, ratio: 0.5})
		}
		v.alone = true
		if got := steady(&v, l, 7, 0); got != want {
			t.Errorf("day %d: %v", day, got)
		}
	}
}

// What a dark direction takes of the beam, by hand.
func TestLossToAShadow(t *testing.T) {
	v := round(20)
	var d darkness
	d.bin[roundBin(8)], d.ratio[roundBin(8)], d.n = true, 0.25, 1
	day := v.day[0].expected
	loss, due := shadeLoss(&v, &d, 5)
	closeTo(t, "due", due, 15*day, 1e-6)
	closeTo(t, "loss", loss, 15*0.75*v.expected[8], 1e-6)
	v.k = slices.Repeat([]float64{0.6}, len(v.k)) // half of the light is beam
	v = v.summed()
	loss, _ = shadeLoss(&v, &d, 0)
	closeTo(t, "of half the beam", loss, 20*0.75*0.5*v.expected[8], 1e-6)
}

// Looks are bright hours, over the fourth fifth of their day.
func TestLooks(t *testing.T) {
	free := func() view { return round(30) }
	at := func(v view, hour int) (out []look) {
		for _, l := range looks(&v) {
			if l.day == 10 && l.hour == 240+hour {
				out = append(out, l)
			}
		}
		return out
	}
	v := free()
	if l := looks(&v); len(l) != 240 || l[0] != (look{0, 8, roundBin(8), 1}) {
		t.Errorf("%d looks, the first %+v", len(l), l[0])
	}
	for _, c := range []struct {
		what string
		do   func(v *view)
		want int
	}{
		{"a gray hour", func(v *view) { v.k[240+12] = 0.749 }, 0},
		{"not so gray", func(v *view) { v.k[240+12] = 0.75 }, 1},
		{"brighter than any", func(v *view) { v.k[240+12] = 1.201 }, 0},
		{"bright", func(v *view) { v.k[240+12] = 1.2 }, 1},
		{"a sky in doubt", func(v *view) { v.Sky.Spread[240+12] = 0.151 }, 0},
		{"less in doubt", func(v *view) { v.Sky.Spread[240+12] = 0.15 }, 1},
		{"not read", func(v *view) { v.wh[240+12] = math.NaN() }, 0},
		{"masked", func(v *view) { v.masked = make([]bool, v.Sun.N); v.masked[240+12] = true }, 0},
		{"the day is aside", func(v *view) { v.day[10].aside = true }, 0},
		{"the day says nothing", func(v *view) { v.day[10].full *= 2 }, 0},
		{"faint", func(v *view) { v.expected[240+12] = 40 }, 0},
		{"not so faint", func(v *view) { v.expected[240+12] = 40.1 }, 1},
		{"at the inverters' limit", func(v *view) { v.limit(v.wh[240+12] / 0.97) }, 0},
		{"below", func(v *view) { v.limit(v.wh[240+12] / 0.969) }, 1},
	} {
		v := free()
		v.k, v.expected, v.wh, v.day = slices.Clone(v.k), slices.Clone(v.expected), slices.Clone(v.wh), slices.Clone(v.day)
		if c.do(&v); len(at(v, 12)) != c.want {
			t.Errorf("%s: %d looks", c.what, len(at(v, 12)))
		}
	}
	// an hour at 0.4 of a day at 0.8 is a half
	v = free().on(0, 30, func(hour int, wh float64) float64 {
		if hour == 9 {
			return 0.4 * wh
		}
		return 0.8 * wh
	})
	if l := at(v, 9); len(l) != 1 || math.Abs(l[0].ratio-0.5) > 1e-9 {
		t.Errorf("%+v", l)
	}
	// three hours of a day make its usual, two do not
	for hours, want := range map[int]int{3: 3, 2: 0} {
		v := free()
		v.masked = make([]bool, v.Sun.N)
		for i := range v.masked {
			v.masked[i] = i%24 >= 8+hours
		}
		l := looks(&v)
		if got := len(l) / 30; got != want {
			t.Errorf("%d hours a day: %d looks", hours, got)
		}
	}
}

// shaded is the round with 8 and 9 o'clock at a share from a day on.
func shaded(days, from int, share float64) view {
	return round(days).on(from, days, func(hour int, wh float64) float64 {
		if hour == 8 || hour == 9 {
			return share * wh
		}
		return wh
	})
}

// A shadow of the mornings: where it stands, since when, and what it costs.
func TestShadowByHand(t *testing.T) {
	r := round(1)
	part := (r.expected[8] + r.expected[9]) / r.day[0].expected
	v, say := findShading(shaded(400, 300, 0.4))
	if codes(say) != Shading {
		t.Fatalf("%+v", say)
	}
	f := say.faults[0]
	if !f.On.Equal(boxDate(300)) || f.OnLow.After(f.On) || f.OnHigh.Before(f.On) || !f.Live || !f.Repairable || !strings.Contains(f.Says, "south-east (bearing 135 degrees) between 12 and 30 degrees high") {
		t.Errorf("%+v", f)
	}
	closeTo(t, "loss", f.LossPct, 100*0.6*part, 0.01)
	closeTo(t, "sure", f.Confidence, 0.9, 1e-9)
	for hour, want := range map[int]bool{8: true, 9: true, 10: true, 11: false, 15: false, 20: false} { // 10 o'clock lies beside 9 and two above it
		if hour != 10 && v.masked[24*350+hour] != want {
			t.Errorf("%d o'clock masked: %v", hour, !want)
		}
	}
	closeTo(t, "the level of what is free", v.day[350].level(), 1, 1e-6)
	// one that was there all along and costs less than 4 % is the place
	for _, share := range []float64{0.4, 0.8} {
		v, say := findShading(shaded(400, 0, share))
		if loss := 100 * (1 - share) * part; (len(say.faults) == 1) != (loss >= 4) {
			t.Errorf("loss of %.1f %%: %+v", loss, say)
		}
		if len(say.faults) == 1 && !say.faults[0].On.IsZero() {
			t.Errorf("since before the data: %+v", say.faults[0])
		}
		if v.masked == nil || !v.masked[24*350+8] {
			t.Error("its hours tell of the level")
		}
	}
	for what, v := range map[string]view{"free": round(400), "0.86 of it": shaded(400, 0, 0.86), "over": shaded(400, 300, 0.4).on(320, 400, func(hour int, wh float64) float64 {
		if hour == 8 || hour == 9 {
			return wh / 0.4
		}
		return wh
	})} {
		if w, say := findShading(v); say.faults != nil || w.masked != nil {
			t.Errorf("%s: %+v", what, say)
		}
	}
	unexplained := shaded(400, 300, 0.4)
	unexplained.unexplained = true
	if _, say := findShading(unexplained); say.faults != nil {
		t.Errorf("planes that do not explain the days: %+v", say)
	}
	off := shaded(400, 300, 0.4)
	off.clock.Days = make([]float64, 400)
	if _, say := findShading(off); say.faults != nil {
		t.Errorf("a clock that is off: %+v", say)
	}
}

// The share that dark directions cost, over half of all directions at the most; a lone
// array believes none that stands higher than 48 degrees.
func TestDarkDirections(t *testing.T) {
	r := round(1)
	at := func(share float64, hours ...int) view {
		return round(60).on(0, 60, func(hour int, wh float64) float64 {
			if slices.Contains(hours, hour) {
				return share * wh
			}
			return wh
		})
	}
	for _, c := range []struct {
		what  string
		hours []int
		share float64
		alone bool
		n     int
	}{
		{"two of eight", []int{8, 9}, 0.5, false, 2}, {"alone", []int{8, 9}, 0.5, true, 2}, {"84 %", []int{8, 9}, 0.84, false, 2}, {"85 %", []int{8, 9}, 0.8501, false, 0},
		{"four of eight", []int{8, 9, 10, 15}, 0.5, false, 3}, {"five of eight", []int{8, 9, 10, 14, 15}, 0.5, false, 0},
		{"high", []int{11, 12}, 0.5, false, 2}, {"high of a lone array", []int{11, 12}, 0.5, true, 0}, {"36 to 42", []int{10, 9}, 0.5, true, 2},
	} {
		v := at(c.share, c.hours...)
		v.alone = c.alone
		d, share := darkIn(&v, looks(&v), 20)
		want := 0.0
		for _, hour := range c.hours {
			if c.n > 0 && (hour != 15 || c.n == 4) {
				want += (1 - c.share) * r.expected[hour] / r.day[0].expected
			}
		}
		if d.n != c.n || math.Abs(share-want) > 1e-6 {
			t.Errorf("%s: %d directions that cost %v, want %d and %v", c.what, d.n, share, c.n, want)
		}
	}
}

// A step from free to dark, after three looks at the least.
func TestOnsetOfAShadow(t *testing.T) {
	step := func(before int, free, dark float64) []float64 {
		return append(slices.Repeat([]float64{free}, before), slices.Repeat([]float64{dark}, 20-before)...)
	}
	for _, c := range []struct {
		before     int
		free, dark float64
		want       int
	}{{3, 1, 0.5, 3}, {2, 1, 0.5, 0}, {10, 0.92, 0.85, 10}, {10, 0.919, 0.5, 0}, {10, 1, 0.851, 0}, {10, 0.5, 1, 0}, {17, 1, 0.2, 17}} {
		if got := shadeOnset(step(c.before, c.free, c.dark)); got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
	// a ragged one: behind the third (1 - 5/7)² · 21 = 1.7, behind the sixth (5.6/6 - 0.6)² · 24 = 2.7
	if got := shadeOnset([]float64{1, 1, 1, 0.6, 1, 1, 0.6, 0.6, 0.6, 0.6}); got != 6 {
		t.Errorf("ragged: %d", got)
	}
}

// The bearing is that of the middle of the dark directions.
func TestWhereItIsDark(t *testing.T) {
	for _, c := range []struct {
		bins []int
		want string
	}{
		{[]int{0, 23}, "north (bearing 0 degrees) between 0 and 6 degrees"},
		{[]int{24*3 + 2, 24*2 + 3}, "north-east (bearing 45 degrees) between 12 and 24 degrees"},
		{[]int{5, 6}, "east (bearing 90 degrees) between 0 and 6 degrees"},
		{[]int{24 + 11, 24 + 12}, "south (bearing 180 degrees) between 6 and 12 degrees"},
		{[]int{14, 15}, "south-west (bearing 225 degrees)"},
		{[]int{17, 18}, "west (bearing 270 degrees)"},
		{[]int{20, 21}, "north-west (bearing 315 degrees)"},
		{[]int{7, 8}, "south-east (bearing 120 degrees)"},
	} {
		var dark [binsAround * binsUp]bool
		for _, b := range c.bins {
			dark[b] = true
		}
		if got := whereDark(&dark); !strings.Contains(strings.ReplaceAll(got, "bearing 360", "bearing 0"), c.want) {
			t.Errorf("%v: %s", c.bins, got)
		}
	}
}

// The days' shadow as a fault: confidence by its days, the loss in the last year.
func TestShadowAsAFault(t *testing.T) {
	v := round(400)
	var d darkness
	d.bin[roundBin(8)], d.ratio[roundBin(8)], d.n = true, 0.5, 1
	var l []look
	for i := range 20 {
		l = append(l, look{day: 350 + i, bin: roundBin(8), ratio: 0.5}, look{day: 350 + i, bin: roundBin(12), ratio: 1})
	}
	f := shadow(&v, l, &d)
	closeTo(t, "loss", f.LossPct, 100*0.5*v.expected[8]/v.day[0].expected, 1e-6)
	closeTo(t, "sure", f.Confidence, 0.6, 1e-12)
	if !f.On.IsZero() || f.Code != Shading {
		t.Errorf("%+v", f)
	}
}
