package sun_test

import (
	"fmt"
	"time"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// The worked example of NREL/TP-560-34302: 50.11162 as seen, 194.34024.
func ExamplePosition() {
	at := time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC)
	zenith, azimuth := sun.Position(float64(at.Unix()), 39.742476, -105.1786)
	fmt.Printf("%.2f as seen, %.1f\n", sun.ApparentZenith(zenith, 82000), azimuth)
	// Output: 50.11 as seen, 194.3
}

// A day's clear light on a south roof of 30 degrees and on a flat one.
func ExampleFacet_Series() {
	day := ingest.HourOf(time.Date(2026, 12, 21, 7, 0, 0, 0, time.UTC))
	h := sun.NewCache(16, sun.SkyModel{}).Hours(sun.Place{LatitudeDeg: 40, LongitudeDeg: -105, ElevationM: 1600}, day, 24)
	sum := func(p sun.Plane) (kWhM2 float64) {
		f, out := p.Facet(), make([]float64, h.N)
		f.Series(h, h.ClearGHI, h.ClearDNI, h.ClearDHI, sun.DefaultAlbedo, out)
		for _, v := range out {
			kWhM2 += v / 1000
		}
		return kWhM2
	}
	fmt.Println("a winter day favours the tilt:", sum(sun.Plane{TiltDeg: 30, AzimuthDeg: 180}) > 1.6*sum(sun.Plane{}))
	// Output: a winter day favours the tilt: true
}
