package sky

import (
	"math"
	"slices"
	"testing"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// boxLight is the light of a clear day in the box from 8 o'clock on, W/m²: 5,200 Wh in all.
var boxLight = [8]float64{300, 500, 800, 1000, 1000, 800, 500, 300}

// box is days of readings for sums by hand: the sun stands overhead from 8 to 16 o'clock
// of every day of 2025, without diffuse light, and the array makes as many Wh as there
// are W/m². The clock is UTC's, on the meridian.
func box(days int) Hourly {
	n := 24 * days
	start := ingest.HourOf(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))
	h := &sun.Hours{Start: start, N: n}
	for _, c := range []*[]float64{&h.East, &h.North, &h.Up, &h.ExtraWm2, &h.AirMass, &h.ClearGHI, &h.ClearDNI, &h.ClearDHI} {
		*c = make([]float64, n)
	}
	data := Hourly{Sun: h, Calendar: ingest.NewCalendar(time.UTC, start, n), Wh: make([]float64, n), TempC: slices.Repeat([]float64{20}, n)}
	for i := range n {
		h.ExtraWm2[i] = 1361
		if at := i%24 - 8; at >= 0 && at < 8 {
			h.Up[i], h.ClearGHI[i], h.ClearDNI[i], data.Wh[i] = 1, boxLight[at], boxLight[at], boxLight[at]
		}
	}
	return data
}

// boxModel is an array of 1 kW that loses nothing, behind inverters of so many watts.
func boxModel(data *Hourly, limitW float64) *Model {
	return NewUnit(sun.Plane{AzimuthDeg: 180}, data.Sun, ingest.Module{Watts: 1000, TempCoefficientPctPC: -1e-12}, ingest.Inverter{EfficiencyPct: 100}, limitW, 0)
}

// on changes the readings of days from one to another.
func (data Hourly) on(from, to int, do func(hour int, wh float64) float64) Hourly {
	data.Wh = slices.Clone(data.Wh)
	for i := 24 * from; i < 24*to; i++ {
		data.Wh[i] = do(i%24, data.Wh[i])
	}
	return data
}

// later moves the readings of days by hours.
func (data Hourly) later(from, to, hours int) Hourly {
	was := data.Wh
	data.Wh = slices.Clone(data.Wh)
	for i := 24 * from; i < 24*to; i++ {
		data.Wh[i] = was[i-i%24+(i%24-hours+24)%24]
	}
	return data
}

func times(share float64) func(int, float64) float64 {
	return func(_ int, wh float64) float64 { return share * wh }
}

// A change of lag costs 16, whatever its size: five days that gain 8 each are worth the
// way there and back, three are not, and at the end four are.
func TestCheapestPath(t *testing.T) {
	path := func(n, from, to int, gain float64) []float64 {
		cost := make([][pathLags]float64, n)
		for d := range cost {
			for k := range cost[d] {
				cost[d][k] = 8
			}
			if cost[d][6] = 0; d >= from && d < to {
				cost[d][6], cost[d][9] = gain, 0
			}
		}
		return cheapest(cost)
	}
	for _, c := range []struct {
		from, to int
		gain     float64
		moved    bool
	}{{10, 15, 8, true}, {10, 14, 8.1, true}, {10, 14, 7.9, false}, {10, 13, 8, false}, {26, 30, 8, true}, {29, 30, 17, true}, {29, 30, 15, false}, {0, 2, 8.1, true}, {0, 2, 7.9, false}} {
		got := path(30, c.from, c.to, c.gain)
		for d, lag := range got {
			want := 0.0
			if c.moved && d >= c.from && d < c.to {
				want = 1.5
			}
			if lag != want {
				t.Errorf("%+v: day %d at %v, want %v", c, d, lag, want)
				break
			}
		}
	}
}

// The lag of most judged days; where nothing is judged, none.
func TestCommonestLag(t *testing.T) {
	good := []bool{true, true, true, true, true, false, false, false}
	if got := commonest([]float64{1, 1, 1, 0, 0, 2, 2, 2}, good); got != 1 {
		t.Errorf("%v", got)
	}
	if got := commonest([]float64{-3, -3, 3, 0, 0, 0, 0, 0}, good); got != 0 {
		t.Errorf("as many: %v", got)
	}
	if got := commonest([]float64{-3, -3, -3, 0, 0, 0, 0, 0}, good); got != -3 {
		t.Errorf("%v", got)
	}
	if got := commonest([]float64{2, 2}, []bool{false, false}); got != 0 {
		t.Errorf("nothing judged: %v", got)
	}
}

// Six judged days three quarters of an hour off are no steady clock.
func TestSteadyClock(t *testing.T) {
	for _, c := range []struct {
		days  int
		off   float64
		dull  int
		still bool
	}{{5, 1, 0, true}, {6, 1, 0, false}, {6, -1, 0, false}, {6, 0.5, 0, true}, {6, 1, 1, true}, {7, 1, 1, false}, {6, 0.75, 0, false}} {
		p := clockPath{rel: make([]float64, 20), good: slices.Repeat([]bool{true}, 20)}
		for d := range c.days {
			p.rel[d], p.good[d] = c.off, d >= c.dull
		}
		if got := p.steady(); got != c.still {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Stretches ten days apart and half an hour unlike are one; its lag is weighted by days
// and rounded to half hours.
func TestStretchesAreJoined(t *testing.T) {
	for _, c := range []struct {
		what string
		all  []Stretch
		want []Stretch
	}{
		{"ten days apart", []Stretch{{0, 9, 1}, {19, 28, 1}}, []Stretch{{0, 28, 1}}},
		{"eleven", []Stretch{{0, 9, 1}, {20, 28, 1}}, []Stretch{{0, 9, 1}, {20, 28, 1}}},
		{"half an hour unlike", []Stretch{{0, 29, 1}, {30, 39, 1.5}}, []Stretch{{0, 39, 1}}},   // 1.125
		{"the longer one later", []Stretch{{0, 9, 1}, {10, 39, 1.5}}, []Stretch{{0, 39, 1.5}}}, // 1.375
		{"an hour unlike", []Stretch{{0, 9, 1}, {10, 39, 2}}, []Stretch{{0, 9, 1}, {10, 39, 2}}},
		{"three", []Stretch{{0, 9, 1}, {10, 19, 1}, {20, 29, 1}}, []Stretch{{0, 29, 1}}},
		{"of either sign", []Stretch{{0, 9, -0.5}, {12, 19, 0.5}}, []Stretch{{0, 9, -0.5}, {12, 19, 0.5}}},
	} {
		if got := merged(slices.Clone(c.all)); !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, want %+v", c.what, got, c.want)
		}
	}
}

// A day's profile holds the median share of each hour, from midnight by the sun on.
func TestProfileOfDays(t *testing.T) {
	data := box(10).on(2, 3, times(0.2)).on(3, 4, func(hour int, wh float64) float64 { return 77 * float64(hour) })
	p := clockPath{data: &data}
	got := p.profile([]int{0, 1, 2, 3, 4})
	for hour := range 24 {
		want := 0.0
		if hour >= 8 && hour < 16 {
			want = boxLight[hour-8] / 5200
		}
		closeTo(t, "share", got[hour], want, 1e-12)
	}
	data.Sun.Place.LongitudeDeg = -75 // five hours west: midnight is 5 o'clock of UTC
	if got := p.profile([]int{0, 1}); math.Abs(got[8-5]-300./5200) > 1e-12 || got[8] == 0 || got[11] != 0 {
		t.Errorf("five hours west: %v", got)
	}
	data.Sun.Place.LongitudeDeg = 0
	data = data.on(5, 6, func(hour int, wh float64) float64 {
		if hour == 8 {
			return math.NaN()
		}
		return wh
	})
	if got := p.profile([]int{5}); math.Abs(got[9]-500./4900) > 1e-12 || got[8] != 0 {
		t.Errorf("an hour is missing: %v", got)
	}
	if got := p.profile(nil); got != [24]float64{} {
		t.Errorf("no days: %v", got)
	}
}

// The days' own profile shows an hour's jump, where four judged days lie within 45 days
// to either side.
func TestJumpThatIsShown(t *testing.T) {
	for _, hours := range []int{-2, -1, 1, 2} {
		data := box(100).later(50, 100, hours)
		p := clockPath{data: &data}
		var judged []int
		for d := range 100 {
			judged = append(judged, d)
		}
		closeTo(t, "jump", p.shown(judged, 50), float64(hours), 0)
		closeTo(t, "no jump", p.shown(judged, 25), 0, 0)
		// fourteen days to either side: of ten before and four after the jump most are before
		closeTo(t, "four days off", p.shown(judged, 46), float64(hours), 0)
	}
	data := box(200).later(100, 200, 1)
	p := clockPath{data: &data}
	for _, c := range []struct {
		what   string
		judged []int
		known  bool
	}{
		{"four and four", []int{96, 97, 98, 99, 100, 101, 102, 103}, true}, {"three and four", []int{97, 98, 99, 100, 101, 102, 103}, false}, {"four and three", []int{96, 97, 98, 99, 100, 101, 102}, false},
		{"45 days before", []int{55, 97, 98, 99, 100, 101, 102, 103}, true}, {"46 days before", []int{54, 97, 98, 99, 100, 101, 102, 103}, false},
		{"45 days after", []int{96, 97, 98, 99, 100, 101, 102, 145}, true}, {"46 days after", []int{96, 97, 98, 99, 100, 101, 102, 146}, false},
	} {
		got := p.shown(c.judged, 100)
		if math.IsNaN(got) == c.known || c.known && got != 1 {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	// half an hour: the mean of two hours
	data = box(60)
	was := data.Wh
	data = data.on(30, 60, func(hour int, wh float64) float64 { return (wh + was[(hour+23)%24]) / 2 })
	p = clockPath{data: &data}
	var judged []int
	for d := range 60 {
		judged = append(judged, d)
	}
	closeTo(t, "half an hour", p.shown(judged, 30), 0.5, 0)
}

// moved is a path of a record whose days stand off by a lag over some of them.
func moved(data Hourly, from, to int, lag float64) *clockPath {
	n := data.Calendar.Days()
	p := &clockPath{data: &data, rel: make([]float64, n), good: slices.Repeat([]bool{true}, n), base: make([]float64, n)}
	for d := from; d < to; d++ {
		p.rel[d] = lag
	}
	return p
}

// A stretch is six judged days and more that stand off, whose edges the array's own days
// confirm: six tenths of the jump at one, three tenths at the other.
func TestStretchesByHand(t *testing.T) {
	for _, c := range []struct {
		what     string
		from, to int
		lag      float64
		really   int // hours by which the readings are moved
		want     bool
	}{
		{"an hour, as said", 40, 60, 1, 1, true}, {"six days", 94, 100, 1, 1, true}, {"five days", 95, 100, 1, 1, false}, {"eight of fourteen days", 40, 48, 1, 1, true}, {"six of fourteen", 40, 46, 1, 1, false}, {"half an hour", 40, 60, 0.5, 1, false},
		{"early", 40, 60, -1, -1, true}, {"the readings show nothing", 40, 60, 1, 0, false}, {"the other way", 40, 60, 1, -1, false},
		{"0.67 of it", 40, 60, 3, 2, true}, {"a half of it", 40, 60, 2, 1, false},
		{"to the end", 70, 100, 1, 1, true}, {"from the start", 0, 30, 1, 1, true}, {"all of it", 0, 100, 1, 0, true},
	} {
		p := moved(box(100).later(c.from, c.to, c.really), c.from, c.to, c.lag)
		got := p.stretches()
		if (len(got) == 1) != c.want || c.want && got[0] != (Stretch{c.from, c.to - 1, c.lag}) {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	// days that are not judged do not count
	p := moved(box(100).later(40, 46, 1), 40, 46, 1)
	p.good[42] = false
	if got := p.stretches(); len(got) != 0 {
		t.Errorf("five judged days: %+v", got)
	}
	// one edge alone is shown: the other by less than three tenths
	p = moved(box(100).later(40, 100, 1), 40, 60, 1)
	if got := p.stretches(); len(got) != 0 {
		t.Errorf("it never went back: %+v", got)
	}
	// what comes by steps of less than half an hour over three days is a season
	p = moved(box(100).later(40, 60, 1), 40, 60, 1)
	p.rel[38], p.rel[39] = 1, 1
	if p.holds(Stretch{40, 59, 1}) {
		t.Error("no step at its edge")
	}
	// the clock of the whole record jumps the other way at the same date: nothing to show
	p = moved(box(100), 40, 60, 1)
	for d := 40; d < 60; d++ {
		p.base[d] = -1
	}
	if !p.holds(Stretch{40, 59, 1}) {
		t.Error("where no jump is due none must be shown")
	}
	// an edge within three days of the first or the last judged day is the record's own
	p = moved(box(100), 0, 4, 1)
	if !p.holds(Stretch{3, 99, 1}) || p.holds(Stretch{4, 99, 1}) || !p.holds(Stretch{0, 95, 1}) {
		t.Error("the record's own ends")
	}
}

// Summer time that is not followed jumps where it begins and back where it ends.
func TestJumpsOfSummerTime(t *testing.T) {
	summer := make([]float64, 200)
	for d := 60; d < 140; d++ {
		summer[d] = 1
	}
	for _, c := range []struct {
		hours int
		by    float64
		want  bool
	}{{1, 1, true}, {-1, -1, true}, {1, -1, false}, {0, 1, false}, {1, 2, false}} {
		data := box(200).later(60, 140, c.hours)
		p := moved(data, 0, 0, 0)
		if got := p.jumps(summer, c.by); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
	// one of two: a half
	data := box(200).later(60, 200, 1)
	if p := moved(data, 0, 0, 0); p.jumps(summer, 1) {
		t.Error("it never jumped back")
	}
	if p := moved(data, 0, 0, 0); p.jumps(make([]float64, 200), 1) {
		t.Error("no summer time")
	}
}

// The model half an hour on, by the cubic through four hours: of 0 2 2 0 it is
// (9 · 2 + 9 · 2)/16.
func TestHalfHours(t *testing.T) {
	got := halfHours([]float64{0, 0, 0, 0, 2, 2, 0, 0, 0, 0})
	for i, want := range []float64{0, 0, 0, (18. - 2) / 16, 2.25, (18. - 2) / 16, 0, 0, 0, 0} { // at 2 and 6 the cubic is below nothing
		closeTo(t, "half", got[i], want, 1e-12)
	}
	line := []float64{1, 2, 3, 4, 5, 6, 7}
	for i, v := range halfHours(line) {
		if want := line[i] + 0.5; i >= 1 && i+2 < len(line) {
			closeTo(t, "half of a line", v, want, 1e-12)
		} else if v != 0 {
			t.Errorf("at the ends: %v", v)
		}
	}
	cubic := func(x float64) float64 { return 100 + x*x*x - 3*x*x + 2*x }
	var m []float64
	for i := range 8 {
		m = append(m, cubic(float64(i)))
	}
	for _, at := range []float64{2, 2.25, 2.5, 3.75, 4.9} { // a cubic goes through itself
		closeTo(t, "between", between(m, at), cubic(at), 1e-9)
	}
	if got := between([]float64{9, 0, 0, 9}, 1.5); got != 0 { // -18/16
		t.Errorf("below nothing: %v", got)
	}
}

// A day that goes with its model, whatever the scale, does not miss; one beside it misses all.
func TestMisfitOfADay(t *testing.T) {
	model := []float64{0, 0, 1, 2, 3, 2, 1, 0, 0, 0, 0, 0}
	half := halfHours(model)
	for _, c := range []struct {
		what string
		p    []float64
		from float64
		want float64
	}{
		{"itself", []float64{1, 2, 3, 2, 1}, 2, 0}, {"threefold", []float64{3, 6, 9, 6, 3}, 2, 0},
		// 1·0 + 2·1 + 3·2 + 2·3 + 1·2 = 16 of 19 · 18
		{"an hour off", []float64{1, 2, 3, 2, 1}, 1, 1 - 256./(19*18)},
		{"an hour missing", []float64{1, unknown, 3, 2, 1}, 2, 0},
		{"in the dark", []float64{1, 1}, 7, 1}, {"nothing", []float64{0, 0, 0}, 2, 1},
		{"half an hour on", []float64{half[2], half[3], half[4]}, 2.5, 0}, {"hours 0 and 1 lie before the model's second", []float64{9, 9, 0, 1, 2, 3}, -1, 0},
	} {
		closeTo(t, c.what, misfit(c.p, model, half, c.from), c.want, 1e-12)
	}
	if got := misfit([]float64{1, 1, 1, 5, 5, 5, 5, 5, 5}, slices.Repeat([]float64{1}, 6), half, 1); got != 0 { // up to the third hour before the end
		t.Errorf("beyond the end: %v", got)
	}
}

// A day tells the time where nine tenths of its lit hours are read and it makes three
// tenths of the season's best.
func TestDaysThatTellTime(t *testing.T) {
	data := box(40).on(10, 11, times(0.31)).on(12, 13, times(0.29)).on(14, 15, func(hour int, wh float64) float64 {
		if hour == 8 { // seven of eight hours
			return unknown
		}
		return wh
	}).on(16, 17, func(hour int, wh float64) float64 {
		if hour < 8 {
			return unknown
		}
		return wh
	})
	for d, got := range data.tellTime() {
		if want := d != 12 && d != 14; got != want {
			t.Errorf("day %d: %v", d, got)
		}
	}
	clear(data.Sun.Up)
	if slices.Contains(data.tellTime(), true) {
		t.Error("without a sun no day tells the time")
	}
	// nine of ten lit hours are enough
	data = box(40)
	for i := range data.Sun.Up {
		if i%24 == 7 || i%24 == 16 {
			data.Sun.Up[i] = 0.1
		}
	}
	data = data.on(5, 6, func(hour int, wh float64) float64 {
		if hour == 8 {
			return unknown
		}
		return wh
	})
	if got := data.tellTime(); !got[5] {
		t.Error("nine of ten hours")
	}
}

// A clock fit of the box, for the rules that need no search.
func boxClock(data Hourly) *clockFit {
	f := &clockFit{Fit: &Fit{set: &fitSet{data: data}}, summer: make([]float64, data.Calendar.Days())}
	for d := range f.summer {
		f.summer[d] = 0
	}
	return f
}

// The share of the output in the dark: two hours late, the last two of eight hours lie
// there, 800 of 5,200; read two hours earlier, none.
func TestOutputInTheDark(t *testing.T) {
	data := box(10).later(0, 10, 2)
	f := boxClock(data)
	closeTo(t, "as read", f.dark(0, len(f.summer), 0, 0), 800./5200, 1e-12)
	closeTo(t, "two hours earlier", f.dark(0, len(f.summer), 0, 2), 0, 1e-12)
	closeTo(t, "one hour earlier", f.dark(0, len(f.summer), 0, 1), 300./5200, 1e-12)
	closeTo(t, "half an hour is the hour beyond", f.dark(0, len(f.summer), 0, 0.5), 300./5200, 1e-12)
	closeTo(t, "an hour later", f.dark(0, len(f.summer), 0, -1), 1600./5200, 1e-12)
	closeTo(t, "half an hour later", f.dark(0, len(f.summer), 0, -0.5), 1600./5200, 1e-12)
	for d := range 5 {
		f.summer[d] = 1
	}
	closeTo(t, "in summer alone", f.dark(0, len(f.summer), 2, 0), 400./5200, 1e-12)
	closeTo(t, "in summer alone, the other way", f.dark(0, len(f.summer), -2, 2), 400./5200, 1e-12)
	if got := boxClock(box(3).on(0, 3, times(0))).dark(0, 3, 0, 0); got != 0 {
		t.Errorf("no output: %v", got)
	}
	// hours that would come from before the record do not count
	data = box(1).on(0, 1, times(0))
	data.Wh[0], data.Wh[12] = 50, 50
	closeTo(t, "before the record", boxClock(data).dark(0, 1, 0, 1), 0, 0)
	closeTo(t, "within it", boxClock(data).dark(0, 1, 0, 0), 0.5, 0)
}

// A day near a change of the zone's clock, or the record's end.
func TestDaysNearAChange(t *testing.T) {
	f := &clockFit{summer: make([]float64, 100)}
	for d := 40; d < 70; d++ {
		f.summer[d] = 1
	}
	for d, want := range map[int]bool{0: true, 4: true, 5: false, 35: false, 36: true, 40: true, 43: true, 44: false, 65: false, 66: true, 73: true, 74: false, 95: false, 96: true, 100: true} {
		if got := f.changesAt(d); got != want {
			t.Errorf("day %d: %v", d, got)
		}
	}
}

// How late each day is, all in all; and the readings moved by it.
func TestClockByDay(t *testing.T) {
	f := boxClock(box(10))
	for d := 5; d < 10; d++ {
		f.summer[d] = 1
	}
	if c := f.byDay(Clock{}); !c.Right() {
		t.Errorf("a right clock: %+v", c)
	}
	c := f.byDay(Clock{Late: 1, Summer: -2, Stretches: []Stretch{{2, 3, 0.5}, {8, 8, 3}}})
	if want := []float64{1, 1, 1.5, 1.5, 1, -1, -1, -1, 2, -1}; !slices.Equal(c.Days, want) {
		t.Errorf("%v, want %v", c.Days, want)
	}
	for _, one := range []Clock{{Late: 1}, {Summer: 1}, {Stretches: []Stretch{{0, 0, 1}}}} {
		if c := f.byDay(one); c.Right() {
			t.Errorf("%+v is right", one)
		}
	}
	data := box(10)
	for i := range data.Wh {
		data.Wh[i] = float64(i)
	}
	got := c.Aligned(data.Wh, data.Calendar)
	for i, want := range map[int]float64{0: 1, 47: 48, 48: 49, 5 * 24: 5*24 - 1, 8 * 24: 8*24 + 2, 9*24 + 23: 9*24 + 22} {
		closeTo(t, "moved", got[i], want, 0)
	}
	late := Clock{Days: slices.Repeat([]float64{1}, 10)}
	if got := late.Aligned(data.Wh, data.Calendar); !math.IsNaN(got[239]) || got[238] != 239 {
		t.Error("beyond the end nothing is known")
	}
	early := Clock{Days: slices.Repeat([]float64{-1}, 10)}
	if got := early.Aligned(data.Wh, data.Calendar); !math.IsNaN(got[0]) || got[1] != 0 {
		t.Error("before the beginning nothing is known")
	}
	right := Clock{}
	if got := right.Aligned(data.Wh, data.Calendar); &got[0] != &data.Wh[0] {
		t.Error("a right clock moves nothing")
	}
	f.set.days = []fitDay{{d: 1}, {d: 6}}
	f.lateBy(Clock{Late: 0.5, Summer: 1})
	if f.set.days[0].late != 0.5 || f.set.days[1].late != 1.5 {
		t.Errorf("%+v", f.set.days)
	}
	if got := f.summers(); !slices.Equal(got, []float64{0, 1, -1}) {
		t.Errorf("days of both seasons: %v", got)
	}
	f.set.days = f.set.days[:1]
	if got := f.summers(); !slices.Equal(got, []float64{0}) {
		t.Errorf("winter alone: %v", got)
	}
	f.set.days[0].d = 6
	if got := f.summers(); !slices.Equal(got, []float64{0}) {
		t.Errorf("summer alone: %v", got)
	}
}
