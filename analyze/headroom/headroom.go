// Package headroom says how many modules really fit at a site. Five limits,
// each by itself and in modules: the roof, the electrical service, the branch
// circuits, the gateway with its mixing rules, and the permission to operate.
// The smallest binds. For each limit that a job could lift it says which job,
// what it costs and how many modules would then be possible.
//
// The rules are data (ingest.Catalogue, with source and edition); the code
// only applies them. Everything here is a desk screening: licensed people
// confirm it at the site.
package headroom

import (
	"time"

	"rowen/ingest"
)

// Names of the five limits, as Result.Binding gives them.
const (
	Roof       = "roof"
	Service    = "service"
	Branch     = "branch"
	Gateway    = "gateway"
	Permission = "permission"
)

// Names of the enabling jobs. A subpanel is what free spaces alone are lacking
// for; a supply-side connection is offered only where the settings price it and
// the profile allows it.
const (
	SoftwareUpdate       = "software_update"
	PanelboardUpgrade    = "panelboard_upgrade"
	NewPermission        = "new_permission"
	GatewaySwap          = "gateway_swap"
	Subpanel             = "subpanel"
	SupplySideConnection = "supply_side_connection"
)

// Many stands for "no upper bound" in a limit's High.
const Many = 1 << 20

// Input is one site and what the other parts have found out about it. Numbers
// that nobody knows are NaN.
type Input struct {
	Site      *ingest.Site
	Catalogue *ingest.Catalogue
	Module    ingest.Module   // the module that would be added
	Inverter  ingest.Inverter // its inverter
	Tariff    *ingest.Tariff  // the tariff the site is on; nil: legacy terms are not looked at
	AsOf      time.Time       // the day after the report month

	ExistingWatts   float64 // DC of the old arrays; NaN: by the register
	UseKWhYr        float64 // next year's expected use
	PastUseKWhYr    float64 // use in the last twelve months
	ProductionKWhYr float64 // the old arrays' yearly output, as if mended
	YieldKWhPerKW   float64 // yearly AC output of a kW (STC) of new modules
	PeakLoadKW      float64 // highest gross demand in twelve months

	Options Options
}

// Options are the settings that headroom needs.
type Options struct {
	RidgeSetbackM float64
	EaveSetbackM  float64
	SideSetbackM  float64
	ModuleGapM    float64

	// More than AreaSharePct of the roof's plan area under modules, old and new,
	// widens the ridge setback to WideRidgeSetbackM. 0: no such rule.
	AreaSharePct      float64
	WideRidgeSetbackM float64
	ObstacleMarginM   float64 // kept free around vents and skylights whose place is known

	CostOf  map[string]float64 // by job; a job that is not priced is not offered
	WeeksOf map[string]float64 // how long a job usually takes; for the text only
}

// Ceiling is one limit in modules that could be added.
type Ceiling struct {
	Modules   ingest.Opt[int] // not Known: nobody knows (Ask says what to find out), or there is no limit (Unlimited)
	Unlimited bool            // the rules set no limit here
	Low, High int             // what the unknown or the doubt leaves possible; High is Many where nothing bounds it
	Reason    string          // code, snake_case
	Says      string          // one or two sentences with the arithmetic
	Ask       string          // what to find out; "" where nothing is missing
	Evidence  []string        // rule, clause, edition, inputs
}

// Limit is one of the five, with its name.
type Limit struct {
	Name string // roof, service, branch, gateway, permission
	Ceiling
}

// Unknown says that nobody knows this limit: it is neither a number nor absent.
func (c Ceiling) Unknown() bool { return !c.Modules.Known && !c.Unlimited }

// Limits lists the five, in the order in which people read them.
func (r *Result) Limits() [5]Limit {
	return ceilings{r.Roof, r.Service, r.Branch, r.Gateway, r.Permission}.limits()
}

// PlaneRoom is the room on one plane.
type PlaneRoom struct {
	Plane       ingest.Plane
	Modules     int // that fit beside what is there; of a plane without dimensions the prior's middle
	Low, High   int
	Measured    bool    // false: no dimensions, a prior
	Orientation string  // portrait or landscape
	OldModules  int     // already there by the register
	RidgeM      float64 // the ridge setback that the count stands on
	Says        string
}

// Job is an enabling job that changes something at this site.
type Job struct {
	Name   string
	Cost   float64
	Weeks  float64 // NaN: not known
	Lifts  string  // the limit it lifts
	Gains  int     // modules possible with it and without any paid job, less without it
	Says   string
	Target string // what is put in or applied for: a gateway model, a version, amps, kW
}

// JobSet is a set of jobs and the modules that are possible when all are done.
// Only sets are listed of which no job could be left out.
type JobSet struct {
	Jobs    []string // free ones included
	Cost    float64
	Modules int
	Open    bool // some limit is not known: Modules is what may be possible at the most
}

// Caution is something that a person must look at before anything is promised.
type Caution = ingest.Caveat

// Legacy is what an expansion would do to the terms of a legacy tariff.
type Legacy struct {
	KeepsUpTo int // modules that can be added without losing the terms
	Successor string
	Says      string
}

// Result is what one site's headroom is.
type Result struct {
	Roof, Service, Branch, Gateway, Permission Ceiling

	// Possible is the smallest limit as the site stands, jobs that cost
	// nothing counted as done. Not Known where a limit that nobody knows might
	// be the smallest; PossibleLow and PossibleHigh then say what is left open.
	Possible                  ingest.Opt[int]
	PossibleLow, PossibleHigh int
	Binding                   string // the ceiling that binds; of equals the first of Limits; "" where Possible is not known

	FreeJobs []string // jobs that cost nothing, counted as done in Possible: they come first all the same
	Jobs     []Job
	JobSets  []JobSet // paid sets only, cheapest first

	Planes   []PlaneRoom // by plane ID
	Cautions []Caution
	Ask      []string // everything that is missing, once each

	ExistingInverters ingest.Opt[int] // the device count before
	ExistingACKW      float64         // NaN: not known
	ExportLimitKW     float64         // the profile's export limit; NaN: none
	Legacy            *Legacy         // nil: no legacy terms
	Profile           *ingest.ServiceProfile
}

// Plan is what has been chosen to be built.
type Plan struct {
	Modules int
	ByPlane []PlaneCount
	Jobs    []string
}

// PlaneCount is a number of modules on one plane.
type PlaneCount struct {
	PlaneID string
	Modules int
}
