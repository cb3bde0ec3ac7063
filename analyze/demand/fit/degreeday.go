package fit

import "math"

// DegreeDays is one fitted degree-day model of daily use:
//
//	UPD = μ + βH·HDD + βC·CDD
//	HDD = max(TbH - T̄d, 0), CDD = max(T̄d - TbC, 0)
//
// A term that is not in the model has a balance point of NaN and a slope of 0.
type DegreeDays struct {
	Mu, BetaH, BetaC           float64 // of y a day, of y a K·day
	HeatBalanceC, CoolBalanceC float64 // °C
	AdjR2, R2                  float64
	n, terms                   int     // days, regressors without the intercept
	ss                         float64 // residual sum of squares
	MeanY                      float64
}

// BalanceGrid is the balance points tried, in °C.
type BalanceGrid struct {
	Low, Step float64
	N         int
}

// DefaultGrid spans -1 to 32 °C by 1 °C (CalTRACK 3.2 asks for 30 to 90 °F in
// steps of at most 3 °F).
var DefaultGrid = BalanceGrid{Low: -1, Step: 1, N: 34}

// Least evidence for a term (CalTRACK 3.2): days with degree days, and
// degree days in sum.
const (
	MinDegreeDayDays = 10
	minDegreeDaySum  = 100.0 / 9 // 20 °F·days in K·days
)

// DegreeColumns are a grid's degree days by balance point and day, K·day.
type DegreeColumns struct {
	Grid       BalanceGrid
	Heat, Cool [][]float64 // by balance point, then day; NaN: no temperature
}

// DegreeHours takes degree days from the hours themselves, the mean over the
// day's hours of max(Tb - T, 0), where CalTRACK takes the day's mean: a day
// that is cold at night and warm at noon heats and cools, and its mean hides
// both. For every hour max(T-Tb, 0) = max(Tb-T, 0) - (Tb - T).
//
// Cost: O(hours x grid).
func DegreeHours(n int, w Weather, grid BalanceGrid, memory *[]float64) *DegreeColumns {
	flat := Resize(*memory, 2*grid.N*n)
	*memory = flat
	col := &DegreeColumns{Grid: grid, Heat: make([][]float64, grid.N), Cool: make([][]float64, grid.N)}
	for k := range grid.N {
		col.Heat[k], col.Cool[k] = flat[2*k*n:(2*k+1)*n], flat[(2*k+1)*n:(2*k+2)*n]
	}
	sum := make([]float64, grid.N)
	for d := range n {
		clear(sum)
		total, hours := 0.0, 0
		lo, hi := w.DayHours(d)
		for _, t := range w.HourC[lo:hi] {
			if math.IsNaN(t) {
				continue
			}
			total += t
			hours++
			for k := range sum {
				if b := grid.Low + float64(grid.Step*float64(k)); b > t {
					sum[k] += b - t
				}
			}
		}
		known := hours > 0 && 2*hours >= hi-lo
		for k := range sum {
			h, b := sum[k]/float64(hours), grid.Low+float64(grid.Step*float64(k))
			if !known {
				h = math.NaN()
			}
			col.Heat[k][d], col.Cool[k][d] = h, max(h-(b-total/float64(hours)), 0)
		}
	}
	return col
}

// seasonalGuess is the mean of the days beside, and of a year before and after.
func seasonalGuess(t []float64, d int) float64 {
	s, k := 0.0, 0
	for _, at := range [...]int{d - 365, d + 365, d - 1, d + 1} {
		if at >= 0 && at < len(t) && !math.IsNaN(t[at]) {
			s += t[at]
			k++
		}
	}
	if k == 0 {
		return math.NaN()
	}
	return s / float64(k)
}

func (c *DegreeColumns) balance(k int) float64 { return c.Grid.Low + float64(c.Grid.Step*float64(k)) }

func (c *DegreeColumns) index(balanceC float64) int {
	return min(max(int(math.Round((balanceC-c.Grid.Low)/c.Grid.Step)), 0), c.Grid.N-1)
}

// FitDegreeHours searches the balance points for the model of the highest
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
func FitDegreeHours(y, root []float64, c *DegreeColumns) (DegreeDays, bool) {
	g, ok := newDegreeSearch(y, root, c)
	if !ok {
		return DegreeDays{}, false
	}
	if g.syy == 0 {
		return g.best, true
	}
	heat, cool := g.terms(c.Heat), g.terms(c.Cool)
	nan := math.NaN()
	for k, h := range heat {
		if b := h.xy / h.xx; h.enough && b > 0 {
			g.consider(DegreeDays{Mu: g.mean - float64(b*h.mx), BetaH: b, HeatBalanceC: c.balance(k), CoolBalanceC: nan, terms: 1, ss: g.syy - float64(b*h.xy)})
		}
	}
	for k, h := range cool {
		if b := h.xy / h.xx; h.enough && b > 0 {
			g.consider(DegreeDays{Mu: g.mean - float64(b*h.mx), BetaC: b, CoolBalanceC: c.balance(k), HeatBalanceC: nan, terms: 1, ss: g.syy - float64(b*h.xy)})
		}
	}
	for i := range heat {
		for j := i; heat[i].enough && j < len(cool); j++ {
			g.both(&heat[i], &cool[j], c.balance(i), c.balance(j))
		}
	}
	return g.best, true
}

// degreeSearch is one search of the balance points.
type degreeSearch struct {
	days    []int     // that count
	root    []float64 // roots of their weights
	weight  float64   // sum of the weights
	mean    float64   // of y
	centred []float64 // y less its mean, times the root
	syy     float64
	best    DegreeDays
}

// degreeTerm is one balance point's column, centred.
type degreeTerm struct {
	x      []float64
	mx     float64
	xx, xy float64
	enough bool
}

func newDegreeSearch(y, root []float64, c *DegreeColumns) (*degreeSearch, bool) {
	g := &degreeSearch{days: make([]int, 0, len(y)), root: make([]float64, 0, len(y))}
	for d, v := range y {
		if math.IsNaN(v) || math.IsNaN(c.Heat[0][d]) {
			continue
		}
		w := 1.0
		if root != nil {
			w = root[d]
		}
		g.days, g.root = append(g.days, d), append(g.root, w)
		g.mean += float64(w * w * v)
		g.weight += float64(w * w)
	}
	n := len(g.days)
	if n == 0 {
		return nil, false
	}
	g.mean /= g.weight
	g.centred = make([]float64, n)
	for i, d := range g.days {
		g.centred[i] = (y[d] - g.mean) * g.root[i]
		g.syy += float64(g.centred[i] * g.centred[i])
	}
	g.best = DegreeDays{Mu: g.mean, HeatBalanceC: math.NaN(), CoolBalanceC: math.NaN(), n: n, ss: g.syy, MeanY: g.mean}
	return g, true
}

func (g *degreeSearch) terms(columns [][]float64) []degreeTerm {
	out := make([]degreeTerm, len(columns))
	for k, col := range columns {
		t := degreeTerm{x: make([]float64, len(g.days))}
		sum, weighted, active := 0.0, 0.0, 0
		for i, d := range g.days {
			t.x[i] = col[d]
			sum += col[d]
			weighted += float64(g.root[i] * g.root[i] * col[d])
			if col[d] > 0 {
				active++
			}
		}
		t.enough = active >= MinDegreeDayDays && sum >= minDegreeDaySum
		t.mx = weighted / g.weight
		for i := range t.x {
			t.x[i] = (t.x[i] - t.mx) * g.root[i]
		}
		t.xx, t.xy = Dot(t.x, t.x), Dot(t.x, g.centred)
		t.enough = t.enough && t.xx > 0
		out[k] = t
	}
	return out
}

// consider keeps a model where it qualifies and fits better.
func (g *degreeSearch) consider(m DegreeDays) {
	n := len(g.days)
	if m.Mu <= 0 || n <= m.terms+1 {
		return
	}
	m.R2 = 1 - m.ss/g.syy
	m.AdjR2 = 1 - (m.ss/float64(n-m.terms-1))/(g.syy/float64(n-1))
	m.n, m.MeanY = n, g.mean
	if m.AdjR2 > g.best.AdjR2 {
		g.best = m
	}
}

// both considers heating and cooling together.
func (g *degreeSearch) both(h, k *degreeTerm, heatC, coolC float64) {
	if !k.enough {
		return
	}
	hc := Dot(h.x, k.x)
	det := float64(h.xx*k.xx) - float64(hc*hc)
	if det <= 1e-12*h.xx*k.xx {
		return
	}
	bh, bc := (float64(k.xx*h.xy)-float64(hc*k.xy))/det, (float64(h.xx*k.xy)-float64(hc*h.xy))/det
	if bh > 0 && bc > 0 {
		g.consider(DegreeDays{Mu: g.mean - float64(bh*h.mx) - float64(bc*k.mx), BetaH: bh, BetaC: bc,
			HeatBalanceC: heatC, CoolBalanceC: coolC, terms: 2, ss: g.syy - float64(bh*h.xy) - float64(bc*k.xy)})
	}
}

// FitRelative is FitDegreeHours with the days weighted by 1/ŷ², twice over: a
// household's noise grows with its use, so that the cold and the hot days are
// the noisy ones and plain least squares lets them move the balance points,
// which the mild days know best.
//
// Source: iteratively reweighted least squares (from memory); CalTRACK weighs
// days alike. The floor of a fifth of the mean is our choice.
func FitRelative(y []float64, c *DegreeColumns) (DegreeDays, bool) {
	m, ok := FitDegreeHours(y, nil, c)
	root := make([]float64, len(y))
	for pass := 0; ok && pass < 2 && m.MeanY > 0; pass++ {
		for d := range root {
			root[d] = m.MeanY / max(m.Predict(c, d), 0.2*m.MeanY)
		}
		m, ok = FitDegreeHours(y, root, c)
	}
	return m, ok
}

// Predict is the model's use on a day of the columns.
func (m *DegreeDays) Predict(c *DegreeColumns, d int) float64 {
	use := m.Mu
	if m.BetaH > 0 {
		use += float64(m.BetaH * c.Heat[c.index(m.HeatBalanceC)][d])
	}
	if m.BetaC > 0 {
		use += float64(m.BetaC * c.Cool[c.index(m.CoolBalanceC)][d])
	}
	return use
}
