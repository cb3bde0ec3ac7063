package rank

import (
	"math"

	"rowen/ingest/samebits"
)

// confidence is how far the judgement may be trusted, 0 to 1: the product of
// how complete the readings are, how long they are (two years count in full),
// how narrow next year's use and the plane's output are known, and 0.7 for each
// ceiling that must be found out and 0.9 for what can be asked on the call. The
// factors are our choice.
func confidence(c Case) float64 {
	p := clamp(c.DataCoveragePct/100, 0, 1) * clamp(float64(c.DataDays)/730, 0.2, 1)
	if !math.IsNaN(c.DemandRelWidth) {
		p *= clamp(1-float64(c.DemandRelWidth/2), 0.3, 1)
	}
	if !math.IsNaN(c.PlaneRelSD) {
		p *= clamp(1-c.PlaneRelSD, 0.3, 1)
	}
	p *= samebits.Pow(0.7, float64(len(c.Unknown)))
	p *= samebits.Pow(0.9, float64(len(c.ToAsk)))
	p *= samebits.Pow(0.98, float64(c.Caveats))
	if len(c.Refusals) > 0 {
		p = 0
	}
	if c.TariffRefused {
		p *= 0.5
	}
	return math.Round(p*1000) / 1000
}
