package demand

import (
	"fmt"
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// level of the intervals: 90 %.
const level = 0.90

// Assess judges one household's use of electricity.
//
// In:      the site's hours or bills; nothing is modified.
// Out:     level, growth, events, the year to come, coverage, each with its
// interval.
// Refuses: no consumption at all, or fewer than 328 days of it (CalTRACK 2.2).
// Edges:   what cannot be said is NaN, with a caveat; NextYearWh has no NaN.
// Cost:    about ten milliseconds for thirty months of hours.
func Assess(in Input) Result {
	if in.Scratch == nil {
		in.Scratch = new(Scratch)
	}
	s := newSite(&in)
	defer func() { in.Scratch.keep(s) }()
	r := blank()
	if s.n == 0 {
		s.readBills()
	}
	r.Basis, r.Days = s.basis.name, s.days
	if s.days == 0 {
		r.Refusal, r.RefusalSays = RefusedNoData, "No meter and no bill says what the household uses."
		return r
	}
	if s.days < minDaysForWeather {
		r.Refusal = RefusedTooShort
		r.RefusalSays = fmt.Sprintf("Only %d days of use are known; a year's use needs %d.", s.days, minDaysForWeather)
		r.Months = s.months()
		r.Coverage = s.coverage(r.Months)
		return r
	}
	s.prepare()
	s.findEvents()
	r.Method = s.method
	r.HeatingBalanceC, r.CoolingBalanceC = s.degree.heatBalance, s.degree.coolBalance
	r.Events = s.events()
	s.growth(&r)
	s.nextYear(&r)
	s.change12m(&r)
	r.Months = s.months()
	r.Coverage = s.coverage(r.Months)
	r.CoveragePct = 100 * float64(s.days+s.absentDays()) / float64(s.span())
	r.AbsenceDays = s.absentDays()
	s.say(&r)
	r.Caveats = s.caveats
	return r
}

// emptyAtEnd is how many days of absence the readings end with.
func (s *site) emptyAtEnd() int {
	k := 0
	for d := s.n - 1; d >= 0 && (s.absent[d] || (!s.counted[d] && math.IsNaN(s.kwh[d]))); d-- {
		if s.absent[d] {
			k++
		}
	}
	return k
}

// blank is a result in which nothing is known.
func blank() Result {
	nan := math.NaN()
	r := Result{
		LevelKWhYr: nan, LevelLow: nan, LevelHigh: nan,
		GrowthPctYr: nan, GrowthLow: nan, GrowthHigh: nan, GrowthKWhYr: nan, GrowthKWhLow: nan, GrowthKWhHigh: nan,
		MatchedPctYr: nan, MatchedLow: nan, MatchedHigh: nan, Change12mPct: nan, Change12mLow: nan, Change12mHigh: nan,
		HeatingBalanceC: nan, CoolingBalanceC: nan, HeatingKWhPerKDay: nan, CoolingKWhPerKDay: nan, FitCVRMSEPct: nan,
		NextYearKWh: nan, NextYearLow: nan, NextYearHigh: nan, NextYearRelSD: nan, FromEventsKWh: nan, FromTrendKWh: nan,
	}
	return r
}

func (s *site) absentDays() int {
	k := 0
	for _, a := range s.absent {
		if a {
			k++
		}
	}
	return k
}

// growth gives the drift with its bootstrapped interval, and the matched
// months' answer beside it.
func (s *site) growth(r *Result) {
	if m, ok := matchMonths(s.monthsWithoutEvents(), level); ok {
		r.MatchedPctYr, r.MatchedLow, r.MatchedHigh = m.growthPct, m.lowPct, m.higPct
	}
	s.buildFree()
	if s.driftAt < 0 {
		s.caveats = append(s.caveats, ingest.Caveat{Code: "growth_unknown",
			Says: fmt.Sprintf("The readings span %d days; a growth needs %d.", s.span(), minDriftDays)})
		return
	}
	w := s.model.weights(s.driftAt, nil)
	draws := bootstrapDrift(s.present(w[:s.n]), s.present(s.weighted(s.fit.resid)), s.present(s.noiseByDay()), s.fit.params-len(s.weekend), s.opts.Replicates, stat.Seed(s.in.SiteID))
	g := s.shrinkDrift(s.model.solve()[s.driftAt], draws)
	low, high := stat.Interval(draws, level)
	pct := func(g float64) float64 { return 100 * (math.Exp(g) - 1) }
	// The percentile interval of g* about g, turned round: g - (g*-g).
	r.GrowthPctYr, r.GrowthLow, r.GrowthHigh = pct(g), pct(g-high), pct(g-low)
	base := 0.0
	for d := max(0, s.n-365); d < s.n; d++ {
		base += s.fit.baseNormal[d] * (1 + float64(g*s.years[d]))
	}
	base *= 365.25 / float64(min(s.n, 365))
	r.GrowthKWhYr, r.GrowthKWhLow, r.GrowthKWhHigh = base*r.GrowthPctYr/100, base*r.GrowthLow/100, base*r.GrowthHigh/100
}

// How far households drift a year, events apart, and what steps too small to be
// reported as events (under a tenth of the use) leave in a drift: our choices,
// the second checked by the interval's coverage on invented fleets.
const (
	driftSpread = 0.04
	unseenDrift = 0.006
)

// shrinkDrift pulls a drift towards none by its doubt:
//
//	g' = W·g, W = τ²/(τ²+se²), se' = √(W·se² + doubt)
//
// A drift beside an event in the middle of the readings is hardly told from
// it, and then most of it is the event's. Rejected: pulling towards the
// fleet's common drift, which holds the events of all the others.
// Out: the drift; the draws are narrowed in place, and widened by what is not
// known of the fleet's own drift and of steps too small to see.
// Source: James and Stein 1961 (from memory).
func (s *site) shrinkDrift(g float64, draws []float64) float64 {
	se := stat.SD(draws)
	fleetSE := 0.0
	if s.method == MethodSeason {
		fleetSE = s.in.Season.driftSE
	}
	w := driftSpread * driftSpread / (driftSpread*driftSpread + se*se)
	extra := math.Hypot(fleetSE, unseenDrift) // what is not known of the fleet's drift is not known of the site's
	rng := stat.Rand(stat.Seed(s.in.SiteID) + 1)
	for k := range draws {
		draws[k] = draws[k]*math.Sqrt(w) + float64(extra*rng.NormFloat64())
	}
	return w * g
}

// noiseByDay is the residual's sd by day: of the stretch between the events
// that the day lies in.
func (s *site) noiseByDay() []float64 {
	out := make([]float64, s.n)
	from := 0
	for k := 0; k <= len(s.groups); k++ {
		to := s.n
		if k < len(s.groups) {
			to = s.groups[k].day
		}
		sum, days := 0.0, 0
		for d := from; d < to; d++ {
			if s.counted[d] {
				v := s.fit.resid[d] * s.root[d]
				sum += v * v
				days++
			}
		}
		sd := math.Sqrt(sum / math.Max(float64(days), 1))
		for d := from; d < to; d++ {
			out[d] = max(sd, 1e-9)
		}
		from = to
	}
	return out
}

// monthsWithoutEvents are the months' sums less what the events added.
func (s *site) monthsWithoutEvents() []monthUse {
	var out []monthUse
	for d := 0; d < s.n; d++ {
		y, m, day := s.cal.date(d).Date()
		if k := len(out); k == 0 || out[k-1].year != y || out[k-1].month != int(m) {
			out = append(out, monthUse{year: y, month: int(m), days: daysIn(y, int(m))})
		}
		_ = day
		if s.counted[d] && s.share[d] >= shareForSum {
			t := &out[len(out)-1]
			t.energy += s.kwh[d] - s.fit.eventDay[d]
			t.valid++
		}
	}
	return out
}

// change12m holds the last twelve months against the twelve before, in normal
// weather, everything counted.
func (s *site) change12m(r *Result) {
	if s.n < 730-30 {
		return
	}
	normalised := func(lo, hi int) (sum float64, days int) {
		for d := max(lo, 0); d < hi; d++ {
			if s.counted[d] {
				sum += s.kwh[d] + s.luck(d)
				days++
			} else {
				sum += s.expected(d) + s.luck(d)
			}
		}
		return sum / float64(hi-max(lo, 0)), days
	}
	now, daysNow := normalised(s.n-365, s.n)
	was, daysWas := normalised(s.n-730, s.n-365)
	if was <= 0 || daysNow < 300 || daysWas < 270 {
		return
	}
	r.Change12mPct = 100 * (now/was - 1)
	half := 100 * 1.645 * math.Sqrt2 * s.yearNoise() / 365 / was
	r.Change12mLow, r.Change12mHigh = r.Change12mPct-half, r.Change12mPct+half
}

// say writes the caveats.
func (s *site) say(r *Result) {
	add := func(code, format string, args ...any) {
		s.caveats = append(s.caveats, ingest.Caveat{Code: code, Says: fmt.Sprintf(format, args...)})
	}
	r.HeatingKWhPerKDay, r.CoolingKWhPerKDay = math.NaN(), math.NaN()
	if s.method == MethodDegreeDays {
		if s.hasHeat {
			r.HeatingKWhPerKDay = s.fit.heatSlope
		}
		if s.hasCool {
			r.CoolingKWhPerKDay = s.fit.coolSlope
		}
	}
	ss := 0.0
	for d, on := range s.counted {
		if on {
			ss += s.fit.resid[d] * s.fit.resid[d]
		}
	}
	r.FitCVRMSEPct = 100 * math.Sqrt(ss/float64(max(s.days-s.fit.params, 1))) / s.meanUse()
	switch s.method {
	case MethodSeason:
		add("weather_from_fleet", "No temperatures: the common seasonal signal of %d sites of the region stands in for them.", s.in.Season.Sites)
	case MethodCalendar:
		add("weather_unknown", "No temperatures and no signal of the fleet: only the household's own yearly wave is taken out, so a mild or harsh year is not.")
	}
	if s.isBlind() {
		add("events_blunt", "The readings span %d days without temperatures: a change of use is hardly told from the season, and only loads that stand out by the hour are reported.", s.span())
	}
	if r.FitCVRMSEPct > 60 {
		add("not_weather_explained", "The daily model misses by %.0f %% (CV(RMSE)): use is not explained by weather and weekday.", r.FitCVRMSEPct)
	}
	if gap := math.Abs(r.GrowthPctYr - r.MatchedPctYr); gap > 3 {
		add("growth_methods_disagree", "The daily model says %.1f %% a year, like months of two years say %.1f %%.", r.GrowthPctYr, r.MatchedPctYr)
	}
	if r.WindowPct < 90 {
		add("window_filled", "%.0f %% of the report year's hours were not measured and are filled from like hours.", 100-r.WindowPct)
	}
	if steps := s.residualSteps(); len(steps) > 0 && !s.onlyDaily() {
		add("steps_left", "The days still hold %d shifts of level that no event explains: growth and level are less sure than their intervals say.", len(steps))
	}
	if k := s.emptyAtEnd(); k > 0 {
		add("stands_empty", "The house has looked empty for the last %d days; the coming year is reckoned as if people come back.", k)
	}
	if r.AbsenceDays > 0 {
		add("absence", "%d days of long absence count for nothing.", r.AbsenceDays)
	}
	if s.onlyDaily() {
		add("hours_assumed", "Only sums of days or bills are known: a usual day's shape is assumed for the hours.")
	}
}
