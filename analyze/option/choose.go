package option

import (
	"fmt"
	"math"
	"slices"

	"rowen/ingest"
)

// choose finds the size to propose, as the site stands and with jobs, and what
// each set of jobs would bring.
func choose(in *Input, d *draws, r *Result) {
	if len(r.Options) == 0 {
		return
	}
	now := func(o *Option) bool { return o.Feasible }
	any := func(*Option) bool { return true }
	r.Best, r.UpTo = propose(in, d, r, now, in.SureNow)
	r.BestWithJobs, r.UpToWithJobs = propose(in, d, r, any, in.SureRoof)
	for _, set := range in.JobSets {
		r.Jobs = append(r.Jobs, jobGain(in, d, r, set))
	}
	r.Cases = bestCases(in, r)
	d.keep(r, r.Best)
	d.keep(r, r.BestWithJobs)
	for _, g := range r.Jobs {
		d.keep(r, g.Best)
	}
}

// keep gives the size at its draws.
func (d *draws) keep(r *Result, at int) {
	if at < 0 || d.n == 0 || r.Options[at].Draws != nil {
		return
	}
	net := make([]float32, d.n)
	for i := range net {
		net[i] = float32(d.net[at*d.n+i])
	}
	r.Options[at].Draws = net
}

// propose is the size to propose and the one that it could grow to. The first
// rule that some size meets decides: it holds whatever is not known turns out to
// be, it can be built and its gain is sure enough; the same but for what is not
// known; whatever is expected to gain.
func propose(in *Input, d *draws, r *Result, allowed func(*Option) bool, sure ingest.Opt[int]) (at, upTo int) {
	sells := func(o *Option) bool { return allowed(o) && o.built() && o.Chance >= in.MinChance }
	holds := func(o *Option) bool { return sells(o) && o.Modules <= sure.Or(o.Modules) && in.surely(o) }
	upTo = best(in, d, r, sells)
	if at = best(in, d, r, holds); at >= 0 {
		at = whole(in, r, at, holds)
		return at, max(at, upTo)
	}
	if upTo >= 0 {
		upTo = whole(in, r, upTo, sells)
		return upTo, upTo
	}
	at = best(in, d, r, allowed)
	return at, at
}

// builds tells whether a size that needs jobs can be built, on what the roof
// surely takes where it takes any size surely.
func (in *Input) builds(o *Option) bool {
	roof := in.SureRoof
	if roof.Or(in.MinModules) < in.MinModules {
		return o.built()
	}
	return o.built() && o.Modules <= roof.Or(o.Modules) && in.surely(o)
}

// built tells whether somebody would build the size: no module stands alone on
// a plane while others stand elsewhere.
func (o *Option) built() bool {
	for _, p := range o.ByPlane {
		if p.Modules == 1 && o.Modules > 1 {
			return false
		}
	}
	return true
}

// surely tells whether each plane takes its share of the size whatever is not
// known of the plane.
func (in *Input) surely(o *Option) bool {
	for _, p := range o.ByPlane {
		for i := range in.Planes {
			if c := &in.Planes[i]; c.PlaneID == p.PlaneID && p.Modules > c.Sure.Or(p.Modules) {
				return false
			}
		}
	}
	return true
}

// costsNothing is the share of the net benefit that a count of whole branches
// may cost (our choice: below what anybody can tell).
const costsNothing = 0.01

// whole is the size at, or one that is at most two modules off, fills whole
// branch circuits and costs nothing.
func whole(in *Input, r *Result, at int, allowed func(*Option) bool) int {
	if in.PerBranch < 2 || r.Options[at].Modules%in.PerBranch == 0 {
		return at
	}
	o := &r.Options[at]
	for k := range r.Options {
		w := &r.Options[k]
		off := w.Modules - o.Modules
		if w.Modules%in.PerBranch == 0 && off >= -2 && off <= 2 && w.Modules >= in.MinModules && allowed(w) &&
			w.NetBenefit.Mean >= (1-costsNothing)*o.NetBenefit.Mean && slices.Equal(w.Jobs, o.Jobs) {
			return k
		}
	}
	return at
}

// best is the size with the most expected net benefit, or the smallest that is
// within its noise: a larger one must be better in enough of the draws, all
// sizes looked at in the same worlds. -1 where no size is expected to gain.
func best(in *Input, d *draws, r *Result, allowed func(*Option) bool) int {
	top := -1
	for k := range r.Options {
		o := &r.Options[k]
		if o.Modules < in.MinModules || !allowed(o) {
			continue
		}
		if top < 0 || o.NetBenefit.Mean > r.Options[top].NetBenefit.Mean+float64(rounding*o.Cost) { // of equals the smaller
			top = k
		}
	}
	gains := func(o *Option) bool { return o.NetBenefit.Mean > 0 && o.NetBenefit.Value > 0 }
	if top < 0 || !gains(&r.Options[top]) {
		return -1
	}
	for k := range top {
		o := &r.Options[k]
		if o.Modules >= in.MinModules && allowed(o) && gains(o) && !d.clearlyBetter(top, k, in.Money.Doubt.BetterInPct) {
			return k
		}
	}
	return top
}

// rounding is what sums of a year may differ by, against the cost.
const rounding = 1e-9

// clearlyBetter tells whether option a beats b in at least so many of the draws.
func (d *draws) clearlyBetter(a, b int, pct float64) bool {
	if d.n == 0 {
		return true
	}
	wins := 0
	for i := range d.n {
		if d.net[a*d.n+i] > d.net[b*d.n+i] {
			wins++
		}
	}
	return float64(wins) >= pct/100*float64(d.n)
}

// jobGain is what a set of jobs brings over the best as the site stands.
func jobGain(in *Input, d *draws, r *Result, set JobSet) JobGain {
	g := JobGain{Jobs: set.Jobs, Cost: set.Cost, Best: -1}
	netNow, modulesNow := 0.0, 0
	if r.Best >= 0 {
		netNow, modulesNow = r.Options[r.Best].NetBenefit.Mean, r.Options[r.Best].Modules
	}
	perCost := in.Money.terms(in.Tariff, 0, 0).perCost
	netBest := math.Inf(-1)
	for k := range r.Options {
		o := &r.Options[k]
		if o.Modules > set.Modules || o.Modules < in.MinModules || o.Modules <= in.Possible || !in.builds(o) {
			continue
		}
		// The option's own jobs may be a cheaper set.
		own := in.Money.cost(o.Modules, o.AddedKWDC, set.Cost)
		if net := o.NetBenefit.Mean - float64((own-o.Cost)*perCost); net > netBest {
			netBest, g.Best = net, k
		}
	}
	if g.Best < 0 {
		return g
	}
	g.NetBenefitGained = netBest - netNow
	g.ModulesGained = r.Options[g.Best].Modules - modulesNow
	if netBest <= 0 {
		g.Best = -1
	}
	return g
}

// bestCases is the best size under each legal case; nil where no legacy tariff
// is at stake.
func bestCases(in *Input, r *Result) []Case {
	var out []Case
	for _, name := range caseNames {
		c := Case{Case: name, NetBenefit: math.Inf(-1)}
		found := false
		for k := range r.Options {
			o := &r.Options[k]
			if o.Modules < in.MinModules || !o.Feasible {
				continue
			}
			for _, as := range o.Cases {
				if as.Case == name && as.NetBenefit > c.NetBenefit {
					c.Successor, c.Legal, c.Modules, c.NetBenefit, c.Saving = as.Successor, as.Legal, o.Modules, as.NetBenefit, as.Saving
					found = true
				}
			}
		}
		if found {
			c.Ranked = r.Best >= 0 && r.Options[r.Best].Case == name
			out = append(out, c)
		}
	}
	return out
}

// tornadoZ is the 95 % point of the standard normal distribution.
const tornadoZ = 1.6449

// explain says which unknown moves the answer most, for the size to propose or,
// where none gains, the one that loses least.
func (w *work) explain(in *Input, r *Result) {
	k := shown(r)
	if k < 0 || w.doubt.n == 0 {
		return
	}
	o, d, m := &r.Options[k], &w.doubt, &in.Money
	years := math.Sqrt(float64(m.HorizonYears))
	cases := []struct {
		name, measure string
		sd            float64
		at            func(x *world, v float64)
		base          float64
	}{
		{"weather", "", d.outputSD / years, func(x *world, v float64) { x.output = v }, 1},
		{"demand", "what will be bought or changed in the house within two years; twelve months of bills", d.loadSD, func(x *world, v float64) { x.load = v }, 1},
		{"plane_output", "tilt, direction and shading of the plane, at the plane", d.planeSD[o.Modules], func(x *world, v float64) { x.plane = v }, 1},
		{"price_escalation", "", m.Doubt.EscalationSDPct, func(x *world, v float64) { x.escalation = v }, 0},
		{"degradation", "", m.Doubt.DegradationSDPct, func(x *world, v float64) { x.ageing = v }, 0},
		{"cost", "the price of the work at this house: access, cable ways, panelboard", m.Doubt.CostRelSDPct / 100, func(x *world, v float64) { x.cost = v }, 1},
	}
	expected := w.netIn(in, o, world{1, 1, 1, 0, 0, 1})
	for _, c := range cases {
		if c.sd == 0 {
			continue
		}
		u := Unknown{Name: c.name, Measure: c.measure, LowAt: c.base - float64(tornadoZ*c.sd), HighAt: c.base + float64(tornadoZ*c.sd)}
		for _, end := range []struct{ at, net *float64 }{{&u.LowAt, &u.Low}, {&u.HighAt, &u.High}} {
			x := world{1, 1, 1, 0, 0, 1}
			c.at(&x, *end.at)
			*end.net = w.netIn(in, o, x)
		}
		if u.Low > u.High {
			u.Low, u.High, u.LowAt, u.HighAt = u.High, u.Low, u.HighAt, u.LowAt
		}
		u.Flips = (u.Low > 0) != (u.High > 0)
		u.Says = says(u, expected, c.base)
		at := len(r.Tornado)
		for at > 0 && r.Tornado[at-1].High-r.Tornado[at-1].Low < u.High-u.Low {
			at--
		}
		r.Tornado = append(r.Tornado, Unknown{})
		copy(r.Tornado[at+1:], r.Tornado[at:])
		r.Tornado[at] = u
	}
}

// shown is the option that the explanations look at; -1: there is none.
func shown(r *Result) int {
	if r.Best >= 0 {
		return r.Best
	}
	if r.BestWithJobs >= 0 {
		return r.BestWithJobs
	}
	k := -1
	for i := range r.Options {
		if k < 0 || r.Options[i].NetBenefit.Mean > r.Options[k].NetBenefit.Mean {
			k = i
		}
	}
	return k
}

func says(u Unknown, expected, base float64) string {
	if base == 0 {
		return fmt.Sprintf("%s %+.1f or %+.1f points a year: net benefit %.0f or %.0f instead of %.0f", u.Name, u.LowAt, u.HighAt, u.Low, u.High, expected)
	}
	return fmt.Sprintf("%s %+.0f %% or %+.0f %%: net benefit %.0f or %.0f instead of %.0f", u.Name, 100*(u.LowAt-1), 100*(u.HighAt-1), u.Low, u.High, expected)
}

// world is one way in which things may turn out.
type world struct{ load, output, plane, escalation, ageing, cost float64 }

// netIn is an option's net benefit in a world, interpolated as in the draws.
func (w *work) netIn(in *Input, o *Option, x world) float64 {
	t := in.Money.terms(in.Tariff, x.escalation, x.ageing)
	c := &w.curves[o.curve]
	size := float64(float64(o.Modules) * max(leastPart, x.plane))
	at := min(int(size), c.sizes-2)
	part := size - float64(at)
	net := worth(t, o.Cost*x.cost, o.Modules, 0)
	p := w.table.place(x.load, x.output)
	for j := range p.n {
		a, b := c.worth(t, p.point[j], at), c.worth(t, p.point[j], at+1)
		net += float64(p.weight[j] * (a + float64((b-a)*part)))
	}
	return net
}
