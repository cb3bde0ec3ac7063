package demand

import (
	"math"
	"time"

	"rowen/analyze/stat"
)

// coverageTrend is the Theil-Sen slope of the months' production / consumption
// against the same months of the first year, so that the season does not enter.
//
// Refuses: NaN under 18 months.
// Source:  section 7.1 of the method.
func coverageTrend(months []Month) Coverage {
	var at, pts []float64
	first := map[time.Month]float64{}
	for k, m := range months {
		cover := 100 * m.ProductionKWh / m.ConsumptionKWh
		if math.IsNaN(cover) || math.IsInf(cover, 0) {
			continue
		}
		base, ok := first[m.First.Month()]
		if !ok {
			first[m.First.Month()] = cover
			base = cover
		}
		at, pts = append(at, float64(k)/12), append(pts, cover-base)
	}
	if len(at) < 18 {
		return Coverage{math.NaN(), math.NaN(), math.NaN()}
	}
	t := stat.TheilSen(at, pts, 0.9)
	return Coverage{t.Slope, t.Low, t.High}
}
