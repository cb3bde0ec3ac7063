package main

import (
	"math"
	"math/rand/v2"
	"testing"

	"rowen/ingest"
	"rowen/ingest/ledger"
)

// Where aroundNoon says that a clock is right, the sun itself says so too: on any
// latitude, of any half year, with hours missing at noon or anywhere, for productions
// early, late and shifted. Where the sun says that one is odd, aroundNoon does not.
func TestAroundNoon(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	near := 0
	for range 1500 {
		site := ledger.Site{LatitudeDeg: r.Float64()*130 - 65, LongitudeDeg: r.Float64()*360 - 180}
		s := &ingest.Series{Start: ingest.Hour(490_000 + r.IntN(20_000)), StepMinutes: 60}
		wh := make([]float64, 24*60+r.IntN(hoursLookedAt-24*60))
		middle, width := 12+r.NormFloat64()*3, 1+r.Float64()*4
		for i := range wh {
			from := solarHour(s.Start, i, site.LongitudeDeg) - middle
			wh[i] = math.Max(0, 1-from*from/width/width)
		}
		for range r.IntN(len(wh) / 100) {
			i := r.IntN(len(wh))
			if noon := solarHour(s.Start, i, site.LongitudeDeg); r.IntN(2) == 0 || math.Abs(noon-12) < 2 {
				wh[i] = math.NaN()
			}
		}
		s.Wh[ingest.Production] = wh
		hours, ok := middleAgainstSun(site, s)
		if aroundNoon(wh, s.Start, site.LongitudeDeg) {
			near++
			if ok && math.Abs(hours) > mostHoursFromNoon {
				t.Fatalf("%.1f, %d hours: the middle lies %.2f hours off", site.LatitudeDeg, len(wh), hours)
			}
		}
	}
	if near < 300 {
		t.Fatalf("only %d were near noon", near)
	}
}
