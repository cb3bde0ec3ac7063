package sky

import (
	"math"
	"slices"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// How far a day is believed: by half where its level lies 0.06 off, as ln, and where it is
// not known or further off than 0.08.
func TestTrustInADay(t *testing.T) {
	for off, want := range map[float64]float64{0: 1, 0.06: 0.5, -0.06: 0.5, 0.03: 0.8, 0.081: 0.5, -0.5: 0.5} {
		closeTo(t, "trust", trust(off), want, 1e-12)
	}
	closeTo(t, "not known", trust(unknown), 0.5, 0)
	closeTo(t, "0.08", trust(0.08), 1/(1+16./9), 1e-12)
}

// The sky of a day in the box: the hour's energy over the light at factor 0.8; hours that
// are gated are filled with the day's mean.
func TestSkyOfADay(t *testing.T) {
	of := func(do func(data *Hourly), limit float64) []uint16 {
		data := box(3).on(1, 2, times(0.8))
		data.Wh = slices.Clone(data.Wh)
		do(&data)
		kw := make([]uint16, 72)
		data.skyOfDay(boxModel(&data, limit), 1, 1, &Estimate{KW: kw, Told: make([]Told, 72), Used: 0.8})
		if kw[12] != 0 || kw[60] != 0 {
			t.Error("another day is told")
		}
		return kw
	}
	inf := math.Inf(1)
	check := func(what string, kw []uint16, hour int, k float64, weight int) {
		t.Helper()
		gotK, gotW := unpack(kw[24+hour])
		if math.Abs(gotK-k) > 2e-3 || gotW != weight {
			t.Errorf("%s, %d o'clock: K %v of weight %d, want %v of %d", what, hour, gotK, gotW, k, weight)
		}
	}
	kw := of(func(*Hourly) {}, inf)
	for hour := 8; hour < 16; hour++ {
		check("clear", kw, hour, 1, 15)
	}
	if kw[24+7] != 0 || kw[24+16] != 0 {
		t.Error("a sky by night")
	}
	kw = of(func(d *Hourly) { d.Wh[24+9] = unknown }, inf)
	if kw[24+9] != 0 || kw[24+10] == 0 {
		t.Error("an hour that is missing stays so")
	}
	kw = of(func(d *Hourly) { d.Wh[24+9] = 0 }, inf)
	check("nothing", kw, 9, 0, 15)
	kw = of(func(d *Hourly) { d.Wh[24+9] = 0.8 * 500 * 1.45 }, inf) // brighter than 1.3: filled
	check("too bright", kw, 9, 1, 1)
	kw = of(func(d *Hourly) { d.Sun.Up[24+9] = 0.05 }, inf) // the sun is too low
	check("low", kw, 9, 1, 1)
	kw = of(func(d *Hourly) { // seen from below a fifth, or four fifths of what flat ground sees
		d.Sun.Up[24+9], d.Sun.East[24+9] = 0.19, math.Sqrt(1-0.19*0.19)
	}, inf)
	check("from the side", kw, 9, 1, 1)
	// what half sees the sun weighs half, also where it is dark
	half := func(d *Hourly) {
		for i := 24; i < 48; i++ {
			d.Sun.Up[i], d.Sun.East[i] = d.Sun.Up[i]/2, d.Sun.Up[i]*math.Sqrt(0.75)
			d.Wh[i] = boxModel(d, inf).WattHours(d.Sun, i, 1, 20, 0.8)
		}
	}
	check("from half the height", of(half, inf), 11, 1, 8) // 7.5
	check("nothing from half the height", of(func(d *Hourly) { half(d); d.Wh[24+11] = 0 }, inf), 11, 0, 8)
	// an array that stands since that morning
	data := box(3)
	m := boxModel(&data, 2000)
	m.Groups[0].From = data.Sun.Start + 24
	kw = make([]uint16, 72)
	data.skyOfDay(m, 1, 1, &Estimate{KW: kw, Told: make([]Told, len(kw)), Used: 1})
	check("since that morning", kw, 11, 1, 15)
	// at 97 % of a limit it is at least clear
	kw = of(func(d *Hourly) {
		for i := 24; i < 48; i++ {
			d.Wh[i] = min(0.9*d.Wh[i], 700)
		}
	}, 720)
	check("at the limit", kw, 11, 1, 1)
	if k, w := unpack(kw[24+9]); k < 0.89 || k > 0.92 || w != 15 { // diffuse light is seen a little worse
		t.Errorf("below: %v of %d", k, w)
	}
	// next to nothing is snow or an outage: K = 0; and where less than a tenth of the light was seen nothing is filled
	kw = of(func(d *Hourly) {
		for i := 24; i < 48; i++ {
			if i != 24+8 {
				d.Sun.Up[i] = 0.05
			}
		}
	}, inf)
	check("one hour of 300 of 5,200", kw, 8, 1, 15)
	if kw[24+9] != 0 {
		t.Error("filled from 6 % of the light")
	}
	kw = of(func(d *Hourly) {
		for i := 24; i < 48; i++ {
			if i != 24+8 && i != 24+15 {
				d.Sun.Up[i] = 0.05
			}
		}
	}, inf)
	check("11.5 % of the light", kw, 9, 1, 1)
}

// Output that K = 1 makes is found again at any K, factor and temperature; what no K
// makes is not.
func TestInvertInTheBox(t *testing.T) {
	data := box(1)
	m := boxModel(&data, math.Inf(1))
	for _, factor := range []float64{0.5, 0.9} {
		for _, k := range []float64{0.05, 0.3, 0.7, 1, 1.2, 1.5} {
			wh := m.WattHours(data.Sun, 11, k, 20, factor)
			closeTo(t, "K", m.Invert(data.Sun, 11, wh, 20, factor), k, 1.1e-3)
		}
		if got := m.Invert(data.Sun, 11, factor*1700, 20, factor); !math.IsNaN(got) {
			t.Errorf("more than any K makes: %v", got)
		}
	}
	if got := m.Invert(data.Sun, 11, 0, 20, 1); got != 0 {
		t.Errorf("nothing: %v", got)
	}
	if got := m.Invert(data.Sun, 3, 5, 20, 1); !math.IsNaN(got) {
		t.Errorf("by night: %v", got)
	}
}

// Measured air stands; holes are filled by the season of their day and the swing of the hour.
func TestAirOfAnHour(t *testing.T) {
	h := &sun.Hours{Start: 480000, N: 72, Place: sun.Place{LatitudeDeg: 45, LongitudeDeg: 10}}
	typical := func(i int) float64 { return sun.TypicalTempC(45, 10, h.Start+ingest.Hour(i)) }
	got := Temperature(nil, h)
	for i := range got {
		closeTo(t, "typical", got[i], typical(i), 0.25)
	}
	for i := range 24 {
		closeTo(t, "on the first day", got[i], typical(i), 1e-9)
	}
	closeTo(t, "a day on", got[24], typical(24), 1e-9)
	measured := slices.Repeat([]float64{unknown}, 72)
	measured[30] = -40
	if got := Temperature(measured, h); got[30] != -40 || math.Abs(got[31]-typical(31)) > 0.25 {
		t.Errorf("%v", got[29:33])
	}
}

// The ratio of a clear day by hand, and what makes a day none.
func TestClearDayByHand(t *testing.T) {
	for _, c := range []struct {
		what  string
		do    func(hour int, wh float64) float64
		limit float64
		ratio float64
		clear bool
	}{
		{"as modelled", times(1), math.Inf(1), 1, true},
		{"0.8 of it", times(0.8), math.Inf(1), 0.8, true},
		{"an hour of 300 missing", func(hour int, wh float64) float64 {
			if hour == 8 {
				return unknown
			}
			return wh
		}, math.Inf(1), unknown, false}, // 5.8 %, of which 5 are allowed
		{"an hour a twentieth off", func(hour int, wh float64) float64 {
			if hour == 10 {
				return wh - 90
			}
			return wh
		}, math.Inf(1), 5110. / 5200, true},
		{"an hour a tenth of the watts off", func(hour int, wh float64) float64 {
			if hour == 10 {
				return wh - 125
			}
			return wh
		}, math.Inf(1), 5075. / 5200, false},
		{"nothing", times(0), math.Inf(1), 0, false},
		{"flat", func(hour int, wh float64) float64 { return wh*0.82 + 90*min(1, wh) }, math.Inf(1), (0.82*5200 + 720) / 5200, true},
		{"below the limit only", func(hour int, wh float64) float64 { return min(wh, 790) }, 800, 1, false}, // of 300 and 500 four hours are left, the rest stand at 97 % of it
	} {
		data := box(3).on(1, 2, c.do)
		m := boxModel(&data, c.limit)
		var free [24]float64
		ratio, energy, fits := data.clearShape(m, 24, 48, free[:])
		if c.what == "below the limit only" {
			if math.Abs(ratio-1) > 1e-9 || math.Abs(energy-1600) > 1e-6 || !fits {
				t.Errorf("%s: %v of %v, %v", c.what, ratio, energy, fits)
			}
			continue
		}
		if math.Abs(ratio-c.ratio) > 1e-9 || math.IsNaN(ratio) != math.IsNaN(c.ratio) || fits != c.clear {
			t.Errorf("%s: %v, clear %v, want %v", c.what, ratio, fits, c.ratio)
		}
		if c.ratio > 0 && math.Abs(energy-5200) > 1e-6 {
			t.Errorf("%s: energy %v", c.what, energy)
		}
	}
	// every other hour 30 W above, the others below: r² = 1/(1 + 8·30²/580,000), 0.994; with 60 W it is 0.976
	for off, want := range map[float64]bool{30: true, 60: false} {
		data := box(2).on(1, 2, func(hour int, wh float64) float64 { return wh + min(wh, off)*float64(1-hour%2*2) })
		var free [24]float64
		if ratio, _, fits := data.clearShape(boxModel(&data, math.Inf(1)), 24, 48, free[:]); fits != want || math.Abs(ratio-1) > 1e-9 {
			t.Errorf("%v W to and fro: %v, ratio %v", off, fits, ratio)
		}
	}
	// two hours of 300 below the limit are 11.5 % of the light, and a fifth is needed; an array that stands since that morning has its watts and limit
	limited := box(2).on(1, 2, func(_ int, wh float64) float64 { return min(wh, 400) })
	var hours [24]float64
	if ratio, _, _ := limited.clearShape(boxModel(&limited, 400), 24, 48, hours[:]); !math.IsNaN(ratio) {
		t.Errorf("an eighth of the light: %v", ratio)
	}
	since := box(2)
	m := boxModel(&since, 2000)
	m.Groups[0].From = since.Sun.Start + 24
	if ratio, _, fits := since.clearShape(m, 24, 48, hours[:]); !fits || math.Abs(ratio-1) > 1e-9 {
		t.Errorf("since that morning: %v %v", ratio, fits)
	}
	// a day that makes less than half a per cent of full power all day, 120 Wh of 1 kW, says nothing
	data := box(1)
	for i := range data.Sun.Up {
		data.Sun.ClearGHI[i], data.Sun.ClearDNI[i], data.Wh[i] = data.Sun.ClearGHI[i]*0.02, data.Sun.ClearDNI[i]*0.02, data.Wh[i]*0.02
	}
	var free [24]float64
	if ratio, _, _ := data.clearShape(boxModel(&data, math.Inf(1)), 0, 24, free[:]); !math.IsNaN(ratio) { // 104 Wh
		t.Errorf("polar winter: %v", ratio)
	}
	// four hours are needed
	data = box(1)
	for i := range data.Sun.Up {
		if i != 10 && i != 11 && i != 12 {
			data.Sun.ClearGHI[i], data.Wh[i] = 0, 0
		}
	}
	if _, _, fits := data.clearShape(boxModel(&data, math.Inf(1)), 0, 24, free[:]); fits {
		t.Error("three hours make no curve")
	}
}

// Thirty days at 0.9 of which some are cloudy: the factor is that of the clear ones.
func TestCalibrationOfTheBox(t *testing.T) {
	data := box(60).on(0, 60, times(0.9))
	for d := 0; d < 60; d += 3 {
		data = data.on(d, d+1, func(hour int, wh float64) float64 {
			if hour > 11 {
				return 0.3 * wh
			}
			return wh
		})
	}
	data = data.on(31, 32, times(0.91)).on(32, 33, times(1.12)).on(34, 35, times(0.88)) // 12 % off is none, 9 % is
	c := Calibrate(boxModel(&data, math.Inf(1)), data)
	closeTo(t, "factor", c.Factor, 0.9, 1e-9)
	if c.N != 40-2 {
		t.Errorf("%d clear days", c.N)
	}
	for d, want := range map[int]float64{0: unknown, 1: 0.9, 31: 0.9 * 0.91, 32: unknown, 34: unknown} {
		if got := c.Ratio[d]; math.Abs(got-want) > 1e-9 || math.IsNaN(got) != math.IsNaN(want) {
			t.Errorf("day %d: %v", d, got)
		}
	}
	closeTo(t, "spread", c.SD, 0, 1e-9)
	few := box(10).on(4, 10, times(0))
	if c := Calibrate(boxModel(&few, math.Inf(1)), few); c.N != 4 || !math.IsNaN(c.Factor) {
		t.Errorf("four days: %+v", c.Factor)
	}
	few = box(10).on(5, 10, times(0))
	if c := Calibrate(boxModel(&few, math.Inf(1)), few); c.N != 5 || math.Abs(c.Factor-1) > 1e-9 {
		t.Errorf("five days: %+v", c.Factor)
	}
	// half the days at e^0.05 more: the spread is 1.4826 of the middle distance
	data = box(40)
	for d := 1; d < 40; d += 2 {
		data = data.on(d, d+1, times(math.Exp(0.05)))
	}
	c = Calibrate(boxModel(&data, math.Inf(1)), data)
	if c.SD < 0 || c.SD > 1.4826*0.051 || c.N != 40 {
		t.Errorf("spread %v of %d", c.SD, c.N)
	}
	// the level of the weeks around, renewed every third day
	local := (&Calibration{Ratio: []float64{1, 2, 3, unknown, 5, 6, 7, unknown, unknown, unknown, unknown, unknown, unknown}}).Local(2)
	for d, want := range []float64{2, 2, 2, 4, 4, 4, 6, 6, 6, unknown, unknown, unknown, unknown} {
		if got := local[d]; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("day %d: %v, want %v", d, got, want)
		}
	}
}

// The rolling top: the ninth of ten parts over 31 days, renewed every third.
func TestRollingTopByHand(t *testing.T) {
	x := make([]float64, 60)
	for d := range x {
		x[d] = float64(d)
	}
	top := RollingTop(x)
	for d, want := range map[int]float64{0: 13.5, 1: 13.5, 2: 13.5, 3: 16.2, 30: 42, 32: 42, 33: 45, 59: 56.6} { // 0 to 15: 0.9 of 15; 15 to 45: 15 + 27; 57 stands for 59: 42 to 59
		if d == 59 {
			want = 42 + 0.9*17
		}
		closeTo(t, "top", top[d], want, 1e-9)
	}
	for d := range x {
		x[d] = unknown
	}
	if !math.IsNaN(RollingTop(x)[7]) {
		t.Error("nothing known")
	}
}

// Ten arrays and more tell a slope; it is drawn to none by the doubt of either.
func TestSlopeOfAges(t *testing.T) {
	cellOf := func(n int, slope float64) (out []aged) {
		for i := range n {
			out = append(out, aged{0.9 * math.Exp(slope*float64(i)), float64(i)})
		}
		return out
	}
	if got := ageingOf([][]aged{cellOf(9, 0.004)}); got != (Ageing{SD: priorAgeingSD}) {
		t.Errorf("nine arrays: %+v", got)
	}
	// two cells of two arrays each tell nothing of themselves
	if got := ageingOf([][]aged{cellOf(2, 0.004), cellOf(2, 0.004), cellOf(9, 0.004)}); got.Gain != 0 {
		t.Errorf("%+v", got)
	}
	noisy := cellOf(40, 0.004)
	for i := range noisy {
		noisy[i].factor *= 1 + 0.002*float64(i%5-2)
	}
	got := ageingOf([][]aged{noisy, {{0.9, unknown}, {0, 3}, {0.8, unknown}}})
	if !(got.Gain > 0.0035 && got.Gain < 0.0042 && got.SD > 0 && got.SD < priorAgeingSD) {
		t.Errorf("%+v", got)
	}
	// other levels of other cells say nothing
	other := slices.Clone(noisy)
	for i := range other {
		other[i].factor *= 1.3
	}
	if two := ageingOf([][]aged{noisy, other}); math.Abs(two.Gain-got.Gain) > 2e-4 || two.SD > got.SD {
		t.Errorf("%+v and %+v", two, got)
	}
	loud := cellOf(10, 0.05)
	for i := range loud {
		loud[i].factor *= 1 + 0.2*float64(i%3-1)
	}
	if got := ageingOf([][]aged{loud}); got.Gain < 0 || got.Gain > 0.01 || !(got.SD > 0.001 && got.SD <= priorAgeingSD) {
		t.Errorf("in much noise: %+v", got)
	}
	// nor do other levels of older arrays, whose own slope is the same
	for i := range other {
		other[i].ageYears += 30
	}
	if two := ageingOf([][]aged{noisy, other}); math.Abs(two.Gain-got.Gain) > 2e-4 {
		t.Errorf("older ones elsewhere: %+v and %+v", two, got)
	}
	m := Model{Groups: []Group{{Watts: 1000, From: 8766, Born: 8766}, {Watts: 1000}}}
	closeTo(t, "half of the watts are dated", m.AgeAt(3*8766), 2, 1e-12)
	m.Groups[1].Watts = 1001
	if got := m.AgeAt(3 * 8766); !math.IsNaN(got) {
		t.Errorf("less than half: %v", got)
	}
	m = Model{Groups: []Group{{Watts: 1000, From: 8766, Born: 8766}, {Watts: 3000, From: 2 * 8766, Born: 2 * 8766}}}
	closeTo(t, "by watts", m.AgeAt(3*8766), (2000.+3000)/4000, 1e-12)
	closeTo(t, "before the second stood", m.AgeAt(3*8766/2), 0.5*1000/4000, 1e-12)
	if got := (&Model{}).AgeAt(9); !math.IsNaN(got) {
		t.Errorf("no array: %v", got)
	}
}

// A flat top by hand: eight values on one level, three times what lies in the bands below.
func TestFlatTopByHand(t *testing.T) {
	ramp := func(n int) (x []float64) { // up to 900 in even steps
		for i := range n {
			x = append(x, 900*float64(i+1)/float64(n))
		}
		return x
	}
	flat := func(n int, level float64) []float64 { return slices.Repeat([]float64{level}, n) }
	for _, c := range []struct {
		what string
		x    []float64
		want float64
	}{
		{"a ramp alone", ramp(400), unknown},
		{"eight at the top", append(ramp(60), flat(8, 1000)...), 1000}, {"seven", append(ramp(60), flat(7, 1000)...), unknown},
		{"a stray above", append(append(ramp(60), flat(20, 1000)...), 1500), 1000},
		{"scaled", append(append(ramp(60), flat(20, 1e6)...), 2), 1e6},
		{"more above than a tenth", append(append(ramp(60), flat(20, 1000)...), 1012, 1014, 1016, 1018), unknown},
		{"nothing", nil, unknown}, {"zeros", flat(50, 0), unknown}, {"missing", flat(50, unknown), unknown}, {"three", flat(3, 5), unknown},
	} {
		got := FlatTop(c.x)
		if math.IsNaN(got) != math.IsNaN(c.want) || math.Abs(got-c.want) > 0.005*c.want || got > c.want { // the middle of a band below the top
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
	for _, c := range []struct {
		x    []float64
		want float64
	}{{[]float64{1, 2, 3, 4}, 4}, {[]float64{10, 10, 10, 10}, 10}, {[]float64{95, 96, 97, 98, 500}, 98}, {[]float64{5}, 5},
		// four strays of few values, and one more of each fifty, do not set the scale
		{append(flat(20, 100), 200, 300, 400, 500), 100}, {append(flat(20, 100), 200, 300, 400, 500, 600), 600},
		{append(flat(60, 100), 200, 300, 400, 500, 600), 100}, {append(flat(60, 100), 200, 300, 400, 500, 600, 700), 700}} {
		if got := topOf(c.x); got != c.want {
			t.Errorf("top of %v: %v", c.x, got)
		}
	}
}
