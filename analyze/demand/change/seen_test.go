package change

import (
	"testing"

	"rowen/analyze/demand/fit"
)

// Two years with 100 days of heat in each, days 100 to 199: a third of a
// season (33.4 of a normal year's 100.07) is seen when day 133 is over; as much
// is left before day 565 - 34, and a tenth (10.007, so eleven days) before 554.
func TestWellSeen(t *testing.T) {
	d := &fit.Days{KWh: make([]float64, 730), Counted: make([]bool, 730)}
	x := make([]float64, 730)
	for k := range x {
		d.Counted[k] = true
		if k%365 >= 100 && k%365 < 200 {
			x[k] = 1
		}
	}
	for _, c := range []struct {
		what     fit.Answer
		from, to int
	}{{fit.ToHeat, 134, 531}, {fit.ToCold, 134, 554}, {fit.ToNothing, 0, 730}} {
		if from, to := wellSeen(d, &fit.Column{What: c.what, X: x, Year: 100 * 365.25 / 365}, false); from != c.from || to != c.to {
			t.Errorf("answer %d is seen from day %d to %d, want %d to %d", c.what, from, to, c.from, c.to)
		}
	}
}
