package headroom

import "math"

// standardBreakers are the sizes of NEC 240.6(A) (published; 10 A joined in
// 2023, from memory, and is left out).
var standardBreakers = []float64{15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500, 600, 700, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000, 5000, 6000}

// nextBreaker is the smallest size that carries amps; NaN above the largest.
// (NEC 240.4(B), 690.9: the next standard size at or above 1.25 x I.)
func nextBreaker(sizes []float64, amps float64) float64 {
	best := math.NaN()
	for _, s := range sizes {
		if s >= amps-eps && !(s >= best) {
			best = s
		}
	}
	return best
}

// sumRoom is what the sum rule leaves for new breakers, amps: all breakers but
// the main one, loads and sources, stay within pct of the busbar.
// Source: NEC 705.12(B)(3), handbook section 9.1.
func sumRoom(busbar, breakers, pct float64) float64 { return float64(pct/100*busbar) - breakers }

// oldBreakers is the sum of the old PV breakers; there is no guessing how the
// old inverters are spread over breakers.
func (e *electric) oldBreakers() (float64, bool) {
	if a := e.in.Site.Service.PVBreakerAmps; a >= 0 {
		return a, true
	}
	return 0, e.oldACW == 0
}

// byBreakers is how many modules new branch circuits can carry when the sum of
// their breakers must stay within amps: the best mix of standard sizes.
//
// Cost: O(amps x sizes).
func (e *electric) byBreakers(amps float64) int {
	type breaker struct{ amps, modules int }
	var use []breaker
	for _, size := range e.sizes() {
		if n := e.onBreaker(size); n > 0 && size == math.Trunc(size) {
			use = append(use, breaker{int(size), n})
		}
	}
	most := make([]int, floorPositive(amps)+1)
	for a := 1; a < len(most); a++ {
		most[a] = most[a-1]
		for _, b := range use {
			if b.amps <= a {
				most[a] = max(most[a], most[a-b.amps]+b.modules)
			}
		}
	}
	return most[len(most)-1]
}

// onBreaker is how many modules one branch circuit behind a breaker carries.
func (e *electric) onBreaker(size float64) int {
	if b := e.in.Inverter.BranchBreakerAmps; b > 0 && size > b {
		return 0
	}
	n := floorPositive(size / e.factor / e.unitAmps())
	if per := e.in.Inverter.PerBranch; per > 0 {
		n = min(n, per)
	}
	return n * e.perInverter
}

func (s *supply) sizes() []float64 {
	if s.profile != nil && len(s.profile.BreakerSizesAmps) > 0 {
		return s.profile.BreakerSizesAmps
	}
	return standardBreakers
}
