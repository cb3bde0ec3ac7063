package demo

import (
	"fmt"
	"math"
	"sort"
	"sync"
	"time"
	_ "time/tzdata" // a fresh machine may have none

	"rowen/ingest"
)

// Made is a fleet made by Make. It is safe for concurrent use.
type Made struct {
	opts        Options
	tl          *timeline
	regions     []*region
	catalogue   ingest.Catalogue
	newModule   *ingest.Module
	newInverter *ingest.Inverter
	sites       []*site
	index       map[string]int
	fleet       *ingest.Fleet
	scratch     sync.Pool

	truthMu sync.Mutex
	truths  map[string]*Truth
}

// scratch is what simulating one site needs, reused from site to site.
type scratch struct {
	rays  rays
	loads loads
	wh    [ingest.NumChannels][]float64 // by native step, whole range of the site
}

// Make invents a fleet; the options must pass their Check.
//
// Out:   the register and the shared weather; readings are simulated when they
// are asked for, from the site's own streams, so that neither the order nor
// the number of workers matters.
// Cost:  about 0.1 s a region at quarter hours, and 5 µs a site.
func Make(o Options) *Made {
	if err := o.Check(); err != nil {
		panic(err)
	}
	m := &Made{opts: o, catalogue: catalogue(), truths: map[string]*Truth{}}
	m.newModule, m.newInverter = m.catalogue.Module("TN-430"), m.catalogue.Inverter("KV2-410")
	m.scratch.New = func() any { return new(scratch) }
	m.regions = make([]*region, len(climates))
	var from, to ingest.Hour
	for i, c := range climates {
		s, e := m.monthSpan(c.zone)
		if i == 0 || s < from {
			from = s
		}
		if i == 0 || e > to {
			to = e
		}
	}
	m.tl = newTimeline(from, to, min(15, o.StepMinutes))
	var wg sync.WaitGroup
	for i, c := range climates {
		wg.Go(func() { m.regions[i] = newRegion(c, m.tl, mix(o.Seed)+uint64(1000*i)) })
	}
	wg.Wait()

	all := cast(o)
	if o.PlainHomes {
		all = []archetype{plainHome(o)}
	}
	for i, a := range assign(all, o) {
		m.sites = append(m.sites, newSite(m, i, a))
	}
	sort.Slice(m.sites, func(i, j int) bool { return m.sites[i].reg.ID < m.sites[j].reg.ID })
	m.expandSome()
	m.index = map[string]int{}
	for i, s := range m.sites {
		m.index[s.reg.ID] = i
	}
	if !o.PlainHomes {
		m.spoil()
	}
	m.fleet = m.register()
	return m
}

// monthSpan is the hours from the first local month to the end, in a zone.
func (m *Made) monthSpan(zone string) (from, to ingest.Hour) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		panic("demo: time zone " + zone + " is not on this machine and not built in: import time/tzdata")
	}
	y, mo, _ := m.opts.End.Date()
	return ingest.HourOf(time.Date(y, mo-time.Month(m.opts.Months), 1, 0, 0, 0, 0, loc)), ingest.HourOf(time.Date(y, mo, 1, 0, 0, 0, 0, loc))
}

func (m *Made) localStart(r *region) ingest.Hour { h, _ := m.monthSpan(r.zone); return h }
func (m *Made) localEnd(r *region) ingest.Hour   { _, h := m.monthSpan(r.zone); return h }

// window is the report year: the last twelve complete local months.
func (m *Made) window(r *region) ingest.Window {
	y, mo, _ := m.opts.End.Date()
	from := ingest.HourOf(time.Date(y-1, mo, 1, 0, 0, 0, 0, r.loc))
	return ingest.Window{Start: from, N: int(m.localEnd(r) - from)}
}

// Options are the options that the fleet was made with.
func (m *Made) Options() Options { return m.opts }

// Fleet is the register, as reading the written folder gives it. It is shared:
// do not change it.
func (m *Made) Fleet() *ingest.Fleet { return m.fleet }

// Source hands out the readings, simulated when asked for.
func (m *Made) Source() ingest.Source { return source{m} }

type source struct{ m *Made }

func (s source) Order() []string {
	var ids []string
	for _, x := range s.m.sites {
		ids = append(ids, x.reg.ID)
	}
	return ids
}

func (s source) Load(siteID string, out *ingest.Series) error {
	i, ok := s.m.index[siteID]
	if !ok {
		return fmt.Errorf("site %s: %w", siteID, ingest.ErrNoReadings)
	}
	sc := s.m.scratch.Get().(*scratch)
	defer s.m.scratch.Put(sc)
	s.m.sites[i].series(s.m, sc, out)
	return nil
}

// CandidateTruth is the AC energy, Wh an hour, of one new module on a plane
// under the sky that the site really had, snow, dust and the plane's shade
// included: moduleWatts at STC, with its temperature coefficient (%/K) and its
// own inverter of acWatts. NaN outside the fleet's time.
func (m *Made) CandidateTruth(siteID, planeID string, moduleWatts, tempCoefficientPctPC, acWatts float64, w ingest.Window) []float64 {
	s := m.sites[m.index[siteID]]
	var plane *ingest.Plane
	for i := range s.reg.Planes {
		if s.reg.Planes[i].ID == planeID {
			plane = &s.reg.Planes[i]
		}
	}
	if plane == nil {
		panic("demo: site " + siteID + " has no plane " + planeID)
	}
	tilt, azimuth := plane.TiltDeg, plane.AzimuthDeg
	for i, a := range s.reg.Arrays { // where the register is wrong, the roof is right
		if a.PlaneID == planeID {
			tilt, azimuth = s.roof.arrays[i].tiltDeg, s.roof.arrays[i].azimuthDeg
		}
	}
	shading := plane.ShadingPct
	if math.IsNaN(shading) {
		shading = 3
	}
	only := *s
	only.roof.arrays = []roofArray{{id: "new", modules: 1, watts: moduleWatts, tiltDeg: tilt, azimuthDeg: azimuth,
		gammaPctPC: tempCoefficientPctPC, efficiency: 0.97, moduleACWatts: acWatts, shadingPct: shading}}
	only.roof.stringACW, only.roof.arrayFactor, only.roof.ageYears, only.roof.ageingPctYr = 0, 1, 0, 0
	sc := m.scratch.Get().(*scratch)
	defer m.scratch.Put(sc)
	r := s.region
	sc.rays.cast(r, s, stream(s.seed, 30))
	sc.rays.cover(r, &only)
	sc.rays.generate(r, &only, nil, nil)
	out := make([]float64, w.N)
	for i := range out {
		if h := w.Start + ingest.Hour(i); h < m.tl.start || m.tl.step(h) >= m.tl.n {
			out[i] = math.NaN()
		}
	}
	for j, step := range r.lit {
		i := int(m.tl.start-w.Start) + int(step)/m.tl.perHour
		if i >= 0 && i < w.N {
			out[i] += sc.rays.out[j] / float64(m.tl.perHour)
		}
	}
	return out
}
