package sky

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/scripts/outside"
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

// elsewhere is an array whose output a reference library made of real light by models of
// its own.
type elsewhere struct {
	plane sun.Plane
	wh    []float64
}

var (
	arraysElsewhere = []sun.Plane{{TiltDeg: 25, AzimuthDeg: 180}, {TiltDeg: 30, AzimuthDeg: 170}, {TiltDeg: 20, AzimuthDeg: 195}, {TiltDeg: 30, AzimuthDeg: 135}, {TiltDeg: 25, AzimuthDeg: 225}, {TiltDeg: 35, AzimuthDeg: 160}, {TiltDeg: 25, AzimuthDeg: 100},
		{TiltDeg: 25, AzimuthDeg: 265}, {TiltDeg: 18, AzimuthDeg: 180}, {TiltDeg: 22, AzimuthDeg: 150}, {TiltDeg: 20, AzimuthDeg: 90}, {TiltDeg: 25, AzimuthDeg: 280}, {TiltDeg: 15, AzimuthDeg: 20}, {TiltDeg: 22, AzimuthDeg: 240}}
	newElsewhere = []sun.Plane{{TiltDeg: 25, AzimuthDeg: 180}, {TiltDeg: 25, AzimuthDeg: 90}, {TiltDeg: 25, AzimuthDeg: 270}, {TiltDeg: 25, AzimuthDeg: 0}, {TiltDeg: 35, AzimuthDeg: 315}}
)

// madeElsewhere reads the arrays, or the new modules, and the sun over their hours.
func madeElsewhere(t *testing.T, kind string, planes []sun.Plane) (out []elsewhere, h *sun.Hours) {
	t.Helper()
	rows := outside.Rows(t, "15_arrays.csv")
	hour := func(r outside.Row) ingest.Hour {
		at, err := time.Parse("2006-01-02T15:04Z", r["utc"])
		if err != nil {
			t.Fatal(err)
		}
		return ingest.HourOf(at)
	}
	start := hour(rows[0]) / 24 * 24
	h = sun.NewHours(foothills, start, int(hour(rows[len(rows)-1])-start)/24*24+24, sun.SkyModel{})
	for _, p := range planes {
		x := elsewhere{p, make([]float64, h.N)}
		for _, r := range rows {
			x.wh[hour(r)-start] = r.Num(t, fmt.Sprintf("%s_%.0f_%.0f", kind, p.TiltDeg, p.AzimuthDeg))
		}
		out = append(out, x)
	}
	return out, h
}

// foothills is where the arrays stand.
var foothills = sun.Place{LatitudeDeg: 39.742, LongitudeDeg: -105.179, ElevationM: 1829}

// skyOf is the field of the first arrays made elsewhere; mute: none says how it leans, so
// that one number an hour is all there is.
func skyOf(t *testing.T, arrays int, mute bool) (*Field, *sun.Hours) {
	t.Helper()
	made, h := madeElsewhere(t, "array", arraysElsewhere[:arrays])
	f := NewField(Options{})
	for _, x := range made {
		site := roof(x.plane.TiltDeg, x.plane.AzimuthDeg)
		site.ID, site.Arrays[0].ModuleWatts = fmt.Sprint(x.plane), 500
		site.LatitudeDeg, site.LongitudeDeg, site.ElevationM = foothills.LatitudeDeg, foothills.LongitudeDeg, foothills.ElevationM
		s := &ingest.Series{SiteID: site.ID, Start: h.Start, StepMinutes: 60}
		s.Wh[ingest.Production] = x.wh
		e, err := FromSite(Input{Site: site, Catalogue: &ingest.Catalogue{}, Series: s, Calendar: ingest.NewCalendar(site.Location, h.Start, h.N), Sun: h, TempC: slices.Repeat([]float64{15}, h.N)})
		if err != nil {
			t.Fatal(err)
		}
		if mute {
			e.Told = nil
		}
		f.Add(e)
	}
	f.Close()
	return f, h
}

// A field that was written down and read again tells the same sky, of few arrays, whose
// hours are worked out when they are asked for, and of many.
func TestFieldOfAPart(t *testing.T) {
	for _, arrays := range []int{4, 14} {
		f, h := skyOf(t, arrays, false)
		again := FromPart(Options{}, f.Part())
		if d := cmp.Diff(f.At(foothills, h.Start, h.N, nil), again.At(foothills, h.Start, h.N, nil), cmpopts.EquateNaNs()); d != "" {
			t.Errorf("%d arrays: %.500s", arrays, d)
		}
	}
}

// missed is by how much the sum of each new module's hours is off, the first one's level
// taken for all, and by how much its hours are.
func missed(t *testing.T, mute bool) (sums, hours []float64) {
	f, h := skyOf(t, len(arraysElsewhere), mute)
	over, level := f.At(foothills, h.Start, h.N, nil), 0.0
	made, _ := madeElsewhere(t, "new", newElsewhere)
	for _, x := range made {
		u := NewUnit(x.plane, h, ingest.Module{Watts: 5000}, ingest.Inverter{}, math.Inf(1), math.NaN())
		sum, due, miss := 0.0, 0.0, 0.0
		for i, k := range over.K {
			if k == k {
				got := u.Under(h, i, k, over.More(i), 15, f.typical.Value)
				sum, due, miss = sum+got, due+x.wh[i], miss+math.Abs(got-x.wh[i])
			}
		}
		if level == 0 {
			level = sum / due
		}
		sums, hours = append(sums, 100*(sum/due/level-1)), append(hours, 100*miss/due)
	}
	return sums, hours
}

// Fourteen arrays in real light tell its beam and diffuse parts well enough that
// the output of planes that none of them shares comes nearer, by hour and in sum.
func TestPlaneInRealLight(t *testing.T) {
	oneSums, oneHours := missed(t, true)
	sums, hours := missed(t, false)
	worst, before := 0.0, 0.0
	for i := range sums {
		t.Logf("%v: %+.2f %%, hours off by %.1f %%; with one number an hour %+.2f and %.1f", newElsewhere[i], sums[i], hours[i], oneSums[i], oneHours[i])
		worst, before = max(worst, math.Abs(sums[i])), max(before, math.Abs(oneSums[i]))
		if hours[i] > 0.9*oneHours[i] {
			t.Errorf("%v: two numbers miss the hours by %.1f %%, one by %.1f", newElsewhere[i], hours[i], oneHours[i])
		}
	}
	if worst > before || worst > 1 {
		t.Errorf("two numbers miss a plane's sum by %.2f %%, one by %.2f", worst, before)
	}
}
