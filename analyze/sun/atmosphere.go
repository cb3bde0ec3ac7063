package sun

import (
	"math"

	"rowen/ingest/samebits"
)

func extraterrestrial(dayOfYear, solarConstant float64) float64 {
	b := 2 * math.Pi * (dayOfYear - 1) / 365
	return solarConstant * (1.00011 + float64(0.034221*samebits.Cos(b)) + float64(0.00128*samebits.Sin(b)) +
		float64(0.000719*samebits.Cos(2*b)) + float64(0.000077*samebits.Sin(2*b)))
}

// AirMass is the relative optical air mass at an apparent zenith.
//
//	AM = 1/(cos z + 0.50572 (96.07995 - z)^-1.6364)
//
//	Refuses: z > 90 gives NaN.
//	Source:  Kasten and Young, Applied Optics 28 (1989) 4735 (published).
func AirMass(apparentZenithDeg float64) float64 {
	if apparentZenithDeg > 90 {
		return math.NaN()
	}
	return 1 / (samebits.Cos(apparentZenithDeg*rad) + float64(0.50572*samebits.Pow(96.07995-apparentZenithDeg, -1.6364)))
}

// PressurePa is the mean air pressure at a height above the sea.
//
//	P = 100 ((44331.514 - h)/11880.516)^(1/0.1902632)
//
//	Source: standard atmosphere (computed, methods 1.6).
func PressurePa(elevationM float64) float64 {
	return 100 * samebits.Pow((44331.514-elevationM)/11880.516, 1/0.1902632)
}
