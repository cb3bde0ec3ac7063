package ledger

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// someBlock is a block of a few files that overlap, with gaps, flags, stray ends and
// steps of several lengths.
func someBlock(r *rand.Rand) *block {
	k := &block{unit: []int64{1, 1000}[r.IntN(2)], has: [ingest.NumChannels]bool{true, r.IntN(2) == 0, r.IntN(3) == 0, false}}
	base := int64(1700000000) / 86400 * 86400
	for source := range int32(1 + r.IntN(3)) {
		t := base + 86400*int64(r.IntN(20))
		if r.IntN(4) == 0 {
			t -= 86400 * 200
		}
		sec, state := []int64{900, 1800, 3600, 86400, 600}[r.IntN(5)], int32(1+r.IntN(15))
		for range 1 + r.IntN(400) {
			switch r.IntN(60) {
			case 0:
				t += sec * int64(1+r.IntN(50))
			case 1:
				state = int32(1+r.IntN(15)) | int32(readings.Estimated)<<flagShift
			case 2:
				state = int32(1 + r.IntN(15))
			case 3:
				if r.IntN(6) == 0 {
					t += 86400 * 120
				}
			}
			k.start = append(k.start, t*1000)
			k.state = append(k.state, state|int32(sec)<<secondShift)
			k.source = append(k.source, source)
			for c := range k.value {
				if k.has[c] {
					k.value[c] = append(k.value[c], int64(r.IntN(900)))
				}
			}
			t += sec
		}
	}
	k.n = len(k.start)
	k.firstMs, k.lastMs = slices.Min(k.start), slices.Max(k.start)
	return k
}

// Rows laid by streaks are rows laid one by one, and so are their strays.
func FuzzStreaks(f *testing.F) {
	for seed := range uint64(30) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		defer func(n int) { longestStreak = n }(longestStreak)
		var laid [2]ingest.Series
		var loaders [2]loader
		for i := range laid {
			longestStreak = []int{math.MaxInt, 1}[i]
			r := rand.New(rand.NewPCG(seed, 6))
			ld := &loaders[i]
			ld.block = *someBlock(r)
			ld.counter, ld.rank, ld.written = map[int32][4]counterEntry{}, map[int32]int{0: 0, 1: 1, 2: 2}, map[int32]int64{}
			for source := range int32(3) {
				ld.written[source] = 1700000000 + 86400*int64(r.IntN(60)-20)
			}
			ld.layAll("A", &laid[i])
			ld.block.streaks = nil
		}
		if d := cmp.Diff(laid[1], laid[0], cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
		if d := cmp.Diff(loaders[1].found, loaders[0].found, cmp.AllowUnexported(findings{}, span{}, stretch{}), cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
	})
}
