package headroom

import (
	"slices"

	"rowen/ingest"
)

// ceilings are the five of them for a site in some state.
type ceilings struct{ roof, service, branch, gateway, permission Ceiling }

// possible is the smallest of five limits. It is known where no limit that
// nobody knows could be smaller than the smallest that is known.
func (c ceilings) possible() (n ingest.Opt[int], low, high int, binding string) {
	low, high = Many, Many
	smallest := Many
	for _, x := range c.limits() {
		low, high = min(low, x.Low), min(high, x.High)
		if x.Modules.Known && x.Modules.V < smallest {
			smallest, binding = x.Modules.V, x.Name
		}
	}
	if binding == "" {
		return n, low, high, ""
	}
	for _, x := range c.limits() {
		if x.Unknown() && x.Low < smallest {
			return n, low, min(high, smallest), "" // nothing binds for certain
		}
	}
	return ingest.Some(smallest), low, high, binding
}

func (c ceilings) limits() [5]Limit {
	return [5]Limit{{Roof, c.roof}, {Service, c.service}, {Branch, c.branch}, {Gateway, c.gateway}, {Permission, c.permission}}
}

// plan weighs sets of jobs against the site as it stands.
type plan struct {
	f      *facts
	roof   Ceiling
	offers []offer
	known  [4]map[uint]Ceiling // by the jobs of a set that touch that limit
}

// touching are the jobs that each of the four limits depends on, and how it
// is found. The roof depends on none.
var touching = [4]struct {
	jobs   []string
	assess func(*facts, state) Ceiling
}{
	{[]string{PanelboardUpgrade, SupplySideConnection, NewPermission}, func(f *facts, s state) Ceiling { return f.assess(s) }},
	{[]string{Subpanel, PanelboardUpgrade, SupplySideConnection}, (*facts).assessBranch},
	{[]string{SoftwareUpdate, GatewaySwap}, func(f *facts, s state) Ceiling { return f.mixing.assess(s) }},
	{[]string{NewPermission}, (*facts).assessPermission},
}

// Lifts names the limits that a job may lift.
func Lifts(job string) []string {
	var out []string
	for i, name := range []string{Service, Branch, Gateway, Permission} {
		if slices.Contains(touching[i].jobs, job) {
			out = append(out, name)
		}
	}
	return out
}

func newPlan(f *facts, roof Ceiling) *plan {
	p := &plan{f: f, roof: roof, offers: f.offers()}
	for i := range p.known {
		p.known[i] = map[uint]Ceiling{}
	}
	return p
}

// ceilings finds the five for a set of jobs, each worked out once.
func (p *plan) ceilings(set uint) ceilings {
	var four [4]Ceiling
	for k, t := range touching {
		key := uint(0)
		s := p.f.asItStands()
		for i, o := range p.offers {
			if set>>i&1 == 1 && slices.Contains(t.jobs, o.name) {
				key |= 1 << i
				o.does(&s)
			}
		}
		c, ok := p.known[k][key]
		if !ok {
			c = t.assess(p.f, s)
			p.known[k][key] = c
		}
		four[k] = c
	}
	return ceilings{p.roof, four[0], four[1], four[2], four[3]}
}

// modules is what is possible with a set of jobs, and whether that is known.
func (p *plan) modules(set uint) (int, bool) {
	c := p.ceilings(set)
	n, low, _, _ := c.possible()
	if n.Known {
		return n.V, true
	}
	return low, false
}

// reach is the most that a set of jobs may make possible: what it makes possible,
// or where some limit is not known what the known ones leave open.
func (p *plan) reach(set uint) (n int, open bool) {
	c := p.ceilings(set)
	known, _, high, _ := c.possible()
	if known.Known {
		return known.V, false
	}
	return high, true
}

// needed drops from a set every job without which as much is possible.
func (p *plan) needed(set uint) uint {
	n, known := p.modules(set)
	for i := len(p.offers) - 1; i >= 0; i-- {
		if set>>i&1 == 0 {
			continue
		}
		without := set &^ (1 << i)
		m, k := p.modules(without)
		most, _ := p.reach(without)
		if all, _ := p.reach(set); m >= n && k == known && most >= all {
			set = without
		}
	}
	return set
}

func (p *plan) free() uint {
	set := uint(0)
	for i, o := range p.offers {
		if o.cost == 0 {
			set |= 1 << i
		}
	}
	return set
}

func (p *plan) names(set uint) []string {
	var out []string
	for i, o := range p.offers {
		if set>>i&1 == 1 {
			out = append(out, o.name)
		}
	}
	return out
}

func (p *plan) cost(set uint) float64 {
	sum := 0.0
	for i, o := range p.offers {
		if set>>i&1 == 1 {
			sum += o.cost
		}
	}
	return sum
}
