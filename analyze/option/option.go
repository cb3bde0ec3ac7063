// Package option says what more modules are worth: every size that could be
// built, simulated hour by hour, with its bill, its costs and its doubt, and
// the best of them.
package option

import (
	"time"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

// Input is one site and what the other parts have found out about it.
//
// The energies are all as long as the window, or all the same whole number of
// times as long: then they are sub-hourly (4 times: quarter hours).
type Input struct {
	SiteID   string
	Window   ingest.Window
	Location *time.Location

	LoadWh       []float64 // next year's expected use
	LoadRelSD    float64   // relative doubt of its level; NaN: not known
	ProductionWh []float64 // today's array as if mended
	SickWh       []float64 // today's array as it runs; nil: it is well

	Planes     []Candidate
	ExistingKW float64 // DC of today's modules

	// ExportLimitKW is what the site may feed in at any time; the rest of the
	// output is lost. 0 or NaN: no limit.
	ExportLimitKW float64

	Possible   int      // modules possible as the site stands, free jobs done
	FreeJobs   []string // free jobs that any addition needs
	JobSets    []JobSet
	MinModules int // the smallest size that may be proposed; 0: 1

	// What a proposal must hold. SureNow is how many modules fit as the site
	// stands whatever the doubt of the known limits turns out to be, SureRoof the
	// same of the roof alone, which no job lifts; not Known: no doubt.
	SureNow, SureRoof ingest.Opt[int]
	MinChance         float64 // of a gain
	PerBranch         int     // modules that fill a branch circuit; 0: not known

	// HourlyBias is how much more of the output is sold when it meets the use by
	// the utility's interval instead of by the hour, where readings tell
	// (HourlyBias); NaN or 0: they do not. Only the caveat uses it.
	HourlyBias float64
	Phases     int // of the service; 0: not known

	Tariff          *tariff.Tariff
	Successor       *tariff.Tariff   // nil: Tariff has no legacy terms
	OtherSuccessors []*tariff.Tariff // that the customer may choose in its place
	AsOf            time.Time        // the day that the first year begins with; zero: nothing changes later
	TariffDefaulted bool             // the site's own tariff is not known

	Money Money
}

// Candidate is a plane that takes new modules.
type Candidate struct {
	PlaneID     string
	MaxModules  int
	Sure        ingest.Opt[int] // of them, whatever is not known of the plane; not Known: all
	Facing      Facing          // against the sun and today's array
	UnitWh      []float64       // AC output of one module
	RelSD       float64         // relative doubt of that output; NaN: not known
	ModuleWatts float64         // STC
	ACWatts     float64         // of its inverter
}

// Facing is how a plane lies to the sun and to today's array.
type Facing int

// The facings.
const (
	Otherwise   Facing = iota
	AsToday            // as the modules that are there
	AwayFromSun        // north on the northern half of the earth, south on the southern
)

// JobSet is a set of enabling jobs and the modules possible when all are done.
type JobSet struct {
	Jobs    []string
	Cost    float64
	Modules int
}

// Result is what more modules are worth at one site.
type Result struct {
	Refusal string // why there is no number; the rest is empty then
	Caveats []ingest.Caveat

	BillBefore tariff.Bill // today's array, next year's hours
	Options    []Option    // by modules; every size within reach, jobs counted

	// Best is the size to propose as the site stands, BestWithJobs among all
	// sizes; -1: none gains. Both hold whatever the doubt of the limits turns out
	// to be where such a size gains; UpTo and UpToWithJobs are the sizes that would
	// be proposed were the doubt to turn out well.
	Best, BestWithJobs, UpTo, UpToWithJobs int

	Jobs    []JobGain // what each set of jobs would bring
	Cases   []Case    // legal cases, where a legacy tariff is at stake
	Tornado []Unknown // of the size to propose, the widest first

	RepairSavingYr float64 // what mending the array saves in a year; NaN: it is well
}

// Option is one size.
type Option struct {
	Modules  int
	ByPlane  []PlaneCount
	Feasible bool     // possible as the site stands, free jobs done
	Jobs     []string // what must be done for it, free jobs included
	JobsCost float64

	AddedKWDC, AddedKWAC float64
	AddedKWhYr           float64 // what the export limit takes away left out
	ClippedKWhYr         float64 // of the added output, taken away by the export limit
	AddedSelfUsePct      float64 // of the added output, used at the site
	CoverageAfterPct     float64 // production with it / use; NaN without use

	BillBefore, BillAfter float64
	Cost                  float64 // what the customer pays in the end, incentives off
	Saving                Spread  // first year
	NetBenefit            Spread  // present value
	SimplePaybackYears    float64 // cost / first-year saving; NaN: never
	Payback               Spread  // of the same; +Inf: never
	DiscountedPayback     float64 // NaN: not within the horizon
	IRRPct                float64 // NaN: there is none
	IRRUnique             bool    // false: the flows change sign more than once, the rate nearest to 0 is given
	CostPerKWh            float64 // levelised
	CO2KgYr               float64 // NaN: no factor set
	Chance                float64 // of a net benefit above 0
	PaybackChance         float64 // of paying back within Money.PaybackWithinYears
	Case                  string  // the legal case that is ranked; "": no legacy terms
	Successor             string  // the tariff that the case moves to or meters the new modules on; "": none
	Cases                 []CaseOutcome

	Draws []float32 // net benefit in each draw, of the sizes that may be proposed; nil: of none

	curve int // where its savings stand
}

// Spread is a number with its doubt: the expected hours' own value, the mean
// over the draws and their 5, 50 and 95 % points.
type Spread struct {
	Value, Mean, Low, Median, High float64
}

// PlaneCount is a number of modules on one plane.
type PlaneCount struct {
	PlaneID string
	Modules int
}

// JobGain is what a set of jobs brings.
type JobGain struct {
	Jobs             []string
	Cost             float64
	ModulesGained    int     // the best size's, against as the site stands
	NetBenefitGained float64 // expected, cost of the jobs paid; against the best as the site stands or nothing
	Best             int     // index of its best size; -1: none gains
}

// The legal cases where a legacy tariff is at stake.
const (
	WithinThreshold = "within_threshold" // the terms stay
	OnSuccessor     = "successor"        // the whole site moves
	NonExport       = "non_export"       // the terms stay, the new modules may not feed in
	OwnMeter        = "own_meter"        // the terms stay, the new modules' output is all sold on the successor
)

// CaseOutcome is one size under one legal case.
type CaseOutcome struct {
	Case       string
	Successor  string // the tariff that it moves to or meters the new modules on; "": none
	Legal      bool   // the tariff's text allows it
	BillAfter  float64
	Saving     float64
	NetBenefit float64
}

// Case is the best size under one legal case.
type Case struct {
	Case       string
	Successor  string
	Legal      bool
	Ranked     bool // the case that was chosen
	Modules    int  // 0: none
	NetBenefit float64
	Saving     float64
}

// Unknown is one thing nobody knows for sure and what it does to the net benefit.
type Unknown struct {
	Name      string  // weather, demand, price_escalation, plane_output, cost, degradation
	Low, High float64 // net benefit at its 5 and 95 % points, all else as expected
	LowAt     float64 // the unknown itself there
	HighAt    float64
	Flips     bool   // the sign changes between them
	Says      string // one sentence with the figures
	Measure   string // what to find out on the visit; "": nobody can
}
