package sky

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// Cells within 60 km count by distance, exp(-(d/20 km)²), five at the most, the nearest
// first. A degree is 111.2 km, at 60° north half of that from east to west.
func TestCellsInReach(t *testing.T) {
	place := sun.Place{LatitudeDeg: 60.1, LongitudeDeg: 10.1}
	for _, c := range []struct {
		north, east float64
		in          bool
	}{
		{0, 0, true}, {0.5, 0, true}, {-0.5, 0, true}, {0, 1, true}, {0, -1, true}, {0.3, 0.8, true}, {-0.3, -0.8, true},
		{0.55, 0, false}, {-0.55, 0, false}, {0, 1.1, false}, {0, -1.1, false}, {0.4, 0.85, false},
	} {
		f := NewField(Options{})
		at := sun.Place{LatitudeDeg: 60.1 + c.north, LongitudeDeg: 10.1 + c.east}
		k := f.key(at)
		f.cells[k] = &cell{key: k, latDeg: at.LatitudeDeg, lonDeg: at.LongitudeDeg}
		got := f.within(place)
		if (len(got) == 1) != c.in {
			t.Errorf("%+v: %d cells", c, len(got))
			continue
		}
		if d := math.Hypot(c.north*111.2, c.east*111.2*math.Cos(60.1*math.Pi/180)); c.in && (math.Abs(got[0].weight-math.Exp(-d*d/400)) > 1e-9 || !got[0].few) {
			t.Errorf("%+v: weight %v, few %v", c, got[0].weight, got[0].few)
		}
	}
	f := NewField(Options{})
	for i, north := range []float64{0.45, -0.4, 0.25, -0.15, 0, 0.5} {
		at := sun.Place{LatitudeDeg: 60.1 + north, LongitudeDeg: 10.1}
		if i == 0 {
			at.LongitudeDeg = 10.3 // in a cell of its own
		}
		k := f.key(at)
		f.cells[k] = &cell{key: k, latDeg: at.LatitudeDeg, lonDeg: at.LongitudeDeg, kw: []uint16{uint16(i)}}
	}
	var got []uint16
	for _, c := range f.within(place) {
		if got = append(got, c.kw[0]); c.few {
			t.Error("a full cell is called few")
		}
	}
	if !slices.Equal(got, []uint16{4, 3, 2, 1, 0}) {
		t.Errorf("nearest first: %v", got)
	}
	for _, c := range []struct {
		lat, lon float64
		want     cellKey
	}{{40.1, -105.1, cellKey{160, -421}}, {-0.1, 0.1, cellKey{-1, 0}}, {0.25, 0.49, cellKey{1, 1}}} {
		if got := f.key(sun.Place{LatitudeDeg: c.lat, LongitudeDeg: c.lon}); got != c.want {
			t.Errorf("%+v: %+v", c, got)
		}
	}
}

// Of 0.8, 0.9 and 1.0 the middle is 0.9 and the spread 1.4826 tenths; two of them are
// dated, four years on average. Twenty arrays in reach are asked before the fleet.
func TestUsualFactorByHand(t *testing.T) {
	f := factorOf([]aged{{0.8, 3}, {0.9, unknown}, {1, 5}})
	if f.Value != 0.9 || math.Abs(f.SD-0.14826) > 1e-9 || f.AgeYears != 4 || f.Sites != 3 {
		t.Errorf("%+v", f)
	}
	if f := factorOf(nil); !math.IsNaN(f.Value) || !math.IsNaN(f.SD) || !math.IsNaN(f.AgeYears) || f.Sites != 0 {
		t.Errorf("no array: %+v", f)
	}
	if f := factorOf([]aged{{0.8, unknown}}); !math.IsNaN(f.AgeYears) {
		t.Errorf("none dated: %+v", f)
	}
	field := NewField(Options{})
	field.typical = Factor{Value: 0.5}
	near := func(n int) []near {
		return []near{{cell: &cell{factors: slices.Repeat([]aged{{0.9, 1}}, n-3)}}, {cell: &cell{factors: slices.Repeat([]aged{{0.9, 1}}, 3)}}}
	}
	if got := field.typicalNear(near(19)); got.Value != 0.5 {
		t.Errorf("nineteen: %+v", got)
	}
	if got := field.typicalNear(near(20)); got.Value != 0.9 || got.Sites != 20 {
		t.Errorf("twenty: %+v", got)
	}
}

// A cell of five arrays: the place is their mean, the hours reach from the first to the
// last, the median carries how many speak and its spread.
func TestACellByHand(t *testing.T) {
	c := &cell{}
	for s := range 5 {
		e := Estimate{SiteID: fmt.Sprint(s), Place: sun.Place{LatitudeDeg: 40 + float64(s), LongitudeDeg: 10 - float64(s)}, Start: ingest.Hour(100 + s), KW: make([]uint16, 10), Factor: 0.8, Age: 2}
		for i := range e.KW {
			e.KW[i] = pack(0.5+0.1*float64(s), 1)
		}
		if s == 4 {
			e.Factor = unknown
		}
		c.sites = append(c.sites, e)
	}
	c.settle()
	c.reduce(new(Usual))
	if c.latDeg != 42 || c.lonDeg != 8 || c.start != 100 || len(c.kw) != 14 || len(c.factors) != 4 || c.sites != nil {
		t.Fatalf("%+v", c)
	}
	for i, want := range map[int][3]float64{0: {0.5, 1, lonelySpread}, 1: {0.55, 2, lonelySpread}, 4: {0.7, 5, 0.14826}, 12: {0.85, 2, lonelySpread}, 13: {0.9, 1, lonelySpread}} {
		k, n := unpack(c.kw[i])
		if math.Abs(k-want[0]) > 1e-3 || n != int(want[1]) || math.Abs(float64(c.spread[i])/spreadSteps-want[2]) > 0.003 {
			t.Errorf("hour %d: K %v of %d, spread %v", i, k, n, float64(c.spread[i])/spreadSteps)
		}
	}
	four := &cell{sites: []Estimate{{Start: 7, KW: make([]uint16, 3)}, {}, {}, {}}}
	four.settle()
	if four.reduce(new(Usual)); four.kw != nil || len(four.sites) != 4 {
		t.Error("four keep their own words")
	}
}

// Weather that is preferred is the source; where the fleet has holes it fills them.
func TestSourceOfHours(t *testing.T) {
	for _, prefer := range []bool{true, false} {
		f := NewField(Options{PreferWeather: prefer})
		for s := range 6 {
			e := said(fmt.Sprint(s), 10, func(int) float64 { return 0.5 })
			for i := 4; i < 10; i++ {
				e.KW[i] = 0
			}
			f.Add(e)
		}
		f.Close()
		f.stations = append(f.stations, stationSky{id: "w", latDeg: town.LatitudeDeg, lonDeg: town.LongitudeDeg, start: 480000, k: slices.Repeat([]float64{0.9}, 10)})
		got := f.At(town, 480000, 10, nil)
		if got.Source != FromWeather || got.K[9] != 0.9 || (got.K[0] == 0.9) != prefer || got.Typical.Sites != 6 {
			t.Errorf("preferred %v: %s, K %v", prefer, got.Source, got.K)
		}
		got = f.At(town, 480000, 7, nil) // four of the fleet, three of the weather
		if want := map[bool]string{true: FromWeather, false: FromFleet}[prefer]; got.Source != want {
			t.Errorf("preferred %v: %s", prefer, got.Source)
		}
	}
}

// The spread of three planes: two normals that lie d apart are d/2 from their mean.
func TestSpreadRoundTheCircle(t *testing.T) {
	for _, p := range [][2]sun.Plane{{{TiltDeg: 30, AzimuthDeg: 90}, {TiltDeg: 30, AzimuthDeg: 120}}, {{TiltDeg: 20, AzimuthDeg: 0}, {TiltDeg: 40, AzimuthDeg: 30}}, {{TiltDeg: 10, AzimuthDeg: 260}, {TiltDeg: 60, AzimuthDeg: 200}}} {
		d := 2 * math.Sin(sun.AngleDeg(p[0], p[1])/2*math.Pi/180)
		closeTo(t, "spread", jackknife([][]sun.Plane{{p[0]}, {p[1]}}, 0), d/(2*math.Sqrt2)*180/math.Pi, 1e-9)
		closeTo(t, "of the second plane", jackknife([][]sun.Plane{{{}, p[0]}, {{}, p[1]}}, 1), d/(2*math.Sqrt2)*180/math.Pi, 1e-9)
		// twice as many alike: √(3/4 · 4 (d/2)²/2)
		closeTo(t, "of four", jackknife([][]sun.Plane{{p[0]}, {p[1]}, {p[0]}, {p[1]}}, 0), d*math.Sqrt(3./8)*180/math.Pi, 1e-9)
	}
}

// A site that was dated three years before its readings, a year of them, of which the
// last fifth stands 20 % lower.
func TestFromSiteByHand(t *testing.T) {
	site := roof(30, 200)
	h, s := made(t, site, 0.9)
	site.CommissionedOn = (h.Start - 3*8766).Time()
	wh := s.Wh[ingest.Production]
	aged := 1 - 3*AgeingPrior // at the beginning, of the model that made them as new
	for i := range wh {
		if i > 24*290 {
			wh[i] *= 0.8
		}
	}
	e, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "age", e.Age, 3+4380./8766, 1e-9)
	closeTo(t, "factor", e.Factor, 0.9/aged, 0.01)
	closeTo(t, "weight", e.Weight, 1, 0.02)
	if len(e.Off) != 365 || e.Off[100] < -1 || e.Off[100] > 1 || e.Off[350] < -24 || e.Off[350] > -21 || e.Used != e.Factor || e.FactorN < 50 {
		t.Errorf("off %d and %d, %d clear days, %d runs", e.Off[100], e.Off[350], e.FactorN, len(e.Off))
	}
	// days of another level weigh half: never more than 8 of 15
	for i := 24 * 330; i < h.N; i++ {
		if _, w := unpack(e.KW[i]); w > 8 {
			t.Fatalf("hour %d of weight %d", i, w)
		}
	}
	most := 0
	for i := 24 * 100; i < 24*200; i++ {
		_, w := unpack(e.KW[i])
		most = max(most, w)
	}
	if most != 15 {
		t.Errorf("no hour of the right level weighs all: %d", most)
	}
	// next to no output: an ordinary factor, little trust
	for i := range wh {
		if i > 24*4 {
			wh[i] = 0
		}
	}
	e, err = FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil || !math.IsNaN(e.Factor) || e.Used != noFactor || e.Weight != lowTrust || len(e.Caveats) != 1 || e.Caveats[0].Code != "no_clear_days" {
		t.Errorf("%v %+v %v %v", err, e.Caveats, e.Factor, e.Weight)
	}
	if slices.ContainsFunc(e.Off, func(o int8) bool { return o != offUnknown }) {
		t.Error("a level without clear days")
	}
}
