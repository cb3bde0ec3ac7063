package load

import (
	"math"
	"testing"
	"time"

	"rowen/ingest"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

// One pulse by hand: 0.4 kW, then half a quarter and three whole ones at 7.4 kW
// more, and a third of the last.
func TestOnePulse(t *testing.T) {
	day := ingest.NewCalendar(time.UTC, 0, 24)
	r := &Fine{step: 15, kw: make([]float32, 96), calendar: day}
	for k := range r.kw {
		r.kw[k] = 0.4
	}
	for k, share := range []float32{0.5, 1, 1, 1, 1. / 3} {
		r.kw[40+k] += 7.4 * share
	}
	r.findPulses()
	if len(r.pulses) != 1 {
		t.Fatalf("%d pulses: %v", len(r.pulses), r.pulses)
	}
	p := r.pulses[0]
	near(t, "height", float64(p.kw), 7.4, 0.01)
	near(t, "minutes", float64(p.minutes), 15*(3+0.5+1./3), 0.1)
	near(t, "energy", float64(p.kwh), 7.4*(3+0.5+1./3)/4, 0.01)
	if p.day != 0 || p.slot != 40 {
		t.Errorf("day %d, slot %d", p.day, p.slot)
	}
	// Sawteeth keep no level, and a step that stays never falls.
	for _, shape := range [][]float32{{3, 6, 3.5, 7, 3}, {5, 4, 3, 2, 1}} {
		r = &Fine{step: 15, kw: make([]float32, 96), calendar: day}
		copy(r.kw[40:], shape)
		r.findPulses()
		for _, p := range r.pulses {
			if p.minutes >= rectangleMinutes {
				t.Errorf("%v is a rectangle: %v", shape, p)
			}
		}
	}
	r = &Fine{step: 15, kw: make([]float32, 96), calendar: day}
	for k := 40; k < 96; k++ {
		r.kw[k] = 5
	}
	if r.findPulses(); len(r.pulses) != 0 {
		t.Errorf("a step that stays: %v", r.pulses)
	}
}
