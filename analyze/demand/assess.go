package demand

import (
	"fmt"
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
)

// level of the intervals: 90 %.
const level = 0.90

// Assess judges one household's consumption of electricity.
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
	if in.Options.Replicates == 0 {
		in.Options = Defaults()
	}
	h := read(&in)
	r := blank()
	r.Basis = h.name
	if h.days == nil || h.days.Count == 0 {
		r.Refusal, r.RefusalSays = RefusedNoData, "No meter and no bill gives the consumption."
		return r
	}
	r.Months = h.months()
	r.Coverage = coverageTrend(r.Months)
	if r.Days = h.days.Count; r.Days < fit.MinDaysForWeather {
		r.Refusal = RefusedTooShort
		r.RefusalSays = fmt.Sprintf("Only %d days of consumption are known; a year's consumption needs %d.", r.Days, fit.MinDaysForWeather)
		r.Events = h.eventsOfRates(h.rates())
		return r
	}
	work := &in.Scratch.work
	columns := fit.NewColumns(work, h.days, h.weather())
	story := change.Tell(work, h.days, columns, nil)
	rates := h.rates()
	if alone := unseen(rates, story.Groups, &story.Columns); len(alone) > 0 {
		story = change.Tell(work, h.days, columns, knownSteps(alone, &columns))
	}
	r.Explained = explained(&story)
	r.Events = eventsOf(&h, &story, rates)
	r.Growth = growthOf(&in, &story)
	r.Outlook = nextYear(&h, &story, &r.Growth, r.Events)
	r.Recent = recentOf(&story)
	r.AbsenceDays = absentDays(story.Days)
	r.CoveragePct = 100 * float64(story.Days.Count+r.AbsenceDays) / float64(story.Days.Span())
	r.Caveats = caveatsOf(&h, &story, &r)
	return r
}

// blank is a result in which nothing is known.
func blank() Result {
	nan := math.NaN()
	return Result{
		Outlook: Outlook{LevelKWhYr: nan, LevelLow: nan, LevelHigh: nan, NextYearKWh: nan, NextYearLow: nan, NextYearHigh: nan,
			NextYearRelSD: nan, FromEventsKWh: nan, FromTrendKWh: nan},
		Growth:    Growth{nan, nan, nan, nan, nan, nan, nan, nan, nan},
		Recent:    Recent{nan, nan, nan},
		Explained: Explained{HeatingBalanceC: nan, CoolingBalanceC: nan, HeatingKWhPerKDay: nan, CoolingKWhPerKDay: nan, FitCVRMSEPct: nan},
	}
}

// explained is what a story says of the weather.
func explained(s *change.Story) Explained {
	c, d := &s.Columns, s.Days
	r := Explained{Method: c.Method, HeatingBalanceC: c.Degree.HeatBalanceC, CoolingBalanceC: c.Degree.CoolBalanceC,
		HeatingKWhPerKDay: math.NaN(), CoolingKWhPerKDay: math.NaN()}
	if c.HasHeat {
		r.HeatingKWhPerKDay = s.Fit.HeatSlope
	}
	if c.HasCool {
		r.CoolingKWhPerKDay = s.Fit.CoolSlope
	}
	ss := 0.0
	for k, on := range d.Counted {
		if on {
			ss += float64(s.Fit.Resid[k] * s.Fit.Resid[k])
		}
	}
	r.FitCVRMSEPct = 100 * math.Sqrt(ss/float64(max(d.Count-s.Fit.Params, 1))) / d.MeanKWh()
	return r
}

func absentDays(d *fit.Days) int {
	k := 0
	for _, a := range d.Absent {
		if a {
			k++
		}
	}
	return k
}
