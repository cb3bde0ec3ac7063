package demo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/ingest"
)

// Truth is what is so about a site. The first call for a site simulates it a
// few times with this or that left out, and remembers.
func (m *Made) Truth(siteID string) Truth {
	m.truthMu.Lock()
	t := m.truths[siteID]
	m.truthMu.Unlock()
	if t == nil {
		i, ok := m.index[siteID]
		if !ok {
			panic("demo: no site " + siteID)
		}
		t = m.sites[i].findTruth(m)
		m.truthMu.Lock()
		m.truths[siteID] = t
		m.truthMu.Unlock()
	}
	return *t
}

// books are the sums of one site's simulation, with this or that left out.
type books struct {
	m  *Made
	s  *site
	sc *scratch
	w  ingest.Window // the report year
}

func (k books) per() int { return k.m.opts.StepMinutes / k.m.tl.dtMinutes }

// year is the kWh of the report year.
func (k books) year(c ingest.Channel) float64 {
	lo, hi := (k.m.tl.step(k.w.Start)-k.s.first)/k.per(), (k.s.last-k.s.first)/k.per()
	return sum(k.sc.wh[c][max(lo, 0):hi]) / 1000
}

// span is the kWh between two steps.
func (k books) span(c ingest.Channel, from, to int) float64 {
	lo, hi := max((from-k.s.first)/k.per(), 0), (min(to, k.s.last)-k.s.first)/k.per()
	if hi <= lo {
		return 0
	}
	return sum(k.sc.wh[c][lo:hi]) / 1000
}

func (k books) simulate(faults []fault, events []event) { k.s.simulate(k.m, k.sc, faults, events) }

func (s *site) findTruth(m *Made) *Truth {
	t := s.truth
	t.Window = m.window(s.region)
	sc := m.scratch.Get().(*scratch)
	defer m.scratch.Put(sc)
	k := books{m, s, sc, t.Window}

	k.simulate(s.faults, s.events)
	t.ProductionKWhYr, t.UseKWhYr = k.year(ingest.Production), k.year(ingest.Consumption)
	all := k.span(ingest.Consumption, s.first, s.last)
	var made []float64
	for _, f := range s.faults {
		made = append(made, k.span(ingest.Production, f.on, f.off))
	}
	t.Faults = k.faults(made, t.ProductionKWhYr)

	// As if mended: the modules that nobody entered stay.
	var stays []fault
	for _, f := range s.faults {
		if f.code == "unregistered_modules" {
			stays = append(stays, f)
		}
	}
	k.simulate(stays, nil)
	t.MendedKWhYr = k.year(ingest.Production)
	t.UnderlyingKWhYr = k.year(ingest.Consumption)
	t.ClippedKWhYr = s.clipped(m, sc, stays, t.Window)
	if t.ClippedKWhYr > 0.02*t.MendedKWhYr {
		t.Faults = append(t.Faults, Fault{Code: "clipping", KWhYr: t.ClippedKWhYr,
			LossPct: 100 * t.ClippedKWhYr / (t.MendedKWhYr + t.ClippedKWhYr), Says: "the inverters' limit takes off the tops"})
	}
	t.Events = k.events(all, t.UnderlyingKWhYr)
	t.NextYearKWh = k.nextYear()
	t.Flaws = slices.Clone(s.truth.Flaws)
	return &t
}

// faults sizes the faults by leaving out one at a time. made is what the array
// made while each lasted, yearKWh what it made in the report year.
func (k books) faults(made []float64, yearKWh float64) (out []Fault) {
	s := k.s
	for i, f := range s.faults {
		k.simulate(slices.Delete(slices.Clone(s.faults), i, i+1), s.events)
		healthy := k.span(ingest.Production, f.on, f.off)
		tf := Fault{Code: f.code, On: s.when(k.m, f.on), Until: s.when(k.m, f.off), K: f.k, N: f.n}
		if f.on <= s.first {
			tf.On = time.Time{}
		}
		if healthy > 0 {
			tf.LossPct = 100 * (1 - made[i]/healthy)
		}
		tf.KWhYr = k.year(ingest.Production) - yearKWh
		tf.Says = s.saysOf(&f)
		switch f.code {
		case "decline":
			last := min(f.off, s.last)
			tf.EndPct = 100 * f.share * clamp(float64(last-f.on)/float64(24*k.m.tl.perHour)/f.rampDays, 0, 1)
		case "shading":
			tf.BearingDeg, tf.HalfWidthDeg, tf.BelowDeg, tf.HidesPct = f.bearing, f.halfDeg, f.heightEl, 100*f.share
		}
		out = append(out, tf)
	}
	return out
}

// events sizes the events: each alone over the whole year against none at all.
func (k books) events(allKWh, underlyingKWh float64) (out []Event) {
	s := k.s
	for i, e := range s.events {
		te := Event{Kind: e.kind, On: s.when(k.m, e.on), Until: s.when(k.m, e.off), Says: s.saysEvent(&e)}
		if e.kind != "absence" {
			whole := e
			whole.on, whole.off = 0, k.m.tl.n
			k.simulate(nil, []event{whole})
			te.KWhYr = k.year(ingest.Consumption) - underlyingKWh
		}
		k.simulate(nil, slices.Delete(slices.Clone(s.events), i, i+1))
		te.SeenKWh = allKWh - k.span(ingest.Consumption, s.first, s.last)
		if e.kind == "absence" {
			te.KWhYr = te.SeenKWh
		}
		out = append(out, te)
	}
	return out
}

// nextYear is the use to expect: what scales the household is grown with it,
// what stands beside it is carried over whole.
func (k books) nextYear() float64 {
	var scaled, lasting []event
	for _, e := range k.s.events {
		if e.off < k.m.tl.n {
			continue
		}
		e.on = 0
		lasting = append(lasting, e)
		if e.scales() {
			scaled = append(scaled, e)
		}
	}
	k.simulate(nil, lasting)
	whole := k.year(ingest.Consumption)
	k.simulate(nil, scaled)
	own := k.year(ingest.Consumption)
	return float64(own*(1+k.s.house.growth)) + (whole - own)
}

// clipped is what the inverters' limit takes in the report year, kWh.
func (s *site) clipped(m *Made, sc *scratch, faults []fault, w ingest.Window) float64 {
	lost := make([]float64, len(s.region.lit))
	sc.rays.cast(s.region, s, stream(s.seed, 30))
	sc.rays.generate(s.region, s, faults, lost)
	total := 0.0
	for j, step := range s.region.lit {
		if int(step) >= m.tl.step(w.Start) && int(step) < s.last {
			total += lost[j]
		}
	}
	return total / float64(m.tl.perHour) / 1000
}

func sum(xs []float64) float64 {
	t := 0.0
	for _, x := range xs {
		t += x
	}
	return t
}

// when is the local time of a step; zero for the end of the timeline.
func (s *site) when(m *Made, step int) time.Time {
	if step >= m.tl.n {
		return time.Time{}
	}
	return timeOf(m.tl, step).In(s.region.loc)
}

func (s *site) saysOf(f *fault) string {
	switch f.code {
	case "inverters_down":
		return fmt.Sprintf("%d of %d inverters make nothing", f.k, f.n)
	case "decline":
		return fmt.Sprintf("falls by %.0f %% within %.0f days", 100*f.share, f.rampDays)
	case "shading":
		return fmt.Sprintf("something at %.0f° ± %.0f° hides %.0f %% of the beam below %.0f°", f.bearing, f.halfDeg, 100*f.share, f.heightEl)
	case "unregistered_modules":
		return fmt.Sprintf("%d modules were added", f.extra)
	case "capacity_mismatch":
		return fmt.Sprintf("the register has %d modules on %s, the roof %d", s.reg.Arrays[0].Modules, s.reg.Arrays[0].ID, s.roof.arrays[0].modules)
	case "orientation_mismatch":
		return fmt.Sprintf("the register has %.0f° for %s, the roof looks to %.0f°", s.reg.Arrays[0].AzimuthDeg, s.reg.Arrays[0].ID, s.roof.arrays[0].azimuthDeg)
	case "curtailment":
		return fmt.Sprintf("no more than %.0f W may leave the house", s.roof.exportCapW)
	case "meter_dead":
		return "the production meter reads 0, the array goes on"
	}
	return f.code
}

func (s *site) saysEvent(e *event) string {
	switch e.kind {
	case "ev_charging":
		return fmt.Sprintf("%.1f kW from about %.0f:00, %.1f days a week", e.kW, math.Floor(e.startHour), e.daysWeek)
	case "pool_pump":
		return fmt.Sprintf("%.1f kW for %.0f hours from %.0f:00", e.kW, e.hours, e.startHour)
	case "departure", "other", "tenants":
		return fmt.Sprintf("the household's own use times %.2f", e.factor)
	}
	return e.kind
}

// hedge lets a case that was meant to pay be judged as not paying, or not yet,
// where its tariff credits what goes to the grid poorly, or would be lost. Where
// the wide setback would leave half of the room or less, a size that is worth a
// visit may hang on it, and it has to be found out before anybody calls.
func (t *Truth) hedge(tariffID string) {
	if 2*t.RoofModulesLow <= t.RoofModules && (t.IntendedLane == "call" || slices.Contains(t.MayLanes, "call")) {
		t.MayLanes = append(slices.Clone(t.MayLanes), "prepare")
	}
	if t.IntendedLane != "call" && t.IntendedLane != "prepare" {
		return
	}
	switch tariffID {
	case tariffTiers, tariffPoor, tariffLegacy, tariffTOU:
		t.MayLanes = append(slices.Clone(t.MayLanes), "no_gain", "watch")
	}
}
