package demand

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// profile is how an event lies over the hours.
type profile struct {
	day   int // since which day it has been in the readings
	parts []change
	share [24]float64 // of the day's energy by local hour; sums to 1
}

// plainDay is the shape of a household's day where only days are known: the
// usual two humps, morning and evening. Common practice, ours in the figures.
var plainDay = [24]float64{
	0.028, 0.024, 0.023, 0.023, 0.024, 0.029, 0.038, 0.046, 0.045, 0.041, 0.040, 0.041,
	0.043, 0.042, 0.041, 0.042, 0.047, 0.057, 0.066, 0.068, 0.063, 0.054, 0.043, 0.032,
}

func (s *site) profileOf(k int, sh shape) profile {
	g := s.groups[k]
	p := profile{day: g.day, parts: g.parts}
	base, cold, heat, summer := s.yearly(g)
	falls := base+cold+heat+summer < 0
	sum := 0.0
	for h := range p.share {
		v := plainDay[h]
		if sh.known {
			v = sh.delta[h]
			if falls {
				v = -v
			}
			v = max(v, 0)
		}
		p.share[h] = v
		sum += v
	}
	for h := range p.share {
		if sum > 0 {
			p.share[h] /= sum
		} else {
			p.share[h] = plainDay[h]
		}
	}
	return p
}

// year is a window of hours on the site's clock, held against the readings'
// days.
type year struct {
	cal  calendar
	base int // day k of the window is day base+k of the readings
}

func (s *site) windowYear() year {
	var y year
	newCalendar(s.in.Window.Start, s.in.Window.N, s.in.Location, &y.cal)
	y.base = y.cal.firstDay - s.cal.firstDay
	return y
}

// twin is the day of the readings that stands for day d: itself, or the same
// weekday one or two years off; -1: none.
func (s *site) twin(d int) int {
	for _, off := range [...]int{0, -364, 364, -728, 728} {
		if t := d + off; t >= 0 && t < s.n {
			return t
		}
	}
	return -1
}

// nextYear writes the expected use of the coming twelve months on the
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
func (s *site) nextYear(r *Result) {
	w, y := s.in.Window, s.windowYear()
	out := make([]float64, w.N)
	r.NextYearWh = out
	measured := s.liveHours(out, y)
	r.WindowPct = 100 * float64(measured) / float64(max(w.N, 1))
	g, gSE := s.shrunkDrift(r)

	lived, luck, base, carried, carriedSD := 0.0, 0.0, 0.0, 0.0, 0.0
	for k := range y.cal.days() {
		lo, hi := y.cal.dayStart[k], y.cal.dayStart[k+1]
		hours, hod := out[lo:hi], y.cal.hod[lo:hi]
		day := sumOf(hours) / 1000
		lived += day
		t := s.twin(y.base + k)
		if t < 0 {
			base += day
			scaleTo(hours, day*(1+g))
			continue
		}
		part := float64(len(hours)) / 24 // a window that begins within a day
		dayLuck := part * min(max(s.luck(t), -0.4*day), 0.6*day)
		grown := part * s.fit.baseNormal[t] * (1 + float64(s.fit.drift*s.years[t]))
		luck += dayLuck
		base += grown
		scaleTo(hours, day+dayLuck+g*grown)
		for _, e := range r.Events {
			if e.Live && y.base+k < e.profile.day {
				c := s.carry(hours, hod, e.profile, t)
				carried += c
				if e.KWhYr != 0 {
					carriedSD += math.Abs(c/e.KWhYr) * (e.KWhYrHigh - e.KWhYrLow) / (2 * 1.645)
				}
			}
		}
	}
	r.NextYearKWh = sumOf(out) / 1000
	r.LevelKWhYr = lived + luck
	r.FromTrendKWh, r.FromEventsKWh = g*base, carried

	// What is not known: the household's own noise over a year, the weather,
	// the drift, what the events use, and the days filled in (15 % of them, our
	// choice).
	noise := s.yearNoise()
	missing := (1 - r.WindowPct/100) * 0.15 * lived
	r.LevelLow, r.LevelHigh = around(r.LevelKWhYr, 1.645*math.Hypot(noise, missing))
	weather := weatherRelSD * r.LevelKWhYr
	sd := math.Sqrt(noise*noise + weather*weather + missing*missing + math.Pow(gSE*base, 2) + carriedSD*carriedSD)
	r.NextYearLow, r.NextYearHigh = around(r.NextYearKWh, 1.645*sd)
	if r.NextYearKWh > 0 {
		r.NextYearRelSD = sd / r.NextYearKWh
	}
}

// weatherRelSD is how far one year's weather moves a household's use: a swing of
// 5 to 10 % for a heated or cooled home (section 7.5, common practice) is the
// extreme; 2.5 % is our choice for the usual. All homes of a place have the same
// weather: over six invented fleets the interval then held 79 to 96 % of the
// truths, 90 % in all.
const weatherRelSD = 0.025

// yearNoise is the standard deviation of a year's sum about the model, kWh.
func (s *site) yearNoise() float64 {
	return math.Sqrt(365 * s.longRunVariance(s.fit.resid))
}

func around(v, half float64) (low, high float64) { return v - half, v + half }

// shrunkDrift pulls the drift towards none by its doubt; a drift that could
// not be fitted is none, give or take the prior.
func (s *site) shrunkDrift(r *Result) (g, se float64) {
	const prior = driftPriorPctYr / 100
	se = (r.GrowthHigh - r.GrowthLow) / 100 / (2 * 1.645)
	if math.IsNaN(r.GrowthPctYr) || math.IsNaN(se) {
		return 0, prior
	}
	if se <= 0 {
		return r.GrowthPctYr / 100, 0
	}
	return stat.Shrink(r.GrowthPctYr/100, se, 0, prior)
}

// luck is what a day of normal weather would have used more than the day did.
func (s *site) luck(d int) float64 {
	v := (s.fit.baseNormal[d] - s.fit.base[d]) * (1 + float64(s.fit.drift*s.years[d]))
	for _, c := range s.changes {
		if a := &s.answers[c.col]; d >= c.day {
			v += float64(c.beta * (a.normal[d] - a.x[d]))
		}
	}
	return v
}

// carry adds an event to the hours of a day before it came; it gives the kWh
// added. What would leave an hour below zero is left in.
func (s *site) carry(hours []float64, hod []uint8, p profile, t int) float64 {
	kwh := 0.0
	for _, c := range p.parts {
		kwh += float64(c.beta * s.answers[c.col].normal[t])
	}
	added := 0.0
	for i := range hours {
		v := kwh * p.share[hod[i]] * 1000
		if hours[i]+v < 0 {
			v = -hours[i]
		}
		hours[i] += v
		added += v
	}
	return added / 1000
}

// liveHours writes the window as it was lived, filled; it gives how many of
// its hours were measured.
func (s *site) liveHours(out []float64, y year) int {
	measured := 0
	daily := s.onlyDaily()
	for k := range y.cal.days() {
		lo, hi := int(y.cal.dayStart[k]), int(y.cal.dayStart[k+1])
		d := y.base + k
		inside := d >= 0 && d < s.n
		if daily {
			kwh := s.dayOrModel(d)
			if inside && !math.IsNaN(s.kwh[d]) {
				measured += hi - lo
			}
			for i := lo; i < hi; i++ {
				out[i] = 1000 * kwh * plainDay[y.cal.hod[i]]
			}
			continue
		}
		known := 0
		for i := lo; i < hi; i++ {
			out[i] = math.NaN()
			if v := s.hourAt(int(s.in.Window.Start-s.cal.start) + i); !math.IsNaN(v) {
				out[i] = v
				known++
			}
		}
		measured += known
		if known < hi-lo {
			s.fillDay(out[lo:hi], y.cal.hod[lo:hi], int(s.in.Window.Start-s.cal.start)+lo, d, known)
		}
		if s.basis.gross {
			clipNegative(out[lo:hi])
		}
	}
	return measured
}

// hourAt is the use of an hour of the readings; NaN where missing, or where
// the house stood empty.
func (s *site) hourAt(i int) float64 {
	if i < 0 || i >= len(s.basis.wh) {
		return math.NaN()
	}
	v := s.basis.wh[i]
	if math.IsNaN(v) {
		return v
	}
	if d := s.cal.dayOf(s.cal.start + ingest.Hour(i)); d < s.n && s.absent[d] {
		return math.NaN()
	}
	return v
}

// fillDay fills a day's missing hours from the same hours of the weeks around
// (section 13 of the method); a day without any hour is scaled to the model.
func (s *site) fillDay(hours []float64, hod []uint8, at, d, known int) {
	var around [8]float64
	for i := range hours {
		if !math.IsNaN(hours[i]) {
			continue
		}
		near := around[:0]
		for week := 1; week <= 4; week++ {
			for _, off := range [...]int{-168 * week, 168 * week} {
				if v := s.hourAt(at + i + off); !math.IsNaN(v) {
					near = append(near, v)
				}
			}
		}
		if len(near) > 0 {
			hours[i] = stat.MedianInPlace(near)
		} else {
			hours[i] = 1000 * s.dayOrModel(d) * plainDay[hod[i]]
		}
	}
	if known == 0 && sumOf(hours) > 0 {
		scaleTo(hours, s.dayOrModel(d)*float64(len(hours))/24)
	}
}

// dayOrModel is a day's use, or what the model expects of it, or of the same
// day of another year.
func (s *site) dayOrModel(d int) float64 {
	if d >= 0 && d < s.n && s.counted[d] {
		return s.kwh[d]
	}
	if t := s.twin(d); t >= 0 {
		return max(s.expected(t), 0)
	}
	return s.meanUse()
}

// onlyDaily tells that nothing finer than a day is known.
func (s *site) onlyDaily() bool {
	return s.basis.name == BasisBills || s.in.Series == nil || s.in.Series.StepMinutes >= 1440
}

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}

// scaleTo multiplies the hours so that they sum to kwh.
func scaleTo(hours []float64, kwh float64) {
	sum := sumOf(hours)
	if sum == 0 {
		return
	}
	f := max(kwh, 0) * 1000 / sum
	for i := range hours {
		hours[i] *= f
	}
}

// clipNegative sets hours below zero to zero and takes the excess off the
// others, so that the day's sum stands.
func clipNegative(hours []float64) {
	below := 0.0
	for i, v := range hours {
		if v < 0 {
			below += v
			hours[i] = 0
		}
	}
	if below < 0 {
		scaleTo(hours, (sumOf(hours)+below)/1000)
	}
}
