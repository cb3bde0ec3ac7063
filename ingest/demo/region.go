package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// skyType is the kind of a day.
type skyType int

const (
	skyClear skyType = iota
	skyFair
	skyPartly
	skyMostly
	skyOvercast
	skyFog // low cloud that burns off by noon
	numSkyTypes
)

// cover is how the latent cloud process of a kind of day turns into the share
// of the sky disc that cloud hides: clamp(mean + spread·z, 0, 1). thin is what
// of the beam passes through the cloud, dense what of the whole clear light
// reaches the ground under it. Our choice, held against the beam and diffuse
// light measured at Golden CO (see the tests).
var cover = [numSkyTypes]struct{ mean, spread, thin, dense float64 }{
	skyClear:    {-0.60, 0.25, 0.55, 0.70},
	skyFair:     {0.10, 0.27, 0.30, 0.58},
	skyPartly:   {0.44, 0.42, 0.10, 0.44},
	skyMostly:   {0.82, 0.34, 0.05, 0.36},
	skyOvercast: {1.30, 0.25, 0.00, 0.25},
	skyFog:      {-0.45, 0.25, 0.05, 0.42},
}

// climate is what makes one region's weather unlike another's. Invented, of
// the kind of the places named in the comments of the table below.
type climate struct {
	name                     string
	latDeg, lonDeg, elevM    float64
	zone                     string
	odds                     [4][numSkyTypes]float64 // winter Nov–Mar, spring Apr–May, summer Jun–Aug, autumn Sep–Oct
	meanC, swingC, dayC      float64                 // yearly mean, half the yearly swing, half the daily swing
	anomalyC                 float64                 // sd of a day's departure
	aod, aodSummer, waterCm  float64
	waterSummerCm            float64
	convective               float64 // growth of cloud in summer afternoons
	snow                     bool
	windMs                   float64
	dryMonthsFrom, dryMonths time.Month // months without rain that would wash the modules
}

var climates = []climate{
	{ // high plains below a mountain range
		name: "foothills", latDeg: 39.72, lonDeg: -105.02, elevM: 1660, zone: "America/Denver",
		odds: [4][numSkyTypes]float64{
			{0.24, 0.18, 0.18, 0.15, 0.25, 0},
			{0.15, 0.17, 0.24, 0.19, 0.25, 0},
			{0.19, 0.25, 0.30, 0.15, 0.11, 0},
			{0.31, 0.20, 0.17, 0.13, 0.19, 0}},
		meanC: 10.4, swingC: 12.2, dayC: 7.6, anomalyC: 4.0,
		aod: 0.07, aodSummer: 0.12, waterCm: 0.6, waterSummerCm: 1.7, convective: 0.30, snow: true, windMs: 3.4,
	},
	{ // an inland valley behind coastal hills
		name: "valley", latDeg: 37.70, lonDeg: -121.85, elevM: 120, zone: "America/Los_Angeles",
		odds: [4][numSkyTypes]float64{
			{0.18, 0.15, 0.16, 0.15, 0.28, 0.08},
			{0.29, 0.20, 0.18, 0.13, 0.13, 0.07},
			{0.38, 0.21, 0.12, 0.05, 0.04, 0.20},
			{0.36, 0.19, 0.15, 0.08, 0.11, 0.11}},
		meanC: 15.4, swingC: 7.4, dayC: 7.8, anomalyC: 2.8,
		aod: 0.11, aodSummer: 0.17, waterCm: 1.3, waterSummerCm: 1.9, windMs: 3.0,
		dryMonthsFrom: time.May, dryMonths: 5,
	},
	{ // a high basin with one customer, far from all others
		name: "basin", latDeg: 38.52, lonDeg: -106.05, elevM: 2180, zone: "America/Denver",
		odds: [4][numSkyTypes]float64{
			{0.33, 0.20, 0.18, 0.12, 0.17, 0},
			{0.22, 0.22, 0.26, 0.15, 0.15, 0},
			{0.22, 0.26, 0.32, 0.12, 0.08, 0},
			{0.40, 0.20, 0.17, 0.11, 0.12, 0}},
		meanC: 5.6, swingC: 12.5, dayC: 9.5, anomalyC: 3.6,
		aod: 0.05, aodSummer: 0.10, waterCm: 0.4, waterSummerCm: 1.2, convective: 0.32, snow: true, windMs: 3.2,
	},
}

// latents is how many cloud processes a region has, one a corner: a site takes
// its own mix by where it lies, so that near sites share more.
const latents = 4

// spreadDeg is half the width of a region: sites lie within about 30 km.
const spreadDeg = 0.26

// region is one region's sun, air, cloud and temperature on the timeline,
// shared by all its sites. Arrays over lit hold only the steps in which the
// sun is up; temperature and lag hold every step.
type region struct {
	climate
	loc  *time.Location
	tl   *timeline
	days []day

	lit          []int32   // steps with light
	dni, dhi     []float32 // clear sky
	z, am        []float32 // zenith angle in rad, relative air mass
	i0           []float32
	cloud        [latents][]float32 // unit normal
	mean, spread []float32          // cover
	thin, dense  []float32
	wind         []float32
	litDay       []int32 // index into days

	tempC, lagC []float32 // air, and air as a house feels it (4 h behind), by step

	snows []snowfall
	// coolKh and heatKh are the degree hours a year above 21 °C and below 15 °C
	// of lagC, for sizing houses.
	coolKh, heatKh float64
}

// day is one day of the local calendar.
type day struct {
	start, n   int // steps
	weekend    bool
	month      time.Month
	dayOfYear  int
	regular    bool // 24 hours long
	sky        skyType
	dirt       float64 // share of light lost to dust by a site of ordinary dirt
	snowGround bool
}

// snowfall is one fall that covers modules.
type snowfall struct {
	step  int // when it begins to lie
	depth float64
}

// stream is a source of randomness that belongs to one purpose: no draw of one
// stream moves another.
func stream(seed uint64, parts ...uint64) *rand.Rand {
	h := seed ^ 0x9e3779b97f4a7c15
	for _, p := range parts {
		h = mix(h ^ mix(p+0x632be59bd9b4e019))
	}
	return rand.New(rand.NewPCG(h, mix(h)))
}

// mix is the finaliser of splitmix64.
func mix(x uint64) uint64 {
	x ^= x >> 30
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 27
	x *= 0x94d049bb133111eb
	return x ^ x>>31
}

func clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }

func newRegion(c climate, tl *timeline, seed uint64) *region {
	loc, err := time.LoadLocation(c.zone)
	if err != nil {
		panic("demo: time zone " + c.zone + " is not on this machine and not built in: import time/tzdata")
	}
	r := &region{climate: c, loc: loc, tl: tl}
	r.days = localDays(tl, loc)
	r.drawSkies(stream(seed, 1))
	r.drawTemperature(stream(seed, 2))
	r.drawSnow(stream(seed, 3))
	r.drawDirt(stream(seed, 4))
	r.light(stream(seed, 5), stream(seed, 6))
	return r
}

// localDays cuts the timeline at local midnights; the ends may be cut short.
func localDays(tl *timeline, loc *time.Location) []day {
	var days []day
	stepSeconds := tl.dtMinutes * 60
	t := time.Unix(int64(tl.start)*3600, 0).In(loc)
	end := tl.unix(tl.n)
	for float64(t.Unix()) < end {
		next := time.Date(t.Year(), t.Month(), t.Day()+1, 0, 0, 0, 0, loc)
		d := day{
			start:     int(t.Unix()-int64(tl.start)*3600) / stepSeconds,
			weekend:   t.Weekday() == time.Saturday || t.Weekday() == time.Sunday,
			month:     t.Month(),
			dayOfYear: t.YearDay(),
		}
		stop := int(next.Unix()-int64(tl.start)*3600) / stepSeconds
		if stop > tl.n {
			stop = tl.n
		}
		d.n = stop - d.start
		d.regular = d.n == 24*tl.perHour
		days = append(days, d)
		t = next
	}
	return days
}

func season(m time.Month) int {
	switch m {
	case time.April, time.May:
		return 1
	case time.June, time.July, time.August:
		return 2
	case time.September, time.October:
		return 3
	}
	return 0
}

// drawSkies draws the kinds of days: a Markov chain that stays with a third
// and otherwise draws from the season's odds, which it so keeps in the long
// run.
func (r *region) drawSkies(rnd *rand.Rand) {
	for i := range r.days {
		if i > 0 && rnd.Float64() < 0.33 {
			r.days[i].sky = r.days[i-1].sky
			continue
		}
		odds := r.odds[season(r.days[i].month)]
		u := rnd.Float64()
		for k := range odds {
			if u -= odds[k]; u < 0 || k == int(numSkyTypes)-1 {
				r.days[i].sky = skyType(k)
				break
			}
		}
		if r.days[i].sky == skyFog && odds[skyFog] == 0 {
			r.days[i].sky = skyClear
		}
	}
}

// drawTemperature draws the air's temperature: a yearly and a daily wave and a
// weather that lasts some days; clear days swing more, clouded ones less.
func (r *region) drawTemperature(rnd *rand.Rand) {
	tl := r.tl
	r.tempC, r.lagC = make([]float32, tl.n), make([]float32, tl.n)
	anomaly, level := 0.0, 0.0
	swing := r.dayC
	lag := math.NaN()
	hours := 24 / float64(24*tl.perHour)
	lagGain := 1 - math.Exp(-float64(tl.dtMinutes)/240)
	for i := range r.days {
		d := &r.days[i]
		anomaly = 0.72*anomaly + 0.69*r.anomalyC*rnd.NormFloat64()
		seasonal := r.meanC - r.swingC*math.Cos(2*math.Pi*float64(d.dayOfYear-21)/365.25)
		daySwing := r.dayC * [numSkyTypes]float64{1.2, 1.15, 1.0, 0.75, 0.5, 0.9}[d.sky]
		dayLevel := seasonal + anomaly
		if d.sky == skyOvercast {
			dayLevel -= 1.5
		}
		if i == 0 {
			level, swing = dayLevel, daySwing
		}
		for s := range d.n {
			h := float64(s) * hours
			f := h / 24 // drift from yesterday's level to today's over the day
			l := level + (dayLevel-level)*f
			w := swing + (daySwing-swing)*math.Min(1, 2*f)
			t := l + w*math.Cos(2*math.Pi*(h-15)/24)
			r.tempC[d.start+s] = float32(t)
			if math.IsNaN(lag) {
				lag = t
			}
			lag += lagGain * (t - lag)
			r.lagC[d.start+s] = float32(lag)
			r.coolKh += math.Max(lag-21, 0)
			r.heatKh += math.Max(15-lag, 0)
		}
		level, swing = dayLevel, daySwing
	}
	years := float64(tl.n) / float64(tl.perHour) / 8766
	r.coolKh /= years * float64(tl.perHour)
	r.heatKh /= years * float64(tl.perHour)
}

// drawSnow lets it snow on some of the dull days that are cold enough.
func (r *region) drawSnow(rnd *rand.Rand) {
	if !r.snow {
		return
	}
	ground := 0.0
	for i := range r.days {
		d := &r.days[i]
		mean := 0.0
		for s := range d.n {
			mean += float64(r.tempC[d.start+s])
		}
		mean /= float64(max(d.n, 1))
		u, depth := rnd.Float64(), 0.3+rnd.ExpFloat64()
		when := d.start + int(rnd.Float64()*float64(d.n)/2)
		if d.sky >= skyMostly && mean < 1.5 && u < 0.5 {
			r.snows = append(r.snows, snowfall{when, math.Min(depth, 4)})
			ground += depth
		}
		d.snowGround = ground > 0.2
		ground = math.Max(0, ground-0.25-0.12*math.Max(0, mean))
	}
}

// drawDirt lets dust settle at 0.06 % of the light a dry day (a middle figure
// of the trade; our choice) and rain wash it off.
func (r *region) drawDirt(rnd *rand.Rand) {
	dirt := 0.01
	for i := range r.days {
		d := &r.days[i]
		dirt = math.Min(dirt+0.0006, 0.07)
		u := rnd.Float64()
		dry := r.dryMonths > 0 && d.month >= r.dryMonthsFrom && d.month < r.dryMonthsFrom+r.dryMonths
		if !dry && d.sky >= skyPartly && d.sky <= skyOvercast && u < 0.25*float64(d.sky-skyPartly+1) {
			dirt = math.Min(dirt, 0.004)
		}
		d.dirt = dirt
	}
}

// light fills the arrays over the lit steps: clear sky with a turbidity that
// changes from day to day, and the region's cloud.
func (r *region) light(airRnd, cloudRnd *rand.Rand) {
	tl, p := r.tl, newPlace(r.latDeg, r.lonDeg)
	pressure := 100 * math.Pow((44331.514-r.elevM)/11880.516, 1/0.1902632)
	// Two scales of time for the shared cloud, one for each corner's own.
	dt := float64(tl.dtMinutes)
	slow, quick, own := math.Exp(-dt/200), math.Exp(-dt/45), math.Exp(-dt/70)
	slowN, quickN, ownN := math.Sqrt(1-slow*slow), math.Sqrt(1-quick*quick), math.Sqrt(1-own*own)
	var zs, zq float64
	var zo [latents]float64
	aodWave, windWave := 0.0, 0.0
	smokeLeft, smoke := 0, 0.0
	capacity := tl.n*56/100 + 64
	for _, a := range []*[]float32{&r.dni, &r.dhi, &r.z, &r.am, &r.i0, &r.mean, &r.spread, &r.thin, &r.dense, &r.wind, &r.cloud[0], &r.cloud[1], &r.cloud[2], &r.cloud[3]} {
		*a = make([]float32, 0, capacity)
	}
	r.lit, r.litDay = make([]int32, 0, capacity), make([]int32, 0, capacity)

	for di := range r.days {
		d := &r.days[di]
		summer := math.Max(0, -math.Cos(2*math.Pi*float64(d.dayOfYear-15)/365.25))
		aodWave = 0.75*aodWave + 0.26*airRnd.NormFloat64()
		windWave = 0.5*windWave + 0.35*airRnd.NormFloat64()
		if u, e := airRnd.Float64(), airRnd.ExpFloat64(); smokeLeft == 0 && d.month >= time.July && d.month <= time.October && u < 0.012 {
			smokeLeft, smoke = 2+int(4*e), 0.12+0.25*airRnd.Float64() // wildfire smoke for some days
		}
		aod := (r.aod + (r.aodSummer-r.aod)*summer) * math.Exp(aodWave)
		if smokeLeft > 0 {
			aod += smoke
			smokeLeft--
		}
		a := air{pressurePa: pressure, tau500: aod, tau380: aod * 1.4, ozoneCm: 0.31,
			waterCm: (r.waterCm + (r.waterSummerCm-r.waterCm)*summer) * math.Exp(0.5*aodWave),
			albedo:  0.2, extraterrestrialWm: extraterrestrial(d.dayOfYear)}
		if d.snowGround {
			a.albedo = 0.55
		}
		wind := r.windMs * math.Exp(windWave)
		kind := cover[d.sky]
		next := kind
		turn := 25.0 // hour at which the next day's sky comes in
		if u, v := cloudRnd.Float64(), cloudRnd.Float64(); di+1 < len(r.days) && u < 0.35 && d.sky != skyFog {
			turn, next = 9+9*v, cover[r.days[di+1].sky]
		}
		lift := cloudRnd.NormFloat64() // a day is more or less of its kind
		dense := math.Exp(0.25 * cloudRnd.NormFloat64())
		burn := 8.5 + 3.5*cloudRnd.Float64()
		for s := range d.n {
			i := d.start + s
			nz, nq := cloudRnd.NormFloat64(), cloudRnd.NormFloat64()
			zs, zq = slow*zs+slowN*nz, quick*zq+quickN*nq
			_, _, up := p.sun(tl, i)
			dni, ghi := bird(a, up)
			if dni == 0 {
				continue
			}
			for k := range zo {
				zo[k] = own*zo[k] + ownN*cloudRnd.NormFloat64()
				// 0.7 of the variance is common to the region.
				r.cloud[k] = append(r.cloud[k], float32(0.8367*(0.8*zs+0.6*zq)+0.5477*zo[k]))
			}
			h := float64(s) / float64(tl.perHour)
			// The change of kind takes three hours.
			f := clamp((h-turn)/3, 0, 1)
			mean := kind.mean + (next.mean-kind.mean)*f + 0.10*lift
			spread := kind.spread + (next.spread-kind.spread)*f
			if d.sky >= skyFair && d.sky <= skyMostly && d.month >= time.May && d.month <= time.September {
				mean += r.convective * clamp((h-12)/4, 0, 1)
			}
			if d.sky == skyFog {
				mean += 1.9 * clamp((burn-h)/1.5, 0, 1)
			}
			z := math.Acos(up)
			r.lit = append(r.lit, int32(i))
			r.litDay = append(r.litDay, int32(di))
			r.dni = append(r.dni, float32(dni))
			r.dhi = append(r.dhi, float32(math.Max(0, ghi-dni*up)))
			r.z = append(r.z, float32(z))
			r.am = append(r.am, float32(1/(up+0.50572*math.Pow(96.07995-z/rad, -1.6364)))) // Kasten and Young 1989
			r.i0 = append(r.i0, float32(a.extraterrestrialWm))
			r.mean = append(r.mean, float32(mean))
			r.spread = append(r.spread, float32(spread))
			r.thin = append(r.thin, float32(kind.thin+(next.thin-kind.thin)*f))
			r.dense = append(r.dense, float32(clamp((kind.dense+(next.dense-kind.dense)*f)*dense, 0.06, 0.85)))
			r.wind = append(r.wind, float32(wind*(0.75+0.5*clamp((h-7)/8, 0, 1))))
		}
	}
}
