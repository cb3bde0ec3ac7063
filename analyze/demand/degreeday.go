package demand

import "math"

// degreeDays is one fitted degree-day model of daily use:
//
//	UPD = μ + βH·HDD + βC·CDD
//	HDD = max(TbH - T̄d, 0), CDD = max(T̄d - TbC, 0)
//
// A term that is not in the model has a balance point of NaN and a slope of 0.
type degreeDays struct {
	mu, betaH, betaC         float64 // of y a day, of y a K·day
	heatBalance, coolBalance float64 // °C
	adjR2, r2                float64
	n, terms                 int     // days, regressors without the intercept
	ss                       float64 // residual sum of squares
	meanY                    float64
}

// balanceGrid is the balance points tried, in °C.
type balanceGrid struct {
	low, step float64
	n         int
}

// defaultGrid spans -1 to 32 °C by 1 °C (CalTRACK 3.2 asks for 30 to 90 °F in
// steps of at most 3 °F).
var defaultGrid = balanceGrid{low: -1, step: 1, n: 34}

// Least evidence for a term (CalTRACK 3.2): days with degree days, and
// degree days in sum.
const (
	minDegreeDayDays = 10
	minDegreeDaySum  = 100.0 / 9 // 20 °F·days in K·days
)

// cvrmse is 100·√(Σ(y-ŷ)²/(n-p))/ȳ with p all parameters (ASHRAE 14).
func (m *degreeDays) cvrmse() float64 {
	return 100 * math.Sqrt(m.ss/float64(m.n-m.terms-1)) / m.meanY
}

// degreeColumns are a grid's degree days by balance point and day, K·day.
type degreeColumns struct {
	grid       balanceGrid
	heat, cool [][]float64 // by balance point, then day; NaN: no temperature
}

// degreeHours takes degree days from the hours themselves, the mean over the
// day's hours of max(Tb - T, 0), where CalTRACK takes the day's mean: a day
// that is cold at night and warm at noon heats and cools, and its mean hides
// both. For every hour max(T-Tb, 0) = max(Tb-T, 0) - (Tb - T).
//
// Cost: O(hours x grid).
func degreeHours(c *calendar, tempC []float64, grid balanceGrid, memory *[]float64) degreeColumns {
	n := c.days()
	flat := resize(*memory, 2*grid.n*n)
	*memory = flat
	col := degreeColumns{grid: grid, heat: make([][]float64, grid.n), cool: make([][]float64, grid.n)}
	for k := range grid.n {
		col.heat[k], col.cool[k] = flat[2*k*n:(2*k+1)*n], flat[(2*k+1)*n:(2*k+2)*n]
	}
	sum := make([]float64, grid.n)
	for d := range n {
		clear(sum)
		total, hours := 0.0, 0
		for _, t := range tempC[c.dayStart[d]:c.dayStart[d+1]] {
			if math.IsNaN(t) {
				continue
			}
			total += t
			hours++
			for k := range sum {
				if b := grid.low + grid.step*float64(k); b > t {
					sum[k] += b - t
				}
			}
		}
		known := hours > 0 && 2*hours >= int(c.dayStart[d+1]-c.dayStart[d])
		for k := range sum {
			h, b := sum[k]/float64(hours), grid.low+grid.step*float64(k)
			if !known {
				h = math.NaN()
			}
			col.heat[k][d], col.cool[k][d] = h, max(h-(b-total/float64(hours)), 0)
		}
	}
	return col
}

// at gives the column nearest to a balance point; a day without temperature
// takes the mean of the days a year off and beside it, or none.
func (c *degreeColumns) at(columns [][]float64, balanceC float64) []float64 {
	k := c.index(balanceC)
	out := make([]float64, len(columns[k]))
	copy(out, columns[k])
	for d, v := range out {
		if math.IsNaN(v) {
			out[d] = orDefault(seasonalGuess(columns[k], d), 0)
		}
	}
	return out
}

func (c *degreeColumns) index(balanceC float64) int {
	return min(max(int(math.Round((balanceC-c.grid.low)/c.grid.step)), 0), c.grid.n-1)
}

// fitDegreeHours searches the balance points for the model of the highest
// adjusted R².
//
// In:      y a day, NaN: does not count; root is the root of a day's weight
// (nil: 1); columns of degree hours, or of daily means as CalTRACK has them.
// Out:     the best model that qualifies: μ and every slope above 0, the
// cooling balance point not below the heating one.
// Refuses: false where no day is left.
// Edges:   the intercept alone has an adjusted R² of 0 and always qualifies;
// the first found wins a tie, in the order intercept, HDD, CDD, HDD+CDD, the
// heating balance point outermost.
// Source:  CalTRACK Methods 2.0, 3.2 to 3.4 (published).
// Cost:    O(grid²·days), half a million products for thirty months.
func fitDegreeHours(y, root []float64, c *degreeColumns) (degreeDays, bool) {
	days, r := make([]int, 0, len(y)), make([]float64, 0, len(y))
	mean, weight := 0.0, 0.0
	for d, v := range y {
		if math.IsNaN(v) || math.IsNaN(c.heat[0][d]) {
			continue
		}
		w := 1.0
		if root != nil {
			w = root[d]
		}
		days, r = append(days, d), append(r, w)
		mean += w * w * v
		weight += w * w
	}
	n := len(days)
	if n == 0 {
		return degreeDays{}, false
	}
	mean /= weight
	centred, syy := make([]float64, n), 0.0
	for i, d := range days {
		centred[i] = (y[d] - mean) * r[i]
		syy += centred[i] * centred[i]
	}
	type term struct {
		x      []float64
		mx     float64
		xx, xy float64
		enough bool
	}
	prepare := func(columns [][]float64) []term {
		out := make([]term, len(columns))
		for k, col := range columns {
			t := term{x: make([]float64, n)}
			sum, weighted, active := 0.0, 0.0, 0
			for i, d := range days {
				t.x[i] = col[d]
				sum += col[d]
				weighted += r[i] * r[i] * col[d]
				if col[d] > 0 {
					active++
				}
			}
			t.enough = active >= minDegreeDayDays && sum >= minDegreeDaySum
			t.mx = weighted / weight
			for i := range t.x {
				t.x[i] = (t.x[i] - t.mx) * r[i]
			}
			t.xx, t.xy = dot(t.x, t.x), dot(t.x, centred)
			t.enough = t.enough && t.xx > 0
			out[k] = t
		}
		return out
	}
	heat, cool := prepare(c.heat), prepare(c.cool)
	nan := math.NaN()
	best := degreeDays{mu: mean, heatBalance: nan, coolBalance: nan, n: n, ss: syy, meanY: mean}
	if syy == 0 {
		return best, true
	}
	consider := func(m degreeDays) {
		if m.mu <= 0 || n <= m.terms+1 {
			return
		}
		m.r2 = 1 - m.ss/syy
		m.adjR2 = 1 - (m.ss/float64(n-m.terms-1))/(syy/float64(n-1))
		m.n, m.meanY = n, mean
		if m.adjR2 > best.adjR2 {
			best = m
		}
	}
	balance := func(k int) float64 { return c.grid.low + c.grid.step*float64(k) }
	for k, h := range heat {
		if b := h.xy / h.xx; h.enough && b > 0 {
			consider(degreeDays{mu: mean - b*h.mx, betaH: b, heatBalance: balance(k), coolBalance: nan, terms: 1, ss: syy - b*h.xy})
		}
	}
	for k, h := range cool {
		if b := h.xy / h.xx; h.enough && b > 0 {
			consider(degreeDays{mu: mean - b*h.mx, betaC: b, coolBalance: balance(k), heatBalance: nan, terms: 1, ss: syy - b*h.xy})
		}
	}
	for i := range heat {
		h := &heat[i]
		if !h.enough {
			continue
		}
		for j := i; j < len(cool); j++ {
			k := &cool[j]
			if !k.enough {
				continue
			}
			hc := dot(h.x, k.x)
			det := h.xx*k.xx - hc*hc
			if det <= 1e-12*h.xx*k.xx {
				continue
			}
			bh, bc := (k.xx*h.xy-hc*k.xy)/det, (h.xx*k.xy-hc*h.xy)/det
			if bh > 0 && bc > 0 {
				consider(degreeDays{mu: mean - bh*h.mx - bc*k.mx, betaH: bh, betaC: bc,
					heatBalance: balance(i), coolBalance: balance(j), terms: 2, ss: syy - bh*h.xy - bc*k.xy})
			}
		}
	}
	return best, true
}

// fitRelative is fitDegreeHours with the days weighted by 1/ŷ², twice over: a
// household's noise grows with its use, so that the cold and the hot days are
// the noisy ones and plain least squares lets them move the balance points,
// which the mild days know best.
//
// Source: iteratively reweighted least squares (from memory); CalTRACK weighs
// days alike. The floor of a fifth of the mean is our choice.
func fitRelative(y []float64, c *degreeColumns) (degreeDays, bool) {
	m, ok := fitDegreeHours(y, nil, c)
	root := make([]float64, len(y))
	for pass := 0; ok && pass < 2 && m.meanY > 0; pass++ {
		for d := range root {
			root[d] = m.meanY / max(m.predictHours(c, d), 0.2*m.meanY)
		}
		m, ok = fitDegreeHours(y, root, c)
	}
	return m, ok
}

// predictHours is the model's use on a day of the columns.
func (m *degreeDays) predictHours(c *degreeColumns, d int) float64 {
	use := m.mu
	if m.betaH > 0 {
		use += m.betaH * c.heat[c.index(m.heatBalance)][d]
	}
	if m.betaC > 0 {
		use += m.betaC * c.cool[c.index(m.coolBalance)][d]
	}
	return use
}
