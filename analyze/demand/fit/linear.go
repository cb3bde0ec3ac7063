package fit

import "math"

// Linear is a least-squares model of several targets on one set of columns. It
// grows column by column and tells for any further column how much of each
// target's residual it would explain.
//
// The columns are kept orthonormal, q'q = 1 (modified Gram-Schmidt, twice):
// for a column z the gain in a target's sum of squares is
//
//	gain = (z'r)² / (z'z - |Q'z|²)
//
// with r the residual, so that a whole family of columns z(τ) = x·1[i ≥ τ]
// is weighed with running sums in O(n·p).
type Linear struct {
	n     int
	resid [][]float64 // by target
	kept  [][]float64 // the residuals at the mark
	mark  int         // columns at the mark
	q     [][]float64 // orthonormal columns
	r     [][]float64 // column j = Σ r[j][k]·q[k]
	proj  []float64   // q'y of the first target
	rows  []float64   // q again, row by row: rows[i*stride+k] = q[k][i]
	acc   []float64
	free  [][]float64 // columns to take again
}

// stride is how many columns a model may hold.
const stride = 40

// MaxTargets is how many targets a model may have.
const MaxTargets = 5

// Reset starts over with targets and no column.
func (m *Linear) Reset(targets [][]float64) {
	m.free = append(m.free, m.q...)
	m.n = len(targets[0])
	m.q, m.r, m.proj = m.q[:0], m.r[:0], m.proj[:0]
	m.rows = Resize(m.rows, m.n*stride)
	m.resid = Resize(m.resid, len(targets))
	for t, y := range targets {
		m.resid[t] = Resize(m.resid[t], m.n)
		copy(m.resid[t], y)
	}
}

// Mark keeps the model as it is, for Rewind to come back to.
func (m *Linear) Mark() {
	m.mark = len(m.q)
	m.kept = Resize(m.kept, len(m.resid))
	for t, r := range m.resid {
		m.kept[t] = append(m.kept[t][:0], r...)
	}
}

// Rewind takes out every column that came after the mark.
func (m *Linear) Rewind() {
	m.free = append(m.free, m.q[m.mark:]...)
	m.q, m.r, m.proj = m.q[:m.mark], m.r[:m.mark], m.proj[:m.mark]
	for t, r := range m.kept {
		copy(m.resid[t], r)
	}
}

// Resid is what the columns leave of a target.
func (m *Linear) Resid(target int) []float64 { return m.resid[target] }

// Columns is how many columns are in.
func (m *Linear) Columns() int { return len(m.q) }

func (m *Linear) column() []float64 {
	if k := len(m.free); k > 0 {
		c := m.free[k-1]
		m.free = m.free[:k-1]
		return Resize(c, m.n)
	}
	return make([]float64, m.n)
}

// Add takes a column in; false, and nothing changes, where the columns before
// it already say the same.
func (m *Linear) Add(x []float64) bool {
	if len(m.q) == stride {
		return false
	}
	q := m.column()
	copy(q, x)
	r := make([]float64, len(m.q)+1)
	before := Dot(q, q)
	for range 2 {
		for k, other := range m.q {
			p := Dot(other, q)
			r[k] += p
			AXPY(q, -p, other)
		}
	}
	left := Dot(q, q)
	if !(left > 1e-9*before) {
		m.free = append(m.free, q)
		return false
	}
	norm := math.Sqrt(left)
	k := len(m.q)
	for i := range q {
		q[i] /= norm
		m.rows[i*stride+k] = q[i]
	}
	r[k] = norm
	m.q, m.r = append(m.q, q), append(m.r, r)
	for t, resid := range m.resid {
		p := Dot(q, resid)
		if t == 0 {
			m.proj = append(m.proj, p)
		}
		AXPY(resid, -p, q)
	}
	return true
}

// Solve gives the coefficients of the columns in the order they were added.
func (m *Linear) Solve() []float64 {
	p := len(m.q)
	b := make([]float64, p)
	for j := p - 1; j >= 0; j-- {
		v := m.proj[j]
		for k := j + 1; k < p; k++ {
			v -= float64(m.r[k][j] * b[k])
		}
		b[j] = v / m.r[j][j]
	}
	return b
}

// Weights gives w with coefficient j = w'y: the row of (X'X)⁻¹X'. Coefficient
// j = Σ_k (R⁻¹)_jk·q_k'y.
func (m *Linear) Weights(j int, w []float64) []float64 {
	p := len(m.q)
	w = Resize(w, m.n)
	clear(w)
	// Row j of R⁻¹ by forward substitution: (R⁻¹)_jj = 1/r_jj.
	inv := make([]float64, p)
	inv[j] = 1 / m.r[j][j]
	for k := j + 1; k < p; k++ {
		s := 0.0
		for i := j; i < k; i++ {
			s += float64(inv[i] * m.r[k][i])
		}
		inv[k] = -s / m.r[k][k]
	}
	for k := j; k < p; k++ {
		AXPY(w, inv[k], m.q[k])
	}
	return w
}

// Scan weighs the columns x·1[i ≥ τ] for every τ.
//
// Out:   beta[t][τ] the coefficient that the column would get for each target,
// and left[τ] what is new in it (z'z - |Q'z|²), so that the gain is beta²·left;
// left is 0 where less than a hundredth of the column is new.
func (m *Linear) Scan(x []float64, beta [][]float64, left []float64) {
	p := len(m.q)
	m.acc = Resize(m.acc, p)
	acc := m.acc
	clear(acc)
	var zr [MaxTargets]float64
	zz := 0.0
	for i := m.n - 1; i >= 0; i-- {
		if v := x[i]; v != 0 {
			for t, r := range m.resid {
				zr[t] += float64(v * r[i])
			}
			zz += float64(v * v)
			for k, q := range m.rows[i*stride : i*stride+p] {
				acc[k] += float64(v * q)
			}
		}
		new := zz
		for _, a := range acc {
			new -= float64(a * a)
		}
		left[i] = 0
		if new > 0.01*zz && zz > 0 {
			left[i] = new
			for t := range m.resid {
				beta[t][i] = zr[t] / new
			}
		}
	}
}

// Dot adds in four strands, always the same way: a chain of additions waits
// for itself.
func Dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	b = b[:len(a)]
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += float64(a[i] * b[i])
		s1 += float64(a[i+1] * b[i+1])
		s2 += float64(a[i+2] * b[i+2])
		s3 += float64(a[i+3] * b[i+3])
	}
	for ; i < len(a); i++ {
		s0 += float64(a[i] * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}

// AXPY adds k·x to y.
func AXPY(y []float64, k float64, x []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += float64(k * v)
	}
}
