package demand

import (
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/stat"
	"rowen/ingest/samebits"
)

// nextYear writes the expected consumption of the coming twelve months on the
// window's calendar.
//
//	next = (lived + weather's luck)·(1 + g*·base's share) + events carried back
//
// In:    the window's hours; a missing hour, and every hour of a long absence,
// is the median of the same hour of the week over the eight weeks around it.
// Out:   Wh by hour, never NaN, never below 0.
// Edges: an event that came within the window is carried back over the hours
// before it, by its answer to each day's normal weather; one that took away is
// taken out of the hours before. The drift is shrunk by its own doubt,
// g* = g·τ²/(τ²+se²), τ the prior of households' drift.
func nextYear(h *household, s *change.Story, growth *Growth, events []Event) Outlook {
	o := outlookOf(h, s)
	out := make([]float64, h.in.Window.N)
	r := Outlook{NextYearWh: out}
	r.WindowPct = 100 * float64(o.lived(out)) / float64(max(len(out), 1))
	g, gSE := shrunkDrift(growth)
	t := o.toCome(out, g, events)
	r.NextYearKWh = sumOf(out) / 1000
	r.LevelKWhYr = t.lived + t.luck
	r.FromTrendKWh, r.FromEventsKWh = g*t.base, t.carried

	// What is not known: the household's own noise over a year, the weather,
	// the drift, what the events use, and the days filled in (15 % of them, our
	// choice).
	noise := yearNoise(s)
	missing := (1 - r.WindowPct/100) * 0.15 * t.lived
	r.LevelLow, r.LevelHigh = around(r.LevelKWhYr, float64(1.645*samebits.Hypot(noise, missing)))
	weather := weatherRelSD * r.LevelKWhYr
	sd := math.Sqrt(float64(noise*noise) + float64(weather*weather) + float64(missing*missing) + samebits.Pow(gSE*t.base, 2) + float64(t.carriedSD*t.carriedSD))
	r.NextYearLow, r.NextYearHigh = around(r.NextYearKWh, float64(1.645*sd))
	if r.NextYearKWh > 0 {
		r.NextYearRelSD = sd / r.NextYearKWh
	}
	return r
}

// sums are what a year to come is made of, kWh.
type sums struct{ lived, luck, base, carried, carriedSD float64 }

// toCome turns the hours as lived into those to come.
func (o *outlook) toCome(out []float64, g float64, events []Event) sums {
	var sum sums
	hod := o.window.HourOfDay()
	for k := range o.window.Days() {
		lo, hi := o.window.Day(k)
		hours := out[lo:hi]
		day := float64(sumOf(hours) / 1000)
		sum.lived += day
		t := o.twin(o.base + k)
		if t < 0 {
			sum.base += day
			scaleTo(hours, day*(1+g))
			continue
		}
		part := float64(len(hours)) / 24 // a window that begins within a day
		luck := float64(part * min(max(o.story.Luck(t), -0.4*day), 0.6*day))
		grown := float64(part * o.story.Fit.BaseNormal[t] * o.story.Fit.Drifted(t))
		sum.luck += luck
		sum.base += grown
		scaleTo(hours, day+luck+float64(g*grown))
		for _, e := range events {
			if e.Live && o.base+k < e.profile.day && (e.profile.seen == nil || e.profile.seen[t%365]) {
				c := o.carry(hours, hod[lo:hi], e.profile, t)
				sum.carried += c
				if e.KWhYr != 0 {
					sum.carriedSD += math.Abs(c/e.KWhYr) * (e.KWhYrHigh - e.KWhYrLow) / (2 * 1.645)
				}
			}
		}
	}
	return sum
}

// weatherRelSD is how far one year's weather moves a household's use: a swing of
// 5 to 10 % for a heated or cooled home (section 7.5, common practice) is the
// extreme; 2.5 % is our choice for the usual. All homes of a place have the same
// weather: over six invented fleets the interval then held 79 to 96 % of the
// truths, 90 % in all.
const weatherRelSD = 0.025

// yearNoise is the standard deviation of a year's sum about the model, kWh.
func yearNoise(s *change.Story) float64 { return math.Sqrt(365 * s.LongRunVariance()) }

func around(v, half float64) (low, high float64) { return v - half, v + half }

// shrunkDrift pulls the drift towards none by its doubt; a drift that could
// not be fitted is none, give or take the prior.
func shrunkDrift(r *Growth) (g, se float64) {
	const prior = change.DriftPrior
	se = (r.GrowthHigh - r.GrowthLow) / 100 / (2 * 1.645)
	if math.IsNaN(r.GrowthPctYr) || math.IsNaN(se) {
		return 0, prior
	}
	if se <= 0 {
		return r.GrowthPctYr / 100, 0
	}
	return stat.Shrink(r.GrowthPctYr/100, se, 0, prior)
}

// carry adds an event to the hours of a day before it came; it gives the kWh
// added. What would leave an hour below zero is left in.
func (o *outlook) carry(hours []float64, hod []uint8, p profile, t int) float64 {
	kwh := 0.0
	for _, c := range p.parts {
		kwh += float64(c.Beta * o.story.Columns.Answers[c.Column].Normal[t])
	}
	added := 0.0
	for i := range hours {
		v := float64(kwh * p.share[hod[i]] * 1000)
		if hours[i]+v < 0 {
			v = -hours[i]
		}
		hours[i] += v
		added += v
	}
	return added / 1000
}
