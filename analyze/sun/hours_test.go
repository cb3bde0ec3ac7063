package sun

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"rowen/ingest"
)

var places = []Place{
	{39.74, -104.98, 1600}, {51.5, -0.13, 30}, {-33.87, 151.21, 20}, {0.5, 103.8, 10},
	{64.13, -21.9, 40}, {69.65, 18.96, 10}, {-54.8, -68.3, 50}, {21.3, -157.86, 5}, {-36.85, 174.76, 40},
}

// spaHour is the plain twin of the table: SPA at 60 moments of the hour, the
// vector averaged over those with the sun's centre above the true horizon.
func spaHour(tab *spaTables, p Place, h ingest.Hour) (east, north, up, lit float64) {
	for s := range 60 {
		unix := float64(h)*3600 + (float64(s)+0.5)*60
		a := tab.at(spaInput{unix, deltaT(unix), p.LatitudeDeg, p.LongitudeDeg, p.ElevationM, PressurePa(p.ElevationM), 12})
		if a.e0 <= 0 {
			continue
		}
		sinE, cosE := math.Sincos(a.e0 * rad)
		sinA, cosA := math.Sincos(a.azimuth * rad)
		east, north, up, lit = east+cosE*sinA, north+cosE*cosA, up+sinE, lit+1
	}
	if lit > 0 {
		east, north, up = east/lit, north/lit, up/lit
	}
	return east, north, up, lit / 60
}

// TestHoursAgainstSPA: the table's hourly means lie within 4e-4 (0.02 degrees)
// of SPA's in hours that are lit throughout, and 3e-3 in hours with sunrise or
// sunset, where 60 moments themselves are coarse.
func TestHoursAgainstSPA(t *testing.T) {
	tab := loadSPA()(t)
	rng := rand.New(rand.NewPCG(1, 2))
	worst, worstEdge := 0.0, 0.0
	for _, p := range places {
		for range 12 {
			start := ingest.HourOf(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)) + ingest.Hour(rng.IntN(10*8766))
			h := NewHours(p, start, 24, SkyModel{})
			for i := range 24 {
				e, n, u, lit := spaHour(tab, p, start+ingest.Hour(i))
				if lit == 0 {
					if h.Up[i] > 2e-3 {
						t.Errorf("%v hour %d: night by SPA, Up %v", p, start+ingest.Hour(i), h.Up[i])
					}
					continue
				}
				off := math.Sqrt(sq(h.East[i]-e) + sq(h.North[i]-n) + sq(h.Up[i]-u))
				share := h.ExtraWm2[i] / Extraterrestrial(float64((start + ingest.Hour(i)).Time().YearDay()))
				if lit == 1 && share == 1 {
					worst = max(worst, off)
				} else {
					near(t, "lit share", share, lit, 0.02)
					if lit > 0.1 {
						worstEdge = max(worstEdge, off)
					}
				}
			}
		}
	}
	t.Logf("worst distance from SPA %.2g, with sunrise or sunset %.2g", worst, worstEdge)
	if worst > 4e-4 || worstEdge > 3e-3 || worst == 0 || worstEdge == 0 {
		t.Errorf("worst distance from SPA %v, with sunrise or sunset %v", worst, worstEdge)
	}
}

func sq(v float64) float64 { return v * v }

// TestHoursAreOfTheHour: an hour has the same values whatever the range.
func TestHoursAreOfTheHour(t *testing.T) {
	for _, p := range places {
		start := ingest.Hour(480_000)
		long := NewHours(p, start, 5000, SkyModel{})
		short := NewHours(p, start+1234, 77, SkyModel{})
		same(t, long.Slice(start+1234, 77), short)
	}
}

func same(t *testing.T, a, b *Hours) {
	t.Helper()
	if a.Start != b.Start || a.N != b.N {
		t.Fatalf("ranges %d+%d and %d+%d", a.Start, a.N, b.Start, b.N)
	}
	ac, bc := a.columns(), b.columns()
	for k := range ac {
		if !slices.EqualFunc(*ac[k], *bc[k], func(x, y float64) bool { return x == y || x != x && y != y }) {
			t.Fatalf("column %d differs", k)
		}
	}
}

// TestHoursHoldTogether: closure of the clear sky, bounds, nights.
func TestHoursHoldTogether(t *testing.T) {
	for _, p := range places {
		h := NewHours(p, 490_000, 8760, SkyModel{})
		lit := 0
		for i := range h.N {
			if !h.Lit(i) {
				if h.East[i] != 0 || h.North[i] != 0 || h.ExtraWm2[i] != 0 || h.ClearGHI[i] != 0 || h.ClearDNI[i] != 0 || h.ClearDHI[i] != 0 || h.AirMass[i] == h.AirMass[i] {
					t.Fatalf("%v: light at night, hour %d", p, i)
				}
				continue
			}
			lit++
			if v := sq(h.East[i]) + sq(h.North[i]) + sq(h.Up[i]); v > 1+1e-9 || v < 0.97 {
				t.Fatalf("%v hour %d: length %v", p, i, math.Sqrt(v))
			}
			if math.Abs(h.ClearGHI[i]-h.ClearDNI[i]*h.Up[i]-h.ClearDHI[i]) > 1e-9 {
				t.Fatalf("%v hour %d: GHI %v, DNI %v Up %v, DHI %v do not close", p, i, h.ClearGHI[i], h.ClearDNI[i], h.Up[i], h.ClearDHI[i])
			}
			if !(h.ClearGHI[i] >= 0 && h.ClearDNI[i] >= 0 && h.ClearDHI[i] >= 0 && h.ClearGHI[i] <= 1.1*h.ExtraWm2[i]*h.Up[i]+5 && h.AirMass[i] >= 0.99 && h.AirMass[i] < 40) {
				t.Fatalf("%v hour %d: clear %v %v %v of %v, air mass %v", p, i, h.ClearGHI[i], h.ClearDNI[i], h.ClearDHI[i], h.ExtraWm2[i], h.AirMass[i])
			}
		}
		// Half of the year is day everywhere on Earth, and hours with sunrise or
		// sunset add some.
		if share := float64(lit) / 8760; share < 0.49 || share > 0.58 {
			t.Errorf("%v: %.3f of the hours are lit", p, share)
		}
	}
}

// TestClearHoursAgainstMinutes: hourly clear skies against the model run by
// the minute, which the table stands in for.
func TestClearHoursAgainstMinutes(t *testing.T) {
	for _, p := range places[:3] {
		start := ingest.HourOf(time.Date(2025, 3, 20, 0, 0, 0, 0, time.UTC))
		h := NewHours(p, start, 72, SkyModel{})
		sky := SkyModel{}.orDefault()
		pressure := PressurePa(p.ElevationM)
		sumTable, sumMinutes := 0.0, 0.0
		for i := range h.N {
			ghi, dni := 0.0, 0.0
			at := start + ingest.Hour(i)
			doy := at.Time().YearDay()
			for s := range 60 {
				z, _ := Position(float64(at)*3600+float64(s)*60+30, p.LatitudeDeg, p.LongitudeDeg)
				if z >= 90 {
					continue
				}
				z = ApparentZenith(z, pressure)
				l := IneichenPerez(z, AirMass(z)*pressure/101325, sky.turbidity(p.LatitudeDeg, doy), p.ElevationM, Extraterrestrial(float64(doy)))
				ghi, dni = ghi+l.GHI/60, dni+l.DNI/60
			}
			near(t, "GHI", h.ClearGHI[i], ghi, 0.01*ghi+2)
			near(t, "DNI", h.ClearDNI[i], dni, 0.03*dni+4)
			sumTable, sumMinutes = sumTable+h.ClearGHI[i], sumMinutes+ghi
		}
		near(t, "three days' GHI", sumTable, sumMinutes, 0.004*sumMinutes)
	}
}

// TestHaurwitzHours: the fallback sky, near the other in clean air, closed too.
func TestHaurwitzHours(t *testing.T) {
	p := Place{40, -105, 0}
	a, b := NewHours(p, 490_000, 24*365, SkyModel{Haurwitz: true}), NewHours(p, 490_000, 24*365, SkyModel{})
	sumA, sumB := 0.0, 0.0
	for i := range a.N {
		sumA, sumB = sumA+a.ClearGHI[i], sumB+b.ClearGHI[i]
		near(t, "closure", a.ClearDNI[i]*a.Up[i]+a.ClearDHI[i], a.ClearGHI[i], 1e-9)
		if a.Up[i] > 0.5 {
			near(t, "Haurwitz", a.ClearGHI[i], Haurwitz(apparentZenithDeg(a, i)), 1e-6*a.ClearGHI[i])
		}
	}
	// "Good to a few percent of GHI in clean mid-latitude air" (methods 2.1).
	near(t, "a year's light", sumA/sumB, 1, 0.05)
}

// TestTurbiditySeasons: the south has its summer in January.
func TestTurbiditySeasons(t *testing.T) {
	s := SkyModel{}.orDefault()
	near(t, "north, mid July", s.turbidity(40, 197), 3.5, 0.02)
	near(t, "south, mid January", s.turbidity(-40, 15), 3.5, 0.02)
	near(t, "south, mid July", s.turbidity(-40, 197), 2.5, 0.02)
	before, after := s.turbidity(40, 365), s.turbidity(40, 1)
	near(t, "new year", before, after, 0.02)
}

// TestEffectiveIsTheParts: light through the glass hour by hour is that of the
// plain models, and a flat plane gets the light on the ground.
func TestEffectiveIsTheParts(t *testing.T) {
	h := NewHours(places[0], 490_000, 24*40, SkyModel{})
	rng := rand.New(rand.NewPCG(3, 4))
	for _, p := range []Plane{{0, 0}, {30, 180}, {45, 90}, {90, 270}, {20, 0}} {
		f := p.Facet()
		for i := range h.N {
			l := ErbsDriesse(h.ClearGHI[i]*rng.Float64(), max(h.Up[i], 1e-9), h.ExtraWm2[i])
			got := f.Effective(h, i, l.GHI, l.DNI, h.Parts(i, l.DNI, l.DHI), 0.2)
			if !h.Lit(i) {
				if got != 0 {
					t.Fatalf("light at night: %v", got)
				}
				continue
			}
			m := f.Moment(h, i)
			beam, sky, ground := Tilted(&f, m, l, 0.2)
			near(t, "effective", got, beam*MartinRuiz(m.CosIncidence, 0.16)+sky*f.SkyIAM+ground*f.GroundIAM, 0.25) // refraction apart
			if p.TiltDeg == 0 {
				near(t, "a flat plane gets GHI", beam+sky+ground, l.GHI, 0.02*l.GHI+0.5)
			}
			if v := f.Effective(h, i, math.NaN(), math.NaN(), h.Parts(i, math.NaN(), math.NaN()), 0.2); v == v {
				t.Fatalf("a missing hour gave %v", v)
			}
		}
	}
}

func TestCacheSharesAndForgets(t *testing.T) {
	c := NewCache(2, SkyModel{})
	a := c.Hours(Place{40.01, -105.01, 1601}, 490_000, 48)
	b := c.Hours(Place{39.99, -104.99, 1612}, 490_000, 48)
	if &a.Up[0] != &b.Up[0] {
		t.Error("two sites nearby do not share a table")
	}
	inner := c.Hours(Place{40, -105, 1600}, 490_010, 5)
	if &inner.Up[0] != &a.Up[10] {
		t.Error("a shorter range was computed again")
	}
	// Growing keeps the values, and what was handed out.
	was := slices.Clone(a.Up)
	wide := c.Hours(Place{40, -105, 1600}, 489_000, 2000)
	same(t, wide, NewHours(Place{40, -105, 1600}, 489_000, 2000, SkyModel{}))
	if !slices.Equal(was, a.Up) {
		t.Error("growing changed a table in use")
	}
	far := c.Hours(Place{40, -105, 1600}, 100_000, 24) // 44 years earlier
	if far.Start != 100_000 || far.N != 24 || cap(far.Up) > 24 {
		t.Errorf("far range: %d + %d", far.Start, far.N)
	}
	c.Hours(Place{10, 10, 0}, 490_000, 24)
	c.Hours(Place{20, 20, math.NaN()}, 490_000, 24)
	if c.order.Len() != 2 || len(c.byKey) != 2 {
		t.Errorf("%d places held, 2 allowed", c.order.Len())
	}
	if _, ok := c.byKey[keyOf(Place{40, -105, 1600})]; ok {
		t.Error("the oldest place was kept")
	}
}

// TestNoSuchPlace: a place that is none gives no light, and no panic.
func TestNoSuchPlace(t *testing.T) {
	c := NewCache(2, SkyModel{})
	for _, p := range []Place{{math.NaN(), 10, 0}, {40, math.Inf(1), 0}, {91, 0, 0}, {40, 10, 1e6}} {
		for _, h := range []*Hours{NewHours(p, 490_000, 24, SkyModel{}), c.Hours(p, 490_000, 24)} {
			f := Plane{30, 180}.Facet()
			for i := range h.N {
				if v := f.Effective(h, i, h.ClearGHI[i], h.ClearDNI[i], h.Parts(i, h.ClearDNI[i], h.ClearDHI[i]), 0.2); v == v || h.Up[i] == h.Up[i] || h.Lit(i) {
					t.Fatalf("%v: light %v, Up %v", p, v, h.Up[i])
				}
			}
		}
	}
}

// TestCacheTogether: many at once get what one alone gets (run with -race).
func TestCacheTogether(t *testing.T) {
	c := NewCache(3, SkyModel{})
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			rng := rand.New(rand.NewPCG(uint64(w), 0))
			for range 40 {
				p := places[rng.IntN(len(places))]
				start, n := ingest.Hour(490_000+rng.IntN(300)), 1+rng.IntN(100)
				got := c.Hours(p, start, n)
				want := NewHours(keyOf(p).place(), start, n, SkyModel{})
				for i := range n {
					if got.Up[i] != want.Up[i] || got.ClearGHI[i] != want.ClearGHI[i] {
						t.Errorf("hour %d differs", i)
						return
					}
				}
			}
		})
	}
	wg.Wait()
}

func TestTypicalTemp(t *testing.T) {
	july := ingest.HourOf(time.Date(2025, 7, 20, 20, 0, 0, 0, time.UTC)) // 13 h by the sun in Denver
	january := ingest.HourOf(time.Date(2025, 1, 20, 20, 0, 0, 0, time.UTC))
	if d := TypicalTempC(39.7, -105, july) - TypicalTempC(39.7, -105, january); d < 15 || d > 30 {
		t.Errorf("July is %v warmer than January in the north", d)
	}
	if d := TypicalTempC(-39.7, 175, july) - TypicalTempC(-39.7, 175, january); d > -15 {
		t.Errorf("July is %v warmer than January in the south", d)
	}
	if TypicalTempC(0, 0, july) < TypicalTempC(60, 0, july) {
		t.Error("the equator is colder than 60 degrees")
	}
	// Warmest at 15 h by the sun: 15 h UTC at Greenwich is the hour 14..15 or 15..16.
	day := ingest.HourOf(time.Date(2025, 5, 5, 0, 0, 0, 0, time.UTC))
	best := ingest.Hour(0)
	for i := range ingest.Hour(24) {
		if TypicalTempC(50, 0, day+i) > TypicalTempC(50, 0, day+best) {
			best = i
		}
	}
	if best != 14 && best != 15 {
		t.Errorf("warmest at %d h", best)
	}
}

func BenchmarkNewHours(b *testing.B) {
	const n = 8760
	for b.Loop() {
		NewHours(places[0], 490_000, n, SkyModel{})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/hour")
}

func BenchmarkEffective(b *testing.B) {
	h := NewHours(places[0], 490_000, 8760, SkyModel{})
	f := Plane{30, 180}.Facet()
	sum := 0.0
	for b.Loop() {
		for i := range h.N {
			sum += f.Effective(h, i, h.ClearGHI[i], h.ClearDNI[i], h.Parts(i, h.ClearDNI[i], h.ClearDHI[i]), 0.2)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(h.N), "ns/hour")
	_ = sum
}

func BenchmarkCacheLookup(b *testing.B) {
	c := NewCache(4, SkyModel{})
	c.Hours(places[0], 490_000, 8760)
	for b.Loop() {
		c.Hours(places[0], 490_000, 8760)
	}
}

func BenchmarkBeamIAM(b *testing.B) {
	var xs [1024]float64
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range xs {
		xs[i] = rng.Float64()
	}
	sum, k := 0.0, 0
	b.Run("table", func(b *testing.B) {
		for b.Loop() {
			sum += beamIAM(xs[k&1023])
			k++
		}
	})
	b.Run("exp", func(b *testing.B) {
		for b.Loop() {
			sum += MartinRuiz(xs[k&1023], DefaultAR)
			k++
		}
	})
	_ = sum
}

func TestAirPath(t *testing.T) {
	for _, pressure := range []float64{101325, 70000} {
		table := newAirPath(pressure)
		for i := range 20_001 {
			up := float64(i) / 20_000
			z := ApparentZenith(math.Acos(up)*deg, pressure)
			cos, am := table.at(up)
			near(t, "cosine", cos, math.Cos(z*rad), 4e-7)
			near(t, "air mass", am, AirMass(z), 4e-5*AirMass(z))
		}
	}
}
