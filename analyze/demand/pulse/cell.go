package pulse

import (
	"math"
	"slices"

	"rowen/ingest/samebits"
)

// span is from lo up to hi, hi left out.
type span struct{ lo, hi float64 }

func (s span) holds(x float64) bool { return x >= s.lo && x < s.hi }

// Heights in kW, open and in bands (a 3.6 kW car stands under a 7 kW load),
// least energies in kWh, and the hours that a pulse starts in: chargers of 1.4,
// 2.3, 3.6, 7.2 and 11 kW, sessions of 4 to 9 kWh (quartile and median of 20,696
// charging sessions) and those of a large battery, which little else in a house
// takes at once (at three times seasonCost a fifteenth more of 480 real cars are found
// than with 2, 4 and 8).
var (
	heights = [...]span{{1.5, 99}, {2.5, 99}, {3.2, 99}, {4.5, 99}, {6, 99}, {8.5, 99},
		{1.5, 2.6}, {2.5, 4.4}, {3.2, 5.5}, {4.5, 8}, {6, 9}, {8.5, 13}}
	energies = [...]float64{2, 6, 14}
	windows  = [...]span{{0, 24}, {21, 31}, {15, 23}} // 31: 7 o'clock of the next day
)

const numCells = len(heights) * len(energies) * len(windows)

func inWindow(w span, hour float64) bool { return w.holds(hour) || w.holds(hour+24) }

// closeLook is how many cells are looked at with the season: 8, 16, 30 and all
// 108 found the same cars, 4 fewer.
const closeLook = 8

// cell is the pulses of one height, energy and start.
type cell struct {
	tally
	height span
	energy float64
	window span
	plain  float64 // what two rates gain over one, the season left alone
}

func (k *cell) holds(r *run) bool {
	return k.height.holds(r.kw) && r.kwh >= k.energy && inWindow(k.window, r.hour)
}

// cells are the cells with enough pulses, each different from those before it.
func (c *counting) cells() []cell {
	flat := make([]float64, numCells*c.weeks)
	for _, r := range c.runs {
		week := int(r.day) / 7
		if week >= c.weeks || !c.seen[r.day] {
			continue
		}
		for h, height := range heights {
			if !height.holds(r.kw) {
				continue
			}
			for e, least := range energies {
				if r.kwh < least {
					break
				}
				for w, window := range windows {
					if inWindow(window, r.hour) {
						flat[((h*len(energies)+e)*len(windows)+w)*c.weeks+week]++
					}
				}
			}
		}
	}
	out := make([]cell, 0, numCells)
	for k := range numCells {
		x := cell{tally: tally{n: flat[k*c.weeks : (k+1)*c.weeks]}, height: heights[k/(len(energies)*len(windows))],
			energy: energies[k/len(windows)%len(energies)], window: windows[k%len(windows)]}
		if sum(x.n) < minPulses || slices.ContainsFunc(out, func(o cell) bool { return slices.Equal(o.n, x.n) }) {
			continue
		}
		x.plain = c.plainGain(x.n)
		out = append(out, x)
	}
	return out
}

// plainGain is the most that two Poisson rates gain over one, rises only:
// n·ln(n/exposure) by parts.
func (c *counting) plainGain(n []float64) float64 {
	all, exposure := sum(n), c.behind[0]
	one := float64(all * samebits.Log(all/exposure)) // of one rate throughout
	best, a, e := 0.0, 0.0, 0.0
	for t := range c.hi {
		if t >= c.lo && e > 0 && exposure-e > 0 && (all-a)*e > a*(exposure-e) {
			g := float64((all-a)*samebits.Log((all-a)/(exposure-e))) - one
			if a > 0 {
				g += float64(a * samebits.Log(a/e))
			}
			best = math.Max(best, g)
		}
		a += n[t]
		e += c.x[t][0]
	}
	return best
}

func sum(n []float64) float64 {
	s := 0.0
	for _, x := range n {
		s += x
	}
	return s
}
