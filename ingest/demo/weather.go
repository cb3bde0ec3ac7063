package demo

import (
	"math"
	"math/rand/v2"
)

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
		anomaly = float64(0.72*anomaly) + float64(0.69*r.anomalyC*rnd.NormFloat64())
		seasonal := r.meanC - float64(r.swingC*math.Cos(2*math.Pi*float64(d.dayOfYear-21)/365.25))
		daySwing := float64(r.dayC * [numSkyTypes]float64{1.2, 1.15, 1.0, 0.75, 0.5, 0.9}[d.sky])
		dayLevel := seasonal + anomaly
		if d.sky == skyOvercast {
			dayLevel -= 1.5
		}
		if i == 0 {
			level, swing = dayLevel, daySwing
		}
		for s := range d.n {
			h := float64(float64(s) * hours)
			f := h / 24 // drift from yesterday's level to today's over the day
			l := level + float64((dayLevel-level)*f)
			w := swing + float64((daySwing-swing)*math.Min(1, 2*f))
			t := l + float64(w*math.Cos(2*math.Pi*(h-15)/24))
			r.tempC[d.start+s] = float32(t)
			if math.IsNaN(lag) {
				lag = t
			}
			lag += float64(lagGain * (t - lag))
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
		ground = math.Max(0, ground-0.25-float64(0.12*math.Max(0, mean)))
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
