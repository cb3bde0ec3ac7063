package rank

import (
	"fmt"
	"math"

	"rowen/ingest/samebits"
)

// Factor is one part of the confidence, 0 to 1, with what it is for.
type Factor struct {
	Value float64
	Says  string
}

// confidence is how far the judgement may be trusted, 0 to 1: the product of
// factors that are our choice. Factors of one are left out of what is said.
func confidence(c *Case) (product float64, said []Factor) {
	product = 1
	by := func(value float64, format string, args ...any) {
		product *= value
		if value < 1 {
			said = append(said, Factor{value, fmt.Sprintf(format, args...)})
		}
	}
	by(clamp(c.DataCoveragePct/100, 0, 1), "%.0f %% of the hours were read", c.DataCoveragePct)
	by(clamp(float64(c.DataDays)/730, 0.2, 1), "%d days of two years", c.DataDays)
	if !math.IsNaN(c.DemandRelWidth) {
		by(clamp(1-float64(c.DemandRelWidth/2), 0.3, 1), "next year's consumption is known to %.0f %%", 50*c.DemandRelWidth)
	}
	if !math.IsNaN(c.PlaneRelSD) {
		by(clamp(1-c.PlaneRelSD, 0.3, 1), "the new modules' output is known to %.0f %%", 100*c.PlaneRelSD)
	}
	by(samebits.Pow(0.7, float64(len(c.Unknown))), "%d things to find out before an offer", len(c.Unknown))
	by(samebits.Pow(0.9, float64(len(c.ToAsk))), "%d things to ask on the call", len(c.ToAsk))
	by(samebits.Pow(0.98, float64(c.Caveats)), "%d caveats", c.Caveats)
	if c.TariffRefused {
		by(0.5, "the tariff could not be used")
	}
	if len(c.Refusals) > 0 {
		by(0, "what is needed for a judgment is not known")
	}
	return math.Round(product*1000) / 1000, said
}
