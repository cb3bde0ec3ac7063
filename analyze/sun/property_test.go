package sun

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// michalsky is the Almanac's algorithm (Michalsky 1988 with its errata and
// Spencer's azimuth of 1989), an independent witness of Position.
func michalsky(unix, latDeg, lonDeg float64) (zenithDeg, azimuthDeg float64) {
	n := unix/86400 - 10957.5
	l, g := 280.460+0.9856474*n, (357.528+0.9856003*n)*rad
	lambda := (l + 1.915*math.Sin(g) + 0.020*math.Sin(2*g)) * rad
	eps := (23.439 - 0.0000004*n) * rad
	ra := math.Atan2(math.Cos(eps)*math.Sin(lambda), math.Cos(lambda)) * deg
	decl, phi := math.Asin(math.Sin(eps)*math.Sin(lambda)), latDeg*rad
	gmst := mod(6.697375+0.0657098242*n+mod(unix, 86400)/3600, 24)
	ha := math.Remainder(15*gmst+lonDeg-ra, 360) * rad
	el := math.Asin(math.Sin(decl)*math.Sin(phi) + math.Cos(decl)*math.Cos(phi)*math.Cos(ha))
	a0 := math.Asin(clamp(-math.Cos(decl)*math.Sin(ha)/math.Cos(el), -1, 1)) * deg
	if math.Sin(decl)-math.Sin(el)*math.Sin(phi) < 0 {
		a0 = 180 - a0
	}
	return 90 - el*deg, mod(a0, 360)
}

func TestPositionAgainstMichalsky(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unix := float64(rapid.Int64Range(1577836800, 2524608000).Draw(t, "unix")) // 2020 to 2050
		lat, lon := rapid.Float64Range(-89, 89).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")
		z, a := Position(unix, lat, lon)
		zm, am := michalsky(unix, lat, lon)
		cos := math.Cos(z*rad)*math.Cos(zm*rad) + math.Sin(z*rad)*math.Sin(zm*rad)*math.Cos((a-am)*rad)
		// Each is within 0.0124 of SPA by methods 1.1; below the horizon and to
		// 2050 a little is added.
		if off := math.Acos(clamp(cos, -1, 1)) * deg; off > 0.03 {
			t.Fatalf("%v deg apart: %v %v and %v %v", off, z, a, zm, am)
		}
	})
}

// anySky draws a sun and a plane.
func anySky(t *rapid.T) (*Facet, Moment) {
	p := Plane{rapid.Float64Range(0, 60).Draw(t, "tilt"), rapid.Float64Range(0, 360).Draw(t, "azimuth")}
	z := rapid.Float64Range(5, 86).Draw(t, "zenith")
	f := p.Facet()
	return &f, MomentAt(p, z, z, rapid.Float64Range(0, 360).Draw(t, "sun"), rapid.Float64Range(1320, 1415).Draw(t, "extra"))
}

// TestInversionRoundTrip: what InvertPOA answers makes the light that was
// asked for, and inside the gate it is the GHI that made it.
func TestInversionRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, m := anySky(t)
		ghi := rapid.Float64Range(0.02, 0.8).Draw(t, "kt") * m.ExtraWm2 * m.CosZenith
		albedo := rapid.Float64Range(0, 0.3).Draw(t, "albedo")
		glass := MartinRuiz(m.CosIncidence, DefaultAR)
		light := func(ghi float64) (poa, effective float64) {
			b, s, g := Tilted(f, m, ErbsDriesse(ghi, m.CosZenith, m.ExtraWm2), albedo, PerezDriesse)
			return b + s + g, b*glass + s*f.SkyIAM + g*f.GroundIAM
		}
		poa, effective := light(ghi)
		back := InvertPOA(f, m, poa, albedo)
		again, _ := light(back)
		if math.Abs(again-poa) > 0.15 { // 0.01 W/m2 of GHI, tilted and at low sun
			t.Fatalf("GHI %v gives %v, inverted %v, which gives %v", ghi, poa, back, again)
		}
		behind := InvertEffective(f, m, effective, albedo)
		if _, again := light(behind); math.Abs(again-effective) > 0.15 {
			t.Fatalf("effective %v, inverted %v, which gives %v", effective, behind, again)
		}
		// Where the sun is well before the plane the answer is the only one.
		if m.CosIncidence > math.Max(m.CosZenith, 0.5) && math.Abs(back-ghi) > 0.02+1e-4*ghi {
			t.Fatalf("GHI %v came back as %v", ghi, back)
		}
	})
}

// TestInversionByIteration: undoing the glass step by step (methods 5.1 step 4)
// ends where InvertEffective does.
func TestInversionByIteration(t *testing.T) {
	p := Plane{25, 200}
	f := p.Facet()
	m := MomentAt(p, 40, 40, 150, 1350)
	const effective = 640.0
	poa, ghi := effective, 0.0
	for range 30 {
		ghi = InvertPOA(&f, m, poa, 0.2)
		b, s, g := Tilted(&f, m, ErbsDriesse(ghi, m.CosZenith, m.ExtraWm2), 0.2, PerezDriesse)
		poa = effective * (b + s + g) / (b*MartinRuiz(m.CosIncidence, DefaultAR) + s*f.SkyIAM + g*f.GroundIAM)
	}
	near(t, "GHI", InvertEffective(&f, m, effective, 0.2), ghi, 0.03)
}

func TestInversionRefuses(t *testing.T) {
	p := Plane{25, 180}
	f := p.Facet()
	m := MomentAt(p, 40, 40, 180, 1350)
	for _, poa := range []float64{5000, -1, math.NaN()} {
		if v := InvertPOA(&f, m, poa, 0.2); v == v {
			t.Errorf("%v W/m2 gave GHI %v", poa, v)
		}
	}
}

func TestGate(t *testing.T) {
	ok := Moment{CosIncidence: 0.5, CosZenith: 0.5}
	if !Gate(ok, 500, 600) {
		t.Error("a good instant was kept out")
	}
	for name, c := range map[string]struct {
		m          Moment
		ghi, clear float64
	}{
		"sun along the plane": {Moment{CosIncidence: 0.19, CosZenith: 0.5}, 500, 600},
		"sun at the horizon":  {Moment{CosIncidence: 0.5, CosZenith: 0.05}, 50, 60},
		"far above clear":     {ok, 800, 600},
		"no answer":           {ok, math.NaN(), 600},
	} {
		if Gate(c.m, c.ghi, c.clear) {
			t.Errorf("%s was let in", name)
		}
	}
}

// TestEffectiveFromPower: forward and back.
func TestEffectiveFromPower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.Float64Range(0, 1300).Draw(t, "G")
		air := rapid.Float64Range(-30, 45).Draw(t, "air")
		gamma := rapid.SampledFrom([]float64{0, -0.0026, -0.0035, -0.005}).Draw(t, "gamma")
		u := OpenRack.RiseKPerWm2(rapid.Float64Range(0, 10).Draw(t, "wind"))
		p := 0.96 * DCPower(g, air+u*g, 6.4, gamma, 0.92)
		if got := EffectiveFromPower(p, 6.4*0.96*0.92, air, gamma, u); math.Abs(got-g) > 1e-6 {
			t.Fatalf("%v W/m2 came back as %v", g, got)
		}
	})
	if v := EffectiveFromPower(50, 5, 25, -0.0035, 0.04); v == v {
		t.Errorf("ten times the rated power gave %v W/m2", v)
	}
	if v := EffectiveFromPower(math.NaN(), 5, 25, -0.0035, 0.04); v == v {
		t.Errorf("missing power gave %v", v)
	}
}

// TestTranspositionBounds: a flat plane gets GHI from every model; all light is
// finite and not below 0; continuous models do not jump.
func TestTranspositionBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, m := anySky(t)
		l := ErbsDriesse(rapid.Float64Range(0.02, 0.85).Draw(t, "kt")*m.ExtraWm2*m.CosZenith, m.CosZenith, m.ExtraWm2)
		if c := l.GHI - l.DNI*m.CosZenith - l.DHI; math.Abs(c) > 1e-9*(1+l.GHI) {
			t.Fatalf("the split does not close: %v", l)
		}
		for name, model := range transpositions {
			b, s, g := Tilted(f, m, l, 0.2, model)
			if !(b >= 0 && s >= 0 && g >= 0 && b+s+g < 3000) {
				t.Fatalf("%s: %v %v %v", name, b, s, g)
			}
			if v := model(f, m, Light{GHI: math.NaN(), DNI: math.NaN(), DHI: math.NaN()}); v == v {
				t.Fatalf("%s: missing light gave %v", name, v)
			}
			near := Light{GHI: l.GHI, DNI: l.DNI * (1 + 1e-7), DHI: l.DHI}
			if d := math.Abs(model(f, m, near) - s); name != "perez_1990" && d > 1e-3 {
				t.Fatalf("%s jumps by %v", name, d)
			}
		}
		flat := Plane{}.Facet()
		level := m
		level.CosIncidence = m.CosZenith
		for name, model := range transpositions {
			if m.CosZenith < cos85 {
				continue
			}
			b, s, g := Tilted(&flat, level, l, 0.2, model)
			if math.Abs(b+s+g-l.GHI) > 1e-6*(1+l.GHI) {
				t.Fatalf("%s: a flat plane gets %v of %v", name, b+s+g, l.GHI)
			}
		}
	})
}

// TestIAMFalls: every modifier is 1 at the normal, 0 along the glass, and never
// rises on the way.
func TestIAMFalls(t *testing.T) {
	for name, iam := range map[string]func(float64) float64{
		"ashrae":      func(c float64) float64 { return ASHRAE(c, 0.05) },
		"physical":    func(c float64) float64 { return Physical(c, UsualGlass) },
		"martin-ruiz": func(c float64) float64 { return MartinRuiz(c, DefaultAR) },
		"table":       beamIAM,
	} {
		near(t, name+" at the normal", iam(1), 1, 1e-12)
		near(t, name+" along the glass", iam(0), 0, 0)
		near(t, name+" from behind", iam(-0.5), 0, 0)
		last := 0.0
		for i := range 1001 {
			v := iam(float64(i) / 1000)
			if v < last-1e-12 {
				t.Fatalf("%s falls towards the normal at %d", name, i)
			}
			last = v
		}
	}
}

func TestPlaneNormal(t *testing.T) {
	for _, c := range []struct {
		p       Plane
		e, n, u float64
	}{{Plane{0, 123}, 0, 0, 1}, {Plane{90, 180}, 0, -1, 0}, {Plane{90, 90}, 1, 0, 0}, {Plane{30, 270}, -0.5, 0, math.Sqrt(3) / 2}} {
		e, n, u := c.p.Normal()
		near(t, "east", e, c.e, 1e-12)
		near(t, "north", n, c.n, 1e-12)
		near(t, "up", u, c.u, 1e-12)
	}
}

func TestClearDay(t *testing.T) {
	clear := []float64{0, 1, 3, 5, 5, 3, 1, 0} // kW of 6: eight samples, six count
	all := []bool{false, true, true, true, true, true, true, false}
	if !ClearDay(all, clear, 6) {
		t.Error("a clear day is none")
	}
	one := []bool{false, true, true, true, true, true, false, false} // 5 of 6 = 83 %, 2 of 3 after noon
	if ClearDay(one, clear, 6) {
		t.Error("an afternoon of two thirds passed")
	}
	ten := make([]float64, 10)
	for i := range ten {
		ten[i] = 1
	}
	four := []bool{true, true, true, true, false, false, true, true, true, true} // 8 of 10, 4 of 5 in each half
	if !ClearDay(four, ten, 6) {
		t.Error("four fifths did not pass")
	}
	four[0] = false
	if ClearDay(four, ten, 6) {
		t.Error("seven tenths passed")
	}
	if ClearDay(make([]bool, 8), make([]float64, 8), 6) {
		t.Error("a night passed")
	}
}

// TestClearDays: 60 days of which every third is clear, one of them short of
// an hour, and one of half the light with a clear day's shape (snow).
func TestClearDays(t *testing.T) {
	const days = 60
	power, clear := make([]float64, 24*days), make([]float64, 24*days)
	for d := range days {
		for k := range 24 {
			c := 5 * math.Max(0, math.Sin(float64(k-6)/12*math.Pi))
			clear[24*d+k] = c
			power[24*d+k] = 0.95 * c
			if d%3 != 0 && k%2 == d%2 {
				power[24*d+k] *= 0.4
			}
		}
	}
	power[24*9+12] = math.NaN()
	for k := range 24 {
		power[24*30+k] /= 2
	}
	for d, got := range ClearDays(power, clear, 6) {
		if want := d%3 == 0 && d != 9 && d != 30; got != want {
			t.Errorf("day %d: %v, want %v", d, got, want)
		}
	}
}

func TestNinetieth(t *testing.T) {
	// numpy.percentile([1..11], 90) = 10; of two values 1 and 2, 1.9.
	near(t, "eleven", ninetieth([]float64{11, 3, 1, 2, 10, 4, 9, 5, math.NaN(), 8, 6, 7}), 10, 1e-12)
	near(t, "two", ninetieth([]float64{2, 1}), 1.9, 1e-12)
	near(t, "one", ninetieth([]float64{7}), 7, 0)
}

func TestCorrectedPR(t *testing.T) {
	// 2 kW rated, gamma -0.004: at 50 deg C 90 % is right; by hand (1.8+0.9)/(0.9*2 + 1*1).
	pr := CorrectedPR([]float64{1.8, 0.9, math.NaN()}, []float64{1000, 500, 800}, []float64{50, 25, 25}, 2, -0.004)
	near(t, "PR", pr, 2.7/2.8, 1e-12)
}

// TestEachClearLimit: a window of three samples, whose six measures are worked
// out by hand, passes just inside every limit and fails just outside of any.
func TestEachClearLimit(t *testing.T) {
	g, c := []float64{500, 530, 540}, []float64{490, 500, 530} // a minute apart
	// Means 523.333 and 506.667: 16.667 apart. Largest 540 and 530: 10 apart.
	// Lines sqrt(30^2+1) + sqrt(10^2+1) each: 0 apart. Slopes 30 and 10: sd
	// 14.1421, over the mean 0.0270233. Differences 30-10 and 10-30: 20 at most.
	exact := ClearLimits{3, 50.0 / 3, 10, 0, 0, math.Sqrt(200) / (1570.0 / 3), 20}
	const e = 1e-9
	limits := ClearLimits{3, exact.Mean + e, exact.Max + e, -e, e, exact.Variability + e, exact.Slope + e}
	if !clearWindow(g, c, 1, 1, limits) {
		t.Fatal("just inside all limits, and not clear")
	}
	for name, tighten := range map[string]func(*ClearLimits){
		"mean":        func(l *ClearLimits) { l.Mean -= 2 * e },
		"max":         func(l *ClearLimits) { l.Max -= 2 * e },
		"line low":    func(l *ClearLimits) { l.LineLow += 2 * e },
		"line high":   func(l *ClearLimits) { l.LineHigh -= 2 * e },
		"variability": func(l *ClearLimits) { l.Variability -= 2 * e },
		"slope":       func(l *ClearLimits) { l.Slope -= 2 * e },
	} {
		l := limits
		tighten(&l)
		if clearWindow(g, c, 1, 1, l) {
			t.Errorf("%s: just outside, and clear", name)
		}
	}
	wide := ClearLimits{3, 1e9, 1e9, -1e9, 1e9, 1e9, 1e9}
	if clearWindow(g, []float64{0, 0, 0}, 1, 1, wide) {
		t.Error("a night is clear")
	}
	if clearWindow([]float64{500, math.NaN(), 540}, c, 1, 1, wide) {
		t.Error("a window with a missing sample is clear")
	}
}

func TestFacetCosIncidence(t *testing.T) {
	h := NewHours(Place{40, -105, 1600}, 490_000, 48, SkyModel{})
	f := Plane{60, 100}.Facet()
	front, behind := 0, 0
	for i := range h.N {
		m := f.Moment(h, i)
		near(t, "cosine", f.CosIncidence(h, i), math.Max(0, m.CosIncidence), 0)
		if m.CosIncidence > 0 {
			front++
		} else if h.Lit(i) {
			behind++
		}
	}
	if front == 0 || behind == 0 {
		t.Fatalf("%d hours before the plane, %d behind", front, behind)
	}
}
