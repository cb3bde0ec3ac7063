package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// NormalQuantile is Phi^-1(p), the standard normal value below which p lies.
func NormalQuantile(p float64) float64 {
	return twelveDigits(distuv.UnitNormal.Quantile(p))
}

// StudentQuantile is the p-quantile of Student's t with df degrees of freedom.
func StudentQuantile(p, df float64) float64 {
	return twelveDigits(distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p))
}

// twelveDigits rounds to 12 digits behind the point: the library's last bits
// are not the same on every processor.
func twelveDigits(x float64) float64 { return math.Round(x*1e12) / 1e12 }
