package stat

import (
	"gonum.org/v1/gonum/stat/distuv"
)

// NormalQuantile is Phi^-1(p), the standard normal value below which p lies.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// StudentQuantile is the p-quantile of Student's t with df degrees of freedom.
func StudentQuantile(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}
