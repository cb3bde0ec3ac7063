package stat

import "math"

// Fit is a linear regression.
type Fit struct {
	Coef      []float64 // Coef[0] the intercept, then one a column
	SE        []float64 // their standard errors
	N         int       // rows used
	SSE       float64   // weighted sum of squared residuals
	R2, AdjR2 float64
	Sigma     float64 // residual standard deviation, N - parameters below
}

// OLS fits y = b0 + b1 col1 + b2 col2 + … by least squares, with an intercept.
//
//	In:      columns as long as y; weights or nil; a row with a NaN, or a
//	         weight that is not positive, is skipped.
//	Out:     AdjR2 = 1 - (SSE/(N-c-1)) / (SST/(N-1)), c columns.
//	Refuses: columns that depend on each other (to 1e-10 of their size), or no
//	         more rows than parameters: ok is false.
//	Edges:   a y without spread has R2 NaN.
//	Source:  modified Gram-Schmidt with columns centred first; Bjoerck 1967
//	         (published).
//	Cost:    O(rows x columns^2), one copy of the columns.
func OLS(y, weights []float64, columns ...[]float64) (fit Fit, ok bool) {
	q, t, w := usable(y, weights, columns)
	n, c := len(t), len(columns)
	fit.N = n
	if n <= c+1 {
		return fit, false
	}
	yMean := centre(t, w)
	sst := dot(t, t, w)
	means := make([]float64, c)
	r := make([][]float64, c) // upper triangular: columns = q r
	proj := make([]float64, c)
	for j := range q {
		means[j] = centre(q[j], w)
		size := math.Sqrt(dot(q[j], q[j], w))
		r[j] = make([]float64, c)
		for i := range j {
			r[i][j] = dot(q[i], q[j], w)
			axpy(q[j], -r[i][j], q[i])
		}
		r[j][j] = math.Sqrt(dot(q[j], q[j], w))
		if !(r[j][j] > 1e-10*size) {
			return fit, false
		}
		for i := range q[j] {
			q[j][i] /= r[j][j]
		}
		proj[j] = dot(q[j], t, w)
		axpy(t, -proj[j], q[j]) // what is left of y: the residual
	}
	fit.SSE = dot(t, t, w)
	fit.Sigma = math.Sqrt(fit.SSE / float64(n-c-1))
	fit.R2 = 1 - fit.SSE/sst
	fit.AdjR2 = 1 - (fit.SSE/float64(n-c-1))/(sst/float64(n-1))
	fit.Coef, fit.SE = solveUpper(r, proj, means, yMean, fit.Sigma, sum(w))
	return fit, true
}

// solveUpper turns the triangular system into coefficients and their errors.
func solveUpper(r [][]float64, proj, means []float64, yMean, sigma, total float64) (coef, se []float64) {
	c := len(proj)
	coef, se = make([]float64, c+1), make([]float64, c+1)
	inv := make([][]float64, c) // r^-1; Var(b) = sigma^2 r^-1 r^-T
	for i := range inv {
		inv[i] = make([]float64, c)
	}
	for k := range c {
		for i := k; i >= 0; i-- {
			v := 0.0
			if i == k {
				v = 1
			}
			for j := i + 1; j <= k; j++ {
				v -= float64(r[i][j] * inv[j][k])
			}
			inv[i][k] = v / r[i][i]
		}
	}
	coef[0] = yMean
	intercept := 1 / total // Var(b0)/sigma^2 = 1/sum w + means' (X'X)^-1 means
	for i := range c {
		ss := 0.0
		for k := i; k < c; k++ {
			coef[i+1] += float64(inv[i][k] * proj[k])
			ss += float64(inv[i][k] * inv[i][k])
		}
		se[i+1] = sigma * math.Sqrt(ss)
		coef[0] -= float64(coef[i+1] * means[i])
	}
	for k := range c {
		v := 0.0
		for i := 0; i <= k; i++ {
			v += float64(inv[i][k] * means[i])
		}
		intercept += float64(v * v)
	}
	se[0] = sigma * math.Sqrt(intercept)
	return coef, se
}

// usable copies the rows that can be used.
func usable(y, weights []float64, columns [][]float64) (cols [][]float64, target, w []float64) {
	cols = make([][]float64, len(columns))
	for j := range cols {
		cols[j] = make([]float64, 0, len(y))
	}
row:
	for i := range y {
		wi := 1.0
		if weights != nil {
			wi = weights[i]
		}
		if y[i] != y[i] || !(wi > 0) {
			continue
		}
		for _, col := range columns {
			if col[i] != col[i] {
				continue row
			}
		}
		for j, col := range columns {
			cols[j] = append(cols[j], col[i])
		}
		target, w = append(target, y[i]), append(w, wi)
	}
	return cols, target, w
}

// centre takes the weighted mean off v, and returns it.
func centre(v, w []float64) float64 {
	s := 0.0
	for i := range v {
		s += float64(w[i] * v[i])
	}
	mean := s / sum(w)
	for i := range v {
		v[i] -= mean
	}
	return mean
}

func dot(a, b, w []float64) float64 {
	s := 0.0
	for i := range a {
		s += float64(a[i] * b[i] * w[i])
	}
	return s
}

// axpy adds k times x to y.
func axpy(y []float64, k float64, x []float64) {
	for i := range y {
		y[i] += float64(k * x[i])
	}
}

func sum(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s
}
