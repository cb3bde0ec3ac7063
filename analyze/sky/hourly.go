package sky

import (
	"rowen/analyze/sun"
	"rowen/ingest"
)

// Hourly is the hours of a site that something is read off: a facing, a level,
// a sky.
type Hourly struct {
	Sun      *sun.Hours
	Calendar *ingest.Calendar // over the same hours
	Wh       []float64        // AC energy, NaN missing
	TempC    []float64
	K        []float64 // the sky by hour, or nil: days that look clear are taken as K = 1
}
