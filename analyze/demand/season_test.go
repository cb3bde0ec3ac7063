package demand

import (
	"math"
	"testing"
	"time"
)

// Loads that come to two thirds of the homes within two years are no season: the
// signal of like days of two years must not have them. By construction the
// homes' own use does not drift; the loads add 500 W to about 900, which is half
// of the use.
func TestSignalWithoutArrivals(t *testing.T) {
	b := NewSeasonBuilder(synthStart, synthStart.AddDate(0, 30, 0))
	for k := range 45 {
		h := home{seed: uint64(100 + k), baseKWhDay: 22, heatSlope: 0.2, coolSlope: 1, noise: 0.12}
		if k >= 15 {
			h.baseloadFrom, h.baseloadW = 250+20*(k-15), 500
		}
		s, _, _ := h.make()
		b.Add(45, 9, time.UTC, s)
	}
	signal := b.Close().At(45, 9)
	if signal == nil {
		t.Fatal("no signal of 45 homes")
	}
	if signal.Sites != 15 {
		t.Errorf("%d homes speak, 15 keep their level", signal.Sites)
	}
	// March to May, of 2025 and 2026: without weather's reach, and apart by the
	// arrivals of most of the homes if they spoke.
	first := int(synthStart.Unix() / 86400)
	sum, n := 0.0, 0
	for d := 304; d < 304+60; d++ {
		if v := signal.at(first+d+364) - signal.at(first+d); !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	if change := sum / float64(n); n < 50 || math.Abs(change) > 0.05 {
		t.Errorf("the season changes by %.3f from one spring to the next (%d days)", change, n)
	}
}
