package sky

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/analyze/sun"
	"rowen/ingest"
)

var town = sun.Place{LatitudeDeg: 40.1, LongitudeDeg: -105.1, ElevationM: 1600}

// said makes an estimate that says k(i) in every hour.
func said(id string, n int, k func(i int) float64) Estimate {
	e := Estimate{SiteID: id, Place: town, Start: 480000, KW: make([]uint16, n), Factor: 0.9, Weight: 1}
	for i := range e.KW {
		e.KW[i] = pack(k(i), 1)
	}
	return e
}

func sky(i int) float64 { return 0.3 + 0.7*math.Abs(math.Sin(float64(i))) }

func TestFieldHoldsAgainstAThirdBroken(t *testing.T) {
	const n = 200
	f := NewField(Options{})
	for s := range 15 {
		rnd := rand.New(rand.NewPCG(1, uint64(s)))
		f.Add(said(fmt.Sprintf("site-%d", s), n, func(i int) float64 {
			switch {
			case s < 2:
				return 0 // dead
			case s < 5:
				return 0.5 * sky(i) // half down
			}
			return sky(i) * (1 + 0.02*rnd.NormFloat64())
		}))
	}
	f.Close()
	got := f.At(town, 480000, n, nil)
	if got.Source != FromFleet {
		t.Errorf("source %q, want %q", got.Source, FromFleet)
	}
	for i, k := range got.K {
		if math.Abs(k-sky(i)) > 0.05*sky(i) {
			t.Errorf("hour %d: K %.3f, the ten sound sites say %.3f", i, k, sky(i))
		}
	}
}

func TestFieldOrderOfAddDoesNotMatter(t *testing.T) {
	const n = 50
	var es []Estimate
	for s := range 60 { // three times what a cell keeps
		es = append(es, said(fmt.Sprintf("site-%d", s), n, func(i int) float64 { return float64(s) / 60 }))
	}
	var want Sky
	for try := range 4 {
		rand.New(rand.NewPCG(7, uint64(try))).Shuffle(len(es), func(i, j int) { es[i], es[j] = es[j], es[i] })
		f := NewField(Options{})
		for _, e := range es {
			f.Add(e)
		}
		for _, c := range f.cells {
			if len(c.sites) > Defaults().SitesPerCell {
				t.Fatalf("a cell holds %d sites, at most %d may stay", len(c.sites), Defaults().SitesPerCell)
			}
		}
		f.Close()
		got := f.At(town, 480000, n, nil)
		if try == 0 {
			want = got
		} else if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
			t.Errorf("order %d gives another sky:\n%s", try, d)
		}
	}
}

func TestFieldOfFew(t *testing.T) {
	const n = 10
	own := said("own", n, func(int) float64 { return 0.2 })
	two := func(i int) float64 { return 0.8 }
	cases := []struct {
		name   string
		others int
		self   *Estimate
		k      float64
		source string
		caveat string
	}{
		{"nobody", 0, nil, math.NaN(), FromNone, "no_sky"},
		{"itself alone", 0, &own, 0.2, FromSelf, "sky_from_itself"},
		{"one neighbour, whom nobody can check", 1, &own, 0.2, FromSelf, "sky_from_itself"},
		{"one neighbour and no word of its own", 1, nil, 0.8, FromFleet, "few_neighbours"},
		{"three neighbours", 3, &own, 0.8, FromFleet, "few_neighbours"},
		{"two neighbours, one of them wrong: the middle of three", -2, &own, 0.2, FromFleet, "few_neighbours"},
	}
	for _, c := range cases {
		f := NewField(Options{})
		f.Add(own)
		if c.self == nil {
			f = NewField(Options{})
		}
		for s := range c.others {
			f.Add(said(fmt.Sprintf("n%d", s), n, two))
		}
		if c.others == -2 {
			f.Add(said("n0", n, two))
			f.Add(said("n1", n, func(int) float64 { return 0.1 }))
		}
		f.Close()
		got := f.At(town, 480000, n, c.self)
		if got.Source != c.source || math.Abs(got.K[3]-c.k) > 1e-3 || math.IsNaN(c.k) != math.IsNaN(got.K[3]) {
			t.Errorf("%s: K %.3f from %s, want %.3f from %s", c.name, got.K[3], got.Source, c.k, c.source)
		}
		if len(got.Caveats) == 0 || got.Caveats[0].Code != c.caveat {
			t.Errorf("%s: caveats %v, want %s", c.name, got.Caveats, c.caveat)
		}
	}
}

func TestWeatherReplacesOrFills(t *testing.T) {
	const n = 48
	h := sun.NewHours(town, 480000, n, sun.SkyModel{})
	st := ingest.Station{ID: "w", LatitudeDeg: town.LatitudeDeg, LongitudeDeg: town.LongitudeDeg, Start: 480000, GHIWm2: make([]float64, n)}
	for i := range st.GHIWm2 {
		st.GHIWm2[i] = 0.5 * h.ClearGHI[i]
	}
	noon := slices.Index(h.ClearGHI, slices.Max(h.ClearGHI[:24]))
	hole := noon + 24
	for _, prefer := range []bool{true, false} {
		f := NewField(Options{PreferWeather: prefer})
		f.AddStation(&st, h)
		for s := range 6 {
			f.Add(said(fmt.Sprintf("s%d", s), 24, func(int) float64 { return 0.9 })) // the second day is a hole
		}
		f.Close()
		got := f.At(town, 480000, n, nil)
		want := 0.9
		if prefer {
			want = 0.5
		}
		if math.Abs(got.K[noon]-want) > 1e-3 || math.Abs(got.K[hole]-0.5) > 1e-3 {
			t.Errorf("prefer %v: K %.3f and in the hole %.3f, want %.3f and 0.5", prefer, got.K[noon], got.K[hole], want)
		}
	}
}

// TestMedianOf compares with the plain definition: sort copies by weight.
func TestMedianOf(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	for range 2000 {
		x := make([]uint16, 1+rnd.IntN(20))
		var many []float64
		for i := range x {
			x[i] = pack(rnd.Float64()*1.5, float64(1+rnd.IntN(15))/15)
			k, w := unpack(x[i])
			for range w {
				many = append(many, k)
			}
		}
		sort.Float64s(many)
		m := len(many)
		want := many[m/2]
		if m%2 == 0 {
			want = (many[m/2-1] + many[m/2]) / 2
		}
		k, sd := medianOf(slices.Clone(x))
		if math.Abs(k-want) > 1e-9 {
			t.Fatalf("median %v, want %v of %v", k, want, many)
		}
		if len(x) < 3 {
			continue
		}
		var dist []float64
		for _, v := range many {
			dist = append(dist, math.Abs(v-k))
		}
		sort.Float64s(dist)
		if lo, hi := 1.4826*dist[(m-1)/2], 1.4826*dist[m/2]; sd < lo-1e-9 || sd > hi+1e-9 {
			t.Fatalf("spread %v, want within %v..%v", sd, lo, hi)
		}
	}
}

func TestPackKeepsKAndWeight(t *testing.T) {
	for _, k := range []float64{0, 0.001, 0.5, 1, 1.3, 1.6} {
		for w := 1; w <= 15; w++ {
			gotK, gotW := unpack(pack(k, float64(w)/15))
			if math.Abs(gotK-k) > 0.5/kSteps+1e-12 || gotW != w {
				t.Errorf("K %v weight %d come back as %v and %d", k, w, gotK, gotW)
			}
		}
	}
	if pack(math.NaN(), 1) != 0 || pack(0.5, 0) != 0 {
		t.Error("nothing known must be 0")
	}
}
