package quality

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// elevation is the sun's, by Michalsky 1988 (methods.md section 1.3): another
// algorithm than the checks use.
func elevation(unix, latDeg, lonDeg float64) float64 {
	const rad = math.Pi / 180
	n := unix/86400 + 2440587.5 - 2451545
	h := math.Mod(unix, 86400) / 3600
	l := 280.460 + 0.9856474*n
	g := (357.528 + 0.9856003*n) * rad
	lambda := (l + 1.915*math.Sin(g) + 0.020*math.Sin(2*g)) * rad
	eps := (23.439 - 0.0000004*n) * rad
	ra := math.Atan2(math.Cos(eps)*math.Sin(lambda), math.Cos(lambda)) / rad
	delta := math.Asin(math.Sin(eps) * math.Sin(lambda))
	gmst := math.Mod(6.697375+0.0657098242*math.Floor(n+0.5)+0.0657098242*(h/24-0.5)+h, 24)
	ha := (15*gmst + lonDeg - ra) * rad
	phi := latDeg * rad
	return math.Asin(math.Sin(delta)*math.Sin(phi)+math.Cos(delta)*math.Cos(phi)*math.Cos(ha)) / rad
}

const (
	lat, lon = 39.74, -104.99
	rated    = 5000.0
	testDays = 200 // over the clock change of November
)

var start = ingest.HourOf(time.Date(2025, 7, 1, 6, 0, 0, 0, time.UTC))

func denver(t testing.TB) Site {
	t.Helper()
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	return Site{LatitudeDeg: lat, LongitudeDeg: lon, Location: loc, RatedACWatts: rated, RatedDCWatts: 1.2 * rated}
}

// home makes a clean site of 200 days: an array of 5 kW under changing skies, a
// household with mornings and evenings, and the grid between them.
func home() *ingest.Series {
	r := rand.New(rand.NewPCG(5, 6))
	n := testDays * 24
	s := &ingest.Series{SiteID: "A", Start: start, StepMinutes: 60}
	for c := range s.Wh {
		s.Wh[c] = make([]float64, n)
	}
	cloud := 1.0
	for h := range n {
		unix := float64(int64(start)+int64(h)) * 3600
		if h%24 == 0 {
			cloud = 0.3 + 0.7*r.Float64()
		}
		light := 0.0
		for k := range 12 {
			light += math.Max(0, math.Sin(elevation(unix+300*float64(k)+150, lat, lon)*math.Pi/180)) / 12
		}
		p := math.Round(rated * 0.95 * light * cloud * (0.9 + 0.1*r.Float64()))
		clock := float64((h + 24 - 7 + 6) % 24)
		use := math.Round(300 + 250*r.Float64() + 900*math.Exp(-(clock-19)*(clock-19)/6) + 300*math.Exp(-(clock-7)*(clock-7)/3))
		s.Wh[ingest.Production][h] = p
		s.Wh[ingest.Consumption][h] = use
		s.Wh[ingest.Import][h] = math.Max(0, use-p)
		s.Wh[ingest.Export][h] = math.Max(0, p-use)
	}
	return s
}

func shift(v []float64, hours int) []float64 {
	out := make([]float64, len(v))
	for i := range out {
		out[i] = v[min(max(i-hours, 0), len(v)-1)]
	}
	return out
}

func times(v []float64, f float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] * f
	}
	return out
}

// Each fault put into the clean home is found under its code, on its channel,
// with its consequence; and nothing else is refused for it.
func TestFaults(t *testing.T) {
	const (
		p  = ingest.Production
		u  = ingest.Consumption
		in = ingest.Import
		ex = ingest.Export
	)
	site := denver(t)
	for _, c := range []struct {
		name    string
		do      func(s *ingest.Series, site *Site)
		code    string
		channel ingest.Channel
		refuse  bool
		says    string
	}{
		{"gap", func(s *ingest.Series, _ *Site) {
			for h := 1000; h < 1030; h++ {
				s.Wh[u][h] = math.NaN()
			}
		}, "gap", u, false, "30 of 4800 hours"},
		{"sign", func(s *ingest.Series, _ *Site) { s.Wh[p] = times(s.Wh[p], -1) }, "wrong_sign", p, true, "sign: -1"},
		{"some negative use", func(s *ingest.Series, _ *Site) {
			for h := 100; h < 140; h++ {
				s.Wh[u][h] = -400
			}
		}, "wrong_sign", u, false, "40 of 4800"},
		{"mean power for energy of 15 minutes", func(s *ingest.Series, _ *Site) { s.StepMinutes = 15; s.Wh[p] = times(s.Wh[p], 4) }, "unit", p, true, "quantity: power"},
		{"Wh for kWh", func(s *ingest.Series, _ *Site) { s.Wh[p] = times(s.Wh[p], 1000) }, "unit", p, true, "Wh taken for kWh"},
		{"kWh for Wh", func(s *ingest.Series, _ *Site) { s.Wh[p] = times(s.Wh[p], 0.001) }, "unit", p, true, "kWh taken for Wh"},
		{"use in Wh for kWh", func(s *ingest.Series, _ *Site) {
			s.Wh[in], s.Wh[ex] = nil, nil
			s.Wh[u] = times(s.Wh[u], 1000)
		}, "unit", u, false, "Wh may have been taken for kWh"},
		{"use in kWh for Wh", func(s *ingest.Series, _ *Site) {
			s.Wh[in], s.Wh[ex] = nil, nil
			s.Wh[u] = times(s.Wh[u], 0.001)
		}, "unit", u, false, "kWh may have been taken for Wh"},
		{"impossible", func(s *ingest.Series, _ *Site) { s.Wh[p][500] = 7000 }, "impossible", p, false, "up to 7.0 kW"},
		{"stuck", func(s *ingest.Series, _ *Site) {
			for h := 19; h < testDays*24; h += 24 * 20 {
				for k := range 4 { // the morning's reading until noon
					s.Wh[p][h-3+k] = s.Wh[p][h-4]
				}
			}
		}, "stuck", p, false, "10 times"},
		{"dead", func(s *ingest.Series, _ *Site) {
			for h := 1000; h < 1200; h++ {
				s.Wh[u][h] = 0
			}
		}, "dead", u, false, "for 200 hours"},
		{"spike", func(s *ingest.Series, _ *Site) { s.Wh[u][700] = 90e3 }, "spike", u, false, "up to 90 kWh"},
		{"night production", func(s *ingest.Series, _ *Site) {
			for h := 2; h < testDays*24; h += 24 {
				s.Wh[p][h] = 200
			}
		}, "night_production", p, false, "in 200 hours"},
		{"twelve hours off", func(s *ingest.Series, _ *Site) { s.Wh[p] = shift(s.Wh[p], 12) }, "night_production", p, true, ""},
		{"an hour late, or stamps at the end", func(s *ingest.Series, _ *Site) { s.Wh[p] = shift(s.Wh[p], 1) }, "clock_shifted", p, false, "late"},
		{"an hour early", func(s *ingest.Series, _ *Site) { s.Wh[p] = shift(s.Wh[p], -1) }, "clock_shifted", p, false, "early"},
		{"five hours off: a zone", func(s *ingest.Series, _ *Site) { s.Wh[p] = shift(s.Wh[p], -5) }, "clock_shifted", p, true, "zone"},
		{"civil time read as one offset", func(s *ingest.Series, _ *Site) {
			// Summer time ends on 2025-11-02 at 08:00 UTC; before it the
			// civil clock is an hour ahead.
			end := int(ingest.HourOf(time.Date(2025, 11, 2, 8, 0, 0, 0, time.UTC)) - s.Start)
			late := shift(s.Wh[p], 1)
			copy(s.Wh[p][:end], late[:end])
		}, "clock_changes", p, false, "go with summer time"},
		{"standard time read as civil", func(s *ingest.Series, _ *Site) {
			end := int(ingest.HourOf(time.Date(2025, 11, 2, 8, 0, 0, 0, time.UTC)) - s.Start)
			early := shift(s.Wh[p], -1)
			copy(s.Wh[p][:end], early[:end])
		}, "clock_changes", p, false, "standard time all year"},
		{"consumption is the production meter", func(s *ingest.Series, _ *Site) { s.Wh[u] = times(s.Wh[p], 1.01) }, "consumption_is_production", u, true, "production or export meter"},
		{"consumption is the net meter", func(s *ingest.Series, _ *Site) {
			for h := range s.Wh[u] {
				s.Wh[u][h] -= s.Wh[p][h]
			}
		}, "consumption_is_net", u, true, "net meter"},
		{"import and export swapped", func(s *ingest.Series, _ *Site) { s.Wh[in], s.Wh[ex] = s.Wh[ex], s.Wh[in] }, "import_export_swapped", in, true, "swapped"},
		{"a load that the meter misses", func(s *ingest.Series, _ *Site) { s.Wh[u] = times(s.Wh[u], 0.9) }, "balance", u, false, "200 of 200 days"},
		{"channels that do not belong together", func(s *ingest.Series, _ *Site) { s.Wh[u] = times(s.Wh[u], 2) }, "balance", u, true, ""},
		{"derived consumption below nothing", func(s *ingest.Series, _ *Site) { s.Wh[u] = nil; s.Wh[ex][2000] += 5000 }, "derived_negative", ingest.NumChannels, false, "in 1 hours"},
		{"daily sums", func(s *ingest.Series, _ *Site) { s.StepMinutes = 1440 }, "daily_only", ingest.NumChannels, false, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, place := home(), site
			c.do(s, &place)
			found := Check(s, place)
			i := slices.IndexFunc(found, func(q ingest.Quality) bool { return q.Code == c.code && q.Channel == c.channel })
			if i < 0 {
				t.Fatalf("not found: %+v", found)
			}
			q := found[i]
			if (q.Consequence == ingest.RefuseChannel) != c.refuse || !strings.Contains(q.Says, c.says) || q.Hours <= 0 || q.To <= q.From {
				t.Errorf("%+v", q)
			}
			for _, other := range found {
				if other.Consequence == ingest.RefuseChannel && !c.refuse {
					t.Errorf("refused beside it: %+v", other)
				}
			}
		})
	}
}

// A clean home has no findings; nor has one whose array looks east or west, one
// without a known place, and one with nothing at all.
func TestCleanHomes(t *testing.T) {
	site := denver(t)
	if found := Check(home(), site); len(found) > 0 {
		t.Errorf("clean: %+v", found)
	}
	for _, hours := range []float64{-3, 3} {
		s := home()
		for h := range s.Wh[ingest.Production] {
			unix := float64(int64(s.Start)+int64(h))*3600 + 1800
			// A plane that looks to one side has its peak there, but still
			// sees some light all day.
			around := math.Mod(unix/3600+lon/15+48-12+12, 24) - 12
			p := s.Wh[ingest.Production][h]
			s.Wh[ingest.Production][h] = p * (0.15 + 0.85*math.Exp(-(around-hours)*(around-hours)/18))
		}
		s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
		if found := Check(s, site); len(found) > 0 {
			t.Errorf("%+g h: %+v", hours, found)
		}
	}
	nowhere := Site{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}
	if found := Check(home(), nowhere); len(found) > 0 {
		t.Errorf("nowhere: %+v", found)
	}
	if found := Check(&ingest.Series{}, site); len(found) > 0 {
		t.Errorf("nothing: %+v", found)
	}
}

// The checks change nothing.
func TestNoValueChanges(t *testing.T) {
	s, want := home(), home()
	Check(s, denver(t))
	for c := range s.Wh {
		if !slices.Equal(s.Wh[c], want.Wh[c]) {
			t.Errorf("%s changed", ingest.Channel(c))
		}
	}
}

// Night by the quick formula is night by the other algorithm: never where the
// sun's rim, lifted by refraction, is above the horizon (-0.83 degrees).
func TestNight(t *testing.T) {
	for _, place := range [][2]float64{{lat, lon}, {-33.9, 151.2}, {0.5, -78}, {58, 12}, {69.6, 18.9}} {
		from := ingest.HourOf(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))
		days := newSunDays(place[0], place[1], from, 8760)
		nights, dark := 0, 0
		for h := range 8760 {
			top := -90.0
			for k := range 7 {
				top = math.Max(top, elevation(float64(int64(from)+int64(h))*3600+600*float64(k), place[0], place[1]))
			}
			if top < -10 {
				dark++
			}
			if days.night(h) {
				nights++
				if top > -0.83 {
					t.Fatalf("%v: hour %d is called night with the sun at %.1f", place, h, top)
				}
			}
		}
		if float64(nights) < 0.8*float64(dark) {
			t.Errorf("%v: only %d hours are called night of %d dark ones", place, nights, dark)
		}
	}
}

// Every rule is named once and says what it looks for.
func TestRules(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range rules {
		if seen[r.code] || r.what == "" {
			t.Errorf("rule %q: %q", r.code, r.what)
		}
		seen[r.code] = true
	}
}

func BenchmarkCheck(b *testing.B) {
	s, site := home(), denver(b)
	for b.Loop() {
		Check(s, site)
	}
}

// Three readings that no meter can have seen go, everything else stays, and a
// household that often draws much keeps its hours.
func TestLeaveOut(t *testing.T) {
	const hours = 24 * 60
	s := &ingest.Series{StepMinutes: 15, Fine: &ingest.Fine{StepMinutes: 15}}
	for _, k := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		s.Wh[k] = make([]float64, hours)
		s.Fine.Wh[k] = make([]float32, 4*hours)
		for h := range hours {
			s.Wh[k][h] = 500 + float64((h*37)%400)
			for i := range 4 {
				s.Fine.Wh[k][4*h+i] = float32(s.Wh[k][h] / 4)
			}
		}
	}
	before := append([]float64{}, s.Wh[ingest.Consumption]...)
	stray := []int{100, 555, 900}
	for _, h := range stray {
		for _, k := range []ingest.Channel{ingest.Production, ingest.Consumption} {
			s.Wh[k][h], s.Fine.Wh[k][4*h] = 4194303, 4194303
		}
	}
	found := Check(s, Site{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN(), RatedACWatts: 3000})
	Apply(s, found)
	for _, k := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		gone := 0
		for h, x := range s.Wh[k] {
			if math.IsNaN(x) {
				gone++
				for i := range 4 {
					if !math.IsNaN(float64(s.Fine.Wh[k][4*h+i])) {
						t.Errorf("%s: the quarter hours of hour %d are still there", k, h)
					}
				}
			} else if k == ingest.Consumption && x != before[h] {
				t.Errorf("hour %d changed from %g to %g", h, before[h], x)
			}
		}
		if gone != len(stray) {
			t.Errorf("%s: %d hours are gone, %d were impossible", k, gone, len(stray))
		}
	}
	for h := 0; h < hours; h += 20 { // a charger of 22 kW every day is no stray reading
		s.Wh[ingest.Consumption][h] = 22000
	}
	Apply(s, Check(s, Site{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}))
	if s.Wh[ingest.Consumption][20] != 22000 {
		t.Error("a daily load was left out")
	}
}

// A stray reading by night is left out; it does not cost the channel.
func TestAStrayReadingByNightCostsNoChannel(t *testing.T) {
	s := &ingest.Series{StepMinutes: 60, Start: ingest.HourOf(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC))}
	s.Wh[ingest.Production] = make([]float64, 24*120)
	for h := range s.Wh[ingest.Production] { // at 0° east: day from about 8 to 16
		if hour := h % 24; hour >= 9 && hour < 15 {
			s.Wh[ingest.Production][h] = 900 + float64((h*31)%300)
		}
	}
	s.Wh[ingest.Production][24*40+1] = 4194303
	found := Check(s, Site{LatitudeDeg: 45, LongitudeDeg: 0, Location: time.UTC, RatedACWatts: 3000})
	left := false
	for _, q := range found {
		left = left || q.Consequence == ingest.LeaveHoursOut
		if q.Consequence == ingest.RefuseChannel || q.Code == "night_production" {
			t.Errorf("%s: %s", q.Code, q.Says)
		}
	}
	if !left || s.Wh[ingest.Production][24*40+1] != 4194303 {
		t.Error("the hour must be found, and Check must change nothing")
	}
}
