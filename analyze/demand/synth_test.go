package demand

import (
	"math"
	"math/rand/v2"
	"time"

	"rowen/ingest"
)

// home is a made-up household for the tests: a place's temperatures, a day's
// shape, habits that drift, and loads that come and go. Its figures are known
// because they are put in.
type home struct {
	seed       uint64
	months     int
	baseKWhDay float64
	growthPct  float64
	heatSlope  float64 // kWh a K·day below 15 °C
	coolSlope  float64 // above 20 °C
	noise      float64 // sd of the day's factor, 0.15 is lively
	loc        *time.Location

	evFrom       int // day; 0: none
	evKWhDay     float64
	hpFrom       int
	hpSlope      float64
	poolFrom     int
	baseloadFrom int
	baseloadW    float64
	leftFrom     int     // someone moved out
	leftShare    float64 // of use that left with them
	absentFrom   int
	absentDays   int
	gapFrom      int
	gapDays      int
	hotYear      int // days from here are 4 K hotter in summer
}

var synthStart = time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC)

var eveningShape = [24]float64{
	0.6, 0.5, 0.5, 0.5, 0.5, 0.6, 0.9, 1.2, 1.1, 0.9, 0.9, 0.9,
	1.0, 1.0, 1.0, 1.0, 1.1, 1.4, 1.7, 1.8, 1.6, 1.3, 1.0, 0.8,
}

func (h home) make() (*ingest.Series, []float64, ingest.Window) {
	rng, car := rand.New(rand.NewPCG(h.seed, 7)), rand.New(rand.NewPCG(h.seed, 8))
	loc := h.loc
	if loc == nil {
		loc = time.UTC
	}
	if h.months == 0 {
		h.months = 30
	}
	start := time.Date(2024, 5, 1, 0, 0, 0, 0, loc)
	end := start.AddDate(0, h.months, 0)
	n := int(end.Sub(start).Hours())
	s := &ingest.Series{SiteID: "synth", Start: ingest.HourOf(start), StepMinutes: 60}
	use := make([]float64, n)
	temp := make([]float64, n)
	habit, anomaly := 0.0, 0.0
	session := make([]float64, n+48)
	lastDay := -1
	dayFactor := 1.0
	for i := range use {
		t := start.Add(time.Duration(i) * time.Hour).In(loc)
		day := int(t.Sub(start).Hours()/24 + 1e-9)
		hour := t.Hour()
		if day != lastDay {
			lastDay = day
			habit = 0.7*habit + h.noise*0.7*rng.NormFloat64()
			anomaly = 0.8*anomaly + 2.2*rng.NormFloat64()
			dayFactor = math.Exp(habit)
			if w := t.Weekday(); w == time.Saturday || w == time.Sunday {
				dayFactor *= 1.12
			}
			if h.evFrom > 0 && day >= h.evFrom && car.Float64() < 0.55 {
				kwh := h.evKWhDay / 0.55 * (0.5 + car.Float64())
				at := i + 18 - hour + car.IntN(5)
				for kwh > 0 && at < len(session) {
					p := math.Min(kwh, 7.2)
					session[at] += p
					kwh -= p
					at++
				}
			}
		}
		season := -math.Cos(2 * math.Pi * (float64(t.YearDay()) - 20) / 365.25)
		temp[i] = 10 + 11*season + anomaly - 4*math.Cos(2*math.Pi*(float64(hour)-3)/24)
		if h.hotYear > 0 && day >= h.hotYear && season > 0.3 {
			temp[i] += 4
		}
		meanT := 10 + 11*season + anomaly
		years := float64(i) / 8766
		growth := math.Pow(1+h.growthPct/100, years)
		base := h.baseKWhDay * eveningShape[hour] / 24.3 * dayFactor * growth * (1 + 0.2*rng.NormFloat64())
		base += h.heatSlope * math.Max(15-meanT, 0) / 24 * growth
		cool := h.coolSlope * math.Max(meanT-20, 0) * growth
		if hour >= 13 && hour < 21 {
			base += cool / 8
		}
		if h.leftFrom > 0 && day >= h.leftFrom {
			base *= 1 - h.leftShare
		}
		if h.hpFrom > 0 && day >= h.hpFrom {
			base += h.hpSlope * math.Max(15-meanT, 0) / 24 * (1 + 0.3*math.Cos(2*math.Pi*(float64(hour)-6)/24))
		}
		if h.poolFrom > 0 && day >= h.poolFrom && hour >= 9 && hour < 16 {
			base += 1.3
		}
		if h.baseloadFrom > 0 && day >= h.baseloadFrom {
			base += h.baseloadW / 1000
		}
		if h.absentDays > 0 && day >= h.absentFrom && day < h.absentFrom+h.absentDays {
			base = 0.25 * h.baseKWhDay / 24
			session[i] = 0
		}
		use[i] = math.Max(1000*(base+session[i]), 40)
		if h.gapDays > 0 && day >= h.gapFrom && day < h.gapFrom+h.gapDays {
			use[i] = math.NaN()
		}
	}
	s.Wh[ingest.Consumption] = use
	first := end.AddDate(-1, 0, 0)
	return s, temp, ingest.Window{Start: ingest.HourOf(first), N: int(end.Sub(first).Hours())}
}

func (h home) input(withTemp bool) Input {
	s, temp, w := h.make()
	in := Input{SiteID: "synth", Location: h.loc, LatitudeDeg: 45, Series: s, Window: w}
	if withTemp {
		in.TempC = temp
	}
	return in
}
