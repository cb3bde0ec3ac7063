// Package array judges one site's existing array: is it healthy, does the
// register say what the data say, what would it have made as mended, and what
// would a new module on another plane have made under the same sky.
package array

import (
	"time"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// Fault codes of the contract.
const (
	Outage              = "outage"
	InvertersDown       = "inverters_down"
	Decline             = "decline"
	Shading             = "shading"
	Clipping            = "clipping"
	Curtailment         = "curtailment"
	CapacityMismatch    = "capacity_mismatch"
	OrientationMismatch = "orientation_mismatch"
	UnregisteredModules = "unregistered_modules"
	MeterDead           = "meter_dead"
)

// Input is one site for pass 2.
type Input struct {
	Site      *ingest.Site
	Catalogue *ingest.Catalogue
	Series    *ingest.Series
	Calendar  *ingest.Calendar // the site's days over the series
	Sun       *sun.Hours       // same Start and N as the series
	Sky       sky.Sky          // same Start and N as the series
	TempC     []float64        // aligned with the series; nil: typical for the latitude and season
	Clock     *sky.Clock       // what sky.FindClock says of the production; nil: it was not asked
	Window    ingest.Window
	Options   Options
}

// Options are the thresholds; a zero field means that of Defaults.
type Options struct {
	MinLossPct  float64 // a lasting loss below this is no fault (common practice)
	CapacityPct float64 // capacity off by more is a finding
	AzimuthDeg  float64 // azimuth off by more is a finding
	UsualFactor float64 // factor assumed where nothing can be calibrated: the loss stack of section 4.3 less the inverter, common practice
}

// PlaneFit is one direction that modules face.
type PlaneFit struct {
	ArrayIDs            []string
	TiltDeg, AzimuthDeg float64
	SDDeg               float64 // of the facing, where fitted; NaN: taken from the register unchecked
	Estimated           bool    // the register is blank here
}

// Fault is one thing wrong with an array, its meter or its register entry.
type Fault struct {
	Code          string
	On            time.Time // local midnight of the first day; zero: since before the data
	OnLow, OnHigh time.Time // 90 % range of On
	Until         time.Time // first good day; zero: lasts
	LossPct       float64   // of what the array should have made while it lasted
	KWhYr         float64   // what it cost in the report year
	AheadKWhYr    float64   // what it costs in a year to come if it lasts; 0: it is over
	Confidence    float64   // 0 to 1
	Says          string    // one sentence with the figures
	Live          bool      // still there at the end of the data
	Repairable    bool      // a mending visit gives the loss back
}

// Result is what is known of one site's array.
type Result struct {
	Refusal    string // why there is no index and no expected output; "" where there is
	Planes     []PlaneFit
	CapacityKW float64 // registered DC watts, at the end of the data
	ACLimitKW  float64 // sum of the registered inverters; NaN not known

	Factor, FactorSD float64 // AC output over modelled DC at STC of the healthy array, ageing apart

	Start      ingest.Hour
	ExpectedWh []float64 // hourly over the series, as if mended; NaN: sky not known

	ProductionIndex                 float64 // measured over expected, last twelve months, 1 = as it should be
	IndexLow, IndexHigh             float64 // 90 % interval
	TrendPctYr, TrendLow, TrendHigh float64 // 90 % interval; NaN: too short

	Faults         []Fault
	ShortfallKWhYr float64 // what mending the live faults gives back
	ExpectedKWhYr  float64 // sum of YearWh
	MeasuredKWhYr  float64 // last twelve months, holes filled by index times expectation; NaN none
	Year           ingest.Window
	YearWh         []float64 // Window.N hours: registered array, sky lived, as if mended; no NaN
	Months         []Month
	Verify         string // what to look at on site before anything else; "": nothing
	Caveats        []ingest.Caveat
	IndexDays      int
	IndexByDay     []float64 // daily index over the series' solar days, NaN: too little

	candidate candidateBasis
}

// Month is one month of the site's calendar.
type Month struct {
	First           time.Time // local midnight of the first day
	MeasuredKWh     float64   // NaN: nothing measured
	ExpectedKWh     float64   // all hours, as if mended
	ProductionIndex float64   // over the hours that have both; NaN: too few
	CoveragePct     float64   // daylight hours measured
}

// UnitOutput is what one new module would have made over the window.
type UnitOutput struct {
	Wh      []float64 // Window.N hours, AC Wh, no NaN
	RelSD   float64   // relative standard deviation of the yearly sum
	Caveats []ingest.Caveat
}
