package demand

import (
	"math"
	"testing"

	"rowen/ingest"
)

// A consumption meter that takes over from production + import - export and reads
// a sixth less is no departure: the two were never read at the same time. Where
// they were, and agree, a step at the seam is the household's.
func TestSeamIsNoEvent(t *testing.T) {
	for _, overlap := range []int{0, 60 * 24} {
		in := plain(5).input(true)
		s := in.Series
		use := s.Wh[ingest.Consumption]
		seam := len(use) / 2
		for _, c := range []ingest.Channel{ingest.Production, ingest.Import, ingest.Export} {
			s.Wh[c] = make([]float64, len(use))
		}
		for i, x := range use {
			s.Wh[ingest.Import][i] = x
			if i >= seam+overlap {
				s.Wh[ingest.Import][i] = math.NaN()
			}
			if i >= seam {
				use[i] = x * 0.84
				if overlap > 0 {
					s.Wh[ingest.Import][i] *= 0.84
				}
			} else {
				use[i] = math.NaN()
			}
		}
		got := Assess(in)
		if overlap == 0 && len(got.Events) > 0 {
			t.Errorf("the seam is an event: %s", got.Events[0].Says)
		}
		if overlap > 0 && len(got.Events) == 0 {
			t.Error("a step that both meters saw is no event")
		}
	}
}
