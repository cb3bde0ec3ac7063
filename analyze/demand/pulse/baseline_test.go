package pulse

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// baseline is the plain twin: the 30th percentile of every interval of the day,
// whether a pulse may stand above it or not.
func (v *Intervals) baseline(week int, base []float64) {
	lo, hi := max(0, week*7+3-baseHalfDays), min(v.Days(), week*7+4+baseHalfDays)
	for s := range base {
		var read []float64
		for d := lo; d < hi; d++ {
			if x := v.KW[d*v.PerDay+s]; x == x {
				read = append(read, x)
			}
		}
		base[s] = math.NaN()
		if len(read) >= baseLeast {
			slices.Sort(read)
			base[s] = read[int(baseShare*float64(len(read)-1))]
		}
	}
}

// plainRuns is findRuns on the plain baseline.
func plainRuns(v *Intervals) (out []run) {
	base := make([]float64, v.PerDay)
	start := -1
	var over []float64
	for i, x := range append(slices.Clone(v.KW), math.NaN()) {
		if i%(7*v.PerDay) == 0 && i < len(v.KW) {
			v.baseline(i/v.PerDay/7, base)
		}
		if x -= base[i%v.PerDay]; x >= pulseKW {
			if over = append(over, x); len(over) == 1 {
				start = i
			}
			continue
		}
		if len(over) > 0 {
			out = append(out, measure(over, start, v.PerDay, v.PerDay/24))
		}
		over = over[:0]
	}
	return out
}

// FuzzRuns holds the runs above the pruned baseline against those above the plain
// one, to the last bit: homes with gaps, of heights right at a pulse's least.
func FuzzRuns(f *testing.F) {
	for seed := range uint64(12) {
		f.Add(seed, uint16(7*seed+3), uint8(seed), uint8(30*seed))
	}
	f.Fuzz(func(t *testing.T, seed uint64, days uint16, kind, gaps uint8) {
		r := rand.New(rand.NewPCG(seed, 1))
		v := &Intervals{PerDay: 24 << (kind % 3), KW: make([]float64, int(days%200)*24<<(kind%3))}
		for i := range v.KW {
			x := math.Round(r.ExpFloat64()*400) / 1000
			switch r.IntN(8) {
			case 0:
				x += 0.3 * float64(r.IntN(12)) // often pulseKW above others, give or take a rounding
			case 1:
				x = 0
			case 2:
				x = -x
			}
			if r.IntN(1024) < int(gaps) {
				x = math.NaN()
			}
			v.KW[i] = x
		}
		for _, v := range []*Intervals{v, v.Until(v.Days()), v.Until(r.IntN(v.Days() + 1)), v.Until(max(0, v.Days()-31))} {
			if got, want := findRuns(v), plainRuns(v); !slices.Equal(got, want) {
				t.Fatalf("%d days: %d runs, the plain way %d", v.Days(), len(got), len(want))
			}
		}
	})
}
