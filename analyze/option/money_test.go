package option

import (
	"math"
	"strings"
	"testing"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

// Every limit of the settings holds at its value and is named past it.
func TestMoneyLimits(t *testing.T) {
	good := Money{HorizonYears: 1}
	for _, c := range []struct {
		says string // "": it is taken
		with func(*Money)
	}{
		{"", func(m *Money) {}},
		{"horizon_years", func(m *Money) { m.HorizonYears = 0 }},
		{"", func(m *Money) { m.DiscountRatePct = -99 }},
		{"discount_rate_pct", func(m *Money) { m.DiscountRatePct = -100 }},
		{"", func(m *Money) { m.PriceEscalationPctYr = -99 }},
		{"price_escalation_pct_yr", func(m *Money) { m.PriceEscalationPctYr = -100 }},
		{"", func(m *Money) { m.ModuleDegradationPctYr = 99 }},
		{"module_degradation_pct_yr", func(m *Money) { m.ModuleDegradationPctYr = 100 }},
		{"module_degradation_pct_yr", func(m *Money) { m.ModuleDegradationPctYr = -0.1 }},
		{"cost_per_module", func(m *Money) { m.CostPerModule = -1 }},
		{"cost_per_visit", func(m *Money) { m.CostPerVisit = math.NaN() }},
		{"", func(m *Money) { m.LoanSharePct, m.LoanYears = 100, 1 }},
		{"loan_share_pct", func(m *Money) { m.LoanSharePct, m.LoanYears = 101, 1 }},
		{"loan_share_pct", func(m *Money) { m.LoanSharePct, m.LoanYears = -1, 1 }},
		{"loan_years", func(m *Money) { m.LoanSharePct = 1 }},
		{"", func(m *Money) { m.IncentivePctOfCost = 100 }},
		{"incentive_pct_of_cost", func(m *Money) { m.IncentivePctOfCost = 101 }},
		{"incentive_pct_of_cost", func(m *Money) { m.IncentivePctOfCost = -1 }},
		{"doubt draws", func(m *Money) { m.Doubt.Draws = -1 }},
	} {
		m := good
		c.with(&m)
		err := m.Check()
		if (c.says == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", m, err, c.says)
		}
	}
}

func agrees(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9*max(1, math.Abs(want))) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// A bill of energy 60, non-bypassable 5, fixed 20, demand 7 and top-up 3, with a
// credit of 15 and 4 for the surplus.
func TestPartsOfABill(t *testing.T) {
	b := tariff.Bill{Energy: 60, NonBypassable: 5, Fixed: 20, Demand: 7, TopUp: 3, Credit: 15, Surplus: 4}
	if got := split(&b, false); got != (parts{65, -19, 30}) {
		t.Errorf("at a rate: %v", got)
	}
	if got := split(&b, true); got != (parts{50, -4, 30}) {
		t.Errorf("at retail: %v", got)
	}
	agrees(t, "total", split(&b, true).total(), 76)
	agrees(t, "worth", parts{1, 2, 3}.dot(parts{4, 5, 6}), 32)
	rest := terms{annuity: parts{5, 6, 7}, first: parts{1, 2, 4}}.rest()
	if rest != (parts{4, 4, 3}) {
		t.Errorf("after the first year: %v", rest)
	}
}

// Prices rise as the tariff says, else by the settings of their kind, else alike.
func TestEscalationByPart(t *testing.T) {
	own := func(e *ingest.TariffEscalation) *tariff.Tariff {
		return &tariff.Tariff{Data: ingest.Tariff{Escalation: e}}
	}
	m := Money{PriceEscalationPctYr: 3}
	if got := m.escalation(own(nil)); got != (parts{3, 3, 3}) {
		t.Errorf("alike: %v", got)
	}
	m.ExportEscalationPctYr, m.FixedEscalationPctYr = ingest.Some(0.0), ingest.Some(1.0)
	if got := m.escalation(own(nil)); got != (parts{3, 0, 1}) {
		t.Errorf("by kind: %v", got)
	}
	two, minus := 2.0, -1.0
	if got := m.escalation(own(&ingest.TariffEscalation{ImportPctYr: &two, FixedPctYr: &minus})); got != (parts{2, 0, -1}) {
		t.Errorf("the tariff's own: %v", got)
	}
	// A draw of one point more, ageing 10 % a year: 1.03 x 0.9 = 0.927 from year to year.
	m.ModuleDegradationPctYr, m.HorizonYears, m.DiscountRatePct = 8, 2, 25
	x := m.terms(own(&ingest.TariffEscalation{ImportPctYr: &two}), 1, 2)
	agrees(t, "growth", x.growth[byImport], 0.927)
	agrees(t, "two years", x.annuity[byImport], 0.8+0.927*0.64)
	agrees(t, "the first", x.first[byImport], 0.8)
	// Ageing is never below nothing.
	agrees(t, "no growth by ageing", m.terms(own(nil), -3, -20).growth[byImport], 1)
}

// Cost 1,000 for two modules, saving 400 a year that grows by a tenth, upkeep 5
// a module, one replacement of 50 a module in the third of three years.
func TestFlowsByHand(t *testing.T) {
	m := Money{HorizonYears: 3, UpkeepPerModuleYr: 5, ReplacementPerModule: 50, ReplacementYear: 3}
	x := terms{kept: parts{1, 0.5, 1}, growth: parts{1.1, 1, 1}}
	got := m.flows(nil, 1000, 2, func(int) parts { return parts{400, 100, 0} }, x)
	for i, want := range []float64{-1000, 440, 480, 424} { // 400+50-10; 440+50-10; 484+50-10-100
		agrees(t, "flow", got[i], want)
	}
	if len(got) != 4 {
		t.Errorf("flows %v", got)
	}
	m.ReplacementYear = 4
	if got := m.flows(got, 1000, 2, func(int) parts { return parts{400, 100, 0} }, x); len(got) != 4 || math.Abs(got[3]-524) > 1e-9 {
		t.Errorf("nothing is replaced beyond the horizon: %v", got)
	}
	// One that grows by a tenth adds up to 1 + 1.1 + 1.21, half of it kept.
	m = Money{HorizonYears: 3}
	sum := m.undiscounted(terms{kept: parts{1, 0.5, 1}, growth: parts{1.1, 1.1, 0}})
	agrees(t, "import", sum[byImport], 3.31)
	agrees(t, "export", sum[byExport], 1.655)
	agrees(t, "what ends after a year", sum[byFixed], 1)
	m.PaybackWithinYears = 2
	agrees(t, "within two years", m.undiscounted(terms{kept: parts{1, 1, 1}, growth: parts{1.1, 1, 1}})[byImport], 2.1)
}

// At 25 %: cost 1,000, upkeep 2 x 5 in two years 10 x (0.8 + 0.64), replacement
// 2 x 50 x 0.64; energy 500 x 0.8 + 500 x 0.9 x 0.64.
func TestLevelisedByHand(t *testing.T) {
	m := Money{HorizonYears: 2, DiscountRatePct: 25, ModuleDegradationPctYr: 10, UpkeepPerModuleYr: 5, ReplacementPerModule: 50, ReplacementYear: 2}
	agrees(t, "per kWh", m.levelised(1000, 2, 500), (1000+14.4+64)/(400+288))
	m.ReplacementYear = 3
	agrees(t, "nothing replaced", m.levelised(1000, 2, 500), (1000+14.4)/(400+288))
	for _, kWh := range []float64{0, -1, math.NaN()} {
		if got := m.levelised(1000, 2, kWh); got == got {
			t.Errorf("%g kWh: %g", kWh, got)
		}
	}
}

// Savings of 500 a year at 25 % are worth 400, 320, 256: 720 after two years, and
// 80 of the third's 256 are lacking to 800.
func TestPaybackAndReturnByHand(t *testing.T) {
	s := []float64{500, 500, 500}
	agrees(t, "payback", DiscountedPayback(800, s, 0.25), 2+80.0/256)
	agrees(t, "at the end of a year", DiscountedPayback(720, s, 0.25), 2)
	if got := DiscountedPayback(977, s, 0.25); got == got { // 976 in all
		t.Errorf("never: %g", got)
	}
	for _, c := range []struct {
		flows  []float64
		rate   float64
		unique bool
	}{
		{[]float64{-100, 0, 121}, 0.1, true}, {[]float64{-100, 0, 0}, math.NaN(), false}, {[]float64{100, 20}, math.NaN(), false}, {[]float64{-100, 50}, -0.5, true},
		{[]float64{-100, 1101}, math.NaN(), true}, // above 1,000 %
		{[]float64{-100, 100}, 0, true},
	} {
		rate, unique := IRR(c.flows)
		if unique != c.unique || (rate == rate) != (c.rate == c.rate) || c.rate == c.rate && math.Abs(rate-c.rate) > 1e-9 {
			t.Errorf("%v: %g %v", c.flows, rate, unique)
		}
	}
	for n, flows := range map[int][]float64{0: {0, 0}, 1: {0, -1, 0, 2}, 2: {-1, 2, 0, -1}, 3: {1, -1, 1, -1}} {
		if got := signChanges(flows); got != n {
			t.Errorf("%v: %d changes", flows, got)
		}
	}
	agrees(t, "a loan without interest", PMT(0, 10, 500), -50)
	agrees(t, "one period", PMT(0.1, 1, 500), -550)
	agrees(t, "annuity", annuity(0.5, 3), 0.875)
	agrees(t, "annuity of ones", annuity(1, 3), 3)
}
