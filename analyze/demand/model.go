package demand

import "math"

// linear is a least-squares model that grows column by column and tells for
// any further column how much of the residual it would explain.
//
// The columns are kept orthonormal, q'q = 1 (modified Gram-Schmidt, twice):
// for a column z the gain in the sum of squares is
//
//	gain = (z'r)² / (z'z - |Q'z|²)
//
// with r the residual, so that a whole family of columns z(τ) = x·1[i ≥ τ]
// is weighed with running sums in O(n·p).
type linear struct {
	n     int
	y     []float64 // the target
	resid []float64
	q     [][]float64 // orthonormal columns
	r     [][]float64 // column j = Σ r[j][k]·q[k]
	proj  []float64   // q'y
	free  [][]float64 // columns to take again
}

// reset starts over with a target and no column.
func (m *linear) reset(y []float64) {
	m.free = append(m.free, m.q...)
	m.n, m.y = len(y), y
	m.q, m.r, m.proj = m.q[:0], m.r[:0], m.proj[:0]
	m.resid = resize(m.resid, m.n)
	copy(m.resid, y)
}

func (m *linear) column() []float64 {
	if k := len(m.free); k > 0 {
		c := m.free[k-1]
		m.free = m.free[:k-1]
		return resize(c, m.n)
	}
	return make([]float64, m.n)
}

// add takes a column in; false, and nothing changes, where the columns before
// it already say the same.
func (m *linear) add(x []float64) bool {
	q := m.column()
	copy(q, x)
	r := make([]float64, len(m.q)+1)
	before := dot(q, q)
	for range 2 {
		for k, other := range m.q {
			p := dot(other, q)
			r[k] += p
			axpy(q, -p, other)
		}
	}
	left := dot(q, q)
	if !(left > 1e-9*before) {
		m.free = append(m.free, q)
		return false
	}
	norm := math.Sqrt(left)
	for i := range q {
		q[i] /= norm
	}
	r[len(m.q)] = norm
	m.q = append(m.q, q)
	m.r = append(m.r, r)
	p := dot(q, m.resid)
	m.proj = append(m.proj, p)
	axpy(m.resid, -p, q)
	return true
}

// pop takes the last column out again.
func (m *linear) pop() {
	k := len(m.q) - 1
	axpy(m.resid, m.proj[k], m.q[k])
	m.free = append(m.free, m.q[k])
	m.q, m.r, m.proj = m.q[:k], m.r[:k], m.proj[:k]
}

// solve gives the coefficients of the columns in the order they were added.
func (m *linear) solve() []float64 {
	p := len(m.q)
	b := make([]float64, p)
	for j := p - 1; j >= 0; j-- {
		v := m.proj[j]
		for k := j + 1; k < p; k++ {
			v -= m.r[k][j] * b[k]
		}
		b[j] = v / m.r[j][j]
	}
	return b
}

// weights gives w with coefficient j = w'y: the row of (X'X)⁻¹X'. Coefficient
// j = Σ_k (R⁻¹)_jk·q_k'y.
func (m *linear) weights(j int, w []float64) []float64 {
	p := len(m.q)
	w = resize(w, m.n)
	clear(w)
	// Row j of R⁻¹ by forward substitution: (R⁻¹)_jj = 1/r_jj.
	inv := make([]float64, p)
	inv[j] = 1 / m.r[j][j]
	for k := j + 1; k < p; k++ {
		s := 0.0
		for i := j; i < k; i++ {
			s += inv[i] * m.r[k][i]
		}
		inv[k] = -s / m.r[k][k]
	}
	for k := j; k < p; k++ {
		axpy(w, inv[k], m.q[k])
	}
	return w
}

// scan weighs the columns x·1[i ≥ τ] for every τ: gain[τ] is what each would
// take off the sum of squares. A τ whose column is nearly in the model
// already (less than a hundredth of it is new) has gain 0.
func (m *linear) scan(x, gain []float64, acc []float64) []float64 {
	gain = resize(gain, m.n)
	p := len(m.q)
	acc = acc[:p]
	clear(acc)
	zr, zz := 0.0, 0.0
	for i := m.n - 1; i >= 0; i-- {
		gain[i] = 0
		v := x[i]
		if v != 0 {
			zr += v * m.resid[i]
			zz += v * v
			for k := range acc {
				acc[k] += v * m.q[k][i]
			}
		}
		new := zz
		for _, a := range acc {
			new -= a * a
		}
		if new > 0.01*zz && zz > 0 {
			gain[i] = zr * zr / new
		}
	}
	return gain
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func axpy(y []float64, k float64, x []float64) {
	for i, v := range x {
		y[i] += float64(k * v)
	}
}
