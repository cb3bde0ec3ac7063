package array

import (
	"rowen/analyze/sky"
	"rowen/analyze/stat"
)

// Rules of the second witness, our choice.
const (
	thinSky      = 8   // arrays behind the usual hour: fewer, and one sick neighbour may pass for a fault here
	witnessDays  = 3   // clear days on either side
	witnessReach = 120 // days to either side that stand for what was before and after
	witnessShare = 0.4 // of the change that clear days must show
)

// witness is the array's own clear days, on which no neighbour is needed; nil
// under a sky that many arrays tell: there the question is not asked.
type witness struct{ ratio []float64 }

func (v *view) witness() *witness {
	if !v.thin() {
		return nil
	}
	return &witness{sky.Calibrate(v.model, v.hourly(nil)).Ratio}
}

// thin tells a sky that rests on few arrays.
func (v *view) thin() bool {
	if v.alone || v.Sky.Source != sky.FromFleet {
		return false
	}
	var n []float64
	for i := 0; i < len(v.Sky.Sites); i += 5 {
		if c := v.Sky.Sites[i]; c > 0 {
			n = append(n, float64(c))
		}
	}
	return len(n) > 0 && stat.MedianInPlace(n) < thinSky
}

// confirms asks whether output changed by a share (negative: down) over the
// days from one to another.
func (w *witness) confirms(from, to int, change float64) bool {
	if w == nil {
		return true
	}
	r := w.ratio
	in := stat.Present(nil, r[from:to])
	out := stat.Present(nil, r[max(0, from-witnessReach):from])
	out = append(out, stat.Present(nil, r[to:min(len(r), to+witnessReach)])...)
	if len(in) < witnessDays || len(out) < witnessDays {
		return false
	}
	shown := stat.Median(in)/stat.Median(out) - 1
	return shown*change > 0 && shown/change >= witnessShare
}
