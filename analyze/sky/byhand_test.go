package sky

import (
	"math"
	"slices"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

func closeTo(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

var unknown = math.NaN()

// What the register and the catalogue say of an array: 12 modules of 400 W, ten
// inverters of 380 W and 96 %.
func TestGroupOfTheRegister(t *testing.T) {
	cat := &ingest.Catalogue{
		Modules:   []ingest.Module{{Model: "m", Watts: 410, TempCoefficientPctPC: -0.29}, {Model: "odd", Watts: 410, TempCoefficientPctPC: 0.29}},
		Inverters: []ingest.Inverter{{Model: "i", Kind: "micro", ACWatts: 380, EfficiencyPct: 96}, {Model: "none", Kind: "micro"}},
	}
	on := ingest.HourOf
	site := &ingest.Site{CommissionedOn: on2026(6)}
	a := ingest.Array{ID: "A", Modules: 12, ModuleWatts: 400, ModuleModel: "m", InverterModel: "i", Inverters: ingest.Some(10), CommissionedOn: on2026(3)}
	g := groupOf(site, cat, &a)
	if g.Watts != 4800 || g.LimitW != 3800 || g.Eta != 0.96 || math.Abs(g.GammaPerC+0.0029) > 1e-15 || g.From != on(on2026(3)) {
		t.Errorf("%+v", g)
	}
	a.ModuleWatts, a.CommissionedOn, a.InverterModel, a.ModuleModel = unknown, a.CommissionedOn.AddDate(-2025, 0, 0), "none", "odd"
	a.CommissionedOn = ingest.Array{}.CommissionedOn
	g = groupOf(site, cat, &a)
	if g.Watts != 4920 || !math.IsInf(g.LimitW, 1) || g.Eta != DefaultEta || g.GammaPerC != DefaultGammaPerC || g.From != on(on2026(6)) {
		t.Errorf("with what is not known: %+v", g)
	}
}

// The array's own facing comes before its plane's; what lies flat faces up.
func TestFacingOfTheRegister(t *testing.T) {
	site := &ingest.Site{Planes: []ingest.Plane{{ID: "E", TiltDeg: 30, AzimuthDeg: 90, ShadingPct: 7}, {ID: "S", TiltDeg: 20, AzimuthDeg: 180, ShadingPct: 3}, {TiltDeg: 1, AzimuthDeg: 2, ShadingPct: 9}}}
	for _, c := range []struct {
		what          string
		plane         string
		tilt, azimuth float64
		want          sun.Plane
		known         bool
		shade         float64
	}{
		{"its own", "E", 25, 95, sun.Plane{TiltDeg: 25, AzimuthDeg: 95}, true, 7},
		{"the plane's", "S", unknown, unknown, sun.Plane{TiltDeg: 20, AzimuthDeg: 180}, true, 3},
		{"one of either", "S", 12, unknown, sun.Plane{TiltDeg: 12, AzimuthDeg: 180}, true, 3},
		{"flat", "", 0, unknown, sun.Plane{TiltDeg: 0, AzimuthDeg: 180}, true, unknown},
		{"of no plane", "", unknown, unknown, sun.Plane{TiltDeg: unknown, AzimuthDeg: unknown}, false, unknown},
		{"half of it", "", 20, unknown, sun.Plane{TiltDeg: 20, AzimuthDeg: unknown}, false, unknown},
	} {
		a := &ingest.Array{PlaneID: c.plane, TiltDeg: c.tilt, AzimuthDeg: c.azimuth}
		got, known := FacingOf(site, a)
		if known != c.known || known && got != c.want {
			t.Errorf("%s: %+v, %v", c.what, got, known)
		}
		if shade := shadingOf(site, a); shade != c.shade && !(math.IsNaN(shade) && math.IsNaN(c.shade)) {
			t.Errorf("%s: %g %% of shade", c.what, shade)
		}
		a.ID = "A"
		fits := []FacingFit{{ArrayIDs: []string{"B"}}, {ArrayIDs: []string{"A", "C"}, Share: 0.5}}
		if got := planesOf(site, a, fits); len(got) != 1 || got[0].Share != 0.5 {
			t.Errorf("%s: what was fitted does not hold: %+v", c.what, got)
		}
		if got := planesOf(site, a, nil); (len(got) == 1) != c.known || c.known && got[0].Share != 1 {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
}

// A cell of twenty arrays at K = 0.8 counts ten at weight 1, one at 0.6 five at a
// half: (8 + 1.5)/12.5; the spread holds that of the cells and between them.
func TestCellsAreAveraged(t *testing.T) {
	mute := Parting{Sure: -1}
	a := &cell{start: 100, kw: []uint16{pack(0.8, 10./15)}, spread: []uint8{25}, partings: []Parting{mute}}
	b := &cell{start: 99, kw: []uint16{pack(0.1, 1), pack(0.6, 5./15)}, spread: []uint8{0, 25}, partings: []Parting{mute, mute}}
	f := NewField(Options{})
	s := Sky{K: make([]float64, 1), Diffuse: make([]float64, 1), Spread: make([]float64, 1), Sites: make([]uint16, 1)}
	cells := []near{{a, 1, false}, {b, 0.5, false}}
	if !f.combine(cells, 100, "", nil, &s, 0) {
		t.Fatal("nothing known")
	}
	closeTo(t, "K", s.K[0], 9.5/12.5, 1e-9)
	closeTo(t, "spread", s.Spread[0], math.Sqrt((10*(0.01+0.64)+2.5*(0.01+0.36))/12.5-0.76*0.76), 1e-9)
	if s.Sites[0] != 15 {
		t.Errorf("%d arrays", s.Sites[0])
	}
	if f.combine(cells, 102, "", nil, &s, 0) || f.combine(cells, 98, "", nil, &s, 0) || f.combine(cells[:1], 99, "", nil, &s, 0) {
		t.Error("an hour that no cell holds")
	}
	few := &cell{sites: []Estimate{{SiteID: "A"}, {SiteID: "B"}, {SiteID: "C"}}}
	if got := othersIn([]near{{few, 1, true}, {few, 1, true}}, "B"); got != 4 {
		t.Errorf("%d others", got)
	}
	if got := othersIn([]near{{few, 1, true}, {a, 1, false}}, "B"); got < 1000 {
		t.Errorf("beside a full cell: %d others", got)
	}
}

// The site's own word: not total darkness, and by 0.2 less where its level lies that
// much high.
func TestASiteStandsInForItself(t *testing.T) {
	self := &Estimate{Start: 10, KW: []uint16{pack(0.5, 1), 0, pack(0.02, 1), pack(0.03, 1)}, Off: []int8{offUnknown}}
	s := Sky{K: make([]float64, 1), Spread: make([]float64, 1), Sites: make([]uint16, 1)}
	for at, want := range map[ingest.Hour]bool{9: false, 10: true, 11: false, 12: false, 13: true, 14: false} {
		if got := selfInto(self, at, &s, 0); got != want {
			t.Errorf("hour %d: %v", at, got)
		}
	}
	for off, want := range map[int8]float64{20: 0.5 * math.Exp(-0.2), 12: 0.5, 13: 0.5 * math.Exp(-0.13), -20: 0.5 * math.Exp(0.2), -127: 1.6} {
		self.Off[0] = off
		selfInto(self, 10, &s, 0)
		closeTo(t, "K", s.K[0], want, 1e-9)
	}
	if off, known := self.off(-1); known || off != 0 {
		t.Error("a level before the first hour")
	}
	if _, known := self.off(24); known {
		t.Error("a level after the last day")
	}
	for off, want := range map[float64]float64{0: 1, 0.06: 0.5, -0.03: 0.8, 0.081: 0.5} {
		closeTo(t, "trust", trust(off), want, 1e-12)
	}
	closeTo(t, "trust in a level that is not known", trust(unknown), 0.5, 0)
	for _, c := range []struct {
		offs []float64
		want float64
	}{{[]float64{0.05}, 0.05}, {[]float64{0.2}, 0.08}, {[]float64{-0.2}, -0.08}, {[]float64{0.3, -0.1}, -0.1}, {[]float64{0.1, -0.3}, 0.1}, {[]float64{0.3, -0.1, 0.2}, 0.2}} {
		closeTo(t, "what sites share", commonOff(c.offs), c.want, 0)
	}
}

// Ten days of light at 0.1 to 1 of the clear curve: the 90th percentile is 0.91; nine
// days are too few. K is the light over that, of a sun at least 3 degrees high.
func TestStationsByHand(t *testing.T) {
	h := sun.NewHours(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105}, 490_000, 240, sun.SkyModel{})
	ghi := make([]float64, 240)
	for i := range ghi {
		ghi[i] = h.ClearGHI[i] * float64(i/24+1) / 10
	}
	closeTo(t, "scale", clearScale(ghi, h), 0.91, 1e-12)
	closeTo(t, "scale of nine days", clearScale(ghi[:239], h), 1, 0)
	f := NewField(Options{WeatherKm: 30})
	st := &ingest.Station{ID: "W2", LatitudeDeg: 40.1, LongitudeDeg: -105, Start: 490_000, GHIWm2: ghi}
	f.AddStation(st, h)
	f.AddStation(&ingest.Station{ID: "T", LatitudeDeg: 40, LongitudeDeg: -105}, h) // without light
	twin := *st
	twin.ID = "W1"
	f.AddStation(&twin, h)
	got := f.stationNear(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105})
	if got == nil || got.id != "W1" {
		t.Fatalf("%+v", got)
	}
	far, close := *st, *st
	far.ID, far.LatitudeDeg, close.ID, close.LatitudeDeg = "A", 40.11, "Z", 40.09
	f.AddStation(&far, h)
	f.AddStation(&close, h)
	if got := f.stationNear(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105}); got.id != "Z" {
		t.Errorf("the nearest is %s", got.id)
	}
	if got := f.stationNear(sun.Place{LatitudeDeg: 39.81, LongitudeDeg: -105}); got != nil { // 31 km off
		t.Errorf("out of reach: %s", got.id)
	}
	for i := range ghi {
		if lit := h.Up[i] > 0.0523; lit != (got.k[i] == got.k[i]) {
			t.Fatalf("hour %d of a sun at %g: K %g", i, h.Up[i], got.k[i])
		} else if lit {
			closeTo(t, "K", got.k[i], float64(i/24+1)/10/0.91, 1e-12)
		}
	}
	s := Sky{K: make([]float64, 1), Spread: make([]float64, 1), Sites: make([]uint16, 1)}
	if got.into(&s, 0, 489_999) || got.into(&s, 0, 490_240) {
		t.Error("hours that the station has not")
	}
	closeTo(t, "a degree of latitude", distance(sun.Place{LatitudeDeg: 40}, 41, 0), 111.2, 1e-9)
	closeTo(t, "a degree of longitude at 60 degrees", distance(sun.Place{LatitudeDeg: 60}, 60, -1), 55.6, 1e-9)
}

// Heights known: 100 and 300 m in the site's half degree, 900 m in the next.
func TestHeightsAreLent(t *testing.T) {
	at := func(lat, lon, up float64) ingest.Site {
		return ingest.Site{LatitudeDeg: lat, LongitudeDeg: lon, ElevationM: up}
	}
	p := NewPlaces(&ingest.Fleet{Sites: []ingest.Site{at(40.1, -105.1, 100), at(40.4, -105.4, 300), at(40.1, -105.1, unknown), at(40.6, -105.1, 900), at(-0.1, 0.1, 50)}})
	for _, c := range []struct {
		lat, lon, up, want float64
	}{
		{40.2, -105.2, 7, 7}, {40.2, -105.2, unknown, 200}, {40.6, -104.9, unknown, 300}, // of the squares around: 100, 300 and 900
		{41.1, -105.1, unknown, 900}, {0.1, -0.1, unknown, 50}, {45, 9, unknown, unknown},
	} {
		s := at(c.lat, c.lon, c.up)
		if got := p.Of(&s).ElevationM; got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("at %g, %g: %g m, want %g", c.lat, c.lon, got, c.want)
		}
	}
}

// Two planes ten degrees apart lie sin 5° from their mean: √(1/2·2·sin²5°/2) for one
// direction. 2x + y = 4, x + 3y + z = 8 and y + 2z = 4 are solved by 1, 2 and 1.
func TestSpreadOfPlanes(t *testing.T) {
	left := [][]sun.Plane{{{TiltDeg: 20, AzimuthDeg: 180}}, {{TiltDeg: 30, AzimuthDeg: 180}}}
	want := math.Sin(5*math.Pi/180) / math.Sqrt2 * 180 / math.Pi
	closeTo(t, "spread", jackknife(left, 0), want, 1e-9)
	closeTo(t, "all alike", jackknife(append(left[:1:1], left[0]), 0), 0, 1e-9)
	x := solve3([3][3]float64{{2, 1, 0}, {1, 3, 1}, {0, 1, 2}}, [3]float64{4, 8, 4})
	for k, want := range []float64{1, 2, 1} {
		closeTo(t, "solution", x[k], want, 1e-12)
	}
	m := make([]float64, 2*lagReach+4)
	for j := range 4 {
		m[lagReach+j] = float64(j + 1)
	}
	day := fitDay{n: 4, y: []float64{2, 4, 6, 8}, w: []float64{1, 1, 1, 1}, peak: 8}
	f, cost := day.shape(m)
	closeTo(t, "twice the curve", f, 2, 1e-12)
	closeTo(t, "its cost", cost, 0, 1e-9)
	day.y = []float64{2, 4, 6, 9} // 64/30; the squares left are 137 - 64²/30
	f, cost = day.shape(m)
	closeTo(t, "nearly twice", f, 64./30, 1e-12)
	closeTo(t, "its cost", cost, 12*math.Log1p((137-64.*64/30)/(0.05*0.05*64)/2/12), 1e-9)
	day.w[3] = 0
	f, _ = day.shape(m)
	closeTo(t, "without the last hour", f, 2, 1e-12)
	day.y, day.w[3], day.late = []float64{0, 2, 4, 6}, 1, 1 // an hour late
	if f, cost = day.shape(m); math.Abs(f-2) > 1e-12 || cost > 1e-9 {
		t.Errorf("an hour late: %g of cost %g", f, cost)
	}
}

// The last cell's rules: what counts as the sky's source.
func TestSourceOfASky(t *testing.T) {
	for _, c := range []struct {
		fleet, weather, alone, others int
		source, caveat                string
	}{
		{0, 0, 0, 9, FromNone, "no_sky"}, {5, 5, 5, 9, FromWeather, ""}, {6, 5, 6, 9, FromFleet, ""}, {6, 5, 0, 4, FromFleet, "few_neighbours"},
		{6, 5, 0, 5, FromFleet, ""}, {5, 0, 6, 9, FromSelf, "sky_from_itself"}, {5, 6, 5, 1, FromWeather, ""},
	} {
		s := Sky{Source: FromNone}
		s.describe(c.fleet, c.weather, c.alone, c.others)
		var codes []string
		for _, k := range s.Caveats {
			codes = append(codes, k.Code)
		}
		if s.Source != c.source || !slices.Equal(codes, slices.DeleteFunc([]string{c.caveat}, func(s string) bool { return s == "" })) {
			t.Errorf("%+v: %s, %v", c, s.Source, codes)
		}
	}
}
