package headroom

import (
	"math"
)

// Circuits is how the inverters of a plan are wired.
type Circuits struct {
	Inverters    int     // new ones
	PerInverter  int     // modules on each
	OnOld        int     // of the new ones, on branches that are there
	Branches     []int   // new branch circuits: inverters on each, the fullest first; nil where Known is false
	Known        bool    // the branch limits of the inverter and the service's volts are known
	PerBranch    int     // the most inverters on one branch
	UnitAmps     float64 // rated output of one; NaN: not known
	Factor       float64 // for continuous duty
	BreakerAmps  float64 // of each new branch; NaN: to be sized
	Poles        int     // breaker spaces per branch; 0: not known
	BeforeACKW   float64 // rated output of the old inverters; NaN: not known
	AddedACKW    float64
	DeviceBefore int // the gateway's devices today; -1: not known
}

// Wire spreads the inverters of a plan evenly over as few new branch circuits
// as carry them.
func Wire(in Input, plan Plan) Circuits {
	f := gather(in)
	c := Circuits{Inverters: (plan.Modules + f.perInverter - 1) / f.perInverter, PerInverter: f.perInverter, UnitAmps: f.unitAmps(), Factor: f.factor,
		BreakerAmps: math.NaN(), BeforeACKW: f.oldACW / 1000, DeviceBefore: -1, Poles: f.poles()}
	c.AddedACKW = float64(c.Inverters) * in.Inverter.ACWatts / 1000
	if n, ok := f.mixing.devices(); ok {
		c.DeviceBefore = n
	}
	c.PerBranch = perBranch(in.Inverter, f.unitAmps(), f.factor)
	if c.PerBranch <= 0 || !(f.phaseVolts > 0) {
		return c
	}
	c.Known = true
	if in.Site.Service != nil && in.Inverter.Kind != "string" {
		c.OnOld = min(c.Inverters, f.spare/f.perInverter)
	}
	rest := c.Inverters - c.OnOld
	n := (rest + c.PerBranch - 1) / c.PerBranch
	for i := range n {
		c.Branches = append(c.Branches, (rest+n-1-i)/n)
	}
	if c.BreakerAmps = in.Inverter.BranchBreakerAmps; !(c.BreakerAmps > 0) && n > 0 {
		c.BreakerAmps = nextBreaker(f.sizes(), float64(f.factor*f.unitAmps()*float64(c.Branches[0])))
	}
	return c
}

// poles is how many breaker spaces a branch circuit takes; 0 where neither the
// profile nor the service tells.
func (e *electric) poles() int {
	if e.profile == nil && e.phases == 0 && e.in.Inverter.Phases != 3 {
		return 0
	}
	return e.spacesPerBranch()
}
