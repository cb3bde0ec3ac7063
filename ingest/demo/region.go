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

type skyKind struct{ mean, spread, thin, dense float64 }

// cover is how the latent cloud process of a kind of day turns into the share
// of the sky disc that cloud hides: clamp(mean + spread·z, 0, 1). thin is what
// of the beam passes through the cloud, dense what of the whole clear light
// reaches the ground under it. Our choice, held against the beam and diffuse
// light measured at Golden CO (see the tests).
var cover = [numSkyTypes]skyKind{
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
