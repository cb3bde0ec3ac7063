package headroom

import (
	"testing"

	"rowen/ingest"
)

// BenchmarkAssess is one site: two planes, one of them full of old modules.
func BenchmarkAssess(b *testing.B) {
	in := baseInput()
	b.ReportAllocs()
	for b.Loop() {
		Assess(in)
	}
}

// BenchmarkAssessManyJobs is a site where every job could lift something.
func BenchmarkAssessManyJobs(b *testing.B) {
	in := baseInput()
	in.Site.Service.BusbarAmps, in.Site.Service.MainBreakerAmps, in.Site.Service.FreeSpaces = 100, 100, ingest.Some(1)
	in.Site.PermissionLimitKW = 4
	in.Site.Gateway.Model, in.Site.Gateway.SoftwareVersion = "HG-1", "3.9.8"
	in.Site.Service.Profile, in.Options.CostOf[SupplySideConnection] = "split-phase-200", 1900
	b.ReportAllocs()
	for b.Loop() {
		Assess(in)
	}
}

// BenchmarkPack is one plane by its kind.
func BenchmarkPack(b *testing.B) {
	for _, c := range []struct {
		name string
		s    surface
	}{
		{"rectangle", rectangle(0, 0, 10, 4.5)},
		{"rectangle with a vent", surface{box(0, 0, 7, 3.6), [][]point{box(3.2, 1.4, 3.6, 1.8)}}},
		{"hip", mustSurface(ingest.Plane{PolygonM: []point{{0, 0}, {12, 0}, {8.5, 5.5}, {3.5, 5.5}}, ObstaclesM: [][4]float64{{5, 2, 5.6, 2.8}}})},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				packBest(c.s, 1.762, 1.134, 0.02)
			}
		})
	}
}

func mustSurface(pl ingest.Plane) surface {
	s, ok := surfaceOf(pl, setbacks{0.46, 0, 0.30}, 0.30)
	if !ok {
		panic("no surface")
	}
	return s
}
