package stat

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// finite draws values that collide now and then, as meters' values do.
func finite(minLen, maxLen int) *rapid.Generator[[]float64] {
	value := rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.Map(rapid.IntRange(-5, 5), func(i int) float64 { return float64(i) }))
	return rapid.SliceOfN(value, minLen, maxLen)
}

// sortedQuantile is the plain twin of Quantile: sort and interpolate.
func sortedQuantile(x []float64, p float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	h := float64(len(s)-1) * p
	k := int(math.Floor(h))
	if k == len(s)-1 {
		return s[k]
	}
	return s[k] + (h-float64(k))*(s[k+1]-s[k])
}

func TestQuantileAgainstSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := finite(1, 200).Draw(t, "x")
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		if got, want := Quantile(x, p), sortedQuantile(x, p); got != want {
			t.Fatalf("quantile %v: got %v, want %v", p, got, want)
		}
		if got, want := Median(x), sortedQuantile(x, 0.5); math.Abs(got-want) > 1e-9*math.Abs(want) {
			t.Fatalf("median: got %v, want %v", got, want)
		}
		with := append(slices.Clone(x), math.NaN(), math.NaN())
		if Median(with) != Median(x) || Quantile(with, p) != Quantile(x, p) || MAD(with) != MAD(x) {
			t.Fatal("a missing value changed the result")
		}
		sorted := slices.Sorted(slices.Values(x))
		if got, want := QuantileSorted(sorted, p), sortedQuantile(x, p); got != want {
			t.Fatalf("of sorted values, quantile %v: got %v, want %v", p, got, want)
		}
		lo, hi := Interval(x, p)
		if lo != sortedQuantile(x, (1-p)/2) || hi != sortedQuantile(x, (1+p)/2) {
			t.Fatalf("interval %v: %v..%v", p, lo, hi)
		}
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		s := slices.Clone(x)
		v := Select(s, k)
		if slices.Max(s[:k+1]) != v || slices.Min(s[k:]) != v {
			t.Fatalf("Select(%d) = %v leaves %v", k, v, s)
		}
	})
}

// FuzzQuantile feeds raw bits, infinities and odd lengths.
func FuzzQuantile(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8}, 0.5)
	f.Fuzz(func(t *testing.T, raw []byte, p float64) {
		var x, present []float64
		for ; len(raw) >= 8; raw = raw[8:] {
			v := math.Float64frombits(binary.LittleEndian.Uint64(raw))
			if math.IsInf(v, 0) {
				continue // Inf - Inf has no value
			}
			x = append(x, v)
			if v == v {
				present = append(present, v)
			}
		}
		got := Quantile(x, p)
		if len(present) == 0 || !(p >= 0 && p <= 1) {
			if got == got {
				t.Fatalf("got %v, want NaN", got)
			}
			return
		}
		if want := sortedQuantile(present, p); got != want && !(got != got && want != want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// TestSelectWorst: organ pipes, saws and equal values must not take n^2.
func TestSelectWorst(t *testing.T) {
	n := 20_000
	for name, at := range map[string]func(i int) float64{
		"equal": func(int) float64 { return 1 }, "rising": func(i int) float64 { return float64(i) },
		"organ": func(i int) float64 { return float64(min(i, n-i)) }, "saw": func(i int) float64 { return float64(i % 7) },
	} {
		x := make([]float64, n)
		for i := range x {
			x[i] = at(i)
		}
		want := sortedQuantile(x, 0.25)
		if got := Quantile(x, 0.25); got != want {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
}

func TestWeightedMedian(t *testing.T) {
	near(t, "weight decides", WeightedMedian([]float64{1, 2, 10}, []float64{1, 1, 5}), 10, 0)
	near(t, "even split", WeightedMedian([]float64{1, 3}, []float64{2, 2}), 2, 0)
	near(t, "no weight between", WeightedMedian([]float64{1, 1.5, 3}, []float64{1, 0, 1}), 2, 0)
	near(t, "no weight, NaN", WeightedMedian([]float64{9, math.NaN(), 4}, []float64{0, 5, 1}), 4, 0)
	if v := WeightedMedian(nil, nil); v == v {
		t.Errorf("nothing gave %v", v)
	}
	rapid.Check(t, func(t *rapid.T) {
		x := finite(1, 40).Draw(t, "x")
		w := rapid.SliceOfN(rapid.IntRange(1, 4), len(x), len(x)).Draw(t, "w")
		var repeated []float64 // a weight of w is w copies of the value
		weights := make([]float64, len(x))
		for i, k := range w {
			weights[i] = float64(k)
			for range k {
				repeated = append(repeated, x[i])
			}
		}
		if got, want := WeightedMedian(x, weights), Median(repeated); math.Abs(got-want) > 1e-9*math.Abs(want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

func TestTheilSenMoves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(rapid.IntRange(0, 50).Draw(t, "x"))
			y[i] = float64(rapid.IntRange(-20, 20).Draw(t, "y"))
		}
		a := TheilSen(x, y, 0.9)
		if slices.Min(x) == slices.Max(x) {
			if a.Slope == a.Slope {
				t.Fatal("one x gave a slope")
			}
			return
		}
		if !(a.Low <= a.Slope && a.Slope <= a.High) {
			t.Fatalf("slope %v outside %v..%v", a.Slope, a.Low, a.High)
		}
		// y -> 3y + 2x + 7: slope -> 3 slope + 2.
		z := make([]float64, n)
		for i := range z {
			z[i] = 3*y[i] + 2*x[i] + 7
		}
		b := TheilSen(x, z, 0.9)
		if math.Abs(b.Slope-(3*a.Slope+2)) > 1e-9 {
			t.Fatalf("slope %v, want %v", b.Slope, 3*a.Slope+2)
		}
		order := rapid.Permutation(seq(n)).Draw(t, "order")
		px, py := make([]float64, n), make([]float64, n)
		for i, k := range order {
			px[i], py[i] = x[k], y[k]
		}
		if c := TheilSen(px, py, 0.9); c != a {
			t.Fatalf("order of the points changed %v to %v", a, c)
		}
	})
}

func seq(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

// TestTheilSenThins: beyond the limit the line stays, and a third of bad
// points does not bend it.
func TestTheilSenThins(t *testing.T) {
	n := MaxTheilSen + 500
	x, y := make([]float64, n), make([]float64, n)
	rng := Rand(1)
	for i := range x {
		x[i] = float64(i)
		y[i] = 5 - 0.25*x[i] + rng.NormFloat64()
		if i > n/2 && i < n/2+n/10 {
			y[i] = -1e4
		}
	}
	got := TheilSen(x, y, 0.9)
	near(t, "slope", got.Slope, -0.25, 1e-2)
	if got.N > MaxTheilSen {
		t.Errorf("%d points used", got.N)
	}
}

// bestPartition is the plain optimum: every way to split, by recursion.
func bestPartition(x []float64, penalty float64, m int) float64 {
	n := len(x)
	best := make([]float64, n+1)
	for t := range best {
		best[t] = math.Inf(1)
	}
	best[0] = -penalty
	for t := 1; t <= n; t++ {
		for s := 0; s+m <= t; s++ {
			mean, cost := Mean(x[s:t]), 0.0
			for _, v := range x[s:t] {
				cost += (v - mean) * (v - mean)
			}
			best[t] = min(best[t], best[s]+cost+penalty)
		}
	}
	return best[n]
}

// TestPELTIsOptimal: pruning with a least segment must not lose the optimum.
func TestPELTIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.IntRange(1, 6).Draw(t, "m")
		var x []float64
		for range rapid.IntRange(1, 5).Draw(t, "segments") {
			level := float64(rapid.IntRange(-4, 4).Draw(t, "level"))
			for range rapid.IntRange(1, 12).Draw(t, "length") {
				x = append(x, level+rapid.Float64Range(-1, 1).Draw(t, "noise"))
			}
		}
		penalty := rapid.Float64Range(0, 10).Draw(t, "penalty")
		if len(x) < 2*m {
			if PELT(x, penalty, m) != nil {
				t.Fatal("too short a series was split")
			}
			return
		}
		want := bestPartition(x, penalty, m)
		for name, points := range map[string][]int{"PELT": PELT(x, penalty, m), "optimal": OptimalPartition(x, penalty, m)} {
			if got := PartitionCost(x, points, penalty); math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
				t.Fatalf("%s %v costs %v, the best %v", name, points, got, want)
			}
			last := 0
			for _, p := range append(points, len(x)) {
				if p-last < m {
					t.Fatalf("%s: a segment of %d, at least %d wanted", name, p-last, m)
				}
				last = p
			}
		}
	})
}

// TestRatioBootstrapIsTheGeneralOne: running sums draw the same blocks and give
// the same means as filling every resample.
func TestRatioBootstrapIsTheGeneralOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := finite(1, 80).Draw(t, "x")
		if rapid.Bool().Draw(t, "gap") {
			x[len(x)/2] = math.NaN()
		}
		l := rapid.IntRange(1, 20).Draw(t, "length")
		ones := make([]float64, len(x))
		for i := range ones {
			ones[i] = 1
		}
		ratio := BlockBootstrapRatio(x, ones, l, 20, 7)
		slow := BlockBootstrap(x, l, 20, 7, Mean)
		for i := range slow {
			if slow[i] != slow[i] && ratio[i] != ratio[i] {
				continue
			}
			if math.Abs(ratio[i]-slow[i]) > 1e-6 {
				t.Fatalf("draw %d: %v by running sums, %v plainly", i, ratio[i], slow[i])
			}
		}
	})
}

func TestSeedTellsIDsApart(t *testing.T) {
	seen := map[uint64]string{}
	for i := range 20_000 {
		id := "site-" + string(rune('a'+i%26)) + string(rune('0'+i/26%10)) + string(rune('0'+i/260%10)) + string(rune('0'+i/2600))
		s := Seed(id)
		if other, ok := seen[s]; ok && other != id {
			t.Fatalf("%s and %s share a seed", id, other)
		}
		seen[s] = id
	}
	// FNV-1a of nothing is the offset basis; "a" is 0xaf63dc4c8601ec8c
	// (published test vectors of FNV); splitmix only mixes.
	if Seed("a") != splitmix(0xaf63dc4c8601ec8c) || Seed("") != splitmix(14695981039346656037) {
		t.Error("not FNV-1a")
	}
	if Rand(3).Uint64() != Rand(3).Uint64() || Rand(3).Uint64() == Rand(4).Uint64() {
		t.Error("a seed must mean its own numbers")
	}
}

func TestShrink(t *testing.T) {
	// Equal certainty: half way, sd over sqrt 2.
	r, se := Shrink(-1.6, 0.5, -0.6, 0.5)
	near(t, "rate", r, -1.1, 1e-12)
	near(t, "se", se, 0.5/math.Sqrt2, 1e-12)
	if r, se := Shrink(math.NaN(), math.NaN(), -0.6, 0.5); r != -0.6 || se != 0.5 {
		t.Errorf("nothing measured gave %v, %v", r, se)
	}
}

func TestLag1AndMoments(t *testing.T) {
	near(t, "alternating", Lag1([]float64{1, -1, 1, -1, 1, -1}), -5.0/6, 1e-12) // -5 of 6 squares
	// Mean 3, deviations -2 0 -1 3: products 0 + 0 - 3 = -3 of 14 squares.
	near(t, "by hand", Lag1([]float64{1, 3, 2, 6}), -3.0/14, 1e-12)
	near(t, "ties of 2 and 3", tieSum([]float64{1, 2, 1, 5, 5, 5, 9}), 2*1*9+3*2*11, 0)
	near(t, "SD", SD([]float64{2, 4, 4, 4, 5, 5, 7, 9}), math.Sqrt(32.0/7), 1e-12)
	if v := SD([]float64{1}); v == v {
		t.Errorf("one value has SD %v", v)
	}
	near(t, "t", StudentQuantile(0.975, 10), 2.228138852, 1e-8) // published tables: 2.228
	near(t, "normal", NormalQuantile(0.975), 1.959963984540054, 1e-12)
}

func BenchmarkMedian(b *testing.B) {
	x := make([]float64, 1095)
	rng := Rand(1)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	buf := make([]float64, len(x))
	for b.Loop() {
		copy(buf, x)
		MedianInPlace(buf)
	}
}

func BenchmarkTheilSenWeekly(b *testing.B) {
	x, y := make([]float64, 156), make([]float64, 156)
	rng := Rand(1)
	for i := range x {
		x[i], y[i] = float64(i), rng.NormFloat64()
	}
	for b.Loop() {
		TheilSen(x, y, 0.9)
	}
}

func BenchmarkPELT(b *testing.B) {
	x := make([]float64, 1095)
	rng := Rand(1)
	for i := range x {
		x[i] = rng.NormFloat64() + float64(i/400)
	}
	penalty := StepPenalty(3, NoiseSD(x), len(x), 0)
	b.Run("pruned", func(b *testing.B) {
		for b.Loop() {
			PELT(x, penalty, 28)
		}
	})
	b.Run("plain", func(b *testing.B) {
		for b.Loop() {
			OptimalPartition(x, penalty, 28)
		}
	})
}

func BenchmarkBlockBootstrap(b *testing.B) {
	x := make([]float64, 1095)
	rng := Rand(1)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	b.Run("general", func(b *testing.B) {
		for b.Loop() {
			BlockBootstrap(x, 7, 2000, 1, Mean)
		}
	})
}
