package headroom

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
	"rowen/ingest"
)

// Another plane in the register never takes room away: what was counted on
// before was there for certain.
func TestAnotherPlaneTakesNothingAway(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := baseInput()
		in.Site.Planes, in.Site.Arrays = nil, nil
		plane := func(i int) ingest.Plane {
			p := ingest.Plane{ID: fmt.Sprint("P", i), RoofKind: "shingle"}
			p.TiltDeg = rapid.Float64Range(0, 60).Draw(t, "tilt")
			p.AzimuthDeg = rapid.SampledFrom([]float64{0, 90, 180, 270, 200}).Draw(t, "azimuth")
			p.WidthM = rapid.Float64Range(1, 14).Draw(t, "width")
			p.SlopeM = rapid.Float64Range(1, 7).Draw(t, "slope")
			return p
		}
		n := rapid.IntRange(1, 3).Draw(t, "planes")
		for i := range n {
			in.Site.Planes = append(in.Site.Planes, plane(i))
		}
		if rapid.Bool().Draw(t, "old") {
			in.Site.Arrays = []ingest.Array{{ID: "A1", Modules: rapid.IntRange(1, 12).Draw(t, "old modules"), ModuleWatts: 300, PlaneID: "P0", InverterModel: "KV1-250"}}
		}
		before := Assess(in)
		in.Site.Planes = append(in.Site.Planes, plane(n))
		after := Assess(in)
		if !before.Roof.Modules.Known || !after.Roof.Modules.Known {
			return // the old array's place, not the plane's
		}
		if after.Roof.Modules.V < before.Roof.Modules.V {
			t.Fatalf("with %d planes %+v, with one more %+v", n, before.Roof, after.Roof)
		}
	})
}
