package sun

import (
	"math"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// TypicalTempC is a rough air temperature by latitude, season and hour of the
// sun, for sites without weather.
//
//	T = 27 - 0.0085 lat^2 + A cos(2 pi (day - 205)/365) + 5 cos(2 pi (solar hour - 15)/24)
//	A = min(0.3 |lat|, 15); half a year later in the south
//
//	In:      place; the hour (its middle counts).
//	Edges:   an error of 5 to 10 degrees is usual: 2 to 3.5 % of power. Say so
//	         wherever it is used.
//	Source:  common practice: zonal means over land near sea level, warmest
//	         five weeks after the solstice and three hours after noon; the
//	         constants are our choice.
func TypicalTempC(latDeg, lonDeg float64, h ingest.Hour) float64 {
	hours := float64(h) + 0.5
	day := mod(hours/24, 365.2425) + 1 // 1970-01-01 is day 1; leap years average out
	peak := 205.0
	if latDeg < 0 {
		peak += 182.6
	}
	season := min(0.3*math.Abs(latDeg), 15)
	return 27 - float64(0.0085*latDeg*latDeg) + float64(season*samebits.Cos(2*math.Pi*(day-peak)/365.2425)) +
		float64(5*samebits.Cos(2*math.Pi*(mod(hours+lonDeg/15, 24)-15)/24))
}
