package sky

import (
	"math"
	"testing"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
)

func on2026(month time.Month) time.Time { return time.Date(2026, month, 1, 0, 0, 0, 0, time.UTC) }

// Groups of one kind on one plane are one; the limit of each holds for its watts.
func TestLikeGroupsJoin(t *testing.T) {
	g := func(id string, tilt, watts, limit float64) Group {
		return Group{ArrayIDs: []string{id}, Plane: sun.Plane{TiltDeg: tilt, AzimuthDeg: 180}, Watts: watts, LimitW: limit, Eta: 0.96}
	}
	m := &Model{}
	m.add(g("A", 20, 4000, 3800))
	m.add(g("B", 20, 2000, 1900)) // as many watts of inverter for each of module
	m.add(g("C", 20, 2000, 1800))
	m.add(g("D", 30, 4000, 3800))
	later := g("E", 20, 4000, 3800)
	later.From = 7
	m.add(later)
	if len(m.Groups) != 4 || m.Groups[0].Watts != 6000 || m.Groups[0].LimitW != 5700 || len(m.Groups[0].ArrayIDs) != 2 {
		t.Fatalf("%+v", m.Groups)
	}
	for at, want := range map[ingest.Hour][2]float64{6: {12000, 11300}, 7: {16000, 15100}} {
		if m.Watts(at) != want[0] || m.LimitW(at) != want[1] {
			t.Errorf("hour %d: %g W of modules, %g W of inverters", at, m.Watts(at), m.LimitW(at))
		}
	}
	from := m.From(5)
	if from.Groups[0].From != 5 || from.Groups[0].Born != 5 || from.Groups[3].From != 7 || m.Groups[0].From != 0 {
		t.Errorf("from hour 5 on: %+v", from.Groups)
	}
	shaded := m.WithSkyline(0.5).WithSkyline(-1.2)
	if shaded.Groups[0].Skyline != -0.5 || m.Groups[0].Skyline != 0 || m.WithSkyline(0.3).Groups[1].Skyline != 0.3 {
		t.Errorf("skylines %g", shaded.Groups[0].Skyline)
	}
}

// One string inverter of 5 kW for two arrays: the second has none of its own.
func TestSharedInverters(t *testing.T) {
	cat := &ingest.Catalogue{Inverters: []ingest.Inverter{{Model: "S", Kind: "string", ACWatts: 5000}, {Model: "M", Kind: "micro", ACWatts: 380}}}
	array := func(id, model string, n ingest.Opt[int]) ingest.Array {
		return ingest.Array{ID: id, Modules: 10, ModuleWatts: 400, InverterModel: model, Inverters: n, TiltDeg: 20, AzimuthDeg: 180}
	}
	h := sun.NewHours(sun.Place{LatitudeDeg: 40}, 490_000, 24, sun.SkyModel{})
	site := &ingest.Site{Arrays: []ingest.Array{array("A", "S", ingest.Some(1)), array("B", "S", ingest.Some(0)), array("C", "M", ingest.Some(10))}}
	m := NewModel(site, cat, h, nil)
	if m.SharedW != 5000 || m.LimitW(490_000) != 5000+3800 {
		t.Errorf("%g W shared, %g W in all", m.SharedW, m.LimitW(490_000))
	}
	site.Arrays[1].Inverters = ingest.Some(1)
	if m := NewModel(site, cat, h, nil); m.SharedW != 0 {
		t.Errorf("%g W shared where each has its own", m.SharedW)
	}
	site.Arrays[1].Inverters = ingest.Opt[int]{}
	if m := NewModel(site, cat, h, nil); m.SharedW != 0 {
		t.Errorf("%g W shared where nobody knows", m.SharedW)
	}
	site.Arrays = site.Arrays[:1]
	site.Arrays[0].ModuleWatts = 0
	if NewModel(site, cat, h, nil) != nil {
		t.Error("a model without watts")
	}
}

// min(limit, factor · (1 - 0.006 a year) · 0.96 · 4000 W · E/1000 · (1 - 0.0035 (T + 0.0342 E - 25))),
// with E the light in the plane.
func TestWattHoursByHand(t *testing.T) {
	h := sun.NewHours(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105, ElevationM: 1600}, 490_000, 48, sun.SkyModel{})
	g := Group{Plane: sun.Plane{TiltDeg: 20, AzimuthDeg: 180}, Watts: 4000, LimitW: math.Inf(1), Eta: 0.96, GammaPerC: -0.0035, From: 489_000, Born: 490_000 - 2*8766}
	g.prepare()
	f := g.Plane.Facet()
	m := &Model{Groups: []Group{g}, Ageing: 0.006}
	lit := 0
	for i := range h.N {
		if h.ClearGHI[i] <= 0 {
			closeTo(t, "by night", m.WattHours(h, i, 0.8, 10, 0.9)+m.Free(h, i, 0.8, 10), 0, 0)
			continue
		}
		lit++
		l := light(h, i, 0.8, 0)
		closeTo(t, "beam and diffuse", l.DNI*h.Up[i]+l.DHI, 0.8*h.ClearGHI[i], 1e-9)
		e := f.Effective(h, i, l.GHI, l.DNI, h.Parts(i, l.DNI, l.DHI), 0.2)
		want := 0.96 * 4000 * e / 1000 * (1 - 0.0035*(10+0.0342*e-25)) * (1 - 0.006*(2+float64(i)/8766))
		closeTo(t, "free", m.Free(h, i, 0.8, 10), want, 1e-6)
		closeTo(t, "at a factor of 0.9", m.WattHours(h, i, 0.8, 10, 0.9), 0.9*want, 1e-6)
		m.Groups[0].LimitW = 100
		closeTo(t, "behind a small inverter", m.WattHours(h, i, 0.8, 10, 0.9), min(100, 0.9*want), 1e-6)
		m.Groups[0].LimitW, m.Groups[0].shares, m.SharedW = math.Inf(1), true, 200
		closeTo(t, "behind a shared one", m.WattHours(h, i, 0.8, 10, 0.9), min(200, 0.9*want), 1e-6)
		m.Groups[0].shares = false
		closeTo(t, "facing", m.Facing(h, i), f.CosIncidence(h, i), 1e-12)
		// A clear hour has the clear sky's own split, a dull one Erbs-Driesse's.
		if sun.ErbsDriesse(h.ClearGHI[i], h.Up[i], h.ExtraWm2[i]).DNI > 0 {
			closeTo(t, "diffuse light of a clear hour", light(h, i, 1, 0).DHI, h.ClearDHI[i], 1e-6)
		}
		if low := sun.ErbsDriesse(0.7*h.ClearGHI[i], h.Up[i], h.ExtraWm2[i]); light(h, i, 0.7, 0).Light != low {
			t.Errorf("hour %d: %+v, want %+v", i, light(h, i, 0.7, 0), low)
		}
	}
	if lit < 20 {
		t.Fatalf("%d hours of light", lit)
	}
	m.Groups[0].From = 490_030
	for i := range h.N {
		if made := m.WattHours(h, i, 1, 10, 1) > 0 && m.Free(h, i, 1, 10) > 0 && m.Facing(h, i) > 0; made && i < 30 {
			t.Errorf("hour %d: output before it stood", i)
		}
	}
}

// A plane that loses 5 % of its beam in the year loses 5 % of it, by low sun more.
func TestSkylineTakesItsShare(t *testing.T) {
	h := sun.NewHours(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105}, 490_000, 8766, sun.SkyModel{})
	p := sun.Plane{TiltDeg: 25, AzimuthDeg: 160}
	f := p.Facet()
	for _, pct := range []float64{1, 5, 10} {
		a := skylineOf(p, h, pct)
		var all, lost float64
		for i := range h.Up {
			if i/24%16 == 0 && h.Up[i] > 0 {
				beam := h.ClearDNI[i] * f.CosIncidence(h, i)
				all, lost = all+beam, lost+beam*a*(1-h.Up[i])*(1-h.Up[i])
			}
		}
		closeTo(t, "lost", 100*lost/all, pct, 1e-9)
	}
	if skylineOf(p, h, 90) != 4 || skylineOf(p, h, 0) != 0 || skylineOf(p, h, math.NaN()) != 0 {
		t.Error("skylines of much, none and unknown shade")
	}
	if skylineOf(sun.Plane{TiltDeg: 90, AzimuthDeg: 0}, sun.NewHours(sun.Place{LatitudeDeg: 40}, 490_000, 0, sun.SkyModel{}), 5) != 0 {
		t.Error("a skyline of no light")
	}
}

// The 90th percentile of 31 days around, renewed every third day; the median of the
// clear days around.
func TestLevelsOfDays(t *testing.T) {
	ratio := make([]float64, 61)
	for d := range ratio {
		ratio[d] = float64(d)
	}
	top := RollingTop(ratio)
	for d, want := range map[int]float64{30: 42, 31: 42, 32: 42, 33: 45, 0: 13.5, 60: 58.5} { // of 15 to 45; of 0 to 15; of 45 to 60
		closeTo(t, "top", top[d], want, 1e-9)
	}
	c := Calibration{Ratio: ratio}
	local := c.Local(20)
	for d, want := range map[int]float64{30: 30, 31: 30, 0: 10, 60: 50, 3: 11.5} {
		closeTo(t, "local", local[d], want, 1e-9)
	}
	h := sun.NewHours(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105}, 490_000, 72, sun.SkyModel{})
	measured := make([]float64, 72)
	for i := range measured {
		if measured[i] = 99; i%2 == 0 {
			measured[i] = math.NaN()
		}
	}
	for i, v := range Temperature(measured, h) {
		want := 99.0
		if i%2 == 0 {
			want = sun.TypicalTempC(40, -105, 490_000+ingest.Hour(i))
		}
		closeTo(t, "temperature", v, want, 0.25)
	}
	closeTo(t, "without a thermometer", Temperature(nil, h)[5], sun.TypicalTempC(40, -105, 490_005), 0.25)
}
