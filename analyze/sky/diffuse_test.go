package sky

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// An array's own K under light that is more diffuse than usual is K (1 + x lean), to
// first order: the lean against an inversion.
func TestLeanAgainstInversion(t *testing.T) {
	h := sun.NewHours(town, 490000, 8760, sun.SkyModel{})
	rapid.Check(t, func(t *rapid.T) {
		m := NewModel(roof(rapid.Float64Range(0, 45).Draw(t, "tilt"), rapid.Float64Range(0, 360).Draw(t, "azimuth")), &ingest.Catalogue{}, h, nil)
		i := rapid.IntRange(0, 8759).Draw(t, "hour")
		k := rapid.Float64Range(0.2, 0.95).Draw(t, "K")
		if h.Up[i] < 0.2 || m.Facing(h, i) < gateFacing || m.Facing(h, i) < gateToFlat*h.Up[i] {
			t.Skip("more than one K may make as much")
		}
		x := 0.03
		if k < 0.5 {
			x = -0.03
		}
		own := m.Invert(h, i, m.Under(h, i, k, x, 20, 0.9), 20, 0.9)
		lean := m.leanOf(h, i, k, 20, 0.9)
		if got, want := (own/k-1)/x, lean; math.Abs(got-want) > 0.15+0.3*math.Abs(want) {
			t.Fatalf("hour %d, K %.2f: K off by %.3f of x, the lean is %.3f", i, k, got, want)
		}
	})
}

// Beam and diffuse light add up to the light on the ground, whatever their parts.
func TestLightAddsUp(t *testing.T) {
	h := sun.NewHours(town, 490000, 8760, sun.SkyModel{})
	for i := 12; i < h.N; i += 37 {
		if h.Up[i] < 0.1 {
			continue
		}
		for _, x := range []float64{-0.5, -0.1, 0, 0.1, 0.5} {
			l := light(h, i, 0.6, x)
			closeTo(t, "beam and diffuse", l.DNI*h.Up[i]+l.DHI, 0.6*h.ClearGHI[i], 1e-9)
			if l.DHI < 0.03*l.GHI-1e-9 || l.DNI < 0 {
				t.Errorf("hour %d, x %v: %+v", i, x, l)
			}
		}
		if usual := light(h, i, 0.6, 0); usual.DHI < 0.85*usual.GHI {
			closeTo(t, "a tenth more of it diffuse", light(h, i, 0.6, 0.1).DHI, usual.DHI+0.1*usual.GHI, 1e-9)
		}
	}
}

// Five arrays at leans of -1, -0.5, 0, 0.5 and 1 part around K = 0.8 as x = 0.1 says, one
// is sick: K of lean 0 and x come back.
func TestPartingByHand(t *testing.T) {
	c := &cell{start: 100}
	for s, lean := range []float64{-1, -0.5, 0, 0.5, 1, 0.2} {
		own := 0.8 * (1 + 0.1*lean)
		if s == 5 {
			own = 0.3
		}
		c.sites = append(c.sites, Estimate{SiteID: fmt.Sprint(s), Start: 100, KW: []uint16{pack(own, 1)}, Told: []Told{told(lean, own, own)}})
	}
	p := c.part(100, "", 0.8, 0.01)
	closeTo(t, "x", p.more, 0.1, 0.01)
	closeTo(t, "K of no lean", 0.8*(1+p.off-p.more*p.lean), 0.8, 0.01)
	if packed := p.packed().unpacked(); math.Abs(packed.more-p.more) > 0.003 || math.Abs(packed.off-p.off) > 0.003 || math.Abs(packed.lean-p.lean) > 0.02 || math.Abs(packed.sure/p.sure-1) > 0.05 {
		t.Errorf("%+v comes back as %+v", p, packed)
	}
	if two := (&cell{start: 100, sites: c.sites[:2]}).part(100, "", 0.8, 0.1); two.sure != 0 || !two.known {
		t.Errorf("two arrays tell %+v", two)
	}
	if none := c.part(101, "", 0.8, 0.1); none.known {
		t.Errorf("nobody tells %+v", none)
	}
	if p := (Parting{Sure: -1}).unpacked(); p.known {
		t.Error("nothing comes back as something")
	}
	if got := told(0.5, 2, 0.5); got.Lean != leanUnknown {
		t.Errorf("what does not fit is packed as %+v", got)
	}
}

// madeElsewhere is what a reference library makes of Golden's light on planes of its
// own models, see scripts/crosscheck/arrays.py.
type madeElsewhere struct {
	start  ingest.Hour
	hours  int
	planes []sun.Plane
	isNew  []bool
	wh     [][]float64
}

func readArrays(t *testing.T) (out madeElsewhere) {
	t.Helper()
	f, err := os.Open("../../testdata/sky/arrays.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	hour := func(row []string) ingest.Hour {
		at, err := time.Parse("2006-01-02T15:04Z", row[0])
		if err != nil {
			t.Fatal(err)
		}
		return ingest.HourOf(at)
	}
	out.start = hour(rows[1]) / 24 * 24
	out.hours = int(hour(rows[len(rows)-1])-out.start)/24*24 + 24
	for j, name := range rows[0][1:] {
		parts := strings.Split(name, "_")
		tilt, _ := strconv.ParseFloat(parts[1], 64)
		azimuth, _ := strconv.ParseFloat(parts[2], 64)
		wh := make([]float64, out.hours)
		for _, row := range rows[1:] {
			wh[hour(row)-out.start], _ = strconv.ParseFloat(row[j+1], 64)
		}
		out.planes, out.isNew, out.wh = append(out.planes, sun.Plane{TiltDeg: tilt, AzimuthDeg: azimuth}), append(out.isNew, parts[0] == "new"), append(out.wh, wh)
	}
	return out
}

// foothills is where the arrays stand.
var foothills = sun.Place{LatitudeDeg: 39.742, LongitudeDeg: -105.179, ElevationM: 1829}

// field is the sky of the first arrays of those made elsewhere.
func (made *madeElsewhere) field(t *testing.T, arrays int) (*Field, *sun.Hours) {
	t.Helper()
	h := sun.NewHours(foothills, made.start, made.hours, sun.SkyModel{})
	warm := make([]float64, h.N)
	for i := range warm {
		warm[i] = 15
	}
	f := NewField(Options{})
	for j, p := range made.planes[:arrays] {
		site := roof(p.TiltDeg, p.AzimuthDeg)
		site.ID, site.Arrays[0].ModuleWatts = fmt.Sprint(p), 500
		site.LatitudeDeg, site.LongitudeDeg, site.ElevationM = foothills.LatitudeDeg, foothills.LongitudeDeg, foothills.ElevationM
		s := &ingest.Series{SiteID: site.ID, Start: h.Start, StepMinutes: 60}
		s.Wh[ingest.Production] = made.wh[j]
		e, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h, TempC: warm})
		if err != nil {
			t.Fatal(err)
		}
		f.Add(e)
	}
	f.Close()
	return f, h
}

// A field that was written down and read again tells the same sky, of few arrays, whose
// hours are worked out when they are asked for, and of many.
func TestFieldOfAPart(t *testing.T) {
	made := readArrays(t)
	for _, arrays := range []int{4, 14} {
		f, h := made.field(t, arrays)
		again := FromPart(Options{}, f.Part())
		if d := cmp.Diff(f.At(foothills, h.Start, h.N, nil), again.At(foothills, h.Start, h.N, nil), cmpopts.EquateNaNs()); d != "" {
			t.Errorf("%d arrays: %.500s", arrays, d)
		}
	}
}

// Fourteen arrays in real light tell its beam and diffuse parts well enough that
// the output of a plane that none of them shares comes nearer, by hour and in sum; the
// level of the first new plane is taken for all of them.
func TestPlaneInRealLight(t *testing.T) {
	made := readArrays(t)
	f, h := made.field(t, 14)
	over := f.At(foothills, h.Start, h.N, nil)
	// sum and misses are of one number an hour and of two
	var worst, misses, level [2]float64
	for j, p := range made.planes {
		if !made.isNew[j] {
			continue
		}
		u := NewUnit(p, h, ingest.Module{Watts: 5000}, ingest.Inverter{}, math.Inf(1), math.NaN())
		for way := range 2 {
			sum, due, miss := 0.0, 0.0, 0.0
			for i, k := range over.K {
				if k == k {
					got := u.Under(h, i, k, float64(way)*over.Diffuse[i], 15, f.typical.Value)
					sum, due, miss = sum+got, due+made.wh[j][i], miss+math.Abs(got-made.wh[j][i])
				}
			}
			if level[way] == 0 {
				level[way] = sum / due
			}
			off := sum/due/level[way] - 1
			worst[way], misses[way] = max(worst[way], math.Abs(off)), misses[way]+miss/due/5
			t.Logf("%v, %d numbers an hour: %+.2f %%, hours off by %.1f %%", p, way+1, 100*off, 100*miss/due)
		}
	}
	if misses[1] > 0.75*misses[0] {
		t.Errorf("two numbers miss the hours by %.1f %%, one by %.1f %%", 100*misses[1], 100*misses[0])
	}
	if worst[1] > 0.75*worst[0] || worst[1] > 0.02 {
		t.Errorf("two numbers miss a plane's sum by %.2f %%, one by %.2f %%", 100*worst[1], 100*worst[0])
	}
}
