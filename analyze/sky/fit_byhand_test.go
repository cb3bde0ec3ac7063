package sky

import (
	"math"
	"slices"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// A day's level and how badly its curve fits: of y = 1, 0.5 under M = 1, 1 the level is
// 0.75, and what is left is 1.25 - 2.25/2 = 0.125, over 0.05² and by halves 25.
func TestShapeOfADay(t *testing.T) {
	day := fitDay{y: []float64{1, 0.5}, w: []float64{1, 1}, peak: 1}
	m := make([]float64, 2+2*lagReach)
	m[lagReach], m[lagReach+1] = 1, 1
	f, cost := day.shape(m)
	closeTo(t, "level", f, 0.75, 1e-12)
	closeTo(t, "cost", cost, 12*math.Log1p(25./12), 1e-9)
	day.peak = 2 // of a top of 2 the same miss is a quarter of that
	_, cost = day.shape(m)
	closeTo(t, "of twice the top", cost, 12*math.Log1p(6.25/12), 1e-9)
	day.w[1] = 0
	f, cost = day.shape(m)
	closeTo(t, "an hour that tells nothing", f, 1, 1e-12)
	closeTo(t, "its cost", cost, 0, 1e-12)
	day.w[1], day.y[1] = 1, 1
	m[lagReach], m[lagReach+1] = 2, 2
	f, cost = day.shape(m)
	closeTo(t, "twice the model", f, 0.5, 1e-12)
	closeTo(t, "twice the model", cost, 0, 1e-12)
	m[lagReach], m[lagReach+1], m[lagReach-1] = 1, 0, 1
	day.late, day.y = 1, []float64{1, 1} // an hour late: the hours before are compared
	f, cost = day.shape(m)
	closeTo(t, "an hour late", f, 1, 1e-12)
	closeTo(t, "an hour late", cost, 0, 1e-12)
	day.late = 0.5 // half an hour: (9 + 9)/16 of 1 1 with 0 on either side, then (9 - 1)/16
	f, _ = day.shape(m)
	a, b := 18./16, 8./16
	closeTo(t, "half an hour late", f, (a+b)/(a*a+b*b), 1e-9)
	clear(m)
	if f, cost := day.shape(m); f != 0 || cost != fitUnclear {
		t.Errorf("a day in the dark: %v %v", f, cost)
	}
	m[lagReach], day.late, day.peak = 1, 0, 0
	if f, cost := day.shape(m); f != 0 || cost != fitUnclear {
		t.Errorf("a day without output: %v %v", f, cost)
	}
}

// flatDays are days of one hour each, at some levels, without a season.
func flatDays(levels ...float64) (*fitSet, []float64, []int) {
	s := &fitSet{}
	var m []float64
	var which []int
	for i, y := range levels {
		s.days = append(s.days, fitDay{d: i, off: len(m), y: []float64{y}, w: []float64{1}, peak: 1})
		one := make([]float64, 1+2*lagReach)
		one[lagReach] = 1
		m, which = append(m, one...), append(which, i)
	}
	s.known = make([]float64, len(m))
	return s, m, which
}

// The levels of three days at 1, 1 and 1.06: their mean is 1.02, over 3 % the misses are
// 2/3, 2/3 and 4/3 sigma, 24/9 together.
func TestCostOfLevels(t *testing.T) {
	s, m, which := flatDays(1, 1, 1.06)
	closeTo(t, "three days", s.cost(m, which, &levels{}), (24./9)/3, 1e-6)
	s.now = 3 // twice the haze's spread
	closeTo(t, "in haze", s.cost(m, which, &levels{}), (24./9+4)/3, 1e-6)
	s.now = 0
	// in units of the median: 2, 2 and 2.12 cost the same
	s, m, which = flatDays(2, 2, 2.12)
	closeTo(t, "twice", s.cost(m, which, &levels{}), (24./9)/3, 1e-6)
	// one of 21 days far off: the mean of the others moves by a twenty-first of 0.5, its own part is capped at 9
	far := append(slices.Repeat([]float64{1}, 20), 3)
	s, m, which = flatDays(far...)
	closeTo(t, "far off", s.cost(m, which, &levels{}), (20*math.Pow(0.5/21/0.03, 2)+9)/21, 1e-6)
	s, m, which = flatDays(0, 0, 0)
	if got := s.cost(m, which, &levels{}); !math.IsInf(got, 1) {
		t.Errorf("no output: %v", got)
	}
	s, m, which = flatDays(1, 1)
	if got := s.shapeCost(m, which); got != 0 {
		t.Errorf("shape: %v", got)
	}
	// a season: four days at cos 1, 0, -1, 0 of +6, 0, -6, 0 %. With the ridge of 1 beside sum cos² = 2 it takes two thirds: k = 0.04
	s, m, which = flatDays(1.06, 1, 0.94, 1)
	for i, c := range []float64{1, 0, -1, 0} {
		s.days[i].cos, s.days[i].sin = c, []float64{0, 1, 0, -1}[i]
	}
	want := (0.04*0.04/(0.03*0.03) + 2*0.02*0.02/(0.03*0.03)) / 4
	closeTo(t, "a season", s.cost(m, which, &levels{}), want, 1e-6)
	for i := range s.days { // by the sine as well
		s.days[i].cos, s.days[i].sin = s.days[i].sin, s.days[i].cos
	}
	closeTo(t, "a season by the sine", s.cost(m, which, &levels{}), want, 1e-6)
	// 2x + y = 5, x + 3y + z = 10, y + 4z = 14: 1, 3, ... by hand 5-2x = y
	x := solve3([3][3]float64{{2, 1, 0}, {1, 3, 1}, {0, 1, 4}}, [3]float64{4, 10, 14})
	for i, want := range []float64{1, 2, 3} {
		closeTo(t, "solve", x[i], want, 1e-12)
	}
	x = solve3([3][3]float64{{4, 1, 2}, {1, 3, 1}, {2, 1, 5}}, [3]float64{4 - 1 + 6, 1 - 3 + 3, 2 - 1 + 15})
	for i, want := range []float64{1, -1, 3} {
		closeTo(t, "solve", x[i], want, 1e-12)
	}
}

// A day's energy, and how rough its curve is: the box's bends are 300 at its edges, where
// it steps from nothing to 300 and on by 200, then 100, -100, -200 ...
func TestRoughnessOfADay(t *testing.T) {
	data := box(3)
	energy, rough := data.dayShape(24, 48)
	closeTo(t, "energy", energy, 5200, 1e-9)
	// second differences at the eight hours: -100, 100, -100, -200, -200, -100, 100, -100
	closeTo(t, "rough", rough, 1, 1e-12)
	data.K = slices.Repeat([]float64{0.9}, 72)
	data.K[24+11] = 0.4
	energy, rough = data.dayShape(24, 48)
	closeTo(t, "light", energy, 0.9-500./5200, 1e-12)
	closeTo(t, "from clear", rough, 0.1+500./5200, 1e-12)
	data.K[24+11] = unknown
	if energy, rough := data.dayShape(24, 48); !math.IsNaN(energy) || !math.IsNaN(rough) {
		t.Error("an hour whose sky is not known")
	}
	data.K = nil
	data = data.on(1, 2, func(hour int, wh float64) float64 {
		if hour == 9 {
			return unknown
		}
		return wh
	})
	if energy, rough := data.dayShape(24, 48); !math.IsNaN(energy) || !math.IsNaN(rough) {
		t.Error("an hour that is missing")
	}
	data = box(3).on(1, 2, times(0))
	if energy, _ := data.dayShape(24, 48); !math.IsNaN(energy) {
		t.Error("a day without output")
	}
	// the first and the last hour of the record have no neighbor
	data = box(1)
	data.Sun.ClearGHI[0], data.Sun.ClearGHI[23], data.Wh[0], data.Wh[23] = 1, 1, 500, 500
	if _, rough := data.dayShape(0, 24); math.Abs(rough-1) > 1e-12 {
		t.Errorf("rough %v", rough)
	}
}

// Candidates make 85 % of the season's best on a whole day, from an hour on.
func TestCandidatesForAFit(t *testing.T) {
	data := box(40).on(5, 6, times(0.84)).on(6, 7, times(0.86)).on(7, 8, times(0))
	all := data.candidates(data.Sun.Start+24*2+1, func(d int) bool { return d != 9 })
	var got []int
	for _, c := range all {
		got = append(got, c.d)
		closeTo(t, "rough", c.rough, 1, 1e-12)
	}
	var want []int
	for d := range 40 {
		if d > 2 && d != 5 && d != 7 && d != 9 {
			want = append(want, d)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	// one whose day has 23 hours is whole, of 22 it is not
	for cut, want := range map[int]int{1: 0, 2: 1} {
		short := box(20)
		short.Calendar = ingest.NewCalendar(nil, short.Sun.Start+ingest.Hour(cut), 480-cut)
		short.Wh, short.TempC = short.Wh[cut:], short.TempC[cut:]
		short.Sun = short.Sun.Slice(short.Sun.Start+ingest.Hour(cut), 480-cut)
		if all := short.candidates(0, func(int) bool { return true }); all[0].d != want {
			t.Errorf("%d hours cut: from day %d", cut, all[0].d)
		}
	}
	// those that look clear are the smoothest share
	data = box(40)
	for d := range 40 {
		data = data.on(d, d+1, func(hour int, wh float64) float64 {
			if hour == 14 {
				return wh - float64(10*d) // each day by 40 rougher
			}
			return wh
		})
	}
	clear := data.LooksClear(0.25)
	n := 0
	for d, is := range clear {
		if is {
			n++
			if d > 10 {
				t.Errorf("day %d looks clear", d)
			}
		}
	}
	if n != 10 { // a quarter of forty
		t.Errorf("%d days", n)
	}
}

// Of 120 days one of every two, the smoother; the rougher two thirds are left out where
// there are enough.
func TestDaysSpreadOut(t *testing.T) {
	var all []candidate
	for d := range 120 {
		all = append(all, candidate{d, float64((d * 7) % 120)})
	}
	got := spreadOut(all, 120)
	limit := 0.35 * 119
	var want []int
	for d := 0; d < 120; d += 2 {
		best := d
		if all[d+1].rough < all[d].rough {
			best = d + 1
		}
		if all[best].rough <= limit {
			want = append(want, best)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if got := spreadOut(all[:15], 60); len(got) != 15 {
		t.Errorf("fifteen are few: %v", got)
	}
	if got := spreadOut(all[:16], 60); len(got) != 6 { // ranks 0 to 15 at 0.35·15 = 5.25: six
		t.Errorf("sixteen are enough: %v", got)
	}
	if got := spreadOut([]candidate{{60, 1}, {61, 2}}, 61); !slices.Equal(got, []int{60}) { // 61 days: by twos
		t.Errorf("61 days: %v", got)
	}
}

// boxSet is the days of the box as a fit of its own array sees them.
func boxSet(data Hourly, days ...int) *fitSet {
	m := boxModel(&data, math.Inf(1))
	s := &fitSet{data: data, groups: []Group{m.Groups[0]}, limit: math.Inf(1), watts: 1000, haze: data.Sun.Haze()}
	s.groups[0].Watts = 1
	s.pick(days, func(int) float64 { return 0 })
	return s
}

// What is read on a day, over the watts: hours at 97 % of the limit tell nothing, nor do
// those whose sky is not known.
func TestReadingsOfAFitDay(t *testing.T) {
	data := box(3)
	data.K = slices.Repeat([]float64{1}, 72)
	data.K[24+9], data.K[24+3] = unknown, unknown
	data = data.on(1, 2, func(hour int, wh float64) float64 {
		if hour == 10 {
			return unknown
		}
		return wh
	})
	s := boxSet(data, 1)
	s.limit = 1000 / 0.9701
	day := fitDay{lo: 24, n: 24}
	s.measure(&day)
	for hour, want := range map[int][2]float64{8: {0.3, 1}, 9: {0.5, 0}, 10: {0, 0}, 11: {0, 0}, 13: {0.8, 1}, 3: {0, 1}, 20: {0, 1}} { // by night the sky is not asked
		closeTo(t, "y", day.y[hour], want[0], 1e-12)
		closeTo(t, "w", day.w[hour], want[1], 0)
	}
	closeTo(t, "top", day.peak, 0.8, 1e-12)
	closeTo(t, "season", day.sin*day.sin+day.cos*day.cos, 1, 1e-12)
	// day 20090 since 1970 is 2025-01-02, and 365.25 · 55 = 20088.75
	closeTo(t, "season", day.cos, math.Cos(2*math.Pi*1.25/365.25), 1e-6)
	closeTo(t, "season", day.sin, math.Sin(2*math.Pi*1.25/365.25), 1e-6)
	day = fitDay{lo: 24, n: 24}
	s.limit = 1000 / 0.969
	if s.measure(&day); day.y[11] != 1 {
		t.Errorf("below the limit: %v", day.y[11])
	}
}

// The hours of a fit: each day with five to either side, and the model of the box there.
func TestModelOfAFit(t *testing.T) {
	data := box(4)
	data.K = slices.Repeat([]float64{1}, 96)
	s := boxSet(data, 0, 2)
	if len(s.known) != 2*34 || len(s.hours) != 16 || s.days[1].off != 34 || s.days[1].lo != 48 || s.days[1].n != 24 {
		t.Fatalf("%d hours of %d, %+v", len(s.hours), len(s.known), s.days)
	}
	m := make([]float64, len(s.known))
	m[0] = 99 // what was there goes
	s.model(&s.groups[0], sun.Plane{AzimuthDeg: 180}, m)
	for hour := range 24 {
		want := 0.0
		if hour >= 8 && hour < 16 {
			want = boxLight[hour-8] / 1000
		}
		closeTo(t, "first day", m[hour+lagReach], want, 1e-9)
		closeTo(t, "second day", m[34+hour+lagReach], want, 1e-9)
		closeTo(t, "read at its hour", s.days[1].at(m, hour), want, 1e-9)
	}
	if m[0] != 0 {
		t.Error("the model is laid over what was there")
	}
	s.days[1].late = 2
	closeTo(t, "two hours late", s.days[1].at(m, 10), 0.3, 1e-9)
	f, cost := s.days[0].shape(m)
	closeTo(t, "level", f, 1, 1e-9)
	closeTo(t, "cost", cost, 0, 1e-9)
	// hours whose sky is not known are none of the model's
	data.K[48+9] = unknown
	if s := boxSet(data, 0, 2); len(s.hours) != 15 {
		t.Errorf("%d hours", len(s.hours))
	}
	// light five hours before the day and after it belongs to it, six hours before it does not
	for i, want := range map[int]int{24*2 - 5: 17, 24*2 - 6: 16, 24*3 + 4: 17, 24*3 + 5: 16} {
		data := box(4)
		data.Sun.Up[i], data.Sun.ClearGHI[i] = 1, 100
		if s := boxSet(data, 0, 2); len(s.hours) != want {
			t.Errorf("hour %d: %d hours", i, len(s.hours))
		}
	}
	// arrays whose facing is known take their part
	data = box(4)
	s = &fitSet{data: data, others: boxModel(&data, math.Inf(1)), watts: 2000, haze: data.Sun.Haze()}
	s.pick([]int{1}, func(d int) float64 { return float64(d) })
	closeTo(t, "known", s.known[12+lagReach], 0.5, 1e-9)
	if s.days[0].late != 1 {
		t.Errorf("late %v", s.days[0].late)
	}
}

// A fit's arrays as shares of all watts, with the limits of all.
func TestSetOfArrays(t *testing.T) {
	data := box(3)
	cat := &ingest.Catalogue{Inverters: []ingest.Inverter{{Model: "i", Kind: "micro", ACWatts: 300}}}
	site := &ingest.Site{Arrays: []ingest.Array{
		{ID: "a", Modules: 5, ModuleWatts: 400, TiltDeg: unknown, AzimuthDeg: unknown, InverterModel: "i", Inverters: ingest.Some(5)},
		{ID: "b", Modules: 10, ModuleWatts: 400, TiltDeg: 20, AzimuthDeg: 180, InverterModel: "i", Inverters: ingest.Some(10)},
		{ID: "c", Modules: 20, ModuleWatts: 400, TiltDeg: unknown, AzimuthDeg: unknown, InverterModel: "i", Inverters: ingest.Some(20)},
		{ID: "d", Modules: 2, ModuleWatts: 400, TiltDeg: unknown, AzimuthDeg: unknown},
		{ID: "e", ModuleWatts: 400, TiltDeg: unknown, AzimuthDeg: unknown},
	}}
	which := blanks(site, cat)
	if !slices.Equal(which, []int{0, 2, 3}) {
		t.Fatalf("blank: %v", which)
	}
	groups := groupsOf(data.Sun, site, cat, which)
	if len(groups) != 2 || groups[0].Watts != 8800 || groups[1].Watts != 2000 || !slices.Equal(groups[0].ArrayIDs, []string{"c", "d"}) {
		t.Fatalf("%+v", groups)
	}
	s := newFitSet(data, site, cat, groups)
	closeTo(t, "watts", s.watts, 14800, 1e-9)
	closeTo(t, "share", s.groups[0].Watts, 8800./14800, 1e-12)
	closeTo(t, "limit", s.limit, 6000+1500+3000, 1e-9)
	if s.others == nil || len(s.others.Groups) != 1 || groups[0].Watts != 8800 {
		t.Errorf("others %+v", s.others)
	}
}

// A plane is tilted up to 75 degrees and turned round the circle.
func TestTurnedWithinRoofs(t *testing.T) {
	for _, c := range []struct {
		from          sun.Plane
		tilt, azimuth float64
		want          sun.Plane
	}{
		{sun.Plane{TiltDeg: 20, AzimuthDeg: 180}, 8, 12, sun.Plane{TiltDeg: 28, AzimuthDeg: 192}}, {sun.Plane{TiltDeg: 70, AzimuthDeg: 355}, 8, 12, sun.Plane{TiltDeg: 75, AzimuthDeg: 7}},
		{sun.Plane{TiltDeg: 5, AzimuthDeg: 5}, -8, -12, sun.Plane{TiltDeg: 0, AzimuthDeg: 353}},
	} {
		if got := turned(c.from, c.tilt, c.azimuth); got != c.want {
			t.Errorf("%+v, want %+v", got, c.want)
		}
	}
}

// The moves of a search, all told: of one plane up, down and round, with the haze where
// the sky is not known; of two planes together and against each other, and the share.
func TestMovesOfASearch(t *testing.T) {
	s := boxSet(box(4), 1)
	start := pose{planes: []sun.Plane{{TiltDeg: 20, AzimuthDeg: 100}, {TiltDeg: 30, AzimuthDeg: 200}}, haze: 1, share: 0.4}
	for _, c := range []struct {
		what   string
		planes int
		k      bool
		share  float64
		want   int
	}{{"one plane", 1, false, 0, 6}, {"under a known sky", 1, true, 0, 4}, {"two planes", 2, false, 0, 18}, {"that share an array", 2, false, 0.4, 20}} {
		if s.data.K = nil; c.k {
			s.data.K = make([]float64, 96)
		}
		at := start.clone()
		at.planes, at.share = at.planes[:c.planes], c.share
		ways := newClimb(s, nil, c.planes).moves(at)
		if len(ways) != c.want {
			t.Errorf("%s: %d moves", c.what, len(ways))
		}
		seen := map[[6]float64]bool{}
		var sum [6]float64
		for _, way := range ways {
			p := at.clone()
			way(&p, 0.5)
			var moved [6]float64
			for g := range p.planes {
				moved[2*g], moved[2*g+1] = p.planes[g].TiltDeg-at.planes[g].TiltDeg, p.planes[g].AzimuthDeg-at.planes[g].AzimuthDeg
			}
			moved[4], moved[5] = p.haze-at.haze, p.share-at.share
			for i, step := range [6]float64{4, 6, 4, 6, 0.5, 0.075} { // half of 8 and 12 degrees, of 1 and 0.15
				if d := math.Abs(moved[i]); d > 1e-12 && math.Abs(d-step) > 1e-12 {
					t.Errorf("%s: %v", c.what, moved)
				}
				moved[i] = math.Round(1e6 * moved[i])
				sum[i] += moved[i]
			}
			seen[moved] = true
		}
		if len(seen) != c.want || sum != [6]float64{} { // all unlike, and each with its contrary
			t.Errorf("%s: %d unlike ones, in all %v", c.what, len(seen), sum)
		}
	}
	s.data.K = nil
	at := pose{planes: []sun.Plane{{}}, haze: 5.8, share: 0}
	for _, way := range newClimb(s, nil, 1).moves(at) {
		p := at.clone()
		if way(&p, 1); p.haze > 6 {
			t.Errorf("haze %v", p.haze)
		}
		at.haze = -1.9
		p = at.clone()
		if way(&p, 1); p.haze < -2 {
			t.Errorf("haze %v", p.haze)
		}
		at.haze = 5.8
	}
}

// The output of a pose: each group with its plane, or one group shared by two.
func TestOutputOfAPose(t *testing.T) {
	data := box(4)
	data.K = slices.Repeat([]float64{1}, 96)
	s := boxSet(data, 1)
	flat, wall := sun.Plane{AzimuthDeg: 180}, sun.Plane{TiltDeg: 90, AzimuthDeg: 180}
	c := newClimb(s, []int{0}, 2)
	noon := 12 + lagReach
	c.output(pose{planes: []sun.Plane{flat, wall}})
	both := c.sum[noon]
	c.output(pose{planes: []sun.Plane{flat}})
	one := c.sum[noon]
	closeTo(t, "one plane", one, 1, 1e-9)
	c = newClimb(s, []int{0}, 2)
	c.output(pose{planes: []sun.Plane{flat, wall}, share: 0.7})
	closeTo(t, "shared", c.sum[noon], 0.7*one+0.3*(both-one), 1e-9)
	s.known[noon] = 0.25
	c.output(pose{planes: []sun.Plane{flat, wall}, share: 0.7})
	closeTo(t, "beside what is known", c.sum[noon], 0.25+0.7*one+0.3*(both-one), 1e-9)
	a, b := make([]float64, len(c.sum)), make([]float64, len(c.sum))
	a[noon], b[noon] = 2, 3
	c.costOf(a, b, 0)
	closeTo(t, "of two models", c.sum[noon], 0.25+5, 1e-12)
	c.costOf(a, b, 0.6)
	closeTo(t, "of two models, shared", c.sum[noon], 0.25+1.2+1.2, 1e-12)
	if got := best([]gridPoint{{3, pose{haze: 3}}, {1, pose{haze: 1}}, {2, pose{haze: 2}}}, 2); len(got) != 2 || got[0].haze != 1 || got[1].haze != 2 {
		t.Errorf("best %+v", got)
	}
	// a search that begins at the best stays there, and one beside it comes back to it: days of a sun overhead go with a flat roof
	s = boxSet(data, 1)
	c = newClimb(s, []int{0}, 1)
	if cost, at := c.descend(pose{planes: []sun.Plane{flat}}, 1.0/4); cost > 1e-6 || at.planes[0] != flat {
		t.Errorf("cost %v at %+v", cost, at.planes)
	}
}

// Which day's half is which: the cost of a plane over the early and the late days.
func TestCostOfHalves(t *testing.T) {
	data := box(40)
	data.K = slices.Repeat([]float64{1}, 960)
	data = data.on(20, 40, func(hour int, wh float64) float64 { // later days with a dent
		if hour == 11 {
			return 0.5 * wh
		}
		return wh
	})
	var days []int
	for d := range 40 {
		days = append(days, d)
	}
	f := &Fit{set: boxSet(data, days...)}
	if f.take(days[:7]) || !f.take(days[:8]) {
		t.Error("eight days are needed")
	}
	f.take(days)
	early, late := f.CostOf(sun.Plane{AzimuthDeg: 180})
	closeTo(t, "early", early, 0, 1e-9)
	if late < 1 {
		t.Errorf("late %v", late)
	}
	if f.set.data.K = nil; f.set.data.K == nil {
		if early, _ := f.CostOf(sun.Plane{AzimuthDeg: 180}); early < 0 {
			t.Errorf("early %v", early)
		}
	}
}
