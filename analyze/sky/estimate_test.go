package sky

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/scripts/outside"
)

// roof is a site with one array on one plane.
func roof(tilt, azimuth float64) *ingest.Site {
	return &ingest.Site{ID: "roof", LatitudeDeg: town.LatitudeDeg, LongitudeDeg: town.LongitudeDeg, ElevationM: town.ElevationM, Location: time.FixedZone("solar", -7*3600),
		Arrays: []ingest.Array{{ID: "A", Modules: 10, ModuleWatts: 400, TiltDeg: tilt, AzimuthDeg: azimuth}}}
}

// TestInvertReturnsTheSky goes from K to energy and back, on planes and hours
// by chance, wherever the gate of section 5.1 lets an hour through.
func TestInvertReturnsTheSky(t *testing.T) {
	h := sun.NewHours(town, 490000, 8760, sun.SkyModel{})
	rnd := rand.New(rand.NewPCG(5, 5))
	tried := 0
	for range 20000 {
		m := NewModel(roof(rnd.Float64()*60, rnd.Float64()*360), &ingest.Catalogue{}, h, nil)
		i := rnd.IntN(h.N)
		if h.Up[i] < gateUp || m.Facing(h, i) < gateFacing || m.Facing(h, i) < gateToFlat*h.Up[i] {
			continue
		}
		k, temp := 0.05+1.2*rnd.Float64(), 40*rnd.Float64()-10
		wh := m.WattHours(h, i, k, temp, 0.9)
		got := m.Invert(h, i, wh, temp, 0.9)
		if math.Abs(got-k) > 0.004 {
			t.Errorf("hour %d, plane %+v: K %.4f came back as %.4f", i, m.Groups[0].Plane, k, got)
		}
		tried++
	}
	if tried < 4000 {
		t.Errorf("only %d hours passed the gate", tried)
	}
}

// made simulates a roof under a sky by the model itself.
func made(t *testing.T, site *ingest.Site, factor float64) (*sun.Hours, *ingest.Series) {
	t.Helper()
	h := sun.NewHours(town, 490000, 8760, sun.SkyModel{})
	m := NewModel(site, &ingest.Catalogue{}, h, nil)
	temp := Temperature(nil, h)
	s := &ingest.Series{SiteID: site.ID, Start: h.Start, StepMinutes: 60}
	wh := make([]float64, h.N)
	for i := range wh {
		wh[i] = m.WattHours(h, i, hourSky(h, i), temp[i], factor)
	}
	s.Wh[ingest.Production] = wh
	return h, s
}

// hourSky changes at solar midnight.
func hourSky(h *sun.Hours, i int) float64 { return daySky((int(h.Start) + i - 7) / 24) }

// daySky is clear every third day, and dull in between.
func daySky(day int) float64 {
	if day%3 == 0 {
		return 1
	}
	return 0.25 + 0.5*math.Abs(math.Sin(float64(day)))
}

func TestFromSiteFindsSkyAndFactor(t *testing.T) {
	site := roof(30, 200)
	h, s := made(t, site, 0.88)
	e, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(e.Factor-0.88) > 0.003 {
		t.Errorf("factor %.4f, want 0.88", e.Factor)
	}
	for i, v := range e.KW {
		k, w := unpack(v)
		if w > 2 && math.Abs(k-hourSky(h, i)) > 0.01 {
			t.Fatalf("hour %d: K %.3f, the day was made with %.3f", i, k, hourSky(h, i))
		}
	}
}

// TestScalingScalesTheFactorOnly: more or larger modules than registered are a
// factor, not another sky.
func TestScalingScalesTheFactorOnly(t *testing.T) {
	site := roof(25, 170)
	h, s := made(t, site, 0.9)
	a, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Wh[ingest.Production] {
		s.Wh[ingest.Production][i] *= 1.37
	}
	b, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(b.Factor/a.Factor-1.37) > 0.002 {
		t.Errorf("factor went from %.3f to %.3f, want times 1.37", a.Factor, b.Factor)
	}
	off := 0
	for i := range a.KW {
		ka, _ := unpack(a.KW[i])
		kb, _ := unpack(b.KW[i])
		if math.Abs(ka-kb) > 0.01 {
			off++
		}
	}
	if off > 0 {
		t.Errorf("%d hours have another sky", off)
	}
}

func TestMissingHoursStayMissing(t *testing.T) {
	site := roof(25, 170)
	h, s := made(t, site, 0.9)
	wh := s.Wh[ingest.Production]
	for i := 1000; i < 1500; i++ {
		wh[i] = math.NaN()
	}
	for i := 2000; i < 8760; i += 7 {
		wh[i] = math.NaN()
	}
	e, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range wh {
		if v != v && e.KW[i] != 0 {
			t.Fatalf("hour %d was not measured and has a sky", i)
		}
	}
}

// TestFacingOnMadeDays: the plane that made the days is found, for many planes.
func TestFacingOnMadeDays(t *testing.T) {
	for _, p := range []sun.Plane{{TiltDeg: 20, AzimuthDeg: 95}, {TiltDeg: 33, AzimuthDeg: 180}, {TiltDeg: 15, AzimuthDeg: 265}, {TiltDeg: 40, AzimuthDeg: 225}, {TiltDeg: 18, AzimuthDeg: 350}} {
		h, s := made(t, roof(p.TiltDeg, p.AzimuthDeg), 0.9)
		blank := roof(math.NaN(), math.NaN())
		fits := Facings(Hourly{Sun: h, Calendar: ingest.NewCalendar(blank.Location, h.Start, h.N), Wh: s.Wh[ingest.Production], TempC: Temperature(nil, h)}, blank, &ingest.Catalogue{})
		if len(fits) != 1 {
			t.Fatalf("plane %+v: %d fits", p, len(fits))
		}
		got := fits[0]
		if off := angle(got.Plane, p); off > 5 || off > 3*got.SDDeg {
			t.Errorf("plane %+v: found %+v, %.1f degrees off, said to be within %.1f", p, got.Plane, off, got.SDDeg)
		}
	}
}

// TestFacingOfTwoPlanes: a register with two blank arrays gives a mix.
func TestFacingOfTwoPlanes(t *testing.T) {
	two := func(a, b sun.Plane) *ingest.Site {
		s := roof(a.TiltDeg, a.AzimuthDeg)
		s.Arrays[0].Modules = 12
		s.Arrays = append(s.Arrays, ingest.Array{ID: "B", Modules: 8, ModuleWatts: 400, TiltDeg: b.TiltDeg, AzimuthDeg: b.AzimuthDeg})
		return s
	}
	a, b := sun.Plane{TiltDeg: 25, AzimuthDeg: 100}, sun.Plane{TiltDeg: 25, AzimuthDeg: 190}
	h, s := made(t, two(a, b), 0.9)
	blank := sun.Plane{TiltDeg: math.NaN(), AzimuthDeg: math.NaN()}
	fits := Facings(Hourly{Sun: h, Calendar: ingest.NewCalendar(time.FixedZone("solar", -7*3600), h.Start, h.N), Wh: s.Wh[ingest.Production], TempC: Temperature(nil, h)}, two(blank, blank), &ingest.Catalogue{})
	if len(fits) != 2 {
		t.Fatalf("%d fits, want 2", len(fits))
	}
	for i, want := range []sun.Plane{a, b} {
		if off := angle(fits[i].Plane, want); off > 8 {
			t.Errorf("array %v: found %+v, want %+v: %.1f degrees off", fits[i].ArrayIDs, fits[i].Plane, want, off)
		}
	}
}

func angle(a, b sun.Plane) float64 {
	ae, an, au := a.Normal()
	be, bn, bu := b.Normal()
	return math.Acos(min(1, ae*be+an*bn+au*bu)) * 180 / math.Pi
}

// TestRealRoofs fits the five real homes. Their notes tell no azimuth, but
// which peak early (home_05) and late (home_02, home_10).
//
// The notes also say that an hour's label is its end. The sun of the place
// says it is the beginning: see scripts/health.
func TestRealRoofs(t *testing.T) {
	la, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	place := sun.Place{LatitudeDeg: 34.1, LongitudeDeg: -117.4, ElevationM: 370}
	start := ingest.HourOf(time.Date(2016, 8, 1, 0, 0, 0, 0, la))
	h := sun.NewHours(place, start, 8760, sun.SkyModel{})
	azimuth := map[string]float64{}
	for _, id := range []string{"home_01", "home_02", "home_05", "home_10", "home_16"} {
		f, err := os.Open(outside.Data(t, "fontana-5homes", id+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		wh := make([]float64, 8760)
		for i := range wh {
			wh[i] = math.NaN()
		}
		for i, row := range rows[1:] {
			v, err := strconv.ParseFloat(row[len(row)-1], 64)
			if err != nil {
				t.Fatal(err)
			}
			if j := int(ingest.HourOf(time.Date(2016, 8, 1, i, 0, 0, 0, la)) - start); j < len(wh) {
				wh[j] = v
			}
		}
		site := &ingest.Site{ID: id, LatitudeDeg: place.LatitudeDeg, LongitudeDeg: place.LongitudeDeg, ElevationM: 370, Location: la,
			Arrays: []ingest.Array{{ID: "A", Modules: 1, ModuleWatts: 1000, TiltDeg: math.NaN(), AzimuthDeg: math.NaN()}}}
		fits := Facings(Hourly{Sun: h, Calendar: ingest.NewCalendar(la, h.Start, h.N), Wh: wh, TempC: Temperature(nil, h)}, site, &ingest.Catalogue{})
		if len(fits) != 1 {
			t.Fatalf("%s: no fit", id)
		}
		azimuth[id] = fits[0].Plane.AzimuthDeg
		t.Logf("%s: tilt %.0f azimuth %.0f, sd %.1f", id, fits[0].Plane.TiltDeg, fits[0].Plane.AzimuthDeg, fits[0].SDDeg)
	}
	for _, early := range []string{"home_05"} {
		for _, other := range []string{"home_01", "home_02", "home_10", "home_16"} {
			if azimuth[early] >= azimuth[other]-15 {
				t.Errorf("%s should face clearly further east than %s: azimuths %.0f and %.0f", early, other, azimuth[early], azimuth[other])
			}
		}
	}
	for _, late := range []string{"home_02", "home_10"} {
		for _, other := range []string{"home_01", "home_05", "home_16"} {
			if azimuth[late] <= azimuth[other]+15 {
				t.Errorf("%s should face clearly further west than %s: azimuths %.0f and %.0f", late, other, azimuth[late], azimuth[other])
			}
		}
	}
}
