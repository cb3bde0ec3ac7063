package array

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// boxLight is the light of a clear day in the box from 8 o'clock on, W/m²: 5,200 Wh in all.
var boxLight = [8]float64{300, 500, 800, 1000, 1000, 800, 500, 300}

// boxDay is what the array of the box makes on a clear day, kWh.
const boxDay = 5.2

// box is a place for sums by hand. The sun stands overhead from 8 to 16 o'clock of every
// day, without any diffuse light; the array is of 1 kW, lies flat and loses nothing, so
// that under K = 1 an hour's Wh are the light in W/m². The clock is UTC's, the first day
// is 2025-01-01, the sky is one that twenty arrays tell, and all of it is read.
func box(days int) view {
	n := 24 * days
	start := ingest.HourOf(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))
	h := &sun.Hours{Start: start, N: n}
	for _, c := range []*[]float64{&h.East, &h.North, &h.Up, &h.ExtraWm2, &h.AirMass, &h.ClearGHI, &h.ClearDNI, &h.ClearDHI} {
		*c = make([]float64, n)
	}
	v := view{record: &record{tempC: slices.Repeat([]float64{20}, n)}, k: slices.Repeat([]float64{1}, n), wh: make([]float64, n), factor: 1}
	for i := range n {
		h.ExtraWm2[i] = 1361
		if at := i%24 - 8; at >= 0 && at < len(boxLight) {
			h.Up[i], h.ClearGHI[i], h.ClearDNI[i], v.wh[i] = 1, boxLight[at], boxLight[at], boxLight[at]
		}
	}
	v.Site = &ingest.Site{ID: "box", CommissionedOn: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), Arrays: []ingest.Array{{ID: "main", ModuleWatts: 1000, Modules: 1}}}
	v.Catalogue, v.Sun, v.Calendar = &ingest.Catalogue{}, h, ingest.NewCalendar(time.UTC, start, n)
	v.Series = &ingest.Series{SiteID: "box", Start: start, StepMinutes: 60}
	v.Series.Wh[ingest.Production] = v.wh
	v.Sky = sky.Sky{Start: start, K: v.k, Spread: slices.Repeat([]float64{0.05}, n), Sites: slices.Repeat([]uint16{20}, n), Source: sky.FromFleet}
	v.Options = Options{MinLossPct: 5, CapacityPct: 15, AzimuthDeg: 30, UsualFactor: 1}
	v.limit(math.Inf(1))
	v.day = make([]day, days)
	return v.summed()
}

// limit puts inverters of so many watts behind the array of the box.
func (v *view) limit(watts float64) {
	v.model = sky.NewUnit(sun.Plane{AzimuthDeg: 180}, v.Sun, ingest.Module{Watts: 1000, TempCoefficientPctPC: -1e-12}, ingest.Inverter{EfficiencyPct: 100}, watts, 0)
}

// on changes the readings of days from one to another.
func (v view) on(from, to int, do func(hour int, wh float64) float64) view {
	v.wh = slices.Clone(v.wh)
	for i := 24 * from; i < 24*to; i++ {
		v.wh[i] = do(i%24, v.wh[i])
	}
	own, series := *v.record, *v.Series
	series.Wh[ingest.Production], own.Series = v.wh, &series
	v.record = &own
	return v.summed()
}

func times(share float64) func(int, float64) float64 {
	return func(_ int, wh float64) float64 { return share * wh }
}

func gone(int, float64) float64 { return math.NaN() }

// boxDate is the date of a day of the box.
func boxDate(d int) time.Time { return time.Date(2025, 1, 1+d, 0, 0, 0, 0, time.UTC) }

func codes(s said) string {
	var out []string
	for _, f := range s.faults {
		out = append(out, f.Code)
	}
	for _, c := range s.caveats {
		out = append(out, c.Code)
	}
	return strings.Join(out, " ")
}

// The box itself: 5.2 kWh a day, all of it in the open, and an index of 1.
func TestTheBox(t *testing.T) {
	v := box(3)
	for d, got := range v.day {
		for what, x := range map[string][2]float64{
			"measured": {got.measured, 5200}, "expected": {got.expected, 5200}, "full": {got.full, 5200}, "light": {got.light, 5200}, "known": {got.known, 5200},
			"clear": {got.clear, 5200}, "open": {got.open, 5200}, "open due": {got.openDue, 5200}, "low": {got.low, 0}, "zero": {got.zero, 0}, "level": {got.level(), 1},
		} {
			closeTo(t, what, x[0], x[1], 1e-6)
		}
		closeTo(t, "midnight", v.midnight(d).Sub(boxDate(d)).Hours(), 0, 0)
	}
}

// A day by hand: 8 o'clock is not read (300), at 9 the sky is not known (500), at 10
// nothing is made (800), 11 lies in a shadow (1,000), the rest stands at a half.
func TestADayByHand(t *testing.T) {
	v := box(2)
	v.wh[24+8], v.wh[24+10] = math.NaN(), 15 // less than 2 % of 800
	for i := 24 + 12; i < 48; i++ {
		v.wh[i] /= 2
	}
	v.k = slices.Clone(v.k)
	v.k[24+9] = math.NaN()
	v = v.mask(func(i int) bool { return i == 24+11 })
	v = v.mask(func(i int) bool { return i == 5 }).summed() // what was masked before stays
	d := v.day[1]
	for what, x := range map[string][2]float64{
		"measured": {d.measured, 15 + 1000 + 500 + 400 + 250 + 150}, "expected": {d.expected, 4400}, "full": {d.full, 4700}, "light": {d.light, 4700},
		"known": {d.known, 4700}, "clear": {d.clear, 5200}, "open": {d.open, 1315}, "open due": {d.openDue, 3400}, "zero": {d.zero, 800},
	} {
		closeTo(t, what, x[0], x[1], 1e-6)
	}
	v.day[1].aside = true
	if v = v.summed(); !v.day[1].aside || v.day[0].aside {
		t.Error("what was set aside is not")
	}
	// 16 of 800 are 2 %, and output; the sun at half its height takes (1 - 0.5)² of the beam
	v = box(1)
	v.wh[10] = 16.0001
	if v = v.summed(); v.day[0].zero != 0 {
		t.Errorf("zero %v", v.day[0].zero)
	}
	for i := range v.Sun.Up {
		v.Sun.Up[i] /= 2
	}
	v = v.summed()
	closeTo(t, "low", v.day[0].low/v.day[0].expected, 0.25, 1e-9)
	v = v.without(9, 11)
	if !math.IsNaN(v.wh[9]) || !math.IsNaN(v.wh[10]) || v.wh[8] != 300 || v.wh[11] != 1000 {
		t.Errorf("without two hours: %v", v.wh[8:12])
	}
}

// Modules that came on the second day raise the factor from then on; the usual factor is
// that of the arrays around, where there are any.
func TestFactorOfADay(t *testing.T) {
	v := box(4)
	v.factor, v.grown, v.grownOn = 0.8, 0.25, 2
	for d, want := range []float64{0.8, 0.8, 1, 1} {
		closeTo(t, "factor", v.factorAt(d), want, 1e-12)
	}
	v.Options.UsualFactor = 0.7
	closeTo(t, "nobody around", v.usualFactor(), 0.7, 0)
	v.Sky.Typical = sky.Factor{Value: 0.9, Sites: 1}
	closeTo(t, "one around", v.usualFactor(), 0.9, 0)
	v.Sky.Typical.Value = math.NaN()
	closeTo(t, "one without a factor", v.usualFactor(), 0.7, 0)
	v.Options.MinLossPct = 5
	closeTo(t, "least loss", v.minLoss(), 0.05, 1e-12)
	v.alone = true
	closeTo(t, "least loss alone", v.minLoss(), aloneLoss, 0)
	v.Options.MinLossPct = 15
	closeTo(t, "least loss alone, as set", v.minLoss(), 0.15, 1e-12)
}

// Where no window is given the last year begins 8,760 hours before the end.
func TestLastYear(t *testing.T) {
	v := box(400)
	for _, c := range []struct {
		from, hours, want int
	}{{0, 0, 35}, {240, 8760, 10}, {241, 8760, 11}, {-500, 8760, 0}, {24 * 500, 8760, 400}} {
		v.Window = ingest.Window{Start: v.Series.Start + ingest.Hour(c.from), N: c.hours}
		if got := v.lastYear(); got != c.want {
			t.Errorf("window from hour %d: day %d, want %d", c.from, got, c.want)
		}
	}
	if v.first(400) != 9600 || v.first(399) != 9576 || !v.midnight(401).Equal(boxDate(400)) || !v.midnight(-1).Equal(boxDate(0)) {
		t.Error("the ends of the days")
	}
}

// The air of a run of days and of the two before, while the sun is up, tells the cold.
func TestColdDays(t *testing.T) {
	for _, c := range []struct {
		before, before2, in, night float64
		want                       bool
	}{
		{5, 5, 5, 30, true}, {30, 5, 5, 5, true}, {6, 6, 6, 0, false}, {5.9, 5.9, 5.9, 0, true},
		{12, 12, 3, 0, false}, // two days of 12 and two of 3: 7.5
		{8, 8, 3, 0, true},    // 5.5
	} {
		v := box(9)
		for i := range v.tempC {
			switch d := i / 24; {
			case v.Sun.Up[i] <= 0:
				v.tempC[i] = c.night
			case d == 4 || d == 5:
				v.tempC[i] = c.in
			case d == 2 || d == 3:
				v.tempC[i] = c.before2
			default:
				v.tempC[i] = c.before
			}
		}
		if got := v.cold(4, 6); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
	v := box(2)
	clear(v.Sun.Up)
	if v.cold(0, 2) {
		t.Error("days without sun are cold")
	}
}

// Thirty hours of one value above nothing are the meter's; nights are not.
func TestFrozenMeter(t *testing.T) {
	freeze := func(v view, from, hours int) view {
		v.wh = slices.Clone(v.wh)
		for i := from; i < from+hours; i++ {
			v.wh[i] = 77
		}
		return v
	}
	for _, c := range []struct {
		hours int
		want  string
	}{{29, ""}, {30, MeterDead}} {
		v, say := frozen(freeze(box(10), 50, c.hours))
		if codes(say) != c.want {
			t.Errorf("%d hours: %q", c.hours, codes(say))
		}
		if c.want != "" && (!math.IsNaN(v.wh[50]) || !math.IsNaN(v.wh[79]) || math.IsNaN(v.wh[49]) || math.IsNaN(v.wh[80])) {
			t.Errorf("set aside: %v", v.wh[48:82])
		}
		if c.want != "" {
			f := say.faults[0]
			if f.Live || !f.On.Equal(boxDate(2).Add(2*time.Hour)) || !f.Until.Equal(f.On.Add(30*time.Hour)) || !f.OnLow.Equal(f.On) || !f.OnHigh.Equal(f.On) || !strings.Contains(f.Says, "77 Wh for 30 hours") {
				t.Errorf("%+v", f)
			}
		}
	}
	if _, say := frozen(freeze(box(10), 210, 30)); len(say.faults) != 1 || !say.faults[0].Live || !say.faults[0].Until.IsZero() {
		t.Errorf("to the end: %+v", say.faults)
	}
	if _, say := frozen(box(10).on(2, 6, times(0))); say.faults != nil {
		t.Errorf("nothing at all is no frozen value: %+v", say.faults)
	}
	v := box(10)
	for _, c := range []struct {
		to   int
		live bool
	}{{191, false}, {192, true}, {240, true}} {
		if f := meterFault(&v, 5, c.to, ""); f.Live != c.live {
			t.Errorf("to hour %d of 240: live %v", c.to, f.Live)
		}
	}
}

// 0.4 % of 1 kW by night, hours from any light, is another meter's.
func TestOutputByNight(t *testing.T) {
	night := func(watts float64, more func(hour int) bool) func(int, float64) float64 {
		return func(hour int, wh float64) float64 {
			if more(hour) {
				return watts
			}
			return wh
		}
	}
	deep := func(hour int) bool { return hour <= 5 || hour >= 18 }
	for _, c := range []struct {
		what   string
		days   int
		do     func(int, float64) float64
		denied bool
		says   string
	}{
		{"three nights", 3, night(4.1, deep), true, "production_by_night"},
		{"two nights", 2, night(4.1, deep), true, ""},
		{"4 W", 3, night(4, deep), false, ""},
		{"at dawn and dusk", 3, night(400, func(hour int) bool { return hour == 6 || hour == 7 || hour == 16 || hour == 17 }), false, ""},
		{"right behind them", 3, night(30, func(hour int) bool { return hour == 5 || hour == 18 }), true, "production_by_night"},
		{"three hours read", 3, func(hour int, wh float64) float64 {
			if hour > 2 && deep(hour) {
				return math.NaN()
			}
			return 5
		}, true, "production_by_night"},
		{"two hours read", 3, func(hour int, wh float64) float64 {
			if hour > 1 && deep(hour) {
				return math.NaN()
			}
			return 5
		}, false, ""},
	} {
		was := box(12).on(4, 4+c.days, c.do)
		v, say := denyNights(was)
		if got := math.IsNaN(v.wh[24*4+12]); got != c.denied || codes(say) != c.says {
			t.Errorf("%s: %q, left out %v", c.what, codes(say), got)
		}
		if math.IsNaN(v.wh[24*3+12]) || math.IsNaN(v.wh[24*(4+c.days)+12]) || math.IsNaN(was.wh[24*4+12]) {
			t.Errorf("%s: the days beside it are left out, or those that were given", c.what)
		}
	}
	up := []float64{0, 0, 1, 0, 0, 0, 0, 1}
	for i, want := range []bool{false, false, false, false, false, false, false, false} {
		if deepNight(up, i) != want {
			t.Errorf("hour %d", i)
		}
	}
	if !deepNight([]float64{0, 0, 0, 1}, 0) || !deepNight([]float64{1, 0, 0, 0}, 3) || !deepNight([]float64{1, 0, 0, 0, 0, 0, 1}, 3) || deepNight([]float64{1, 0, 0}, 2) {
		t.Error("three hours from any light are deep night")
	}
}

// A house that exports a tenth of what its array should make has an array that runs.
func TestExportWithoutProduction(t *testing.T) {
	with := func(v view, share float64, from, to int) view {
		e := make([]float64, v.Sun.N)
		for i := 24 * from; i < 24*to; i++ {
			e[i] = share * v.expected[i]
		}
		series := *v.Series
		series.Wh[ingest.Export] = e
		own := *v.record
		own.Series = &series
		v.record = &own
		return v
	}
	v, say := findDeadMeter(with(box(60).on(10, 20, times(0)), 0.11, 10, 20))
	if len(say.faults) != 1 || !say.faults[0].On.Equal(boxDate(10)) || !say.faults[0].Until.Equal(boxDate(20)) || !strings.Contains(say.faults[0].Says, "10 days") {
		t.Errorf("%+v", say.faults)
	}
	if !math.IsNaN(v.wh[24*10+12]) || !math.IsNaN(v.wh[24*19+12]) || math.IsNaN(v.wh[24*20+12]) || math.IsNaN(v.wh[24*9+12]) || v.day[12].expected != 0 {
		t.Error("the days are not set aside")
	}
	if _, say := findDeadMeter(with(box(60).on(10, 20, times(0)), 0.1, 10, 20)); say.faults != nil {
		t.Errorf("a tenth: %+v", say.faults)
	}
	if _, say := findDeadMeter(with(box(60), 0.5, 10, 20)); say.faults != nil {
		t.Errorf("while it makes something: %+v", say.faults)
	}
	if _, say := findDeadMeter(box(60).on(10, 20, times(0))); say.faults != nil {
		t.Errorf("no export is metered: %+v", say.faults)
	}
	// nine days on which it exports nothing end it; fewer do not
	for apart, want := range map[int]int{8: 1, 9: 2} {
		w := with(box(60).on(10, 40, times(0)), 0.2, 10, 40)
		for i := 24 * 15; i < 24*(15+apart); i++ {
			w.Series.Wh[ingest.Export][i] = 0
		}
		if _, say := exportsWithout(w); len(say.faults) != want {
			t.Errorf("%d days without export between: %d faults", apart, len(say.faults))
		}
	}
	// a day that is not read does not end it
	if _, say := exportsWithout(with(box(60).on(10, 20, times(0)).on(14, 15, gone), 0.2, 10, 20)); len(say.faults) != 1 || !strings.Contains(say.faults[0].Says, "10 days") {
		t.Errorf("a day that is not read: %+v", say.faults)
	}
}

// Fourteen days of silence to the end are a dead meter.
func TestSilentMeter(t *testing.T) {
	for _, c := range []struct{ days, hours int }{{13, 23}, {14, 0}} {
		v := box(60)
		last := 24*60 - 24*c.days - c.hours
		v = v.without(last, 24*60)
		_, say := silent(v)
		if got := len(say.faults); got != c.days-13 {
			t.Errorf("%d days and %d hours: %+v", c.days, c.hours, say.faults)
		}
		if len(say.faults) > 0 && (!say.faults[0].On.Equal(boxDate(46)) || !say.faults[0].Live || !strings.Contains(say.faults[0].Says, "14 days")) {
			t.Errorf("%+v", say.faults[0])
		}
	}
	v := box(60)
	v.Window = ingest.Window{Start: v.Series.Start, N: 24 * 75}
	if _, say := silent(v); len(say.faults) != 1 || !strings.Contains(say.faults[0].Says, "15 days") {
		t.Errorf("readings that end before the window: %+v", say.faults)
	}
	v.Window = ingest.Window{}
	if _, say := silent(v.without(0, 24*60)); say.faults != nil {
		t.Errorf("never read: %+v", say.faults)
	}
	if _, say := silent(v.without(1, 24*60)); len(say.faults) != 1 || !say.faults[0].On.Equal(boxDate(0).Add(time.Hour)) {
		t.Errorf("one reading: %+v", say.faults)
	}
}

// Three whole days without output are an outage; ten days that nobody read do not part it.
func TestOutages(t *testing.T) {
	for _, c := range []struct {
		what     string
		v        view
		on       []int
		live     bool
		days     string
		kWh      float64
		asideDay int
	}{
		{"three days", box(60).on(20, 23, times(0)), []int{20}, false, "3 days", 3 * boxDay, 22},
		{"two days", box(60).on(20, 22, times(0)), nil, false, "", 0, 21},
		{"to the end", box(60).on(50, 60, times(0)), []int{50}, true, "10 days", 0, 59},
		{"ten days unread", box(60).on(20, 34, times(0)).on(22, 32, gone), []int{20}, false, "4 days", 4 * boxDay, 25},
		{"eleven", box(60).on(20, 37, times(0)).on(23, 34, gone), []int{20, 34}, false, "3 days", 3 * boxDay, 35},
		{"from the first day on", box(60).on(0, 5, times(0)), []int{-1}, false, "5 days", 5 * boxDay, 4},
		{"a tenth of it is left", box(60).on(20, 25, func(hour int, wh float64) float64 {
			if hour == 9 { // 500 of 5,200
				return wh
			}
			return 0
		}), []int{20}, false, "5 days", 5 * boxDay, 24},
		{"more is left", box(60).on(20, 25, func(hour int, wh float64) float64 {
			if hour == 8 || hour == 15 {
				return wh
			}
			return 0
		}), nil, false, "", 0, -1},
	} {
		c.v.Window = ingest.Window{Start: c.v.Series.Start, N: 24 * 60}
		v, say := findOutages(c.v)
		if len(say.faults) != len(c.on) {
			t.Errorf("%s: %+v", c.what, say.faults)
			continue
		}
		for i, f := range say.faults {
			on := noTime
			if c.on[i] >= 0 {
				on = boxDate(c.on[i])
				if !f.OnLow.Equal(boxDate(c.on[i]-1)) || !f.OnHigh.Equal(on) {
					t.Errorf("%s: from %s to %s", c.what, f.OnLow, f.OnHigh)
				}
			}
			if f.Code != Outage || !f.On.Equal(on) || f.Live != c.live || !strings.Contains(f.Says, c.days) || f.Until.IsZero() != c.live {
				t.Errorf("%s: %+v", c.what, f)
			}
			closeTo(t, c.what, f.KWhYr, c.kWh, 1e-6)
		}
		for d := range v.day {
			if want := d == c.asideDay; want && !v.day[d].aside {
				t.Errorf("%s: day %d tells the level", c.what, d)
			}
		}
		if v.day[15].aside || c.v.day[max(0, c.asideDay)].aside {
			t.Errorf("%s: a good day is set aside, or the days that were given are changed", c.what)
		}
	}
	// only what lies in the last year is counted
	v := box(60).on(20, 25, times(0))
	v.Window = ingest.Window{Start: v.Series.Start + 24*22, N: 24 * 38}
	if _, say := findOutages(v); len(say.faults) != 1 || math.Abs(say.faults[0].KWhYr-3*boxDay) > 1e-6 {
		t.Errorf("%+v", say.faults)
	}
}

// Days are without output where the sky gave a fifth of a clear day's light.
func TestEmptyDays(t *testing.T) {
	v := box(4).on(1, 3, times(0)).on(3, 4, func(hour int, wh float64) float64 { return min(wh, 1) })
	for d, want := range []bool{false, true, true, true} {
		if v.zeroOn(d) != want || v.silentDay(d) != want || v.nothingOn(d) != want {
			t.Errorf("day %d: %v %v %v", d, v.zeroOn(d), v.silentDay(d), v.nothingOn(d))
		}
	}
	dim := v
	dim.day = slices.Clone(v.day)
	dim.day[1].light = 0.2 * dim.day[1].known
	dim.day[2].light = 0.21 * dim.day[2].known
	if dim.zeroOn(1) || !dim.zeroOn(2) {
		t.Error("a fifth of a clear day's light is too dark, more is not")
	}
	dim.day[2].aside = true
	if dim.zeroOn(2) {
		t.Error("a day set aside")
	}
	v.wh[24+12] = math.NaN()
	if v.silentDay(1) || !v.nothingOn(1) {
		t.Error("an hour is missing: not all of it is known to be empty")
	}
	v.wh[24+12] = 1.1
	if v.silentDay(1) || v.nothingOn(1) {
		t.Error("1.1 Wh are something")
	}
	v.wh[24+12], v.wh[24+3] = 0, math.NaN()
	if !v.silentDay(1) {
		t.Error("a night that is missing")
	}
	clear(v.Sun.Up)
	if v.silentDay(1) {
		t.Error("a day without sun")
	}
	if madeBefore(&v, 0) || !madeBefore(&v, 1) {
		t.Error("made on the first day")
	}
	if w := v.on(0, 1, func(int, float64) float64 { return 1 }); madeBefore(&w, 1) {
		t.Error("1 Wh is nothing")
	}
}

// Snow may lie for 21 cold days on this roof alone, where it began under snow that the
// neighbors had too: K below 0.05 in two good hours, three days before to one after.
func TestSnowOfAnOutage(t *testing.T) {
	snow := func(d, hours int, k float64) view {
		v := box(60)
		v.k = slices.Clone(v.k)
		for j := range hours {
			v.k[24*d+10+j] = k
		}
		for i := range v.tempC {
			v.tempC[i] = 0
		}
		return v
	}
	for _, c := range []struct {
		what     string
		v        view
		from, to int
		want     bool
	}{
		{"snow three days before", snow(27, 2, 0.04), 30, 40, true},
		{"four days before", snow(26, 2, 0.04), 30, 40, false},
		{"the day after", snow(31, 2, 0.04), 30, 40, true},
		{"two days after", snow(32, 2, 0.04), 30, 40, false},
		{"one hour", snow(30, 1, 0.04), 30, 40, false},
		{"not as dark", snow(30, 2, 0.05), 30, 40, false},
		{"21 days", snow(30, 2, 0.04), 30, 51, true},
		{"22 days", snow(30, 2, 0.04), 30, 52, false},
		{"at the beginning", snow(0, 2, 0.04), 1, 5, true},
		{"at the end", snow(59, 2, 0.04), 59, 60, true},
	} {
		if got := maybeSnow(&c.v, c.from, c.to); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	v := snow(30, 2, 0.04)
	v.Sun.Up[24*30+10] = 0.2 // too low for that hour to tell
	if maybeSnow(&v, 30, 40) {
		t.Error("a low sun tells of snow")
	}
	v.alone = true
	if !maybeSnow(&v, 30, 40) || maybeSnow(&v, 30, 52) {
		t.Error("nobody else tells whether snow fell")
	}
	for d, want := range map[int]bool{60: true, 61: false} {
		if got := wasSnow(&v, 0, d); got != want {
			t.Errorf("a dip of %d cold days: %v", d, got)
		}
	}
	warm := box(60)
	if warm.alone = true; maybeSnow(&warm, 30, 40) || wasSnow(&warm, 0, 20) {
		t.Error("snow in the warm")
	}
}

// Fourteen days of readings before the first 100 Wh of a day are an array that began.
func TestArrivalInTheBox(t *testing.T) {
	undated := func(v view) view {
		site := *v.Site
		site.CommissionedOn = time.Time{}
		own := *v.record
		own.Site = &site
		v.record = &own
		return v
	}
	v, say := findArrival(undated(box(60).on(0, 14, times(0))))
	if codes(say) != "array_arrived" || v.begins != v.Series.Start+24*14 || !math.IsNaN(v.wh[24*13+12]) || v.wh[24*14+12] != 1000 || !strings.Contains(say.caveats[0].Says, "2025-01-15, 14 days") {
		t.Errorf("fourteen days: %+v, begins %d", say, v.begins)
	}
	if v, say := findArrival(undated(box(60).on(0, 13, times(0)))); say.caveats != nil || v.begins != 0 {
		t.Errorf("thirteen days: %+v", say)
	}
	if v, say := findArrival(undated(box(60).on(0, 15, times(0)).on(2, 4, gone))); say.caveats != nil || v.begins != 0 {
		t.Errorf("thirteen days of fifteen read: %+v", say)
	}
	if _, say := findArrival(box(60).on(0, 20, times(0))); say.caveats != nil {
		t.Errorf("the register gives a date: %+v", say)
	}
	if _, say := findArrival(undated(box(60).on(0, 60, times(0)))); say.caveats != nil {
		t.Errorf("never: %+v", say)
	}
	w := box(9).on(0, 2, times(99.9/5200)).on(2, 3, times(100/5199.9)).on(1, 2, func(hour int, wh float64) float64 {
		if hour == 12 {
			return math.NaN()
		}
		return wh
	})
	if got := firstOutput(&w); got != 2 {
		t.Errorf("100 Wh are output: day %d", got)
	}
	w = undated(w)
	if w.dated() {
		t.Error("no date in the register")
	}
	w.Site.Arrays[0].CommissionedOn = boxDate(0)
	if !w.dated() {
		t.Error("one array is dated")
	}
	w.Site.Arrays[0].CommissionedOn = time.Time{}
}

// Two months by hand: January at 0.9, February at a half and with a day missing.
func TestMonthsOfTheBox(t *testing.T) {
	v := box(31+28).on(0, 31, times(0.9)).on(31, 59, times(0.5)).on(40, 41, gone)
	out := months(&v)
	if len(out) != 2 || !out[0].First.Equal(boxDate(0)) || !out[1].First.Equal(boxDate(31)) {
		t.Fatalf("%+v", out)
	}
	for i, want := range [][4]float64{{0.9 * 31 * boxDay, 31 * boxDay, 0.9, 100}, {0.5 * 27 * boxDay, 28 * boxDay, 0.5, 100 * 27. / 28}} {
		for j, got := range []float64{out[i].MeasuredKWh, out[i].ExpectedKWh, out[i].ProductionIndex, out[i].CoveragePct} {
			closeTo(t, "month", got, want[j], 1e-6)
		}
	}
}

// The index is that of the last 365 days, on thirty days at the least.
func TestIndexOfTheBox(t *testing.T) {
	var r Result
	r.ProductionIndex = math.NaN()
	say := r.index(box(400).on(0, 35, times(0.2)).on(35, 400, times(0.75)))
	closeTo(t, "index", r.ProductionIndex, 0.75, 1e-9)
	closeTo(t, "at least", r.IndexLow, 0.75, 1e-9)
	closeTo(t, "at most", r.IndexHigh, 0.75, 1e-9)
	if say.caveats != nil || r.IndexDays != 365 || len(r.IndexByDay) != 400 || math.Abs(r.IndexByDay[3]-0.2) > 1e-9 {
		t.Errorf("%+v of %d days", say, r.IndexDays)
	}
	for days, want := range map[int]string{29: "few_days", 30: ""} {
		r.ProductionIndex = math.NaN()
		if say := r.index(box(days)); codes(say) != want || math.IsNaN(r.ProductionIndex) != (days < 30) {
			t.Errorf("%d days: %q, index %v", days, codes(say), r.ProductionIndex)
		}
	}
	if say := r.index(box(20).on(0, 20, gone)); say.caveats != nil {
		t.Errorf("nothing is read: %+v", say)
	}
}

// A level that falls by a hundredth a year falls by 1 %, beside the 0.6 % that every array
// is granted; of less than a year nothing is said.
func TestTrendOfTheBox(t *testing.T) {
	falls := func(days int) Result {
		v := box(days)
		for i := range v.wh {
			v.wh[i] *= 1 - 0.01*float64(i/24)/365
		}
		r := Result{TrendPctYr: math.NaN()}
		r.trend(v.summed())
		return r
	}
	for _, days := range []int{450, 900} {
		r := falls(days)
		closeTo(t, "trend", r.TrendPctYr, -1.6, 0.02)
		if !(r.TrendLow < r.TrendPctYr-0.19 && r.TrendHigh > r.TrendPctYr+0.19) {
			t.Errorf("%d days: %+v", days, r)
		}
	}
	if r := falls(365); !math.IsNaN(r.TrendPctYr) {
		t.Errorf("364 days apart: %v", r.TrendPctYr)
	}
	if r := falls(366); math.IsNaN(r.TrendPctYr) {
		t.Error("365 days apart tell nothing")
	}
	// what stands at 0.3 or below is no drift
	v := box(450).on(100, 300, times(0.3))
	r := Result{TrendPctYr: math.NaN()}
	r.trend(v)
	closeTo(t, "trend", r.TrendPctYr, -0.6, 1e-6)
}
