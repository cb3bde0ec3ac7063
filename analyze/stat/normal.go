package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// NormalQuantile is Phi^-1(p), the standard normal value below which p lies.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// NormalTwoSided is the chance of a standard normal value farther from 0 than z.
func NormalTwoSided(z float64) float64 { return math.Erfc(math.Abs(z) / math.Sqrt2) }

// StudentQuantile is the p-quantile of Student's t with df degrees of freedom.
func StudentQuantile(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}
