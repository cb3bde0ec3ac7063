package headroom

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"rowen/ingest"
)

// jobOrder is the order in which jobs are named and tried.
var jobOrder = []string{SoftwareUpdate, GatewaySwap, NewPermission, Subpanel, PanelboardUpgrade, SupplySideConnection}

// defaultUpgradeBusbars are the busbar sizes that an upgrade offers where the
// profile names none, and defaultUpgradeSpaces the free spaces it brings
// (common practice: 225 A busbars with 40 spaces behind a 200 A main breaker).
var defaultUpgradeBusbars = []float64{125, 225, 400, 600}

const defaultUpgradeSpaces = 8

// defaultSubpanelSpaces are those of a subpanel where the profile names none
// (common practice: three branch circuits of two poles).
const defaultSubpanelSpaces = 6

// offer is a job that could be done at this site: what it turns the site into.
type offer struct {
	name   string
	cost   float64
	target string
	does   func(*state)
}

// offers lists the priced jobs that would change something here.
func (f *facts) offers() []offer {
	var out []offer
	now := f.asItStands()
	for _, name := range jobOrder {
		cost, priced := f.in.Options.CostOf[name]
		if !priced {
			continue
		}
		o := offer{name: name, cost: cost}
		switch name {
		case SoftwareUpdate:
			if !f.offerUpdate(&o, now) {
				continue
			}
		case GatewaySwap:
			target := f.mixing.swapTarget(now)
			if target == "" {
				continue
			}
			o.target = target
			o.does = func(s *state) {
				s.gateway, s.software, s.swapped = target, f.in.Catalogue.Gateway(target).LatestSoftware, true
			}
		case NewPermission:
			o.target = "the size that is built"
			o.does = func(s *state) { s.permission, s.limitLifted = true, NewPermission }
		case Subpanel:
			spaces, ok := f.subpanel(now)
			if !ok {
				continue
			}
			o.target = fmt.Sprintf("%d free spaces", spaces)
			o.does = func(s *state) { s.spaces = ingest.Some(max(s.spaces.Or(0), spaces)) }
		case PanelboardUpgrade:
			size, spaces, ok := f.upgrade(now)
			if !ok {
				continue
			}
			if size > 0 {
				o.target = fmt.Sprintf("%g A busbar", size)
			} else {
				o.target = fmt.Sprintf("%d free spaces", spaces)
			}
			o.does = func(s *state) {
				s.spaces = ingest.Some(max(s.spaces.Or(0), spaces))
				if size > 0 {
					s.busbarAmps, s.feed = size, "end"
				}
			}
		case SupplySideConnection:
			if f.profile == nil || !f.profile.SupplySide {
				continue
			}
			o.target = "before the main breaker"
			o.does = func(s *state) { s.supplySide = true }
		}
		out = append(out, o)
	}
	return out
}

// subpanel is how many free spaces a subpanel brings, where more than there are.
func (f *facts) subpanel(s state) (spaces int, ok bool) {
	if f.profile == nil || f.in.Site.Service == nil || !s.spaces.Known {
		return 0, false
	}
	spaces = f.profile.SubpanelFreeSpaces
	if spaces <= 0 {
		spaces = defaultSubpanelSpaces
	}
	return spaces, spaces > s.spaces.V
}

// offerUpdate fills in the software update; false where the gateway has the
// latest version or nobody knows.
func (f *facts) offerUpdate(o *offer, now state) bool {
	g := f.in.Catalogue.Gateway(now.gateway)
	if g == nil {
		return false
	}
	if order, ok := compareVersions(now.software, g.LatestSoftware); !ok || order >= 0 {
		return false
	}
	o.target = g.LatestSoftware
	o.does = func(s *state) {
		if !s.swapped {
			s.software, s.updated = g.LatestSoftware, true
		}
	}
	return true
}

// upgrade is what a panelboard upgrade brings: the next larger busbar behind
// the same main breaker, fed at its end, and free spaces.
func (f *facts) upgrade(s state) (busbar float64, spaces int, ok bool) {
	p := f.profile
	if p == nil {
		return 0, 0, false
	}
	spaces = p.UpgradeFreeSpaces
	if spaces <= 0 {
		spaces = defaultUpgradeSpaces
	}
	if !(p.BusbarPct > 0) && len(p.BusbarRules) == 0 {
		return 0, spaces, true // spaces are all that it brings
	}
	sizes := p.UpgradeBusbarAmps
	if len(sizes) == 0 {
		sizes = defaultUpgradeBusbars
	}
	main := f.in.Site.Service.MainBreakerAmps
	for _, size := range sizes {
		if size > s.busbarAmps && size >= main {
			return size, spaces, true
		}
	}
	return 0, 0, false
}

// sets lists the sets of paid jobs of which none can be left out and that no
// cheaper set equals, cheapest first.
func (p *plan) sets(base uint) []JobSet {
	free := p.free()
	now, open := p.reach(base)
	sure, _ := p.modules(base)
	gains := func(n int, still bool) bool { return n > now || open && !still && n > sure } // more, or surely what was open
	var out []JobSet
	seen := map[uint]bool{}
	for s := uint(1); s < 1<<len(p.offers); s++ {
		if s&free != 0 {
			continue
		}
		need := p.needed(s | free)
		n, still := p.reach(need)
		if need&^free == 0 || seen[need] || !gains(n, still) {
			continue
		}
		seen[need] = true
		out = append(out, JobSet{Jobs: p.names(need), Cost: p.cost(need), Modules: n, Open: still})
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if a.Cost != b.Cost {
			return a.Cost < b.Cost
		}
		if a.Modules != b.Modules {
			return a.Modules > b.Modules
		}
		return strings.Join(a.Jobs, " ") < strings.Join(b.Jobs, " ")
	})
	kept, most := out[:0], -1
	for _, s := range out {
		if s.Modules > most {
			kept, most = append(kept, s), s.Modules
		}
	}
	return slices.Clip(kept)
}

// jobs describes every job that gains something, alone or in one of the sets.
func (p *plan) jobs(base uint, sets []JobSet) []Job {
	var out []Job
	now, _ := p.modules(base)
	for i, o := range p.offers {
		bit := uint(1) << i
		inSet, open := false, false
		for _, s := range sets {
			if slices.Contains(s.Jobs, o.name) {
				inSet, open = true, open || s.Open
			}
		}
		gain := 0
		if o.cost == 0 {
			without, _ := p.modules(base &^ bit)
			gain = now - without
		} else if n, ok := p.modules(p.free() | bit); ok {
			gain = n - now
		}
		if gain <= 0 && !inSet && base&bit == 0 {
			continue
		}
		j := Job{Name: o.name, Cost: o.cost, Weeks: math.NaN(), Gains: max(0, gain), Target: o.target, Lifts: p.lifts(base, bit)}
		if w, ok := p.f.in.Options.WeeksOf[o.name]; ok {
			j.Weeks = w
		}
		j.Says = jobSentence(j, open)
		out = append(out, j)
	}
	return out
}

// lifts names the limit that a job raises most: the first of the order whose
// bound grows.
func (p *plan) lifts(base, bit uint) string {
	without, with := p.ceilings(base&^bit).limits(), p.ceilings(base|bit).limits()
	for i := range with {
		if with[i].Low > without[i].Low || with[i].Unlimited && !without[i].Unlimited {
			return with[i].Name
		}
	}
	return ""
}

// jobSentence says what a job is and gains; open: what it gains hangs on a limit
// that is not known.
func jobSentence(j Job, open bool) string {
	what := map[string]string{
		SoftwareUpdate:       "Update the gateway's software to ",
		GatewaySwap:          "Replace the gateway by ",
		NewPermission:        "Ask for a new permission to operate for ",
		Subpanel:             "Set a subpanel beside the panelboard: ",
		PanelboardUpgrade:    "Replace the panelboard: ",
		SupplySideConnection: "Connect the new modules ",
	}[j.Name] + j.Target
	if j.Weeks > 0 {
		what += fmt.Sprintf(" (usually %g weeks)", j.Weeks)
	}
	switch {
	case j.Gains == 0 && open:
		return what + ": what it gains depends on what is not known."
	case j.Gains == 0:
		return what + ": gains nothing alone."
	}
	return what + fmt.Sprintf(": gains %d modules.", j.Gains)
}
