package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"rowen/ingest"
)

// hardware is what one kind of array is made of.
type hardware struct {
	module, inverter string
	micro            bool
}

func hardwareOf(rnd *rand.Rand, equipment string) hardware {
	switch equipment {
	case "kv1":
		if rnd.Float64() < 0.5 {
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
	panic("demo: no equipment " + equipment)
}

// yieldKWhPerKW is roughly what a kW makes a year, for sizing.
func (r *region) yieldKWhPerKW(tiltDeg, azimuthDeg float64) float64 {
	base := map[string]float64{"foothills": 1560, "valley": 1580, "basin": 1680}[r.name]
	return base * (1 - 0.0075*tiltDeg*(1-math.Cos((azimuthDeg-180)*rad))/1.25)
}

// roofPlan is what is settled about a roof before a plane is drawn.
type roofPlan struct {
	micro           bool
	mod             *ingest.Module
	inv             *ingest.Inverter
	modules, second int // of all; of which on the second face
	tilt            float64
	faces           [2]float64 // azimuths: the array's own, and the next best
	kind            string
	year            ingest.Opt[int]
}

// layRoof draws the planes, puts the arrays on them and leaves room for
// b.room modules more, as far as whole rows go.
func (b *builder) layRoof() {
	p := b.planRoof()
	b.truth.RoofByPlane = map[string]int{}
	left := b.room - b.layArray(p, 0, p.modules-p.second, b.room)
	if p.second > 0 {
		left -= b.layArray(p, 1, p.second, left)
	}
	b.freePlanes(p, left)
	b.reg.RoofPlanM2 = wholeRoofM2(b.site, p.mod, b.m.newModule)
}

// planRoof draws which way the roof faces, how large its arrays are and what
// covers it.
func (b *builder) planRoof() roofPlan {
	r, rnd := b.region, b.rnd
	hw := hardwareOf(rnd, b.equipment)
	p := roofPlan{micro: hw.micro, mod: b.m.catalogue.Module(hw.module), inv: b.m.catalogue.Inverter(hw.inverter)}
	p.tilt = math.Round(b.between(14, 34))
	azimuth := math.Round(180 + float64(28*rnd.NormFloat64()))
	switch u := rnd.Float64(); {
	case u < 0.22:
		azimuth = math.Round(b.between(225, 280))
	case u < 0.40:
		azimuth = math.Round(b.between(85, 135))
	}
	azimuth = clamp(azimuth, 80, 285)
	use := b.house.estimateKWhYr(r)
	n := int(math.Round(b.coverage * use * 1000 / (p.mod.Watts * r.yieldKWhPerKW(p.tilt, azimuth))))
	n = min(max(n, 6), 44)
	if !p.micro { // whole strings
		n = max(n/2*2, 8)
	}
	second := azimuth + pick(rnd, []float64{90, -90, 180})
	if second > 300 || second < 60 && second > -60 { // nobody puts modules to the north by choice
		second = azimuth - 180
	}
	second = math.Mod(second+360, 360)
	if p.micro && n >= 16 && rnd.Float64() < 0.45 && (second > 75 && second < 290) {
		p.second = n / 3
	}
	p.modules, p.faces = n, [2]float64{azimuth, second}
	commissioned := b.m.localStart(r).Time().AddDate(0, 0, -int(b.roof.ageYears*365.25))
	b.reg.CommissionedOn = time.Date(commissioned.Year(), commissioned.Month(), 1+rnd.IntN(28), 0, 0, 0, 0, time.UTC)
	p.kind = pick(rnd, []string{"shingle", "shingle", "tile", "metal"})
	p.year = ingest.Some(b.reg.CommissionedOn.Year() - rnd.IntN(14))
	if rnd.Float64() < 0.3 {
		p.year = ingest.Opt[int]{}
	}
	return p
}

// layArray draws the plane of one face with n modules on it, and enters both;
// it returns how many new modules fit beside them.
func (b *builder) layArray(p roofPlan, face, n, left int) (fits int) {
	rows := 2
	if n > 14 {
		rows = 3
	}
	if b.tight == "roof" { // no slot left open
		n = max(n-n%rows, rows)
	}
	cols := (n + rows - 1) / rows
	// The old modules fill the plane's height; what is free lies beside them.
	width := 2*sideSetbackM + float64(float64(cols)*(p.mod.WidthM+gapM)) - gapM + b.between(0.05, 0.5)
	slope := ridgeSetbackM + eaveSetbackM + float64(float64(rows)*(p.mod.HeightM+gapM)) - gapM + b.between(0.02, 0.25)
	if face == 0 && left >= 6 && b.rnd.Float64() < 0.35 { // some room beside the old ones
		extra := float64(1 + b.rnd.IntN(3))
		width += float64(extra * (b.m.newModule.WidthM + gapM))
	}
	width, slope = cm(width), cm(slope)
	beside := room{width - 2*sideSetbackM - float64(float64(cols)*(p.mod.WidthM+gapM)), slope, rows*cols - n}
	plane := b.addPlane(p, ingest.Plane{WidthM: width, SlopeM: slope, TiltDeg: p.tilt, AzimuthDeg: p.faces[face], ShadingPct: shadingOf(b, 4)}, beside)
	id := fmt.Sprintf("A%d", face+1)
	a := roofArray{id: id, modules: n, watts: p.mod.Watts, tiltDeg: p.tilt, azimuthDeg: p.faces[face],
		gammaPctPC: p.mod.TempCoefficientPctPC, efficiency: p.inv.EfficiencyPct / 100, shadingPct: plane.ShadingPct}
	reg := ingest.Array{ID: id, Modules: n, ModuleWatts: p.mod.Watts, ModuleModel: p.mod.Model, TiltDeg: p.tilt, AzimuthDeg: p.faces[face],
		PlaneID: plane.ID, InverterModel: p.inv.Model, Inverters: ingest.Some(n), CommissionedOn: b.reg.CommissionedOn}
	if p.micro {
		a.moduleACWatts = p.inv.ACWatts
	} else {
		reg.InverterModel, b.roof.stringACW = stringInverter(&b.m.catalogue, float64(p.modules)*p.mod.Watts)
		reg.Inverters = ingest.Some(1)
	}
	b.roof.arrays = append(b.roof.arrays, a)
	b.reg.Arrays = append(b.reg.Arrays, reg)
	return beside.modules(ridgeSetbackM, b.m.newModule)
}

// addPlane enters a plane and books how many new modules fit on it.
func (b *builder) addPlane(of roofPlan, p ingest.Plane, free room) ingest.Plane {
	p.ID = fmt.Sprintf("P%d", len(b.reg.Planes)+1)
	p.WidthM, p.SlopeM, p.AzimuthDeg = cm(p.WidthM), cm(p.SlopeM), math.Mod(p.AzimuthDeg+360, 360)
	p.RoofKind, p.RoofYear = of.kind, of.year
	fits, low := free.modules(ridgeSetbackM, b.m.newModule), free.modules(wideRidgeM, b.m.newModule)
	if !b.m.opts.PlainHomes && fits >= 6 {
		switch u := b.rnd.Float64(); {
		case u < 0.15: // a vent or two somewhere: how many modules they cost is not in the register
			p.BlockedM2 = math.Round(b.between(2, 9)) / 10
			low = max(low-2, 0)
		case u < 0.22:
			p.ShadingPct = math.NaN()
		}
	}
	b.reg.Planes = append(b.reg.Planes, p)
	b.truth.RoofByPlane[p.ID] = fits
	b.truth.RoofModules += fits
	b.truth.RoofModulesLow += low
	b.truth.RoofModulesHigh += fits + free.openSlots
	return p
}

// freePlanes adds planes without modules on them until about as many modules
// fit as are wanted.
func (b *builder) freePlanes(p roofPlan, want int) {
	azimuth, second := p.faces[0], p.faces[1]
	if want <= 0 {
		if b.tight == "roof" { // a scrap of roof that takes nothing
			w, s := cm(b.between(0.8, 1.6)), cm(b.between(1.2, 2.0))
			b.addPlane(p, ingest.Plane{WidthM: w, SlopeM: s, TiltDeg: p.tilt, AzimuthDeg: second}, room{w - 2*sideSetbackM, s, 0})
		}
		return
	}
	faces := []float64{second, azimuth + 180, azimuth + 90}
	if p.second > 0 {
		faces = []float64{azimuth + 180, azimuth - 90, azimuth}
	}
	for i := 0; want > 0 && i < len(faces); i++ {
		rows := 2 + b.rnd.IntN(2)
		n := want
		if i == 0 && want > 8 && b.chance(0.5) {
			n = want * 2 / 3
		}
		cols := max((n+rows-1)/rows, 2)
		w := cm(2*sideSetbackM + float64(float64(cols)*(b.m.newModule.WidthM+gapM)) - gapM + b.between(0.02, 0.6))
		s := cm(ridgeSetbackM + eaveSetbackM + float64(float64(rows)*(b.m.newModule.HeightM+gapM)) - gapM + b.between(0.02, 0.4))
		free := room{w - 2*sideSetbackM, s, 0}
		t := p.tilt
		if i == 2 {
			t = math.Round(b.between(8, 20)) // a porch or a garage
		}
		b.addPlane(p, ingest.Plane{WidthM: w, SlopeM: s, TiltDeg: t, AzimuthDeg: faces[i], ShadingPct: shadingOf(b, 4)}, free)
		want -= free.modules(ridgeSetbackM, b.m.newModule)
	}
}

// wholeRoofM2 is the plan area of a roof large enough for all its modules, old
// and new, to stay below the share above which the ridge's strip grows; the
// planes of the register are the part of it that is worth having. One roof in
// ten nobody has measured as a whole.
func wholeRoofM2(s *site, old, young *ingest.Module) float64 {
	if s.truth.RoofModules%10 == 7 {
		return math.NaN()
	}
	covered := 0.0
	for _, a := range s.reg.Arrays {
		covered += float64(float64(a.Modules) * old.WidthM * old.HeightM)
	}
	covered += float64(float64(s.truth.RoofModulesHigh) * young.WidthM * young.HeightM)
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
func stringInverter(c *ingest.Catalogue, dcW float64) (model string, acW float64) {
	for _, v := range []string{"OD-40", "OD-54", "OD-72"} {
		inv := c.Inverter(v)
		model, acW = v, inv.ACWatts
		if dcW <= 1.35*acW {
			break
		}
	}
	return model, acW
}
