// Package demo makes an invented fleet: an installer, its customers, their
// houses, roofs, equipment and weather, deterministic from a seed, with the
// truth about every site kept in memory and never written.
//
// Its physics is its own (NOAA sun, Bird clear sky, a stochastic cloud whose
// beam and diffuse light are drawn from the cloud itself, Perez 1990, Fresnel
// reflection) and shares no line with the analysis, so that it is an
// independent witness for it. Everything is simulated at quarter hours or
// finer, and what is metered is the sum over the native step.
package demo

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"rowen/ingest"
)

// Options say what fleet to make. The zero value is not usable: start from
// Default.
type Options struct {
	Seed        uint64
	Sites       int
	Months      int       // complete calendar months of readings
	StepMinutes int       // 60, 30, 15, 5 or 1
	End         time.Time // the month that this lies in is the first one without readings

	// Weather gives the first region a station with hourly temperatures.
	Weather bool

	// Faults is the share of sites with a fault of the array, Events the share
	// with a change of the load; each 0 to 1.
	Faults, Events float64

	// PlainHomes leaves the lanes of the job out: every site has a consumption
	// meter, complete readings, room on the roof and nothing in the way, and
	// faults and events fall on sites by chance. This is the bench for the
	// array's health and for demand.
	PlainHomes bool

	// FaultCodes and EventKinds restrict what is drawn on PlainHomes; nil: all.
	FaultCodes, EventKinds []string
}

// Default is the demo's fleet: 240 sites, 30 months of hours up to the end of
// October 2026.
func Default() Options {
	return Options{
		Seed: 1, Sites: 240, Months: 30, StepMinutes: 60,
		End:     time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC),
		Weather: true, Faults: 0.2, Events: 0.4,
	}
}

// Check names everything that is wrong with the options.
func (o Options) Check() error {
	var errs []error
	wrong := func(bad bool, format string, args ...any) {
		if bad {
			errs = append(errs, fmt.Errorf("making the demo fleet: "+format, args...))
		}
	}
	wrong(o.Sites < 1 || o.Sites > 1e6, "sites %d must be 1 to 1000000", o.Sites)
	wrong(o.Months < 1 || o.Months > 120, "months %d must be 1 to 120", o.Months)
	wrong(!slices.Contains([]int{60, 30, 15, 5, 1}, o.StepMinutes), "step %d must be 60, 30, 15, 5 or 1 minutes", o.StepMinutes)
	wrong(!(o.Faults >= 0 && o.Faults <= 1), "faults %g must be a share, 0 to 1", o.Faults)
	wrong(!(o.Events >= 0 && o.Events <= 1), "events %g must be a share, 0 to 1", o.Events)
	wrong(o.End.Year() < 2005 || o.End.Year() > 2049, "end %s must lie in 2005 to 2049, where the sun's formulas hold", o.End.Format("2006-01"))
	for _, c := range o.FaultCodes {
		wrong(!slices.Contains(faultCodes, c) && c != "meter_dead", "no fault has the code %q", c)
	}
	for _, k := range o.EventKinds {
		wrong(!slices.Contains(eventKinds, k), "no event kind %q", k)
	}
	return errors.Join(errs...)
}

// Truth is what is so about one site, by the generator's own books.
type Truth struct {
	SiteID       string
	Archetype    string   // the generator's name for the kind of case
	IntendedLane string   // the lane that the case was designed for; the light, the noise and the money may say otherwise
	MayLanes     []string // other lanes that an honest judge may choose

	// The array as it stands, not as the register has it.
	Arrays       []TrueArray
	SiteFactor   float64 // wiring and dirt of the place: carries over to new modules
	ArrayFactor  float64 // nameplate and mismatch of the old modules
	AgeingPctYr  float64 // negative
	Faults       []Fault
	Snow         bool    // the region has snow
	ClippedKWhYr float64 // lost at the inverters' limit in the report year

	// The report year is the last twelve complete months, local calendar.
	Window          ingest.Window
	ProductionKWhYr float64 // made in the report year
	MendedKWhYr     float64 // what it had been without the faults
	UseKWhYr        float64 // used in the report year
	UnderlyingKWhYr float64 // of which without the events

	GrowthPctYr float64 // underlying drift, events apart
	Events      []Event
	// NextYearKWh is the report year's use with every event that still lives
	// carried over the whole year, those that ended left out, and the
	// underlying part grown by one year.
	NextYearKWh float64

	// How many of the default modules fit, by the generator's own arithmetic.
	// Low: with the wide ridge setback of a roof covered by more than a third,
	// and where vents fall badly. High: where the open slots of old rows take one.
	RoofModules, RoofModulesLow, RoofModulesHigh                     int
	RoofByPlane                                                      map[string]int
	ServiceModules, BranchModules, GatewayModules, PermissionModules ingest.Opt[int] // not Known: no limit, or the register does not say
	Mixable                                                          bool            // the rules let new inverters join

	Flaws []Flaw
}

// TrueArray is an array as it really stands on the roof.
type TrueArray struct {
	ID                  string
	Modules             int
	ModuleWatts         float64
	TiltDeg, AzimuthDeg float64
	ACWattsPerModule    float64 // the inverter's limit shared out
}

// Fault is a fault of the array that the generator built in.
type Fault struct {
	Code      string    // as in array_faults
	On, Until time.Time // Until zero: it lasts; On zero: from the beginning
	LossPct   float64   // of the healthy output over the time it was on, measured on the simulation; negative: a gain
	KWhYr     float64   // loss in the report year
	EndPct    float64   // decline: the loss on the last day of it
	K, N      int       // inverters_down: k of n
	Says      string

	// shading: the obstacle's bearing and half its width, and the elevation of
	// the sun below which it hides HidesPct of the beam.
	BearingDeg, HalfWidthDeg, BelowDeg, HidesPct float64
}

// Live tells whether the fault still lasts at the end.
func (f Fault) Live() bool { return f.Until.IsZero() }

// Event is a change of the load that the generator built in.
type Event struct {
	Kind      string    // ev_charging, heat_pump, cooling, pool_pump, baseload, departure, other; and absence, tenants
	On, Until time.Time // Until zero: it lasts
	// KWhYr is what the event adds in the report year's weather when it is
	// there the whole year (an absence: what it took away while it lasted).
	KWhYr float64
	// SeenKWh is what it added within the readings.
	SeenKWh float64
	Says    string
}

// Flaw is a flaw of the readings that the generator built in.
type Flaw struct {
	Code     string // gap, repeated_rows, bad_rows, swapped_channels, late_start, offline
	From, To ingest.Hour
	Rows     int
}
