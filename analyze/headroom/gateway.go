package headroom

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rowen/ingest"
)

// silentAfter is how long a gateway may be unseen: longer than the longest
// month (our choice for "not seen for a month").
const silentAfter = 31 * 24 * time.Hour

// mixing is which inverters would share the gateway, and what the catalogue's
// rules say of that.
type mixing struct {
	in          *Input
	young       kind // the new inverter
	old         []kind
	gap         string // what keeps the old kinds from being known; ""
	units       ingest.Opt[int]
	perInverter int
	mixes       bool                // the new inverter is of another family or generation than an old one
	rules       []ingest.MixingRule // those that cover the new inverter and every old one
}

func mixingOf(in *Input, o oldInverters, perInverter int) mixing {
	m := mixing{in: in, young: kind{in.Inverter.Family, in.Inverter.Generation}, old: o.kinds, gap: o.kindsGap, units: o.units, perInverter: perInverter}
	m.mixes = slices.ContainsFunc(m.old, func(k kind) bool { return k != m.young })
	for _, r := range in.Catalogue.Mixing {
		uncovered := func(k kind) bool {
			return !(r.Family == k.family && slices.Contains(r.Generations, k.generation) || contains(r.OtherFamilies, k.family))
		}
		if !uncovered(m.young) && !slices.ContainsFunc(m.old, uncovered) {
			m.rules = append(m.rules, r)
		}
	}
	return m
}

// verdict is what one mixing rule says of a site.
type verdict struct {
	code string // fits, software, swap, blocked, unknown
	says string
	ask  string
}

// rank orders verdicts from best to worst: of several rules one is enough.
func (v verdict) rank() int {
	return slices.Index([]string{"fits", "software", "swap", "unknown", "blocked"}, v.code)
}

// judge applies one mixing rule. What blocks for certain comes before what is
// not known: finding it out could not help.
func (m *mixing) judge(r ingest.MixingRule, s state) verdict {
	gens := generations(r.Generations)
	blocked, ask := m.forbidden(r)
	if blocked != nil {
		return *blocked
	}
	model := m.in.Catalogue.Gateway(s.gateway)
	switch {
	case s.gateway == "":
		ask = append(ask, "the gateway's model and software version")
	case model == nil:
		ask = append(ask, fmt.Sprintf("the gateway model %q in the catalogue", s.gateway))
	}
	if len(ask) > 0 {
		return verdict{"unknown", "Whether the generations may be mixed is not known.", strings.Join(ask, "; ")}
	}
	if len(r.Gateways) > 0 && !contains(r.Gateways, s.gateway) {
		return verdict{"swap", fmt.Sprintf("Generations %s of %s share a gateway only on %s; this site has %s.", gens, r.Family, strings.Join(r.Gateways, ", "), s.gateway), ""}
	}
	if r.MinSoftware == "" {
		return verdict{"fits", fmt.Sprintf("Generations %s of %s may share the gateway %s.", gens, r.Family, s.gateway), ""}
	}
	order, ok := compareVersions(s.software, r.MinSoftware)
	if ok && order >= 0 {
		has := "it has "
		if s.updated || s.swapped {
			has = "it then has "
		}
		return verdict{"fits", fmt.Sprintf("Generations %s of %s may share the gateway %s from software %s on; %s%s.", gens, r.Family, s.gateway, r.MinSoftware, has, s.software), ""}
	}
	latest, known := compareVersions(model.LatestSoftware, r.MinSoftware)
	switch {
	case known && latest < 0:
		return verdict{"swap", fmt.Sprintf("The gateway %s takes software up to %s; mixing needs %s.", s.gateway, model.LatestSoftware, r.MinSoftware), ""}
	case !ok:
		return verdict{"unknown", "Whether the generations may be mixed is not known.", "the gateway's software version"}
	case !known:
		return verdict{"unknown", "Whether the gateway can take the software for mixing is not known.", "the latest software of the gateway model " + s.gateway}
	}
	return verdict{"software", fmt.Sprintf("Mixing needs gateway software %s; it has %s and takes %s.", r.MinSoftware, s.software, model.LatestSoftware), ""}
}

// forbidden says what keeps a site from a mixing rule whatever is done to it, or
// what must be asked before that is known.
func (m *mixing) forbidden(r ingest.MixingRule) (blocked *verdict, ask []string) {
	site, g, gens := m.in.Site, m.in.Site.Gateway, generations(r.Generations)
	backup, storage := ingest.Opt[bool]{}, ingest.Opt[bool]{}
	if g != nil {
		backup = g.BackupController
		if g.StorageKWh >= 0 {
			storage = ingest.Some(g.StorageKWh > 0)
		}
	}
	for _, b := range []struct {
		code, what string
		present    ingest.Opt[bool]
	}{{"backup_controller", "a backup controller", backup}, {"storage", "storage", storage}} {
		if !contains(r.BlockedBy, b.code) {
			continue
		}
		if b.present.Known && b.present.V {
			return &verdict{"blocked", fmt.Sprintf("Generations %s of %s may not share a gateway at a site with %s.", gens, r.Family, b.what), b.code}, nil
		}
		if !b.present.Known {
			ask = append(ask, "whether the site has "+b.what)
		}
	}
	if len(r.GridTypes) > 0 {
		if site.GridType == "" {
			ask = append(ask, "the grid type (grid-tied, backup or off-grid)")
		} else if !contains(r.GridTypes, site.GridType) {
			return &verdict{"blocked", fmt.Sprintf("Generations %s of %s may share a gateway only at %s sites; this one is %s.", gens, r.Family, strings.Join(r.GridTypes, ", "), site.GridType), "grid_type"}, nil
		}
	}
	return nil, ask
}

func generations(g []int) string {
	parts := make([]string, len(g))
	for i, n := range g {
		parts[i] = fmt.Sprint(n)
	}
	return strings.Join(parts, " and ")
}

// best is the most favourable verdict over the rules that cover the site.
func (m *mixing) best(s state) verdict {
	var best verdict
	for i, r := range m.rules {
		if v := m.judge(r, s); i == 0 || v.rank() < best.rank() {
			best = v
		}
	}
	return best
}

// assess finds the limit of the gateway: whether the generations may
// be mixed at all, then how many devices it still takes.
//
// Out:     0 where they may not be mixed as the site stands; the reason says
//
//	whether an update or another gateway would do.
//
// Refuses: old inverters, gateway or site not known well enough.
func (m *mixing) assess(s state) Ceiling {
	if m.mixes && len(m.rules) == 0 {
		return none("no_mixing_rule", fmt.Sprintf("No rule of the catalogue lets %s share a gateway with %s.", kindName(m.young), m.oldKinds()))
	}
	if m.gap != "" {
		return unknown("old_inverters_unknown", "The old inverters' model is not known, and so not whether the new ones may join them.", m.gap, 0, Many)
	}
	limit := m.deviceLimit(s)
	if !m.mixes {
		return limit
	}
	switch v := m.best(s); v.code {
	case "blocked":
		return none("blocked_by_"+v.ask, v.says)
	case "swap":
		return none("needs_gateway_swap", v.says)
	case "software":
		return none("needs_software_update", v.says)
	case "unknown":
		return unknown("mixing_unknown", v.says, join(v.ask, "; ", limit.Ask), 0, limit.High)
	default:
		limit.Says = v.says + " " + limit.Says
		if limit.Modules.Known && limit.Modules.V > 0 {
			switch {
			case s.swapped:
				limit.Reason = "fits_after_swap"
			case s.updated:
				limit.Reason = "fits_after_update"
			}
		}
		return limit
	}
}

// deviceLimit is how many devices the gateway still takes.
func (m *mixing) deviceLimit(s state) Ceiling {
	model := m.in.Catalogue.Gateway(s.gateway)
	var missing []string
	if model == nil || model.MaxInverters <= 0 {
		missing = append(missing, "the gateway's model and its device limit")
	}
	old, known := m.devices()
	if !known {
		missing = append(missing, "the number of old inverters")
	}
	if len(missing) > 0 {
		high := Many
		if model != nil && model.MaxInverters > 0 {
			high = model.MaxInverters * m.perInverter
		}
		ask := strings.Join(missing, "; ")
		return unknown("device_limit_unknown", "How many more devices the gateway takes is not known.", ask, 0, high)
	}
	most, mixed := model.MaxInverters, ""
	if shared := m.mostMixed(); m.mixes && shared < most {
		most, mixed = shared, " while generations share it"
	}
	n := max(0, most-old) * m.perInverter
	c := Ceiling{Modules: ingest.Some(n), Low: n, High: n, Reason: "device_limit",
		Says:     fmt.Sprintf("The gateway %s takes %d devices%s and has %d: room for %d more modules.", s.gateway, most, mixed, old, n),
		Evidence: []string{"catalogue: gateway " + s.gateway}}
	if n == 0 {
		c.Reason = "gateway_full"
	}
	return c
}

// mostMixed is how many inverters the most generous mixing rule that covers the
// site lets share a gateway; Many where it sets no limit.
func (m *mixing) mostMixed() int {
	most := 0
	for _, r := range m.rules {
		if r.MaxInverters <= 0 {
			return Many
		}
		most = max(most, r.MaxInverters)
	}
	return most
}

// devices is the device count today: by the register, or what the gateway
// reports where that is more.
func (m *mixing) devices() (int, bool) {
	n, known := m.units.V, m.units.Known
	if g := m.in.Site.Gateway; g != nil && g.ReportingInverters.Known {
		n, known = max(n, g.ReportingInverters.V), true
	}
	return n, known
}

// swapTarget is the gateway that would replace the present one: of those that
// the rules name for this mix and whose software is new enough, the one that
// takes most devices; the first of the catalogue where equal. "" where none helps.
func (m *mixing) swapTarget(s state) string {
	target, most := "", 0
	now := m.in.Catalogue.Gateway(s.gateway)
	if now == nil {
		return ""
	}
	for _, g := range m.in.Catalogue.Gateways {
		if g.Model == s.gateway || g.MaxInverters <= most || g.MaxInverters < now.MaxInverters && !m.mixes {
			continue
		}
		if m.gatewaySuits(g) {
			target, most = g.Model, g.MaxInverters
		}
	}
	return target
}

// gatewaySuits says whether a rule for the new inverter and all old ones names
// this gateway and its latest software will do. Where nothing is mixed, any
// rule that covers the new inverter speaks for the gateway.
func (m *mixing) gatewaySuits(g ingest.GatewayModel) bool {
	return slices.ContainsFunc(m.rules, func(r ingest.MixingRule) bool {
		if len(r.Gateways) > 0 && !contains(r.Gateways, g.Model) {
			return false
		}
		order, ok := compareVersions(g.LatestSoftware, r.MinSoftware)
		return r.MinSoftware == "" || ok && order >= 0
	})
}

func kindName(k kind) string { return fmt.Sprintf("%s generation %d", k.family, k.generation) }

func (m *mixing) oldKinds() string {
	parts := make([]string, len(m.old))
	for i, k := range m.old {
		parts[i] = kindName(k)
	}
	return strings.Join(parts, ", ")
}

// silent says whether the gateway has not been seen for a month.
func silent(g *ingest.Gateway, asOf time.Time) bool {
	return g != nil && !g.LastSeenOn.IsZero() && !asOf.IsZero() && asOf.Sub(g.LastSeenOn) > silentAfter
}
