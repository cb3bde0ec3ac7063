// Package demand judges how much electricity a household uses: how much a
// year, whether that grows, what changed and when, and what the coming twelve
// months will ask for, hour by hour.
//
// The way through it: basis.go says what counts as consumption (swapped.go
// where its meter was mixed up), days.go makes local days of it, degreeday.go
// and season.go take the weather out, growth.go finds the drift, events.go and
// signature.go find and name what changed (rectangle.go from finer readings,
// where there are any), next.go writes the coming year, coverage.go holds
// production against it.
package demand

import (
	"time"

	"rowen/ingest"
)

// Where the consumption figures come from.
const (
	BasisMeter   = "meter"   // a consumption meter
	BasisDerived = "derived" // production + import - export
	BasisBills   = "bills"   // utility bills prorated by day, with the production where metered
	BasisNet     = "net"     // import (less export) only: what the array makes for own use is not in it
)

// How growth and level were taken clear of the weather.
const (
	MethodDegreeDays    = "degree_days"    // temperatures of the place
	MethodSeason        = "fleet_season"   // the fleet's common seasonal signal
	MethodMatchedMonths = "matched_months" // like months of two years
	MethodCalendar      = "calendar"       // the household's own yearly wave only
)

// Probable causes of an event, as the contract names them; water_heating is
// added to its list.
const (
	KindEV           = "ev_charging"
	KindHeatPump     = "heat_pump"
	KindCooling      = "cooling"
	KindPoolPump     = "pool_pump"
	KindWaterHeating = "water_heating"
	KindBaseload     = "baseload"
	KindDeparture    = "departure"
	KindOther        = "other"
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
	TempC       []float64 // outdoor dry bulb by hour, aligned with Series; nil or NaN: none
	Season      *Signal   // the fleet's common seasonal signal at this place; nil: none
	Window      ingest.Window
	Options     Options

	// Scratch is reused memory for one worker; nil: fresh memory.
	Scratch *Scratch
}

// Options are the settings of the judgement; a zero field takes its default.
type Options struct {
	Replicates int // of the bootstrap; default 2000 (section 12 of the method asks for at least that)
}

// Result is what is known of one household's use. Where Refusal is not empty
// no number in it may be used.
type Result struct {
	Refusal     string // code; empty: judged
	RefusalSays string // why, in one sentence

	Basis  string // meter, derived, bills, net
	Method string // how the weather was taken out

	// LevelKWhYr is the weather-normalised use of the window, with a 90 %
	// interval.
	LevelKWhYr, LevelLow, LevelHigh float64

	// Growth is the underlying drift, events apart, with its 90 % interval.
	GrowthPctYr, GrowthLow, GrowthHigh        float64
	GrowthKWhYr, GrowthKWhLow, GrowthKWhHigh  float64
	MatchedPctYr, MatchedLow, MatchedHigh     float64 // the other method's answer: matched months, events apart; NaN: refused
	Change12mPct, Change12mLow, Change12mHigh float64 // last twelve months against the twelve before, weather-normalised, everything counted
	HeatingBalanceC, CoolingBalanceC          float64 // NaN: no such term
	HeatingKWhPerKDay, CoolingKWhPerKDay      float64 // today's slopes; NaN: no such term
	FitCVRMSEPct                              float64 // of the daily model; NaN: none
	AbsenceDays                               int     // days of long absences, which count for nothing

	Events []Event // by On

	// NextYearWh is the expected use of the coming twelve months on the
	// window's calendar, hour by hour, without NaN.
	NextYearWh                             []float64
	NextYearKWh, NextYearLow, NextYearHigh float64 // with a 90 % interval
	NextYearRelSD                          float64 // standard deviation over expectation
	FromEventsKWh                          float64 // how much of it over the level is events carried on (or gone)
	FromTrendKWh                           float64 // and how much is the drift

	Coverage Coverage
	Months   []Month // every month of the readings, oldest first

	Days        int     // days of use that counted
	CoveragePct float64 // of the days from the first to the last reading
	WindowPct   float64 // of the window's hours that were measured
	Caveats     []ingest.Caveat
}

// Event is one lasting change of a household's use.
type Event struct {
	On, OnLow, OnHigh time.Time // local date; the range the change lies in
	Kind              string
	Detail            string  // a finer word where the kind is broad: household_grown, moved_out, tenants_changed, bursts, controlled_load; empty: none
	KWhYr             float64 // over a whole year, negative where use fell
	KWhYrLow          float64
	KWhYrHigh         float64
	Score             float64 // 0 to 1: how well the pattern fits the kind
	Says              string  // "pattern consistent with ..."
	Live              bool    // still there in the last month

	profile profile // how it lies over the hours, for the year to come
}

// Coverage holds production against consumption, in percent.
type Coverage struct {
	NowPct, StartPct                float64     // production / consumption: the window, the first twelve months
	TrendPtsYr, TrendLow, TrendHigh float64     // points a year
	ProductionKWh, ConsumptionKWh   float64     // of the window, over the hours where both are known, scaled to the year
	OwnUsePct                       float64     // of production, used at home
	ExportPct                       float64     // of production, sent to the grid
	SelfSufficiencyPct              float64     // of consumption, from the own array by hour
	ShortfallKWh                    [12]float64 // consumption less production by month of the window, oldest first; NaN: not known
}

// Month is one calendar month of the site's clock; NaN: not metered.
type Month struct {
	First                                               time.Time // its first day, local
	ProductionKWh, ConsumptionKWh, ImportKWh, ExportKWh float64   // measured part scaled to the month where at least 75 % is there
	DataPct                                             float64   // of the month's hours with consumption (or what stands for it)
}
