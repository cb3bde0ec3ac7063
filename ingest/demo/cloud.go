package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// light fills the arrays over the lit steps: clear sky with a turbidity that
// changes from day to day, and the region's cloud.
func (r *region) light(airRnd, cloudRnd *rand.Rand) {
	p := newPlace(r.latDeg, r.lonDeg)
	capacity := r.tl.n*56/100 + 64
	for _, a := range []*[]float32{&r.dni, &r.dhi, &r.z, &r.am, &r.i0, &r.mean, &r.spread, &r.thin, &r.dense, &r.wind, &r.cloud[0], &r.cloud[1], &r.cloud[2], &r.cloud[3]} {
		*a = make([]float32, 0, capacity)
	}
	r.lit, r.litDay = make([]int32, 0, capacity), make([]int32, 0, capacity)
	haze, clouds := newHaze(r), newClouds(r.tl)
	for di := range r.days {
		d := &r.days[di]
		a, wind := haze.next(d, airRnd)
		kind := drawCover(r.days, di, cloudRnd)
		for s := range d.n {
			i := d.start + s
			clouds.region(cloudRnd)
			_, _, up := p.sun(r.tl, i)
			dni, ghi := bird(a, up)
			if dni == 0 {
				continue
			}
			for k, z := range clouds.corners(cloudRnd) {
				r.cloud[k] = append(r.cloud[k], z)
			}
			h := float64(s) / float64(r.tl.perHour)
			c := kind.at(r, d, h)
			z := math.Acos(up)
			r.lit = append(r.lit, int32(i))
			r.litDay = append(r.litDay, int32(di))
			r.dni = append(r.dni, float32(dni))
			r.dhi = append(r.dhi, float32(math.Max(0, ghi-float64(dni*up))))
			r.z = append(r.z, float32(z))
			r.am = append(r.am, float32(1/(up+float64(0.50572*math.Pow(96.07995-z/rad, -1.6364))))) // Kasten and Young 1989
			r.i0 = append(r.i0, float32(a.extraterrestrialWm))
			r.mean = append(r.mean, float32(c.mean))
			r.spread = append(r.spread, float32(c.spread))
			r.thin = append(r.thin, float32(c.thin))
			r.dense = append(r.dense, float32(c.dense))
			r.wind = append(r.wind, float32(wind*(0.75+float64(0.5*clamp((h-7)/8, 0, 1)))))
		}
	}
}

// haze is the air over a region, from day to day.
type haze struct {
	*region
	pressurePa float64
	aod, wind  float64 // waves
	smokeDays  int
	smoke      float64
}

func newHaze(r *region) *haze {
	return &haze{region: r, pressurePa: 100 * math.Pow((44331.514-r.elevM)/11880.516, 1/0.1902632)}
}

// next is a day's air and its wind in m/s.
func (z *haze) next(d *day, rnd *rand.Rand) (air, float64) {
	r := z.region
	summer := math.Max(0, -math.Cos(2*math.Pi*float64(d.dayOfYear-15)/365.25))
	z.aod = float64(0.75*z.aod) + float64(0.26*rnd.NormFloat64())
	z.wind = float64(0.5*z.wind) + float64(0.35*rnd.NormFloat64())
	if u, e := rnd.Float64(), rnd.ExpFloat64(); z.smokeDays == 0 && d.month >= time.July && d.month <= time.October && u < 0.012 {
		z.smokeDays, z.smoke = 2+int(4*e), 0.12+float64(0.25*rnd.Float64()) // wildfire smoke for some days
	}
	aod := float64((r.aod + float64((r.aodSummer-r.aod)*summer)) * math.Exp(z.aod))
	if z.smokeDays > 0 {
		aod += z.smoke
		z.smokeDays--
	}
	a := air{pressurePa: z.pressurePa, tau500: aod, tau380: aod * 1.4, ozoneCm: 0.31,
		waterCm: (r.waterCm + float64((r.waterSummerCm-r.waterCm)*summer)) * math.Exp(0.5*z.aod),
		albedo:  0.2, extraterrestrialWm: extraterrestrial(d.dayOfYear)}
	if d.snowGround {
		a.albedo = 0.55
	}
	return a, r.windMs * math.Exp(z.wind)
}

// clouds are the latent processes of a region's cloud: two scales of time for
// the shared part, one for each corner's own.
type clouds struct {
	slow, quick, own float64 // kept from step to step
	zs, zq           float64
	zo               [latents]float64
	fresh            [3]float64
}

func newClouds(tl *timeline) *clouds {
	dt := float64(tl.dtMinutes)
	c := &clouds{slow: math.Exp(-dt / 200), quick: math.Exp(-dt / 45), own: math.Exp(-dt / 70)}
	c.fresh = [3]float64{math.Sqrt(1 - float64(c.slow*c.slow)), math.Sqrt(1 - float64(c.quick*c.quick)), math.Sqrt(1 - float64(c.own*c.own))}
	return c
}

// region steps the shared part.
func (c *clouds) region(rnd *rand.Rand) {
	nz, nq := rnd.NormFloat64(), rnd.NormFloat64()
	c.zs, c.zq = float64(c.slow*c.zs)+float64(c.fresh[0]*nz), float64(c.quick*c.zq)+float64(c.fresh[1]*nq)
}

// corners steps each corner's own part and joins it with the shared one: 0.7
// of the variance is common to the region.
func (c *clouds) corners(rnd *rand.Rand) (out [latents]float32) {
	for k := range c.zo {
		c.zo[k] = float64(c.own*c.zo[k]) + float64(c.fresh[2]*rnd.NormFloat64())
		out[k] = float32(float64(0.8367*(float64(0.8*c.zs)+float64(0.6*c.zq))) + float64(0.5477*c.zo[k]))
	}
	return out
}

// dayCover is the kind of a day's sky and how it turns into the next day's.
type dayCover struct {
	kind, next skyKind
	turn       float64 // hour at which the next day's sky comes in
	lift       float64 // a day is more or less of its kind
	dense      float64
	burn       float64 // hour at which fog burns off
}

func drawCover(days []day, di int, rnd *rand.Rand) dayCover {
	d := &days[di]
	c := dayCover{kind: cover[d.sky], next: cover[d.sky], turn: 25}
	if u, v := rnd.Float64(), rnd.Float64(); di+1 < len(days) && u < 0.35 && d.sky != skyFog {
		c.turn, c.next = 9+float64(9*v), cover[days[di+1].sky]
	}
	c.lift = rnd.NormFloat64()
	c.dense = math.Exp(0.25 * rnd.NormFloat64())
	c.burn = 8.5 + float64(3.5*rnd.Float64())
	return c
}

// at is the sky at an hour of the day. The change of kind takes three hours.
func (c *dayCover) at(r *region, d *day, h float64) skyKind {
	f := clamp((h-c.turn)/3, 0, 1)
	k := skyKind{
		mean:   c.kind.mean + float64((c.next.mean-c.kind.mean)*f) + float64(0.10*c.lift),
		spread: c.kind.spread + float64((c.next.spread-c.kind.spread)*f),
		thin:   c.kind.thin + float64((c.next.thin-c.kind.thin)*f),
		dense:  clamp((c.kind.dense+float64((c.next.dense-c.kind.dense)*f))*c.dense, 0.06, 0.85),
	}
	if d.sky >= skyFair && d.sky <= skyMostly && d.month >= time.May && d.month <= time.September {
		k.mean += float64(r.convective * clamp((h-12)/4, 0, 1))
	}
	if d.sky == skyFog {
		k.mean += float64(1.9 * clamp((c.burn-h)/1.5, 0, 1))
	}
	return k
}
