package change

import (
	"math"
	"math/rand/v2"
	"testing"

	"rowen/analyze/demand/fit"
)

// household makes days of 20 kWh and noise, with what add puts on top.
func household(seed uint64, n int, add func(day int, rng *rand.Rand) float64) *fit.Days {
	rng := rand.New(rand.NewPCG(seed, 9))
	d := &fit.Days{First: 19800, KWh: make([]float64, n), Share: make([]float64, n), Counted: make([]bool, n), Absent: make([]bool, n), Gross: true}
	for k := range n {
		d.KWh[k], d.Share[k], d.Counted[k] = 20+rng.NormFloat64()+add(k, rng), 1, true
	}
	d.Targets = [][]float64{d.KWh}
	d.Recount()
	return d
}

func tell(d *fit.Days) Story {
	w := new(fit.Workspace)
	return Tell(w, d, fit.NewColumns(w, d, fit.Weather{}), nil)
}

// An electric winter, 12 kWh a day in the depth of it, in readings of less than
// two years that begin and end where it suits worst: nothing came, nothing left,
// and no growth can be said. By construction.
func TestOneWinterIsNoEvent(t *testing.T) {
	for _, first := range []int{0, 100, 200, 300} {
		for _, n := range []int{400, 480, 560, 640} {
			d := household(uint64(first+n), n, func(day int, _ *rand.Rand) float64 {
				return 12 * max(0, math.Cos(2*math.Pi*float64(day+first-17)/365.25))
			})
			d.First += first + 1826 - 19800%1826 // from 1 January on
			s := tell(d)
			if len(s.Groups) > 0 {
				t.Errorf("from day %d over %d days: %d events, the first of day %d", first, n, len(s.Groups), s.Groups[0].Day)
			}
			if design := s.Growth(new(fit.Workspace)); design.Drift >= 0 {
				t.Errorf("from day %d over %d days: a growth", first, n)
			}
		}
	}
}

// A step of 4 kWh a day that is clear at one month end is held as doubtful where
// the months after it grow restless, and stays what it was where they do not.
func TestAStepIsHeldInDoubt(t *testing.T) {
	for _, c := range []struct {
		restless float64
		doubtful bool
	}{{1, false}, {28, true}} {
		d := household(5, 900, func(day int, rng *rand.Rand) float64 {
			v := 0.0
			if day >= 560 {
				v = 3
			}
			if day >= 800 {
				v += c.restless * math.Sin(float64(day)/7) * rng.Float64()
			}
			return v
		})
		if s := tell(d.Until(800)); len(s.Steps) != 1 || s.Steps[0].Doubtful {
			t.Fatalf("at the earlier end: %+v", s.Steps)
		}
		s := tell(d)
		if len(s.Steps) != 1 || s.Steps[0].Doubtful != c.doubtful {
			t.Errorf("restless by %g: %+v", c.restless, s.Steps)
		}
	}
}

// A load that comes beside a known one, and one that is known though the days
// hardly show it: what is known keeps its day, and takes the energy that the days
// give it. By construction 1.2 kWh a day from day 400 and 6 from day 600.
func TestKnownStepsStay(t *testing.T) {
	d := household(7, 900, func(day int, _ *rand.Rand) float64 {
		v := 0.0
		if day >= 400 {
			v += 1.2
		}
		if day >= 600 {
			v += 6
		}
		return v
	})
	w := new(fit.Workspace)
	s := Tell(w, d, fit.NewColumns(w, d, fit.Weather{}), Steps{{Step: fit.Step{Day: 400}, Known: true, Low: 398, Top: 402}})
	if len(s.Steps) != 2 || s.Steps[0].Day != 400 || !s.Steps[0].Known || math.Abs(s.Steps[0].Beta-1.2) > 0.4 ||
		math.Abs(float64(s.Steps[1].Day-600)) > 3 || math.Abs(s.Steps[1].Beta-6) > 0.4 {
		t.Errorf("steps %+v", s.Steps)
	}
}
