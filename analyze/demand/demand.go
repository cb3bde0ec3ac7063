// Package demand judges how much electricity a household uses: how much a
// year, whether that grows, what changed and when, and what the coming twelve
// months will ask for, hour by hour.
//
// It is a chain of values. basis.go says what counts as consumption (swapped.go
// where its meter was mixed up, bills.go where bills tell it) and days.go makes
// local days of it; package fit takes the weather out of them and package change
// finds what changed; events.go has package load name it; growth.go gives the
// drift, next.go writes the coming year, coverage.go holds production against it.
package demand

import (
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/ingest"
)

// Where the consumption figures come from.
const (
	BasisMeter   = ingest.BasisMeter
	BasisDerived = ingest.BasisDerived
	BasisNet     = ingest.BasisNet
	BasisBills   = "bills" // utility bills prorated by day, with the production where metered
)

// How growth and level were taken clear of the weather.
const (
	MethodDegreeDays = fit.MethodDegreeDays
	MethodSeason     = fit.MethodSeason
	MethodCalendar   = fit.MethodCalendar
)

// Probable causes of an event.
const (
	KindEV           = load.EV
	KindHeatPump     = load.HeatPump
	KindCooling      = load.Cooling
	KindPoolPump     = load.PoolPump
	KindWaterHeating = load.WaterHeating
	KindBaseload     = load.Baseload
	KindDeparture    = load.Departure
	KindOther        = load.Other
)

// Refusals of a site as a whole.
const (
	RefusedNoData   = "no_consumption"      // nothing says what the household uses
	RefusedTooShort = "consumption_too_few" // too few days to say what a year is
)

// Input is one site's readings and what is known around them. Nothing in it is
// modified.
type Input struct {
	SiteID      string
	Location    *time.Location // the site's civil clock; nil: UTC
	LatitudeDeg float64        // which half of the year is winter; below 0: the southern half
	Series      *ingest.Series // nil: none
	Bills       []ingest.Bill
	TempC       []float64                // outdoor dry bulb by hour, aligned with Series; nil or NaN: none
	Season      *fit.Signal              // the fleet's common seasonal signal at this place; nil: none
	Calendar    *ingest.Calendar         // of Series; nil: made from Location
	Consumption *ingest.ConsumptionHours // of Series; nil: joined here
	Window      ingest.Window
	Options     Options

	// Scratch is reused memory for one worker; nil: fresh memory.
	Scratch *Scratch
}

// Options are the settings of the judgement; a zero field takes its default.
type Options struct {
	Replicates int // of the bootstrap
}

// Defaults are the settings that the product runs with: section 12 of the
// method asks for at least 2000 replicates.
func Defaults() Options { return Options{Replicates: 2000} }

// Scratch is the working memory of one worker, kept from site to site so that
// a fleet does not pass through the garbage collector. It holds nothing that
// reaches a Result. Not safe for concurrent use.
type Scratch struct {
	work     fit.Workspace
	calendar ingest.Calendar // of readings or bills
	window   ingest.Calendar
	use      []float64 // hours of consumption
}

// Result is what is known of one household's consumption. Where Refusal is not
// empty no number in it may be used.
type Result struct {
	Refusal     string // code; empty: judged
	RefusalSays string // why, in one sentence

	Basis string // meter, derived, bills, net
	Explained
	Growth
	Recent
	Outlook

	AbsenceDays int     // days of long absences, which are excluded
	Events      []Event // by On
	Coverage    Coverage
	Months      []Month // every month of the readings, oldest first
	Days        int     // days that counted
	CoveragePct float64 // of the days from the first to the last reading
	Caveats     []ingest.Caveat
}

// Explained is how the days were explained.
type Explained struct {
	Method                               string  // how the weather was taken out
	HeatingBalanceC, CoolingBalanceC     float64 // NaN: no such term
	HeatingKWhPerKDay, CoolingKWhPerKDay float64 // today's slopes; NaN: no such term
	FitCVRMSEPct                         float64 // of the daily model; NaN: none
}

// Growth is the underlying drift, events apart, with its 90 % interval.
type Growth struct {
	GrowthPctYr, GrowthLow, GrowthHigh       float64
	GrowthKWhYr, GrowthKWhLow, GrowthKWhHigh float64
	MatchedPctYr, MatchedLow, MatchedHigh    float64 // the other method's answer: matched months, events apart; NaN: refused
}

// Recent holds the last twelve months against the twelve before, in normal
// weather, everything counted.
type Recent struct{ Change12mPct, Change12mLow, Change12mHigh float64 }

// Outlook is the report year and the twelve months to come.
type Outlook struct {
	// LevelKWhYr is the weather-normalised consumption of the window, with a 90 %
	// interval.
	LevelKWhYr, LevelLow, LevelHigh float64
	// NextYearWh is the expected consumption of the coming twelve months on the
	// window's calendar, hour by hour, without NaN.
	NextYearWh                             []float64
	NextYearKWh, NextYearLow, NextYearHigh float64 // with a 90 % interval
	NextYearRelSD                          float64 // standard deviation over expectation
	FromEventsKWh                          float64 // how much of it over the level is events carried on (or gone)
	FromTrendKWh                           float64 // and how much is the drift
	WindowPct                              float64 // of the window's hours that were measured
}

// Event is one lasting change of a household's use.
type Event struct {
	On, OnLow, OnHigh time.Time // local date; the range the change lies in
	Kind              string
	Detail            string  // a finer word where the kind is broad: household_grown, moved_out, use_fell, net_fell, bursts, controlled_load; empty: none
	KWhYr             float64 // over a whole year, negative where use fell
	KWhYrLow          float64
	KWhYrHigh         float64
	Score             float64 // 0 to 1: how well the pattern fits the kind
	Says              string  // "pattern consistent with ..."
	Live              bool    // still there in the last month
	Doubtful          bool    // clear at an earlier month end, and not now

	profile profile // how it lies over the hours, for the year to come
}

// Coverage is how production / consumption changes, in points of percent a
// year; NaN where production or gross consumption is not metered.
type Coverage struct{ TrendPtsYr, TrendLow, TrendHigh float64 }

// profile is how an event lies over the hours.
type profile struct {
	day   int // since which day it has been in the readings
	parts change.Steps
	share [24]float64 // of the day's energy by local hour; sums to 1
	seen  []bool      // by day of the readings modulo 365: it holds then; nil: all year
}

// Month is one calendar month of the site's clock; NaN: not metered.
type Month struct {
	First                                               time.Time // its first day, local
	ProductionKWh, ConsumptionKWh, ImportKWh, ExportKWh float64   // measured part scaled to the month where at least 75 % is there
	DataPct                                             float64   // of the month's hours with consumption (or what stands for it)
}
