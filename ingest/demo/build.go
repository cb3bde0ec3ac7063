package demo

import (
	"fmt"
	"math"
	"time"

	"rowen/ingest"
)

// build turns what the archetype set into the site: roof, arrays, service,
// gateway, papers; and books how many modules fit.
func (b *builder) build() {
	b.scaleHouse()
	b.house.growth = b.growthPct / 100
	b.truth.GrowthPctYr = b.growthPct
	b.reg.TariffID = b.tariff
	for k, part := range []func(){b.wearAndTear, b.layRoof, b.settleFaults, b.wire, b.meterUp, b.papers} {
		b.rnd = stream(b.seed, 20, uint64(k))
		part()
	}
}

// wearAndTear draws what makes this array unlike the next of its kind.
func (b *builder) wearAndTear() {
	trunc := func(sd, limit float64) float64 { return clamp(sd*b.rnd.NormFloat64(), -limit, limit) }
	b.roof.siteFactor = 0.965 * (1 + trunc(0.012, 0.025)) // wiring, connections, mismatch
	b.roof.arrayFactor = 1 + trunc(0.010, 0.02)           // nameplate and early losses
	b.roof.ageingPctYr = -clamp(0.5+0.2*b.rnd.NormFloat64(), 0.1, 1)
	b.roof.ageYears = b.between(1.5, 9)
	b.roof.dirtFactor = b.between(0.6, 1.5)
	b.roof.noctC = b.between(46, 51)
	b.roof.slide = b.between(0.7, 1.2)
	b.roof.inverterLoad = 0.004
	t := &b.truth
	t.SiteFactor, t.ArrayFactor, t.AgeingPctYr = b.roof.siteFactor, b.roof.arrayFactor, b.roof.ageingPctYr
}

// hardware is what one kind of array is made of.
type hardware struct {
	module, inverter string
	micro            bool
}

func (b *builder) hardware() hardware {
	switch b.equipment {
	case "kv1":
		if b.chance(0.5) {
			return hardware{"TN-300", "KV1-265", true}
		}
		return hardware{"TN-340", "KV1-265", true}
	case "kv1-hot": // modules too large for their inverters: clips
		return hardware{"TN-370", "KV1-265", true}
	case "kv290":
		return hardware{"TN-370", "KV2-325", true}
	case "kv2":
		return hardware{"TN-370", "KV2-410", true}
	case "string":
		return hardware{"TN-340", "OD-54", false}
	}
	panic("demo: no equipment " + b.equipment)
}

// yieldKWhPerKW is roughly what a kW makes a year, for sizing.
func (r *region) yieldKWhPerKW(tiltDeg, azimuthDeg float64) float64 {
	base := map[string]float64{"foothills": 1560, "valley": 1580, "basin": 1680}[r.name]
	return base * (1 - 0.0075*tiltDeg*(1-math.Cos((azimuthDeg-180)*rad))/1.25)
}

// layRoof draws the planes, puts the arrays on them and leaves room for
// b.room modules more, as far as whole rows go.
func (b *builder) layRoof() {
	r, rnd := b.region, b.rnd
	hw := b.hardware()
	mod, inv := b.m.catalogue.Module(hw.module), b.m.catalogue.Inverter(hw.inverter)
	tilt := math.Round(b.between(14, 34))
	azimuth := math.Round(180 + 28*rnd.NormFloat64())
	switch u := rnd.Float64(); {
	case u < 0.22:
		azimuth = math.Round(b.between(225, 280))
	case u < 0.40:
		azimuth = math.Round(b.between(85, 135))
	}
	azimuth = clamp(azimuth, 80, 285)
	use := b.house.estimateKWhYr(r)
	n := int(math.Round(b.coverage * use * 1000 / (mod.Watts * r.yieldKWhPerKW(tilt, azimuth))))
	n = min(max(n, 6), 44)
	if !hw.micro { // whole strings
		n = max(n/2*2, 8)
	}
	second := azimuth + pick(rnd, []float64{90, -90, 180})
	if second > 300 || second < 60 && second > -60 { // nobody puts modules to the north by choice
		second = azimuth - 180
	}
	second = math.Mod(second+360, 360)
	split := 0
	if hw.micro && n >= 16 && rnd.Float64() < 0.45 && (second > 75 && second < 290) {
		split = n / 3
	}
	layouts := []struct {
		n           int
		tilt, azimu float64
	}{{n - split, tilt, azimuth}}
	if split > 0 {
		layouts = append(layouts, struct {
			n           int
			tilt, azimu float64
		}{split, tilt, second})
	}
	b.truth.RoofByPlane = map[string]int{}
	commissioned := b.m.localStart(r).Time().AddDate(0, 0, -int(b.roof.ageYears*365.25))
	b.reg.CommissionedOn = time.Date(commissioned.Year(), commissioned.Month(), 1+rnd.IntN(28), 0, 0, 0, 0, time.UTC)
	roofKind := pick(rnd, []string{"shingle", "shingle", "tile", "metal"})
	roofYear := ingest.Some(b.reg.CommissionedOn.Year() - rnd.IntN(14))
	if rnd.Float64() < 0.3 {
		roofYear = ingest.Opt[int]{}
	}
	addPlane := func(width, slope, tilt, az, shading float64, free room) string {
		id := fmt.Sprintf("P%d", len(b.reg.Planes)+1)
		p := ingest.Plane{ID: id, WidthM: cm(width), SlopeM: cm(slope),
			TiltDeg: tilt, AzimuthDeg: math.Mod(az+360, 360), ShadingPct: shading, BlockedM2: 0, RoofKind: roofKind, RoofYear: roofYear}
		fits, low := free.modules(ridgeSetbackM, b.m.newModule), free.modules(wideRidgeM, b.m.newModule)
		if !b.m.opts.PlainHomes && fits >= 6 {
			switch u := rnd.Float64(); {
			case u < 0.15: // a vent or two somewhere: how many modules they cost is not in the register
				p.BlockedM2 = math.Round(b.between(2, 9)) / 10
				low = max(low-2, 0)
			case u < 0.22:
				p.ShadingPct = math.NaN()
			}
		}
		b.reg.Planes = append(b.reg.Planes, p)
		b.truth.RoofByPlane[id] = fits
		b.truth.RoofModules += fits
		b.truth.RoofModulesLow += low
		b.truth.RoofModulesHigh += fits + free.openSlots
		return id
	}
	left := b.room
	for i, l := range layouts {
		rows := 2
		if l.n > 14 {
			rows = 3
		}
		if b.tight == "roof" { // no slot left open
			l.n = max(l.n-l.n%rows, rows)
		}
		cols := (l.n + rows - 1) / rows
		// The old modules fill the plane's height; what is free lies beside them.
		width := 2*sideSetbackM + float64(cols)*(mod.WidthM+gapM) - gapM + b.between(0.05, 0.5)
		slope := ridgeSetbackM + eaveSetbackM + float64(rows)*(mod.HeightM+gapM) - gapM + b.between(0.02, 0.25)
		if i == 0 && left >= 6 && rnd.Float64() < 0.35 { // some room beside the old ones
			extra := float64(1 + rnd.IntN(3))
			width += extra * (b.m.newModule.WidthM + gapM)
		}
		width, slope = cm(width), cm(slope)
		beside := room{width - 2*sideSetbackM - float64(cols)*(mod.WidthM+gapM), slope, rows*cols - l.n}
		left -= beside.modules(ridgeSetbackM, b.m.newModule)
		plane := addPlane(width, slope, l.tilt, l.azimu, shadingOf(b, 4), beside)
		id := fmt.Sprintf("A%d", i+1)
		a := roofArray{id: id, modules: l.n, watts: mod.Watts, tiltDeg: l.tilt, azimuthDeg: l.azimu,
			gammaPctPC: mod.TempCoefficientPctPC, efficiency: inv.EfficiencyPct / 100, shadingPct: b.reg.Planes[len(b.reg.Planes)-1].ShadingPct}
		reg := ingest.Array{ID: id, Modules: l.n, ModuleWatts: mod.Watts, ModuleModel: mod.Model, TiltDeg: l.tilt, AzimuthDeg: l.azimu,
			PlaneID: plane, InverterModel: inv.Model, Inverters: ingest.Some(l.n), CommissionedOn: b.reg.CommissionedOn}
		if hw.micro {
			a.moduleACWatts = inv.ACWatts
		} else {
			reg.InverterModel, b.roof.stringACW = b.stringInverter(float64(n) * mod.Watts)
			reg.Inverters = ingest.Some(1)
		}
		b.roof.arrays = append(b.roof.arrays, a)
		b.reg.Arrays = append(b.reg.Arrays, reg)
	}
	b.freePlanes(left, tilt, azimuth, second, split > 0, addPlane)
	b.reg.RoofPlanM2 = b.wholeRoofM2(mod)
}

// wholeRoofM2 is the plan area of a roof large enough for all its modules, old
// and new, to stay below the share above which the ridge's strip grows; the
// planes of the register are the part of it that is worth having. One roof in
// ten nobody has measured as a whole.
func (b *builder) wholeRoofM2(old *ingest.Module) float64 {
	if b.truth.RoofModules%10 == 7 {
		return math.NaN()
	}
	covered := 0.0
	for _, a := range b.reg.Arrays {
		covered += float64(a.Modules) * old.WidthM * old.HeightM
	}
	covered += float64(b.truth.RoofModulesHigh) * b.m.newModule.WidthM * b.m.newModule.HeightM
	return math.Ceil(1.1 * covered / 0.33)
}

// cm rounds a length to whole centimetres, as a surveyor would.
func cm(x float64) float64 { return math.Round(x*100) / 100 }

// shadingOf draws a plane's loss of beam light; most roofs have little.
func shadingOf(b *builder, scale float64) float64 {
	if b.chance(0.4) {
		return 0
	}
	return math.Round(math.Min(scale*b.rnd.ExpFloat64(), 5*scale))
}

// room is the free part of a plane, between its side setbacks.
type room struct {
	widthM, slopeM float64
	openSlots      int // places of old modules left open in the last column
}

// modules is how many fit below a ridge setback.
func (r room) modules(ridgeM float64, m *ingest.Module) int {
	return pack(r.widthM, r.slopeM-ridgeM-eaveSetbackM, m)
}

// freePlanes adds planes without modules on them until about as many modules
// fit as are wanted.
func (b *builder) freePlanes(want int, tilt, azimuth, second float64, secondUsed bool, add func(width, slope, tilt, az, shading float64, free room) string) {
	if want <= 0 {
		if b.tight == "roof" { // a scrap of roof that takes nothing
			w, s := cm(b.between(0.8, 1.6)), cm(b.between(1.2, 2.0))
			add(w, s, tilt, second, 0, room{w - 2*sideSetbackM, s, 0})
		}
		return
	}
	faces := []float64{second, azimuth + 180, azimuth + 90}
	if secondUsed {
		faces = []float64{azimuth + 180, azimuth - 90, azimuth}
	}
	for i := 0; want > 0 && i < len(faces); i++ {
		rows := 2 + b.rnd.IntN(2)
		n := want
		if i == 0 && want > 8 && b.chance(0.5) {
			n = want * 2 / 3
		}
		cols := max((n+rows-1)/rows, 2)
		w := cm(2*sideSetbackM + float64(cols)*(b.m.newModule.WidthM+gapM) - gapM + b.between(0.02, 0.6))
		s := cm(ridgeSetbackM + eaveSetbackM + float64(rows)*(b.m.newModule.HeightM+gapM) - gapM + b.between(0.02, 0.4))
		free := room{w - 2*sideSetbackM, s, 0}
		t := tilt
		if i == 2 {
			t = math.Round(b.between(8, 20)) // a porch or a garage
		}
		add(w, s, t, faces[i], shadingOf(b, 4), free)
		want -= free.modules(ridgeSetbackM, b.m.newModule)
	}
}

// pack is how many modules fit a rectangle in rows, all upright or all lying.
//
//	⌊(W+g)/(w+g)⌋·⌊(D+g)/(h+g)⌋, the better of both ways
func pack(width, depth float64, m *ingest.Module) int {
	way := func(w, h float64) int {
		across, up := math.Floor((width+gapM)/(w+gapM)+1e-9), math.Floor((depth+gapM)/(h+gapM)+1e-9)
		if across <= 0 || up <= 0 {
			return 0
		}
		return int(across * up)
	}
	return max(way(m.WidthM, m.HeightM), way(m.HeightM, m.WidthM))
}

// stringInverter picks the model whose rating suits the modules.
func (b *builder) stringInverter(dcW float64) (model string, acW float64) {
	for _, v := range []string{"OD-40", "OD-54", "OD-72"} {
		inv := b.m.catalogue.Inverter(v)
		model, acW = v, inv.ACWatts
		if dcW <= 1.35*acW {
			break
		}
	}
	return model, acW
}

// settleFaults sizes the faults to the array, and sets the register wrong
// where that is the fault.
func (b *builder) settleFaults() {
	total, dcW := 0, 0.0
	for _, a := range b.roof.arrays {
		total += a.modules
		dcW += float64(a.modules) * a.watts
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

// wire draws the electrical service, the gateway and the permission, and books
// their ceilings.
func (b *builder) wire() {
	rnd, t := b.rnd, &b.truth
	newAmps := b.m.newInverter.ACWatts / 240
	oldAmps, oldACkW, inverters := 0.0, 0.0, 0
	oldBranches := 0.0
	for _, a := range b.reg.Arrays {
		inv := b.m.catalogue.Inverter(a.InverterModel)
		oldAmps += float64(a.Inverters.V) * inv.ACWatts / 240
		oldACkW += float64(a.Inverters.V) * inv.ACWatts / 1000
		inverters += a.Inverters.V
		if inv.Kind == "micro" {
			oldBranches += math.Ceil(float64(a.Inverters.V) / float64(inv.PerBranch))
		} else if a.Inverters.V > 0 {
			oldBranches++
		}
	}
	bus := []struct{ busbar, main float64 }{{225, 200}, {200, 175}, {225, 175}, {200, 150}}
	if b.tight == "service" {
		bus = []struct{ busbar, main float64 }{{200, 200}, {125, 125}, {125, 100}, {100, 100}}
	}
	svc := &ingest.Service{Phases: ingest.Some(2), Volts: 240, PVBreakerAmps: 20 * oldBranches, OtherSupplyAmps: 0,
		FreeSpaces: ingest.Some(4 + 2*rnd.IntN(4)), BranchSpareAmps: 0, Feed: "end", Profile: "split-phase-200",
		UpstreamBusbarAmps: math.NaN(), UpstreamMainBreakerAmps: math.NaN(), LoadBreakersAmps: math.NaN()}
	spare := func(busbar, main float64) int {
		amps := (1.2*busbar-main-svc.OtherSupplyAmps)/1.25 - oldAmps
		return max(int(math.Floor(amps/newAmps+1e-9)), 0)
	}
	// One of some that leave enough, or where it shall be tight the tightest.
	first := rnd.IntN(len(bus))
	svc.BusbarAmps, svc.MainBreakerAmps = bus[first].busbar, bus[first].main
	for i := range bus {
		c := bus[(first+i)%len(bus)]
		n, now := spare(c.busbar, c.main), spare(svc.BusbarAmps, svc.MainBreakerAmps)
		if b.tight == "service" && n < now || b.tight != "service" && now < 14 && n > now {
			svc.BusbarAmps, svc.MainBreakerAmps = c.busbar, c.main
		}
	}
	if b.tight == "service" && spare(svc.BusbarAmps, svc.MainBreakerAmps) > 1 { // something else feeds it as well
		svc.OtherSupplyAmps = 20
	}
	if b.tight == "spaces" {
		svc.FreeSpaces = ingest.Some(rnd.IntN(2))
	}
	t.ServiceModules = ingest.Some(spare(svc.BusbarAmps, svc.MainBreakerAmps))
	t.BranchModules = ingest.Some(svc.FreeSpaces.V / 2 * b.m.newInverter.PerBranch)
	b.reg.Service = svc

	gw := &ingest.Gateway{Model: "HG-2", SoftwareVersion: "5.2.1180", ReportingInverters: ingest.Some(inverters),
		LastSeenOn: dateOf(timeOf(b.m.tl, b.meters.to-1).In(b.region.loc)), BackupController: ingest.Some(false), StorageKWh: 0}
	generation := b.m.catalogue.Inverter(b.reg.Arrays[0].InverterModel).Generation
	micro := b.m.catalogue.Inverter(b.reg.Arrays[0].InverterModel).Kind == "micro"
	t.Mixable = true
	switch b.gateway {
	case "old_software":
		gw.SoftwareVersion = pick(rnd, []string{"5.1.960", "5.0.1204", "4.10.77"})
		t.Mixable = !micro || generation == 2
	case "hg1":
		gw.Model, gw.SoftwareVersion = "HG-1", pick(rnd, []string{"3.9.40", "3.9.8", "3.10.2"}[:2])
		t.Mixable = !micro || generation == 2
	case "backup":
		gw.BackupController, b.reg.GridType = ingest.Some(true), "backup"
		t.Mixable = generation == 2 && micro
	case "storage":
		gw.StorageKWh = 10
		t.Mixable = generation == 2 && micro
	case "off_grid":
		b.reg.GridType = "off_grid"
		t.Mixable = generation == 2 && micro
	}
	b.reg.Gateway = gw
	most := b.m.catalogue.Gateway(gw.Model).MaxInverters
	if rule := b.m.catalogue.Mixing[0]; generation != b.m.newInverter.Generation && micro {
		most = min(most, rule.MaxInverters)
	}
	t.GatewayModules = ingest.Some(max(most-inverters, 0))

	if b.tight == "permission" {
		b.reg.PermissionLimitKW = math.Ceil(oldACkW*10) / 10
	} else if rnd.Float64() < 0.35 {
		b.reg.PermissionLimitKW = math.Ceil(oldACkW + b.between(7, 12))
	}
	if !math.IsNaN(b.reg.PermissionLimitKW) {
		t.PermissionModules = ingest.Some(max(int(math.Floor((b.reg.PermissionLimitKW-oldACkW)*1000/b.m.newInverter.ACWatts+1e-9)), 0))
	}
}

// dateOf is the date that t shows, as registers hold it.
func dateOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// meterUp says what is metered.
func (b *builder) meterUp() {
	mt := &b.meters
	switch b.meter {
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
		panic("demo: no metering " + b.meter)
	}
}

// papers draws what the office knows of the customer beyond the equipment.
func (b *builder) papers() {
	if b.forget != nil {
		b.forget()
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
