package option

import (
	"math"

	"rowen/ingest/samebits"
)

// The measures of this file are defined as in NIST Handbook 135, 10 CFR 436 and
// ASTM E917 (from memory), the levelised cost as in Short, Packey and Holt,
// NREL/TP-462-5173 (from memory). Rates are per year and per one, nominal with
// nominal flows or real with real ones: never mix them. Year 0 is today.

// NPV is the present value of flows[k] in year k.
//
//	NPV = sum over k of CF_k / (1+d)^k
func NPV(d float64, flows []float64) float64 {
	v, sum := 1/(1+d), 0.0
	for k := len(flows) - 1; k >= 0; k-- {
		sum = float64(sum*v) + flows[k]
	}
	return sum
}

// The bracket in which a rate of return is looked for (methods 11.2).
const irrLow, irrHigh = -0.99, 10.0

// IRR is the rate at which NPV is 0.
//
// Out:     the rate; where the flows change sign more than once there may be
// several, the nearest to 0 is given and unique is false.
// Refuses: flows without a change of sign, or no root within -99 % to 1000 %:
// NaN, which is "there is none", not 0.
// Source:  methods 11.2; bisection, so that every root found is bracketed.
// Cost:    60 halvings of one NPV; several changes of sign scan the bracket first.
func IRR(flows []float64) (rate float64, unique bool) {
	switch changes := signChanges(flows); {
	case changes == 0:
		return math.NaN(), false
	case changes == 1:
		return bisectNPV(flows, irrLow, irrHigh), true
	}
	const steps = 4000 // of 0.27 points: closer pairs of roots are missed
	best := math.NaN()
	for i := range steps {
		lo := irrLow + (irrHigh-irrLow)*float64(i)/steps
		hi := irrLow + (irrHigh-irrLow)*float64(i+1)/steps
		root := bisectNPV(flows, lo, hi)
		if !math.IsNaN(root) && !(math.Abs(root) >= math.Abs(best)) {
			best = root
		}
	}
	return best, false
}

func signChanges(flows []float64) int {
	n, last := 0, 0.0
	for _, f := range flows {
		if f == 0 {
			continue
		}
		if last != 0 && (f > 0) != (last > 0) {
			n++
		}
		last = f
	}
	return n
}

// bisectNPV finds the root between lo and hi; NaN where the ends do not bracket one.
func bisectNPV(flows []float64, lo, hi float64) float64 {
	atLo, atHi := NPV(lo, flows), NPV(hi, flows)
	if atLo == 0 {
		return lo
	}
	if (atLo > 0) == (atHi > 0) {
		return math.NaN()
	}
	for range 60 {
		mid := float64((lo + hi) / 2)
		if v := NPV(mid, flows); (v > 0) == (atLo > 0) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// PMT is the payment a period that pays off a loan of pv in n periods; negative,
// as money that goes out.
func PMT(rate, n, pv float64) float64 {
	if rate == 0 {
		return -pv / n
	}
	return -pv * rate / (1 - samebits.Pow(1+rate, -n))
}

// SPV is the present value of one in year n.
func SPV(d, n float64) float64 { return samebits.Pow(1+d, -n) }

// UPV is the present value of one a year for n years.
func UPV(d float64, n int) float64 { return UPVStar(d, 0, n) }

// UPVStar is the present value of a yearly payment that grows by e, the first
// being 1+e in year 1.
//
//	UPV* = sum over k = 1..n of ((1+e)/(1+d))^k; n where e = d
func UPVStar(d, e float64, n int) float64 { return annuity((1+e)/(1+d), n) }

// annuity is q + q^2 + … + q^n.
func annuity(q float64, n int) float64 {
	if math.Abs(q-1) < 1e-9 { // the closed form loses its digits here
		return float64(n) * q
	}
	return q * (1 - samebits.Pow(q, float64(n))) / (1 - q)
}

// DiscountedPayback is the same with savings at their present value.
func DiscountedPayback(cost float64, savings []float64, d float64) float64 {
	paid, discount := 0.0, 1.0
	for k, s := range savings {
		discount /= 1 + d
		s = float64(s * discount)
		if paid+s >= cost {
			return float64(k) + (cost-paid)/s
		}
		paid += s
	}
	return math.NaN()
}

// Levelised is what a kWh costs over a plant's life.
type Levelised struct {
	Cost            float64 // today
	UpkeepYr        float64
	Replacement     float64
	ReplacementYear int // 0: never
	FirstYearKWh    float64
	DegradationYr   float64
	Years           int
	Discount        float64
}

// PerKWh gives the levelised cost; NaN without energy.
//
//	LCOE = [I + sum O&M_k/(1+d)^k + sum repl/(1+d)^k] / sum E_1 (1-deg)^(k-1)/(1+d)^k
func (l Levelised) PerKWh() float64 {
	energy := l.FirstYearKWh * growing(l.Discount, 0, l.DegradationYr, l.Years)
	if !(energy > 0) {
		return math.NaN()
	}
	cost := l.Cost + float64(l.UpkeepYr*UPV(l.Discount, l.Years))
	if l.ReplacementYear > 0 && l.ReplacementYear <= l.Years {
		cost += float64(l.Replacement * SPV(l.Discount, float64(l.ReplacementYear)))
	}
	return cost / energy
}

// growing is what one in the first year is worth over n years when it grows by
// e and shrinks by deg a year: the contract's sum.
//
//	sum over y = 1..n of (1+e)^(y-1) (1-deg)^(y-1) / (1+d)^y
func growing(d, e, deg float64, n int) float64 {
	g := (1 + e) * (1 - deg)
	if g == 0 {
		return 1 / (1 + d)
	}
	return annuity(g/(1+d), n) / g
}
