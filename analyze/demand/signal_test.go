package demand

import (
	"math"
	"testing"
)

// The median of counts in bins of ln 2/16 around 0, on the line within its bin.
func TestMedianOfBins(t *testing.T) {
	for _, c := range []struct {
		counts map[int]uint32 // by bin, from the middle one on
		want   float64        // in bins
	}{
		{map[int]uint32{0: 10}, 0.5}, {map[int]uint32{-3: 10}, -2.5}, {map[int]uint32{0: 5, 4: 5}, 1},
		{map[int]uint32{0: 2, 4: 6}, 4 + 2./6}, {map[int]uint32{0: 6}, 0.5}, {map[int]uint32{0: 5}, math.NaN()},
	} {
		var bins [seasonBins]uint32
		for k, n := range c.counts {
			bins[seasonBins/2+k] = n
		}
		got := medianOfBins(&bins) / (math.Ln2 / 16)
		if math.Abs(got-c.want) > 1e-12 || math.IsNaN(got) != math.IsNaN(c.want) {
			t.Errorf("%v: bin %g, want %g", c.counts, got, c.want)
		}
	}
}

// A home keeps its level while no quarter is further than 0.15 (in logs) from the
// same one a year before; it needs a year and a quarter.
func TestHomesThatKeepTheirLevel(t *testing.T) {
	for _, c := range []struct {
		what  string
		n     int
		ratio float64
		known int // days of each quarter
		keeps bool
	}{
		{"the same", 364 + 91, 1, 91, true}, {"a day less", 364 + 90, 1, 91, false}, {"a seventh more", 364 + 91, math.Exp(0.149), 91, true},
		{"more", 364 + 91, math.Exp(0.151), 91, false}, {"less", 364 + 91, math.Exp(-0.151), 91, false},
		{"in its second quarter", 364 + 182, math.Exp(0.2), 91, false}, {"with half of the days", 364 + 91, 1, 45, true}, {"with fewer", 364 + 91, 1, 44, false},
	} {
		day, share := make([]float64, c.n), make([]float64, c.n)
		for k := range day {
			day[k], share[k] = 10+float64(k%7), 1
			if k >= 364 {
				day[k] = 10 + float64((k-364)%7)
				if c.n <= 364+91 || k >= 364+91 {
					day[k] *= c.ratio
				}
				if (k-364)%91 >= c.known {
					share[k] = 0.8
				}
			}
		}
		if got := keepsLevel(day, share); got != c.keeps {
			t.Errorf("%s: keeps its level: %v", c.what, got)
		}
	}
}

// 14 homes whose use rises by a bin a year: the rise is taken out, and the days of a
// week keep their difference of eight bins.
func TestCommonDriftIsTakenOut(t *testing.T) {
	r := dayCounts{Sites: 14}
	r.cover(20000, 20000+800)
	for d := range r.Bins {
		bin := seasonBins/2 + d/364
		if d%7 == 0 {
			bin += 8
		}
		r.Bins[d][bin] = 14
	}
	sig := r.signal()
	width := math.Ln2 / 16
	for d := 0; d+364 < 800; d += 50 {
		near(t, "a year later", sig.Log[d+364]-sig.Log[d], 0, 1e-9)
		near(t, "a Sunday and the day after", sig.Log[d-d%7]-sig.Log[d-d%7+1], 8*width+width/364, 1e-9)
	}
	if sig.First != 20000 || sig.Sites != 14 || sig.DriftSE > 1e-9 {
		t.Errorf("%d, %d, %g", sig.First, sig.Sites, sig.DriftSE)
	}
	r.cover(19990, 20100) // wider to the left alone
	if r.First != 19990 || len(r.Bins) != 810 || r.Bins[10][seasonBins/2+8] != 14 {
		t.Errorf("from %d, %d days", r.First, len(r.Bins))
	}
	r.cover(20000, 20900)
	if r.First != 19990 || len(r.Bins) != 910 || r.Bins[10][seasonBins/2+8] != 14 {
		t.Errorf("from %d, %d days", r.First, len(r.Bins))
	}
	for place, want := range map[[2]float64]region{{39.9, -104.9}: {9, -27}, {-0.1, 0}: {-1, 0}, {4, 3.9}: {1, 0}} {
		if got := regionOf(place[0], place[1]); got != want {
			t.Errorf("%v lies in %v", place, got)
		}
	}
}
