package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"rowen/ingest"
)

// site is one invented site: its register row, its roof and household as they
// really are, and what the meters make of it.
type site struct {
	reg      ingest.Site
	region   *region
	place    place
	seed     uint64
	cloudMix [latents]float64
	roof     roof
	house    house
	faults   []fault
	events   []event
	first    int // steps of the calendar that readings could cover
	last     int
	meters   meters
	truth    Truth // the part that needs no simulation

	expansion *expansion // nil: none within the readings
}

// meters say what is metered, and how well.
type meters struct {
	production, consumption, grid bool
	bills                         bool
	from, to                      int // steps with readings
	consumptionGain               float64
	deadFrom                      int // production reads 0 from here; -1: never
	gaps                          [][2]int
	repeated, bad                 int // rows in the written files
	swapped                       [2]int
	spikes                        []int // steps with a reading that cannot be
	lateFrom                      int   // stamps are an hour late from here; 0: never
}

// builder draws a site; an archetype sets what it needs and leaves the rest.
type builder struct {
	*site
	m   *Made
	rnd *rand.Rand

	coverage  float64 // production over use at the start
	growthPct float64
	size      float64 // of the household, 1 = ordinary
	equipment string  // kv1, kv2, kv290, string
	gateway   string  // ok, old_software, hg1, backup, storage
	tight     string  // what is in the way: service, spaces, permission, roof; "": nothing
	room      int     // modules that should find room
	tariff    string
	meter     string         // full, consumption, grid, bills, none
	forget    func(*builder) // takes out of the register what nobody wrote down
}

func (b *builder) between(lo, hi float64) float64 { return lo + float64((hi-lo)*b.rnd.Float64()) }
func (b *builder) chance(p float64) bool          { return b.rnd.Float64() < p }
func pick[T any](rnd *rand.Rand, of []T) T        { return of[rnd.IntN(len(of))] }

// back is a step a number of days before the end of the readings, at the
// beginning of a local day.
func (b *builder) back(minDays, maxDays float64) int {
	r := b.region
	want := b.last - int(b.between(minDays, maxDays)*24*float64(r.tl.perHour))
	for i := len(r.days) - 1; i >= 0; i-- {
		if r.days[i].start <= want {
			return r.days[i].start
		}
	}
	return 0
}

func newSite(m *Made, index int, a *archetype) *site {
	s := &site{seed: mix(m.opts.Seed ^ mix(uint64(index)+77))}
	b := &builder{site: s, m: m, rnd: stream(s.seed, 7), coverage: 0.95, size: 1, equipment: "kv1", gateway: "ok", room: 14, meter: "full"}
	b.settle(index, a.lone)
	b.drawHouse()
	b.coverage = b.between(0.85, 1.0)
	b.growthPct = b.between(-1, 1.8)
	b.equipment = pick(b.rnd, []string{"kv1", "kv1", "kv1", "kv2", "kv2", "kv290"})
	b.room = 10 + b.rnd.IntN(14)
	b.meter = pick(b.rnd, []string{"full", "full", "consumption", "consumption", "grid"})
	b.tariff = map[string]string{"foothills": pick(b.rnd, []string{tariffFlat, tariffFlat, tariffTiers}),
		"valley": pick(b.rnd, []string{tariffLegacy, tariffTOU, tariffTOU, tariffCoop, tariffCoop, tariffCoop}), "basin": tariffFlat}[s.region.name]
	s.truth = Truth{SiteID: s.reg.ID, Archetype: a.name, IntendedLane: a.lane, MayLanes: a.may, Snow: s.region.snow}
	b.rnd = stream(s.seed, 14)
	a.shape(b)
	b.build()
	s.truth.hedge(s.reg.TariffID)
	return s
}

// settle gives the site its place and its customer.
func (b *builder) settle(index int, lone bool) {
	s, rnd, m := b.site, b.rnd, b.m
	ri := 0
	if rnd.Float64() < 0.42 {
		ri = 1
	}
	if lone {
		ri = 2
	}
	s.region = m.regions[ri]
	r := s.region
	town := rnd.IntN(2)
	// Houses gather around two towns in opposite corners of the region.
	dx := clamp(float64((float64(town)-0.5)*0.22)+float64(0.07*rnd.NormFloat64()), -spreadDeg, spreadDeg)
	dy := clamp(float64((float64(town)-0.5)*0.16)+float64(0.05*rnd.NormFloat64()), -spreadDeg, spreadDeg)
	round := func(x float64) float64 { return math.Round(x*1e5) / 1e5 }
	s.reg.LatitudeDeg, s.reg.LongitudeDeg = round(r.latDeg+dy), round(r.lonDeg+dx)
	s.place = newPlace(s.reg.LatitudeDeg, s.reg.LongitudeDeg)
	fx, fy := float64((dx/spreadDeg+1)/2), float64((dy/spreadDeg+1)/2)
	s.cloudMix = [latents]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy}
	s.reg.ElevationM = math.NaN()
	if rnd.Float64() < 0.8 {
		s.reg.ElevationM = math.Round(r.elevM + float64(60*rnd.NormFloat64()))
	}
	s.reg.ID = fmt.Sprintf("OM-%0*d", max(4, len(fmt.Sprint(m.opts.Sites))), index+1)
	s.reg.Location, s.reg.Timezone = r.loc, r.zone
	s.reg.Branch = branches[r.name][town]
	s.reg.Postcode = fmt.Sprintf("00%d%02d", ri+1, rnd.IntN(40))
	given, sur := pick(rnd, givenNames), pick(rnd, surnames)
	s.reg.Customer = given + " " + sur
	s.reg.Contact = fmt.Sprintf("%s.%s.%d@example.com, 555-01%02d", lower(given), lower(sur), index+1, index%100)
	s.reg.GridType = "grid_tied"
	s.reg.PermissionLimitKW = math.NaN()

	s.first, s.last = r.tl.step(m.localStart(r)), r.tl.step(m.localEnd(r))
	s.meters = meters{production: true, from: s.first, to: s.last, consumptionGain: 1 + float64(0.004*rnd.NormFloat64()), deadFrom: -1}
}

func lower(s string) string {
	b := []byte(s)
	for i := range b {
		if b[i] >= 'A' && b[i] <= 'Z' {
			b[i] += 'a' - 'A'
		}
	}
	return string(b)
}

func (b *builder) drawHouse() {
	r, rnd, h := b.region, b.rnd, &b.house
	h.baseKW = b.between(0.13, 0.38)
	h.shape = newShape(rnd, b.between(0.26, 0.58))
	h.dayVar = b.between(0.18, 0.34)
	h.flicker = b.between(0.4, 0.75)
	h.wander = b.between(0.02, 0.05)
	h.cookKWh = b.between(0.8, 2.4)
	h.washPerWeek = b.between(2, 6)
	if b.chance(0.25) {
		h.waterKWh = b.between(5.5, 9.5)
	}
	h.coolAboveC, h.heatBelowC = b.between(20, 22.5), b.between(13.5, 16)
	h.coolMaxKW, h.heatMaxKW = b.between(2.5, 4.2), 6
	if b.chance(map[string]float64{"foothills": 0.6, "valley": 0.75, "basin": 0.2}[r.name]) {
		h.coolKWperK = b.between(0.09, 0.24)
	}
	h.heatKWperK = b.between(0.006, 0.014) // a gas furnace's fan
	if b.chance(0.12) {
		h.heatKWperK = b.between(0.03, 0.06)
	}
	h.vacationsPerYr = b.between(0.5, 2.2)
	h.winterLighting = b.between(0.05, 0.3)
}

// scale makes the household larger or smaller as a whole.
func (h *house) scale(size float64) {
	h.baseKW *= size
	for wk := range h.shape {
		for i := range h.shape[wk] {
			h.shape[wk][i] *= size
		}
	}
	h.cookKWh *= size
	h.waterKWh *= size
}

// arrive adds an event that lasts.
func (b *builder) arrive(kind string, on int) {
	e := event{kind: kind, id: uint64(len(b.events)), on: on, off: b.region.tl.n}
	cold := b.region.heatKh / 24 // degree days below 15 °C
	hot := math.Max(b.region.coolKh/24, 80)
	switch kind {
	case "ev_charging":
		e.kWhYr, e.daysWeek = b.between(2000, 4500), b.between(4, 6)
		e.kW = pick(b.rnd, []float64{7.2, 7.2, 7.2, 1.44, 3.8})
		if e.kW < 2 {
			e.kWhYr = math.Min(e.kWhYr, 3300)
		}
		e.startHour = pick(b.rnd, []float64{18, 19, 20.5, 23, 0.1})
	case "heat_pump":
		want := clamp(b.between(2200, 5200), 0, math.Max(1.9*cold, 2300))
		e.belowC, e.kW = b.between(13, 16), 6
		e.perK = want / (24 * cold)
	case "cooling":
		want := b.between(900, 2400)
		e.belowC, e.kW = b.between(19.5, 21.5), b.between(3, 4.5)
		e.perK = want / (24 * hot) // the coldest thermostats get more, the limit takes some away
		e.perK = math.Min(e.perK, 0.55)
	case "pool_pump":
		e.kW, e.hours = b.between(1.0, 1.8), math.Round(b.between(5, 9))
		e.seasonFrom, e.seasonTo = 1, 12
		if b.region.snow {
			e.seasonFrom, e.seasonTo = 5, 9
			e.hours = math.Round(b.between(8, 11))
		}
		e.startHour = math.Round(b.between(7, 11))
	case "baseload":
		e.kW = b.between(0.14, 0.42)
	case "departure":
		e.factor = b.between(0.5, 0.68)
	case "other": // the household has grown
		e.factor = b.between(1.3, 1.6)
	case "tenants":
		e.factor, e.wash = b.between(0.75, 1.4), 2+b.rnd.IntN(4)
	case "absence":
		e.off = e.on + int(b.between(42, 100))*24*b.region.tl.perHour
	default:
		panic("demo: no event of kind " + kind)
	}
	b.events = append(b.events, e)
}

// breaks adds a fault; days is how long it lasts, 0: for good.
func (b *builder) breaks(code string, on int, days float64) {
	f := fault{code: code, on: on, off: b.region.tl.n}
	if days > 0 {
		f.off = on + int(days*24)*b.region.tl.perHour
	}
	switch code {
	case "decline":
		f.share, f.rampDays = b.between(0.16, 0.38), b.between(120, 420)
	case "shading":
		f.share, f.halfDeg, f.heightEl = b.between(0.75, 0.95), b.between(28, 50), b.between(35, 60)
	case "curtailment":
		b.roof.exportCapW = -b.between(0.3, 0.5) // of the array's rating
		b.roof.capFrom = on
	case "meter_dead":
		b.meters.deadFrom = on
	}
	b.faults = append(b.faults, f)
}

func timeOf(tl *timeline, step int) time.Time { return time.Unix(int64(tl.unix(step)), 0).UTC() }
