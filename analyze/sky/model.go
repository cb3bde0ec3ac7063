package sky

import (
	"math"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// Group is a number of like modules on one plane, as the physics sees them.
type Group struct {
	ArrayIDs  []string
	Plane     sun.Plane
	Watts     float64     // DC at standard test conditions
	LimitW    float64     // AC limit of the inverters behind them; +Inf: none known
	Eta       float64     // inverter efficiency, 0..1
	GammaPerC float64     // power per degree of cell temperature, negative
	Skyline   float64     // beam lost to what stands around: Skyline (1 - sin el)^2 of it, see skylineOf
	shares    bool        // its inverter is shared with other groups: LimitW is +Inf, Model.SharedW holds for them together
	From      ingest.Hour // first hour of service; 0: always
	Born      ingest.Hour // ageing counts from here

	facet sun.Facet
}

// Constants of the model of an array.
const (
	albedo = sun.DefaultAlbedo
	// rossK is the rise of cell temperature by light, K m2/W: sloped roof,
	// poorly ventilated (Nordmann and Clavadetscher 2003; Skoplaki and Palyvos
	// 2009, published, section 4.1).
	rossK = 0.0342
	// DefaultGammaPerC and DefaultEta are section 4.2's, common practice.
	DefaultGammaPerC = -0.0035
	DefaultEta       = 0.965
)

// Model turns a sky into the output of a site's array.
//
//	kt  = K GHIclear / (I0n max(cos z, 0.065)),  DHI = kd(kt) GHI,  DNI = (GHI - DHI)/cos z
//	G   = IAM_b DNI cos th + IAM_s sky(DNI, DHI) + IAM_g GHI rho (1-cos b)/2
//	P   = min( f eta P0 G/1000 (1 + gamma (Ta + k G - 25)), Plim )
//
// In:      the sun's hours, K (light over clear-sky light), air temperature [C], factor f.
// Out:     AC energy of the hour [Wh] >= 0.
// Refuses: nothing; an hour without sun is 0.
// Edges:   a group not yet in service adds nothing; the limit applies to each group.
// Source:  Erbs-Driesse 2024 (3.1), Perez-Driesse 2024 (3.2), Martin-Ruiz 2001 (3.3), Ross 1981 (4.1): published, see methods.
// Cost:    about 40 ns an hour and group, no allocation.
type Model struct {
	Groups []Group
	// Ageing is the loss a year that every array is granted, so that the fleet
	// does not age into its own sky.
	Ageing float64
	// SharedW is the AC limit of string inverters that several groups share;
	// 0: none.
	SharedW float64
}

// NewModel makes the model of the arrays that the register gives a place.
//
// In:      arrays whose facing is known; what was fitted for others, which holds.
// Refuses: arrays without watts or without a facing are left out; nil where none is left.
func NewModel(site *ingest.Site, cat *ingest.Catalogue, h *sun.Hours, fits []FacingFit) *Model {
	m := &Model{Ageing: AgeingPrior}
	for i := range site.Arrays {
		a := &site.Arrays[i]
		g := groupOf(site, cat, a)
		if g.Born = g.From; g.Born == 0 {
			g.Born = h.Start
		}
		if !(g.Watts > 0) {
			continue
		}
		for _, on := range planesOf(site, a, fits) {
			part := g
			part.Plane, part.Watts, part.LimitW = on.Plane, on.Share*g.Watts, on.Share*g.LimitW
			part.Skyline = skylineOf(part.Plane, h, shadingOf(site, a))
			m.add(part)
		}
	}
	if len(m.Groups) == 0 {
		return nil
	}
	m.share(site, cat)
	for i := range m.Groups {
		m.Groups[i].prepare()
	}
	return m
}

// share pools the string inverters of a site where an array has none of its
// own: then its modules hang on another array's.
func (m *Model) share(site *ingest.Site, cat *ingest.Catalogue) {
	pool, shared := 0.0, false
	strings := map[string]bool{}
	for i := range site.Arrays {
		a := &site.Arrays[i]
		inv := cat.Inverter(a.InverterModel)
		if inv == nil || inv.Kind == "micro" {
			continue
		}
		strings[a.ID] = true
		pool += float64(float64(a.Inverters.V) * inv.ACWatts)
		shared = shared || a.Inverters.Known && a.Inverters.V == 0
	}
	if !shared || pool == 0 {
		return
	}
	m.SharedW = pool
	for i := range m.Groups {
		if g := &m.Groups[i]; strings[g.ArrayIDs[0]] {
			g.shares, g.LimitW = true, math.Inf(1)
		}
	}
}

// AgeingPrior is what every array loses a year (section 6.2: published median
// of crystalline silicon 0.5 to 0.6 %/yr).
const AgeingPrior = 0.006

// add puts like groups together: same facing, same service, same parts.
func (m *Model) add(g Group) {
	for i := range m.Groups {
		have := &m.Groups[i]
		if have.Plane == g.Plane && have.From == g.From && have.Eta == g.Eta && have.GammaPerC == g.GammaPerC &&
			have.Watts*g.LimitW == g.Watts*have.LimitW {
			have.Watts += g.Watts
			have.LimitW += g.LimitW
			have.ArrayIDs = append(have.ArrayIDs, g.ArrayIDs...)
			return
		}
	}
	m.Groups = append(m.Groups, g)
}

// skylineOf turns a yearly loss of beam light into what is lost by height of
// the sun.
//
//	lost(el) = a (1 - sin el)^2,  a such that sum lost B cos th = pct sum B cos th under clear skies
//
// Houses, trees and hills stand near the horizon: low sun is hidden more often
// than high. The square is our choice; only the year's sum is the register's.
//
// In:      the plane; a sun of any range (every sixteenth day is looked at); percent, NaN: not known.
// Edges:   not known is taken as none; a is held to 4, so that little sun above 30 degrees is lost.
func skylineOf(p sun.Plane, h *sun.Hours, pct float64) float64 {
	if !(pct > 0) {
		return 0
	}
	f := p.Facet()
	var all, weighted float64
	for i := range h.Up {
		if (i/24)%16 != 0 || h.Up[i] <= 0 {
			continue
		}
		b := float64(h.ClearDNI[i] * f.CosIncidence(h, i))
		all += b
		weighted += float64(b * sq(1-h.Up[i]))
	}
	if weighted <= 0 {
		return 0
	}
	return min(4, pct/100*all/weighted)
}

// prepare works out what does not change by the hour.
func (g *Group) prepare() { g.facet = g.Plane.Facet() }

// light splits K of an hour into light on the ground, beam and diffuse, W/m2.
//
//	kd = Erbs-Driesse(kt) for K <= 0.7,  the clear sky's own kd for K >= 1,  a smooth step between
//
// Erbs is a mean over all skies of a clearness: on a clear day, when most is
// known and most is made, it takes a tenth of the beam for diffuse light and
// so blurs which way a plane faces. The blend is our choice.
func light(h *sun.Hours, i int, k, diffuse float64) lit {
	ghi, up := float64(k*h.ClearGHI[i]), h.Up[i]
	l := sun.ErbsDriesse(ghi, up, h.ExtraWm2[i])
	if k > blendFrom && l.DNI > 0 {
		x := min(1, (k-blendFrom)/(1-blendFrom))
		x = x * x * (3 - float64(2*x))
		l.DHI += float64(x * (float64(h.ClearDHI[i]/h.ClearGHI[i]*ghi) - l.DHI))
		l.DNI = (ghi - l.DHI) / up
	}
	if diffuse != 0 {
		l.DHI = max(leastDiffuse*ghi, min(ghi, l.DHI+float64(diffuse*ghi)))
		l.DNI = min((ghi-l.DHI)/up, h.ExtraWm2[i])
	}
	return litBy(h, i, l)
}

// lit is the light of an hour, its diffuse part by where it comes from.
type lit struct {
	sun.Light
	sky sun.Sky
}

// leastDiffuse is the share of light that the clearest sky still scatters (our choice).
const leastDiffuse = 0.03

const blendFrom = 0.7

func litBy(h *sun.Hours, i int, l sun.Light) lit { return lit{l, h.Parts(i, l.DNI, l.DHI)} }

// dcW is the power before the inverter's limit, at factor 1 as new.
func (g *Group) dcW(h *sun.Hours, i int, l lit, tempC float64) float64 {
	if g.Skyline != 0 {
		left := max(0, 1-float64(g.Skyline*sq(1-h.Up[i])))
		l.DNI, l.sky.Around = l.DNI*left, l.sky.Around*left
	}
	e := g.facet.Effective(h, i, l.GHI, l.DNI, l.sky, albedo)
	return g.Eta * g.Watts * e / 1000 * (1 + float64(g.GammaPerC*(tempC+float64(rossK*e)-25)))
}

// aged is what is left of a new group's power at an hour.
func (m *Model) aged(g *Group, at ingest.Hour) float64 {
	return 1 - m.Ageing*float64(at-g.Born)/hoursPerYear
}

const hoursPerYear = 8766

// WattHours gives the output of hour i under K, after the limits.
func (m *Model) WattHours(h *sun.Hours, i int, k, tempC, factor float64) float64 {
	return m.Under(h, i, k, 0, tempC, factor)
}

// Under is WattHours where so much more of the light is diffuse than K tells.
func (m *Model) Under(h *sun.Hours, i int, k, diffuse, tempC, factor float64) float64 {
	if h.ClearGHI[i] <= 0 {
		return 0
	}
	l := light(h, i, k, diffuse)
	at := h.Start + ingest.Hour(i)
	sum, pool := 0.0, 0.0
	for gi := range m.Groups {
		g := &m.Groups[gi]
		if at < g.From {
			continue
		}
		w := max(0, factor*m.aged(g, at)*g.dcW(h, i, l, tempC))
		if g.shares {
			pool += w
		} else {
			sum += min(g.LimitW, w)
		}
	}
	if pool > 0 {
		sum += min(m.SharedW, pool)
	}
	return sum
}

// Free is WattHours without the inverters' limits, at factor 1: what
// calibration divides by.
func (m *Model) Free(h *sun.Hours, i int, k, tempC float64) float64 {
	if h.ClearGHI[i] <= 0 {
		return 0
	}
	l := light(h, i, k, 0)
	at := h.Start + ingest.Hour(i)
	sum := 0.0
	for gi := range m.Groups {
		if g := &m.Groups[gi]; at >= g.From {
			sum += max(0, m.aged(g, at)*g.dcW(h, i, l, tempC))
		}
	}
	return sum
}

// LimitW is the AC limit of the groups in service; +Inf where one is not known.
func (m *Model) LimitW(at ingest.Hour) float64 {
	sum := m.SharedW
	for i := range m.Groups {
		if g := &m.Groups[i]; g.From <= at && !g.shares {
			sum += g.LimitW
		}
	}
	return sum
}

// Watts is the DC power at standard test conditions in service.
func (m *Model) Watts(at ingest.Hour) float64 {
	sum := 0.0
	for i := range m.Groups {
		if m.Groups[i].From <= at {
			sum += m.Groups[i].Watts
		}
	}
	return sum
}

// Facing is the best cosine of incidence of the groups at an hour, weighted by
// their watts: how well the array sees the sun.
func (m *Model) Facing(h *sun.Hours, i int) float64 {
	sum, watts := 0.0, 0.0
	at := h.Start + ingest.Hour(i)
	for gi := range m.Groups {
		if g := &m.Groups[gi]; at >= g.From {
			sum += float64(g.Watts * g.facet.CosIncidence(h, i))
			watts += g.Watts
		}
	}
	if watts == 0 {
		return 0
	}
	return sum / watts
}

// NewUnit is the model of one new module behind its own inverter.
func NewUnit(p sun.Plane, h *sun.Hours, m ingest.Module, inv ingest.Inverter, limitW, shadingPct float64) *Model {
	g := Group{Plane: p, Watts: m.Watts, LimitW: limitW, Eta: DefaultEta, GammaPerC: DefaultGammaPerC}
	if m.TempCoefficientPctPC < 0 {
		g.GammaPerC = m.TempCoefficientPctPC / 100
	}
	if inv.EfficiencyPct > 0 {
		g.Eta = inv.EfficiencyPct / 100
	}
	g.Skyline = skylineOf(p, h, shadingPct)
	g.prepare()
	return &Model{Groups: []Group{g}}
}

// WithSkyline is the model with a skyline that takes more of the beam, or less
// where negative.
func (m *Model) WithSkyline(more float64) *Model {
	out := *m
	out.Groups = append([]Group(nil), m.Groups...)
	for i := range out.Groups {
		out.Groups[i].Skyline = max(-0.5, out.Groups[i].Skyline+more)
	}
	return &out
}

// From is the model of arrays that all stand from an hour on, or later.
func (m *Model) From(at ingest.Hour) *Model {
	out := *m
	out.Groups = append([]Group(nil), m.Groups...)
	for i := range out.Groups {
		if g := &out.Groups[i]; g.From < at {
			g.From, g.Born = at, at
		}
	}
	return &out
}
