package option

import "math"

// Measures that the published check values hold together with those of the
// product; only these tests ask for them.

// MIRR is the modified rate of return: what is paid in is financed at one rate,
// what is paid out is reinvested at another. NaN without a change of sign.
func MIRR(flows []float64, finance, reinvest float64) float64 {
	if signChanges(flows) == 0 {
		return math.NaN()
	}
	n := len(flows)
	in, out := make([]float64, n), make([]float64, n)
	for k, f := range flows {
		in[k], out[k] = min(0, f), max(0, f)
	}
	ratio := -NPV(reinvest, out) / NPV(finance, in)
	return math.Pow(ratio, 1/float64(n-1))*(1+reinvest) - 1
}

// UCRF is the yearly payment that is worth one today.
func UCRF(d float64, n int) float64 { return 1 / UPV(d, n) }

// SimplePayback is the time until the savings have paid the cost, the last year
// shared out evenly; NaN: never within the years given.
func SimplePayback(cost float64, savings []float64) float64 {
	return DiscountedPayback(cost, savings, 0)
}

// SIR is the savings-to-investment ratio: present value of savings over cost.
func SIR(cost float64, savings []float64, d float64) float64 {
	return NPV(d, savings) / (1 + d) / cost
}

// AIRR is the adjusted rate of return: savings reinvested at r over n years.
//
//	AIRR = (1+r) SIR^(1/n) - 1
func AIRR(sir, r float64, n int) float64 { return (1+r)*math.Pow(sir, 1/float64(n)) - 1 }
