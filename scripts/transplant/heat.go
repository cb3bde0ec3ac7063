package main

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Heating that homes have had all along.
const (
	heatNone = iota
	heatStorage
	heatPanels
	heatInstantWater
)

// heat adds one kind to a generated home, from the first day on. The figures are
// usual ones (our choice): storage heaters of 6 kW charge from 10 pm to 6 am,
// panels of 2 kW cycle with the cold, an instant water heater of 18 kW runs for
// minutes.
func (h *home) heat(kind int, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 77))
	perDay, hours := h.slots(), float64(h.step)/60
	cold := 0.0
	for d := range h.days() {
		season := math.Cos(2 * math.Pi * float64(h.first.AddDate(0, 0, d).YearDay()-20) / 365.25)
		if h.lat < 0 {
			season = -season
		}
		cold = 0.7*cold + 0.3*1.8*rng.NormFloat64()
		need := math.Max(0, 0.45+0.55*season+0.12*cold) // 0 to about 1.2
		if need < 0.15 {
			need = 0
		}
		day := h.kwh[d*perDay : (d+1)*perDay]
		switch kind {
		case heatStorage:
			left := 6 * 7 * need * (0.9 + 0.2*rng.Float64())
			for k := 0; k < perDay && left > 0; k++ {
				s := (k + 22*perDay/24) % perDay // from 10 pm; the hours after midnight are this day's
				e := math.Min(left, 6*hours)
				day[s] += e
				left -= e
			}
		case heatPanels:
			for s := range day {
				for range 3 {
					if rng.Float64() < 0.4*need {
						day[s] += 2 * hours * rng.Float64()
					}
				}
			}
		case heatInstantWater:
			for range 4 + rng.IntN(5) {
				at := (6 + 16*rng.Float64()) * float64(perDay) / 24
				day[int(at)] += 18 * (2 + 8*rng.Float64()) / 60
			}
		}
	}
	h.name += fmt.Sprintf("_%s", [...]string{"plain", "storage", "panels", "instant_water"}[kind])
}
