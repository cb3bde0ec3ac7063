package demo

import (
	"math"
	"time"

	"rowen/ingest"
)

// build turns what the archetype set into the site: roof, arrays, service,
// gateway, papers; and books how many modules fit.
func (b *builder) build() {
	b.house.scale(b.size)
	b.house.growth = b.growthPct / 100
	b.truth.GrowthPctYr = b.growthPct
	b.reg.TariffID = b.tariff
	for k, part := range []func(){b.wearAndTear, b.layRoof, b.settleFaults, b.wire, func() { b.meters.install(b.meter) }, b.papers} {
		b.rnd = stream(b.seed, 20, uint64(k))
		part()
	}
}

// wearAndTear draws what makes this array unlike the next of its kind.
func (b *builder) wearAndTear() {
	trunc := func(sd, limit float64) float64 { return clamp(sd*b.rnd.NormFloat64(), -limit, limit) }
	b.roof.siteFactor = 0.965 * (1 + trunc(0.012, 0.025)) // wiring, connections, mismatch
	b.roof.arrayFactor = 1 + trunc(0.010, 0.02)           // nameplate and early losses
	b.roof.ageingPctYr = -clamp(0.5+float64(0.2*b.rnd.NormFloat64()), 0.1, 1)
	b.roof.ageYears = b.between(1.5, 9)
	b.roof.dirtFactor = b.between(0.6, 1.5)
	b.roof.noctC = b.between(46, 51)
	b.roof.slide = b.between(0.7, 1.2)
	b.roof.inverterLoad = 0.004
	t := &b.truth
	t.SiteFactor, t.ArrayFactor, t.AgeingPctYr = b.roof.siteFactor, b.roof.arrayFactor, b.roof.ageingPctYr
}

// settleFaults sizes the faults to the array, and sets the register wrong
// where that is the fault.
func (b *builder) settleFaults() {
	total, dcW := 0, 0.0
	for _, a := range b.roof.arrays {
		total += a.modules
		dcW += float64(float64(a.modules) * a.watts)
	}
	for i := range b.faults {
		f := &b.faults[i]
		switch f.code {
		case "inverters_down":
			f.n = total
			f.k = min(max(int(math.Round(float64(total)*b.between(0.14, 0.45))), 2), total-1)
			f.share = float64(f.k) / float64(f.n)
		case "shading":
			// The tree stands where the morning or the afternoon sun is, to the
			// side of the array's own direction that has more sun.
			side := b.between(25, 60)
			if b.chance(0.5) {
				side = -side
			}
			if at := b.roof.arrays[0].azimuthDeg + side; at < 95 || at > 265 {
				side = -side
			}
			f.bearing = b.roof.arrays[0].azimuthDeg + side
		case "unregistered_modules":
			f.extra = max(int(math.Round(float64(total)*b.between(0.2, 0.45))), 3)
		case "capacity_mismatch": // the register has more, or fewer, than are there
			a := &b.reg.Arrays[0]
			if b.chance(0.6) {
				a.Modules += max(int(math.Round(float64(a.Modules)*b.between(0.25, 0.5))), 2)
			} else {
				a.Modules -= max(int(math.Round(float64(a.Modules)*b.between(0.2, 0.35))), 2)
			}
			if a.Inverters.V > 1 {
				a.Inverters = ingest.Some(a.Modules)
			}
		case "orientation_mismatch":
			a := &b.reg.Arrays[0]
			turn := b.between(50, 110)
			if a.AzimuthDeg+turn > 285 {
				turn = -turn
			}
			a.AzimuthDeg = math.Round(a.AzimuthDeg + turn)
			for p := range b.reg.Planes {
				if b.reg.Planes[p].ID == a.PlaneID {
					b.reg.Planes[p].AzimuthDeg = a.AzimuthDeg
				}
			}
		case "curtailment":
			b.roof.exportCapW = math.Round(-b.roof.exportCapW*dcW/100) * 100
		}
	}
}

// dateOf is the date that t shows, as registers hold it.
func dateOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// install says what is metered.
func (mt *meters) install(kind string) {
	switch kind {
	case "full":
		mt.consumption, mt.grid = true, true
	case "consumption":
		mt.consumption = true
	case "grid":
		mt.grid = true
	case "bills":
		mt.bills = true
	case "none":
	default:
		panic("demo: no metering " + kind)
	}
}

// papers draws what the office knows of the customer beyond the equipment.
func (b *builder) papers() {
	if b.forget != nil {
		b.forget(b)
	}
	if b.rnd.Float64() < 0.12 && b.reg.LastContactOn.IsZero() { // called long ago
		b.reg.LastContactOn = dateOf(timeOf(b.region.tl, b.last).AddDate(0, 0, -200-b.rnd.IntN(500)))
	}
	t := &b.truth
	for _, a := range b.roof.arrays {
		ac := a.moduleACWatts
		if ac == 0 {
			total := 0
			for _, x := range b.roof.arrays {
				total += x.modules
			}
			ac = b.roof.stringACW / float64(total)
		}
		t.Arrays = append(t.Arrays, TrueArray{ID: a.id, Modules: a.modules, ModuleWatts: a.watts, TiltDeg: a.tiltDeg, AzimuthDeg: a.azimuthDeg, ACWattsPerModule: ac})
	}
}
