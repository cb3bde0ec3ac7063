package option

import (
	"errors"
	"fmt"
	"math"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

// Money is the settings' money block. The first six are the contract's; what
// follows is none of it where it is left at zero.
type Money struct {
	DiscountRatePct        float64
	PriceEscalationPctYr   float64
	HorizonYears           int
	ModuleDegradationPctYr float64
	CostPerModule          float64 // installed
	CostPerVisit           float64 // once a job, however many modules

	// Price rises of their own; a tariff's escalation comes before them.
	ExportEscalationPctYr ingest.Opt[float64]
	FixedEscalationPctYr  ingest.Opt[float64]

	// Costs over the years, at today's money.
	UpkeepPerModuleYr    float64
	ReplacementPerModule float64 // inverter, once
	ReplacementYear      int     // 0: never

	// Incentives, taxes, financing.
	SalesTaxPct        float64 // on the cost
	IncentivePctOfCost float64
	IncentivePerKW     float64 // DC
	IncentiveMax       float64 // of both together; 0: no limit
	ExportIncomeTaxPct float64 // on what feeding in earns at a rate
	LoanSharePct       float64 // of the cost that a loan pays
	LoanRatePct        float64 // a year; paid off in equal months
	LoanYears          int

	CO2KgPerKWh        float64 // of the grid's electricity; 0: not said
	PaybackWithinYears int     // the customer's horizon; 0: HorizonYears

	Doubt Doubt
}

// Doubt is how unsure the money's inputs are, each as a standard deviation.
type Doubt struct {
	Draws            int     // 0: no resampling
	EscalationSDPct  float64 // points a year
	DegradationSDPct float64 // points a year
	CostRelSDPct     float64
	WeatherRelSDPct  float64 // a year's output, from year to year; at least this is used
	PlaneRelSDPct    float64 // output of a new plane, where the candidate's is not known
	LoadRelSDPct     float64 // next year's use, where the site's is not known
	BetterInPct      float64 // a larger size is chosen only where it is better in at least this share of the draws
}

// DefaultDoubt is what holds where the settings say nothing.
func DefaultDoubt() Doubt {
	return Doubt{
		Draws:            256,  // our choice: stratified, the 5 % point rests on 13 draws
		EscalationSDPct:  1,    // our choice
		DegradationSDPct: 0.25, // our choice: half the prior's spread between installations (methods 6.2, common practice)
		CostRelSDPct:     8,    // our choice
		WeatherRelSDPct:  4,    // common practice: 3 to 5 % from year to year
		PlaneRelSDPct:    8,    // our choice
		LoadRelSDPct:     10,   // our choice
		BetterInPct:      60,   // our choice
	}
}

// Check names everything in the settings that cannot be counted with.
func (m Money) Check() error {
	var errs []error
	bad := func(ok bool, key string, v any, limit string) {
		if !ok {
			errs = append(errs, fmt.Errorf("money: %s %v must be %s", key, v, limit))
		}
	}
	bad(m.HorizonYears >= 1, "horizon_years", m.HorizonYears, ">= 1")
	bad(m.DiscountRatePct > -100, "discount_rate_pct", m.DiscountRatePct, "> -100")
	bad(m.PriceEscalationPctYr > -100, "price_escalation_pct_yr", m.PriceEscalationPctYr, "> -100")
	bad(m.ModuleDegradationPctYr >= 0 && m.ModuleDegradationPctYr < 100, "module_degradation_pct_yr", m.ModuleDegradationPctYr, ">= 0 and < 100")
	bad(m.CostPerModule >= 0, "cost_per_module", m.CostPerModule, ">= 0")
	bad(m.CostPerVisit >= 0, "cost_per_visit", m.CostPerVisit, ">= 0")
	bad(m.LoanSharePct >= 0 && m.LoanSharePct <= 100, "loan_share_pct", m.LoanSharePct, "0 to 100")
	bad(m.LoanSharePct == 0 || m.LoanYears >= 1, "loan_years", m.LoanYears, ">= 1 where a loan is taken")
	bad(m.IncentivePctOfCost >= 0 && m.IncentivePctOfCost <= 100, "incentive_pct_of_cost", m.IncentivePctOfCost, "0 to 100")
	bad(m.Doubt.Draws >= 0, "doubt draws", m.Doubt.Draws, ">= 0")
	return errors.Join(errs...)
}

// cost is what the customer pays for a size in the end.
//
//	cost = cost_per_visit + n cost_per_module + enabling jobs   (contract)
//
// with the sales tax on it and the incentives off where the settings have them.
func (m *Money) cost(modules int, kWDC, jobs float64) float64 {
	c := float64((m.CostPerVisit + float64(float64(modules)*m.CostPerModule) + jobs) * (1 + m.SalesTaxPct/100))
	help := float64(c*m.IncentivePctOfCost/100) + float64(m.IncentivePerKW*kWDC)
	if m.IncentiveMax > 0 {
		help = min(help, m.IncentiveMax)
	}
	return c - help
}

// parts is a saving by what it rises with: import prices, export rates, fixed
// charges.
type parts [3]float64

const (
	byImport = iota
	byExport
	byFixed
)

func (p parts) total() float64 { return p[byImport] + p[byExport] + p[byFixed] }

func (p parts) dot(f parts) float64 {
	return float64(p[byImport]*f[byImport]) + float64(p[byExport]*f[byExport]) + float64(p[byFixed]*f[byFixed])
}

// split sorts a bill by what it rises with. A retail credit rises with the import
// prices it is paid at.
func split(b *tariff.Bill, retail bool) parts {
	p := parts{byImport: b.Energy + b.NonBypassable, byExport: -b.Surplus, byFixed: b.Fixed + b.Demand + b.TopUp}
	if retail {
		p[byImport] -= b.Credit
	} else {
		p[byExport] -= b.Credit
	}
	return p
}

// terms turn a first year's saving into the worth of the whole horizon.
type terms struct {
	annuity  parts   // worth today of one in the first year
	first    parts   // worth today of one in the first year alone
	kept     parts   // of one in the first year after tax
	growth   parts   // from year to year
	perCost  float64 // worth today of one of cost, a loan counted
	perPiece float64 // worth today of a module's upkeep and replacement
}

// terms for a tariff, with the price rise and the ageing shifted by so many
// points: how a draw differs from what is expected.
//
//	net benefit = -cost + sum over y = 1..horizon of saving(y) / (1+r)^y
//	saving(y)   = first-year saving (1+escalation)^(y-1) (1-degradation)^(y-1)   (contract)
func (m *Money) terms(t *tariff.Tariff, escalationPts, degradationPts float64) terms {
	r := m.DiscountRatePct / 100
	ageing := min(0.99, max(0, (m.ModuleDegradationPctYr+degradationPts)/100))
	var out terms
	for i, pct := range m.escalation(t) {
		e := (pct + escalationPts) / 100
		out.annuity[i] = growing(r, e, ageing, m.HorizonYears)
		out.growth[i] = (1 + e) * (1 - ageing)
	}
	v := 1 / (1 + r)
	out.first = parts{v, v, v}
	out.kept = parts{byImport: 1, byExport: 1 - m.exportTax(t), byFixed: 1}
	out.annuity[byExport] *= out.kept[byExport]
	out.first[byExport] *= out.kept[byExport]
	out.perCost, out.perPiece = m.perCost(r), m.perPiece(r)
	return out
}

// rest is what one in the first year is worth in the years after it.
func (t terms) rest() parts {
	return parts{t.annuity[0] - t.first[0], t.annuity[1] - t.first[1], t.annuity[2] - t.first[2]}
}

// exportTax is the income tax on what feeding in earns at a rate: the tariff's
// own, or the settings'.
func (m *Money) exportTax(t *tariff.Tariff) float64 {
	if own := t.Data.Export.IncomeTaxPct; own != nil {
		return *own / 100
	}
	return m.ExportIncomeTaxPct / 100
}

func (m *Money) perPiece(r float64) float64 {
	v := 0.0
	if m.UpkeepPerModuleYr != 0 {
		v = m.UpkeepPerModuleYr * UPV(r, m.HorizonYears)
	}
	if m.replaces() {
		v += float64(m.ReplacementPerModule * SPV(r, float64(m.ReplacementYear)))
	}
	return v
}

func (m *Money) replaces() bool {
	return m.ReplacementYear > 0 && m.ReplacementYear <= m.HorizonYears
}

// perCost is what one of cost is worth today when a loan pays a share of it.
// Instalments that fall beyond the horizon count too: they are owed.
func (m *Money) perCost(r float64) float64 {
	if m.LoanSharePct == 0 {
		return 1
	}
	share := m.LoanSharePct / 100
	yearly := -12 * PMT(m.LoanRatePct/1200, float64(12*m.LoanYears), share)
	return 1 - share + float64(yearly*UPV(r, m.LoanYears))
}

// escalation in percent a year by part: the tariff's own, or the settings'.
func (m *Money) escalation(t *tariff.Tariff) parts {
	p := parts{m.PriceEscalationPctYr, m.ExportEscalationPctYr.Or(m.PriceEscalationPctYr), m.FixedEscalationPctYr.Or(m.PriceEscalationPctYr)}
	if e := t.Data.Escalation; e != nil {
		for i, pct := range []*float64{byImport: e.ImportPctYr, byExport: e.ExportPctYr, byFixed: e.FixedPctYr} {
			if pct != nil {
				p[i] = *pct
			}
		}
	}
	return p
}

// within is the customer's horizon.
func (m *Money) within() int {
	if m.PaybackWithinYears > 0 {
		return m.PaybackWithinYears
	}
	return m.HorizonYears
}

// undiscounted is what one in the first year adds up to within the customer's
// horizon, after tax.
func (m *Money) undiscounted(t terms) (sum parts) {
	for i, g := range t.growth {
		sum[i] = 1
		if n := m.within(); g > 0 {
			sum[i] = annuity(g, n) / g
		}
		sum[i] *= t.kept[i]
	}
	return sum
}

// flows are the yearly flows of a size, without a loan: IRR and payback look at
// the modules, not at how they are paid.
func (m *Money) flows(into []float64, cost float64, modules int, saving func(year int) parts, t terms) []float64 {
	into = append(into[:0], -cost)
	grown := t.kept
	for y := 1; y <= m.HorizonYears; y++ {
		flow := saving(y).dot(grown) - float64(float64(modules)*m.UpkeepPerModuleYr)
		if m.replaces() && y == m.ReplacementYear {
			flow -= float64(float64(modules) * m.ReplacementPerModule)
		}
		into = append(into, flow)
		grown = grown.by(t.growth)
	}
	return into
}

// levelised cost of the kWh that a size adds.
func (m *Money) levelised(cost float64, modules int, kWhYr float64) float64 {
	if !(kWhYr > 0) {
		return math.NaN()
	}
	return Levelised{Cost: cost, UpkeepYr: float64(modules) * m.UpkeepPerModuleYr,
		Replacement: float64(modules) * m.ReplacementPerModule, ReplacementYear: m.ReplacementYear,
		FirstYearKWh: kWhYr, DegradationYr: m.ModuleDegradationPctYr / 100, Years: m.HorizonYears, Discount: m.DiscountRatePct / 100}.PerKWh()
}
