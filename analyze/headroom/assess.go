package headroom

import (
	"math"
	"slices"
)

// DefaultOptions are the settings' defaults. Weeks are common practice: a
// remote update within the day, a utility's answer in about six weeks.
func DefaultOptions() Options {
	return Options{
		RidgeSetbackM: 0.46, EaveSetbackM: 0, SideSetbackM: 0.30, ModuleGapM: 0.02,
		AreaSharePct: 33, WideRidgeSetbackM: 0.91, ObstacleMarginM: 0.30,
		CostOf:  map[string]float64{SoftwareUpdate: 0, Subpanel: 1200, PanelboardUpgrade: 2800, NewPermission: 450, GatewaySwap: 900},
		WeeksOf: map[string]float64{SoftwareUpdate: 0, Subpanel: 2, PanelboardUpgrade: 4, NewPermission: 6, GatewaySwap: 1, SupplySideConnection: 6},
	}
}

// Assess finds the five limits of a site, the one that binds, and what the
// enabling jobs would gain.
//
// In:      Input; nothing in it is changed.
// Out:     Result, complete. The limits are as the site stands, with the jobs
//
//	that cost nothing counted as done where they change something.
//
// Refuses: nothing as a whole: each limit that cannot be known says what to ask.
// Cost:    the packing of the planes, and at most 64 sets of jobs without it.
func Assess(in Input) Result {
	f := gather(in)
	roof, planes, cautions := assessRoof(in)
	p := newPlan(&f, roof)
	base := p.needed(p.free())
	c := p.ceilings(base)
	r := Result{Roof: c.roof, Service: c.service, Branch: c.branch, Gateway: c.gateway, Permission: c.permission,
		Planes: planes, FreeJobs: p.names(base), ExistingACKW: f.oldACW / 1000, ExportLimitKW: math.NaN(),
		Legacy: f.legacyTerms(), Profile: f.profile}
	r.Possible, r.PossibleLow, r.PossibleHigh, r.Binding = c.possible()
	r.JobSets = p.sets(base)
	r.Jobs = p.jobs(base, r.JobSets)
	if n, ok := f.mixing.devices(); ok {
		r.ExistingInverters.V, r.ExistingInverters.Known = n, true
	}
	if f.profile != nil && f.profile.ExportLimitKW > 0 {
		r.ExportLimitKW = f.profile.ExportLimitKW
	}
	r.Cautions = f.cautions(cautions, &r)
	for _, x := range c.limits() {
		if x.Ask != "" && !slices.Contains(r.Ask, x.Ask) {
			r.Ask = append(r.Ask, x.Ask)
		}
	}
	return r
}
