package stat

import (
	"math"
	"slices"
	"testing"
)

// A score of two values fits the two shares exactly: 3 of 10 and 6 of 10. Then
// the intercept is the log odds ln(3/7) of the first, the slope the difference to
// ln(6/4); the variances are the sums of the cells' reciprocals (Woolf 1955).
func TestLogisticOfTwoGroups(t *testing.T) {
	for _, c := range []struct{ lo, hi float64 }{{0, 1}, {3, 5}, {-4, 4}} {
		var x, y []float64
		for i := range 10 {
			x, y = append(x, c.lo, c.hi), append(y, b01(i < 3), b01(i < 6))
		}
		f, ok := Logistic(x, y)
		if !ok || f.N != 20 {
			t.Fatalf("%+v %v", f, ok)
		}
		d := c.hi - c.lo
		low, high := math.Log(3.0/7), math.Log(6.0/4)
		near(t, "slope", f.Slope, (high-low)/d, 1e-9)
		near(t, "intercept", f.Intercept, low-c.lo*(high-low)/d, 1e-9)
		vLow, vHigh := 1.0/3+1.0/7, 1.0/6+1.0/4
		near(t, "slope's standard error", f.SlopeSE, math.Sqrt(vLow+vHigh)/d, 1e-9)
		// The log odds at 0 are ((hi) a - (lo) b)/(hi - lo) of the independent a and b.
		near(t, "intercept's standard error", f.InterceptSE, math.Sqrt(c.hi*c.hi*vLow+c.lo*c.lo*vHigh)/d, 1e-9)
		near(t, "log likelihood", f.LogLik, 3*math.Log(0.3)+7*math.Log(0.7)+6*math.Log(0.6)+4*math.Log(0.4), 1e-9)
		near(t, "chance", f.P(c.lo), 0.3, 1e-9)
		near(t, "chance", f.P(c.hi), 0.6, 1e-9)
	}
	near(t, "even odds", LogisticFit{}.P(7), 0.5, 0)
}

func b01(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// A threshold that splits the outcomes leaves no finite slope, whichever side
// they are on; one pair out of order does.
func TestLogisticRefusesWhatAThresholdSplits(t *testing.T) {
	for _, c := range []struct {
		x, y []float64
		ok   bool
	}{
		{[]float64{1, 2, 3, 4}, []float64{0, 0, 1, 1}, false},
		{[]float64{1, 2, 3, 4}, []float64{1, 1, 0, 0}, false},
		{[]float64{1, 2, 2, 4}, []float64{0, 0, 1, 1}, false}, // the two meet at the threshold
		{[]float64{1, 2, 3, 4}, []float64{0, 1, 0, 1}, true},
		{[]float64{1, 2, 3, 4}, []float64{1, 1, 1, 1}, false},
		{[]float64{1, 2, 3, 4}, []float64{0, 0, 0, 0}, false},
		{[]float64{2, 2, 2, 2}, []float64{0, 1, 0, 1}, false},
	} {
		if _, ok := Logistic(c.x, c.y); ok != c.ok {
			t.Errorf("%v %v: %v", c.x, c.y, ok)
		}
	}
	for _, c := range []struct {
		x, y []float64
		want bool
	}{
		{[]float64{1, 2, 2, 4}, []float64{0, 0, 1, 1}, true}, {[]float64{4, 2, 2, 1}, []float64{0, 0, 1, 1}, true}, {[]float64{1, 3, 2, 4}, []float64{0, 0, 1, 1}, false},
	} {
		if got := separated(c.x, c.y); got != c.want {
			t.Errorf("separated %v %v: %v", c.x, c.y, got)
		}
	}
}

// Equal neighbors are pooled or not: the fit is the same. 4, 2, 2: the mean 8/3.
func TestIsotonicByHand(t *testing.T) {
	for _, c := range []struct{ y, w, want []float64 }{
		{[]float64{1, 1, 2}, nil, []float64{1, 1, 2}},
		{[]float64{4, 2, 2, 9}, nil, []float64{8.0 / 3, 8.0 / 3, 8.0 / 3, 9}},
		{[]float64{3, 1}, []float64{1, 3}, []float64{1.5, 1.5}}, // (3 + 3)/4
		{[]float64{1, 3, 2}, []float64{5, 1, 2}, []float64{1, 7.0 / 3, 7.0 / 3}},
	} {
		got := PAVA(c.y, c.w)
		for i := range c.want {
			near(t, "fit", got[i], c.want[i], 1e-12)
		}
	}
}

// A resample of 10 values in blocks of 3 has three whole blocks and one of 1;
// starts lie in 0 to 7, and all of them come up.
func TestBlocks(t *testing.T) {
	for _, c := range []struct{ n, length, blocks, wide int }{{10, 3, 4, 3}, {9, 3, 3, 3}, {10, 1, 10, 1}, {10, 99, 1, 10}, {10, 0, 10, 1}, {1, 1, 1, 1}} {
		b := NewBlocks(c.n, c.length, 7)
		if len(b.Next()) != c.blocks || b.Length != c.wide {
			t.Errorf("%+v: %d blocks of %d", c, len(b.starts), b.Length)
		}
	}
	b, seen := NewBlocks(10, 3, 7), map[int]bool{}
	for range 500 {
		for _, s := range b.Next() {
			seen[s] = true
		}
	}
	for s := range 8 {
		if !seen[s] {
			t.Errorf("no block starts at %d", s)
		}
	}
	if len(seen) != 8 {
		t.Errorf("starts %v", seen)
	}
	if got := b.Fill(nil, []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, []int{7, 0, 4, 2}); !slices.Equal(got, []float64{7, 8, 9, 0, 1, 2, 4, 5, 6, 2}) {
		t.Errorf("resample %v", got)
	}
	if got := BlockBootstrap(nil, 3, 2, 1, Mean); len(got) != 2 || got[0] == got[0] || got[1] == got[1] {
		t.Errorf("of nothing: %v", got)
	}
	// A pair with a gap on either side is skipped: the ratio stays 2.
	nan := math.NaN()
	for _, r := range BlockBootstrapRatio([]float64{2, 4, nan, 8}, []float64{1, 2, 5, 4}, 2, 20, 3) {
		near(t, "ratio", r, 2, 1e-12)
	}
}

// beta = factor sd² ln n (1+phi)/(1-phi): 3 x 4 x ln 100 x 1.5/0.5 = 165.786.
func TestStepPenaltyByHand(t *testing.T) {
	near(t, "half", StepPenalty(3, 2, 100, 0.5), 36*math.Log(100), 1e-9)
	near(t, "none", StepPenalty(3, 2, 100, 0), 12*math.Log(100), 1e-9)
	near(t, "negative counts as none", StepPenalty(3, 2, 100, -0.4), 12*math.Log(100), 1e-9)
	near(t, "not known counts as none", StepPenalty(3, 2, 100, math.NaN()), 12*math.Log(100), 1e-9)
	near(t, "at most 0.95", StepPenalty(3, 2, 100, 0.99), 12*39*math.Log(100), 1e-6)
}

// 1, 2, 3, 4: mean 2.5, deviations -1.5, -0.5, 0.5, 1.5. Neighbors' products are
// 0.75 - 0.25 + 0.75 = 1.25 of 5. Differences of 1: no spread. 1, 3, 2, 5, 1:
// differences 2, -1, 3, -4, median 0.5, deviations 1.5, 1.5, 2.5, 4.5: median 2.
func TestSeriesByHand(t *testing.T) {
	near(t, "lag 1", Lag1([]float64{1, 2, 3, 4}), 0.25, 1e-12)
	near(t, "noise", NoiseSD([]float64{1, 3, 2, 5, 1}), 2*MADScale/math.Sqrt2, 1e-12)
	nan := math.NaN()
	for _, x := range [][]float64{{1, 2, 3}, {1, 1, 1, 1, 1}, {1, nan, 2, nan, 3, nan, 4}, nil} {
		if got := Lag1(x); got == got {
			t.Errorf("%v: %g", x, got)
		}
	}
	if got := Lag1([]float64{1, 2, 1, 2}); !(got < 0) {
		t.Errorf("what alternates: %g", got)
	}
	near(t, "SD", SD([]float64{1, 3}), math.Sqrt2, 1e-12)
	near(t, "SD", SD([]float64{2, nan, 4, 6}), 2, 1e-12)
	if got := SD([]float64{1, nan}); got == got {
		t.Errorf("SD of one: %g", got)
	}
	near(t, "cost", PartitionCost([]float64{1, 3, 10, 14}, []int{2}, 5), 2+8+5, 1e-9)
	near(t, "cost", PartitionCost([]float64{1, 3, 10, 14}, nil, 5), 36+16+9+49, 1e-9)
}

// A step of 10 in noise-free data is found at its place; segments keep their
// least length.
func TestPELTByHand(t *testing.T) {
	step := []float64{0, 0, 0, 0, 10, 10, 10, 10}
	if got := PELT(step, 5, 1); !slices.Equal(got, []int{4}) {
		t.Errorf("%v", got)
	}
	if got := PELT(step, 5, 4); !slices.Equal(got, []int{4}) {
		t.Errorf("at the least length: %v", got)
	}
	if got := PELT(step, 5, 5); got != nil {
		t.Errorf("below the least length: %v", got)
	}
	if got := PELT([]float64{0, 0, 10, 10, 0, 0}, 5, 2); !slices.Equal(got, []int{2, 4}) {
		t.Errorf("%v", got)
	}
	// A split of 0, 0, 10, 10 saves 100: it pays below that penalty.
	if got := PELT([]float64{0, 0, 10, 10}, 99, 1); !slices.Equal(got, []int{2}) {
		t.Errorf("%v", got)
	}
	if got := PELT([]float64{0, 0, 10, 10}, 101, 1); len(got) != 0 {
		t.Errorf("%v", got)
	}
}

func TestQuantilesByHand(t *testing.T) {
	x := []float64{4, 1, 3, 2}
	for p, want := range map[float64]float64{0: 1, 1: 4, 0.5: 2.5, 1.0 / 3: 2, 0.9: 3.7} { // h = 3p
		near(t, "quantile", Quantile(x, p), want, 1e-12)
		near(t, "sorted", QuantileSorted([]float64{1, 2, 3, 4}, p), want, 1e-12)
	}
	for _, p := range []float64{-0.01, 1.01, math.NaN()} {
		if a, b := Quantile(x, p), QuantileSorted(x, p); a == a || b == b {
			t.Errorf("p %g: %g, %g", p, a, b)
		}
	}
	lo, hi := Interval([]float64{5, 1, 2, 4, 3, math.NaN()}, 0.5)
	near(t, "low", lo, 2, 1e-12)
	near(t, "high", hi, 4, 1e-12)
	near(t, "MAD", MAD([]float64{1, 2, 4, 9}), 1.5, 1e-12) // median 3: deviations 2, 1, 1, 6
	// Weights 1, 1, 2 split at the border of 2 and 3; 1, 1, 3 lie past it.
	near(t, "even split", WeightedMedian([]float64{3, 1, 2}, []float64{2, 1, 1}), 2.5, 1e-12)
	near(t, "uneven split", WeightedMedian([]float64{3, 1, 2}, []float64{3, 1, 1}), 3, 1e-12)
	near(t, "no weight", WeightedMedian([]float64{9, 1, 2, 5}, []float64{0, 1, 1, 1}), 2, 1e-12)
	near(t, "one", WeightedMedian([]float64{9}, []float64{2}), 9, 0)
}

// The order puts what is not known last, and ties by id.
func TestOrderByHand(t *testing.T) {
	nan := math.NaN()
	got := Order([]float64{nan, 2, 5, 2, nan, 7}, []string{"f", "d", "c", "b", "a", "e"})
	if !slices.Equal(got, []int{5, 2, 3, 1, 4, 0}) {
		t.Errorf("%v", got)
	}
	if got := Order([]float64{1, nan, 1, 3}, nil); !slices.Equal(got, []int{3, 0, 2, 1}) {
		t.Errorf("%v", got)
	}
	near(t, "DCG", DCG([]float64{3, 2, 1}, 2), 3+2/math.Log2(3), 1e-12)
	near(t, "precision", Precision([]float64{1, 0, 2, 0}, 3), 2.0/3, 1e-12)
	near(t, "lift", Lift([]float64{1, 0, 2, 0}, 3), (2.0/3)/0.5, 1e-12)
	if got := NDCG([]float64{0, 0}, 2); got == got {
		t.Errorf("nothing relevant: %g", got)
	}
}

// Points of one x have no slope between them; a line is found through means of
// equal runs as well.
func TestTheilSenByHand(t *testing.T) {
	s := TheilSen([]float64{1, 1, 2, 3}, []float64{0, 2, 3, 5}, 0.9) // 3, 2.5, 1, 1.5, 2
	near(t, "slope", s.Slope, 2, 1e-12)
	near(t, "intercept", s.Intercept, 2.5-2*1.5, 1e-12)
	if s.N != 4 {
		t.Errorf("%d points", s.N)
	}
	if s := TheilSen([]float64{2, 2}, []float64{0, 2}, 0.9); s.Slope == s.Slope {
		t.Errorf("one x: %+v", s)
	}
	near(t, "ties", tieSum([]float64{5, 1, 5, 5, 1}), 3*2*11+2*1*9, 0)
	x, y := thin([]float64{5, 1, 3, 2, 4}, []float64{50, 10, 30, 20, 40}, 3)
	if !slices.Equal(x, []float64{1.5, 3.5, 5}) || !slices.Equal(y, []float64{15, 35, 50}) {
		t.Errorf("thinned %v %v", x, y)
	}
}

// Two years of days, the second 1 % below the first. The rate may be told from
// two whole years and 180 pairs on.
func TestYearOnYearByHand(t *testing.T) {
	days := func(last int, keep func(int) bool) (day []int, v []float64) {
		for d := 100; d <= 100+last; d++ {
			if keep(d - 100) {
				day, v = append(day, d), append(v, 1-0.01*b01(d >= 465))
			}
		}
		return day, v
	}
	all := func(int) bool { return true }
	for _, c := range []struct {
		what   string
		last   int
		keep   func(int) bool
		pairs  int
		enough bool
	}{
		{"two years", 730, all, 366, true},
		{"a day less", 729, all, 365, false},
		{"180 pairs", 730, func(d int) bool { return d < 179 || d >= 365 }, 180, true}, // 179 and the day 365 with 730
		{"179 pairs", 730, func(d int) bool { return d < 178 || d >= 365 }, 179, false},
	} {
		day, v := days(c.last, c.keep)
		y := YearOnYear(day, v, 0.9, 200, 1)
		if y.Pairs != c.pairs || y.Enough != c.enough {
			t.Errorf("%s: %d pairs, enough %v", c.what, y.Pairs, y.Enough)
		}
		near(t, c.what+": rate", y.PctYr, -1, 1e-9)
		near(t, c.what+": reference", y.Reference, 1, 0) // the day 365 is of the second year
		near(t, c.what+": years", y.Years, float64(c.last)/365, 1e-12)
		near(t, c.what+": low", y.Low, -1, 1e-9)
	}
	day, v := days(730, all)
	if y := YearOnYear(day, v, 0.9, 0, 1); y.Low == y.Low || y.High == y.High {
		t.Errorf("no draws, and yet an interval: %+v", y)
	}
	v[3], v[370] = math.NaN(), math.NaN() // each takes one pair
	if y := YearOnYear(day, v, 0.9, 0, 1); y.Pairs != 364 {
		t.Errorf("%d pairs beside two gaps", y.Pairs)
	}
	// rate 2 with error 1, prior 0 with spread 2: (2 + 0)/(1 + 1/4) = 1.6, 1/sqrt(1.25).
	r, se := Shrink(2, 1, 0, 2)
	near(t, "shrunk", r, 1.6, 1e-12)
	near(t, "its error", se, 1/math.Sqrt(1.25), 1e-12)
	r, _ = Shrink(2, 1, 4, 2)
	near(t, "toward the prior", r, 2.4, 1e-12) // (2 + 1)/1.25
	if r, se = Shrink(2, 0, 4, 2); r != 2 || se != 0 {
		t.Errorf("without doubt: %g %g", r, se)
	}
	if r, se = Shrink(math.NaN(), 1, 4, 2); r != 4 || se != 2 {
		t.Errorf("not known: %g %g", r, se)
	}
}

// Wilson's own form at 5 of 10, 95 %: (0.5 + z²/20 -+ z sqrt(0.025 + z²/400))/(1 + z²/10).
func TestWilsonEnds(t *testing.T) {
	lo, hi := Wilson(5, 10, 0.95)
	near(t, "low", lo, 0.2366, 5e-5)
	near(t, "high", hi, 0.7634, 5e-5)
	if lo, hi := Wilson(0, 10, 0.95); lo != 0 || !(hi < 0.3) {
		t.Errorf("none: %g %g", lo, hi)
	}
	if lo, hi := Wilson(10, 10, 0.95); hi != 1 || !(lo > 0.7) {
		t.Errorf("all: %g %g", lo, hi)
	}
	if lo, hi := Wilson(0, 0, 0.95); lo != 0 || hi != 1 {
		t.Errorf("nothing: %g %g", lo, hi)
	}
	if lo, hi := Wilson(1, 1, 0.95); hi != 1 || !(lo > 0.2 && lo < 0.21) { // 1/(1 + 3.84)
		t.Errorf("one of one: %g %g", lo, hi)
	}
}
