package demo

import (
	"math"
	"math/rand/v2"
)

// roofArray is a group of like modules as it really stands.
type roofArray struct {
	id                  string
	modules             int
	watts               float64
	tiltDeg, azimuthDeg float64
	gammaPctPC          float64
	efficiency          float64 // of the inverter
	moduleACWatts       float64 // limit of a module's own inverter; 0: shares the string inverter
	shadingPct          float64 // of the beam over a year
	from                int     // step from which it stands there; 0: since before the readings
}

// roof is a site's arrays with what they share.
type roof struct {
	arrays       []roofArray
	stringACW    float64 // limit of the string inverter that the arrays share; 0: none
	siteFactor   float64
	arrayFactor  float64
	ageingPctYr  float64 // negative
	ageYears     float64 // at the timeline's start
	dirtFactor   float64 // against the region's ordinary dirt
	noctC        float64
	slide        float64 // how long snow stays, against the ordinary
	exportCapW   float64 // curtailment: what may leave the house; 0: no limit
	capFrom      int     // step from which exportCapW holds
	inverterLoad float64 // self-use of the inverters, share of their rating
}

// fault is a fault of the array on the timeline.
type fault struct {
	code     string
	on, off  int     // steps; off = the timeline's end: it lasts
	share    float64 // inverters_down: share of the modules; decline: final loss; shading: share of beam hidden
	extra    int     // unregistered_modules: modules added
	bearing  float64 // shading: azimuth of the obstacle's middle, deg
	halfDeg  float64 // and half its width
	heightEl float64 // and its height as an elevation of the sun, deg
	k, n     int
	rampDays float64 // decline: days until the final loss
}

// rays is the light at one site: compact arrays over the region's lit steps.
type rays struct {
	e, n, u                   []float64 // to the sun
	dni                       []float64
	iso, circum, horizon, ghi []float64
	keep                      []float64 // share of the modules' light that dust and snow leave
	out                       []float64 // AC W, all arrays
	acc                       []float64 // DC W before a shared limit
}

func (q *rays) size(n int) {
	for _, a := range []*[]float64{&q.e, &q.n, &q.u, &q.dni, &q.iso, &q.circum, &q.horizon, &q.ghi, &q.keep, &q.out, &q.acc} {
		if cap(*a) < n {
			*a = make([]float64, n)
		}
		*a = (*a)[:n]
	}
}

// cast fills q with the light of a site: the region's cloud as it stands over
// this roof, a cloud of its own on top, and the beam and diffuse light that
// follow from how much of the sun's disc is hidden.
//
//	DNI = DNIc·((1−c) + c·thin)
//	DHI = DHIc·(1−c) + dense·GHIc·c·(1−thin) + 0.18·c(1−c)·DNIc·cos z
//
// with c the share of the step in which cloud stands before the sun. The last
// term is what bright cloud edges scatter in. Our choice of a model; unlike a
// decomposition it gives the same global light many different mixes.
func (q *rays) cast(r *region, s *site, rnd *rand.Rand) {
	q.size(len(r.lit))
	w := s.cloudMix
	norm := 0.0
	{
		// Each corner's process has 0.7 of its variance in common with the others.
		sum2 := 0.0
		for _, x := range w {
			sum2 += float64(x * x)
		}
		norm = 1 / math.Sqrt(0.7+float64(0.3*sum2))
	}
	const shared = 0.75 // of the variance; the rest is the roof's own (our choice, within what real neighbours show)
	a, b := math.Sqrt(shared)*norm, math.Sqrt(1-shared)
	keep := math.Exp(-float64(r.tl.dtMinutes) / 30)
	fresh := math.Sqrt(1 - float64(keep*keep))
	loc := 0.0
	for j, i := range r.lit {
		e, n, u := s.place.sun(r.tl, int(i))
		u = math.Max(u, 0.004)
		loc = float64(keep*loc) + float64(fresh*rnd.NormFloat64())
		z := float64(a*(float64(w[0]*float64(r.cloud[0][j]))+float64(w[1]*float64(r.cloud[1][j]))+float64(w[2]*float64(r.cloud[2][j]))+float64(w[3]*float64(r.cloud[3][j])))) + float64(b*loc)
		c := clamp(float64(r.mean[j])+float64(float64(r.spread[j])*z), 0, 1)
		dniC, dhiC := float64(r.dni[j]), float64(r.dhi[j])
		thin := float64(r.thin[j])
		dni := dniC * (1 - c + float64(c*thin))
		dhi := float64(dhiC*(1-c)) + float64(float64(r.dense[j])*(float64(dniC*u)+dhiC)*c*(1-thin)) + float64(0.18*c*(1-c)*dniC*u) + float64(dhiC*c*thin)
		q.e[j], q.n[j], q.u[j], q.dni[j] = e, n, u, dni
		q.ghi[j] = float64(dni*u) + dhi
		q.iso[j], q.circum[j], q.horizon[j] = skyParts(dni, dhi, u, float64(r.z[j]), float64(r.am[j]), float64(r.i0[j]))
	}
	q.cover(r, s)
}

// cover fills keep: dust, and snow that slides off.
func (q *rays) cover(r *region, s *site) {
	for j := range q.keep {
		q.keep[j] = 1 - float64(s.roof.dirtFactor*r.days[r.litDay[j]].dirt)
	}
	tilt := 25.0
	if len(s.roof.arrays) > 0 {
		tilt = s.roof.arrays[0].tiltDeg
	}
	for k, f := range r.snows {
		rnd := stream(s.seed, 31, uint64(k))
		days := f.depth * s.roof.slide * clamp(1.4-tilt/45, 0.3, 1.4) * math.Exp(0.15*rnd.NormFloat64())
		until := f.step + int(days*float64(24*r.tl.perHour))
		for j := q.from(r, f.step); j < len(r.lit) && int(r.lit[j]) < until; j++ {
			// Full at first, gone in the last third of the time.
			left := float64(until-int(r.lit[j])) / float64(until-f.step)
			q.keep[j] *= 1 - float64(clamp(3*left, 0, 1)*0.97)
		}
	}
}

// from is the first lit index at or after a step.
func (q *rays) from(r *region, step int) int {
	lo, hi := 0, len(r.lit)
	for lo < hi {
		mid := (lo + hi) / 2
		if int(r.lit[mid]) < step {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// shadeWeight makes a yearly beam loss fall mostly on low sun: the share of
// beam lost is pct·weight·(1 − sin elevation)². It is found on one day a
// month for the plane at hand.
func shadeWeight(r *region, p place, nx, ny, nz float64) float64 {
	var beam, low float64
	step := 30 * 24 * r.tl.perHour
	for j, i := range r.lit {
		if (int(i)/(24*r.tl.perHour))%30 != 0 || int(i) >= 12*step+24*r.tl.perHour {
			continue
		}
		e, n, u := p.sun(r.tl, int(i))
		if c := float64(e*nx) + float64(n*ny) + float64(u*nz); c > 0 && u > 0 {
			b := float64(float64(r.dni[j]) * c)
			beam += b
			low += float64(b * (1 - u) * (1 - u))
		}
	}
	if low == 0 {
		return 0
	}
	return beam / low
}

// generate fills q.out with the AC power of all arrays, W, by lit step, for
// the faults given. clipped, where not nil, gets what the inverters' limit
// took away.
//
//	P_dc = P0·(G_eff/1000)·(1+γ(T−25))·G/(G+5)·1.005
//	T    = Ta + (NOCT−20)·(G/800)·9.5/(5.7+3.8v)·(1−η/0.9)      Duffie and Beckman (published)
//	P_ac = min(η·P_dc − own use, limit)
//
// The low-light term takes 2 % at 200 W/m² (our choice).
func (q *rays) generate(r *region, s *site, faults []fault, clipped []float64) {
	rf := &s.roof
	for j := range q.out {
		q.out[j] = 0
		if clipped != nil {
			clipped[j] = 0
		}
	}
	for ai := range rf.arrays {
		q.addArray(r, s, ai, faults, clipped)
	}
	if rf.stringACW > 0 {
		for j, p := range q.out {
			if p > rf.stringACW {
				if clipped != nil {
					clipped[j] += p - rf.stringACW
				}
				q.out[j] = rf.stringACW
			}
		}
	}
	// Whole-array faults come after the limit.
	for _, f := range faults {
		if f.code == "outage" {
			for j := q.from(r, f.on); j < len(r.lit) && int(r.lit[j]) < f.off; j++ {
				q.out[j] = 0
			}
		}
	}
}

// power is what turns the light on one array into AC power.
type power struct {
	nx, ny, nz           float64 // where the modules look
	iamSky, sky0, sinB   float64
	ground0, shade       float64
	gamma, limit, ownUse float64
	heat, scale          float64
	age0, ageStep        float64 // share of the first day's power, and its change a step
}

func powerOf(r *region, s *site, a *roofArray) (p power) {
	rf := &s.roof
	p.nx, p.ny, p.nz = normal(a.tiltDeg, a.azimuthDeg)
	iamSky, iamGround := diffuseIAM(a.tiltDeg)
	p.iamSky, p.sky0, p.sinB = iamSky, iamSky*(1+p.nz), math.Sqrt(1-float64(p.nz*p.nz))
	p.ground0 = iamGround * 0.2 * (1 - p.nz) / 2
	if a.shadingPct > 0 {
		p.shade = a.shadingPct / 100 * shadeWeight(r, s.place, p.nx, p.ny, p.nz)
	}
	p.gamma = a.gammaPctPC / 100
	p.limit = a.moduleACWatts
	if p.limit == 0 {
		p.limit = math.Inf(1)
	}
	p.ownUse = rf.inverterLoad * math.Min(p.limit, a.watts)
	p.heat = (rf.noctC - 20) / 800 * 9.5 * (1 - 0.19/0.9)
	p.scale = rf.siteFactor * rf.arrayFactor
	p.ageStep = rf.ageingPctYr / 100 / (365.25 * float64(24*r.tl.perHour))
	p.age0 = 1 + float64(rf.ageingPctYr/100*rf.ageYears)
	if a.from > 0 { // new modules when they came
		p.scale, p.age0 = rf.siteFactor, 1-float64(p.ageStep*float64(a.from))
	}
	return p
}

func (q *rays) addArray(r *region, s *site, ai int, faults []fault, clipped []float64) {
	a := &s.roof.arrays[ai]
	p := powerOf(r, s, a)
	perDay := float64(24 * r.tl.perHour)
	for j, step := range r.lit {
		if int(step) < a.from {
			continue
		}
		cosT, beam, iamBeam := p.beam(q, j)
		modules, part := float64(a.modules), 1.0
		for fi := range faults {
			f := &faults[fi]
			if int(step) < f.on || int(step) >= f.off {
				continue
			}
			switch f.code {
			case "inverters_down":
				part *= 1 - f.share
			case "decline":
				part *= 1 - float64(f.share*clamp(float64(int(step)-f.on)/perDay/f.rampDays, 0, 1))
			case "unregistered_modules":
				if ai == 0 {
					modules += float64(f.extra)
				}
			case "shading":
				if beam > 0 && hidden(f, q.e[j], q.n[j], q.u[j]) {
					beam *= 1 - f.share
				}
			}
		}
		g := float64(beam*iamBeam) + math.Max(0, float64(p.sky0*q.iso[j])+float64(iamBeam*q.circum[j]*cosT)+float64(q.horizon[j]*p.sinB*p.iamSky)) + float64(p.ground0*q.ghi[j])
		g = float64(g * q.keep[j])
		t := float64(r.tempC[step]) + p.heat*g/(5.7+float64(3.8*0.5*float64(r.wind[j]))) // wind over a roof is half of that in the open (common practice)
		dc := a.watts * g / 1000 * (1 + float64(p.gamma*(t-25))) * 1.005 * g / (g + 5) * p.scale * (p.age0 + float64(p.ageStep*float64(step)))
		ac := float64(a.efficiency*dc) - p.ownUse
		if ac <= 0 {
			continue
		}
		if ac > p.limit {
			if clipped != nil {
				clipped[j] += float64((ac - p.limit) * modules * part)
			}
			ac = p.limit
		}
		q.out[j] += float64(ac * modules * part)
	}
}

// beam is the direct light on the modules, before what a fault hides of it.
func (p *power) beam(q *rays, j int) (cosT, beam, iamBeam float64) {
	cosT = float64(q.e[j]*p.nx) + float64(q.n[j]*p.ny) + float64(q.u[j]*p.nz)
	if cosT <= 0 {
		return 0, 0, 0
	}
	beam = q.dni[j] * cosT
	if p.shade > 0 {
		low := 1 - q.u[j]
		beam *= 1 - math.Min(p.shade*low*low, 1)
	}
	return cosT, beam, iam(math.Min(cosT, 1))
}

// hidden tells whether the obstacle stands between the sun and the modules.
func hidden(f *fault, e, n, u float64) bool {
	if u >= math.Sin(f.heightEl*rad) {
		return false
	}
	s, c := math.Sincos(f.bearing * rad)
	return float64(e*s)+float64(n*c) > math.Cos(f.halfDeg*rad)*math.Hypot(e, n)
}
