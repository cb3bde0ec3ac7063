package demand

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/ingest"
)

// caveatsOf are the doubts about a household's result.
func caveatsOf(h *household, s *change.Story, r *Result) []ingest.Caveat {
	out := slices.Clone(h.caveats)
	add := func(code, format string, args ...any) {
		out = append(out, ingest.Caveat{Code: code, Says: fmt.Sprintf(format, args...)})
	}
	if math.IsNaN(r.GrowthPctYr) {
		add("growth_unknown", "The readings span %d days; a growth needs %d.", s.Days.Span(), s.Columns.MinDriftDays())
	}
	if c := &s.Columns; c.WeatherR < fit.LeastR {
		add("weather_refused", "The station's temperatures do not follow the days of the fleet here (correlation of daily anomalies %.2f, at least %.1f is needed): they are not used.", c.WeatherR, fit.LeastR)
	}
	switch s.Columns.Method {
	case MethodDegreeDays:
		if days, of := measured(s); 10*days < 9*of {
			add("weather_part", "Temperatures are known for %d of %d days; the others are given the season's usual weather.", days, of)
		}
	case MethodSeason:
		add("weather_from_fleet", "No temperatures: the common seasonal signal of %d sites of the region is used instead.", h.in.Season.Sites)
	case MethodCalendar:
		add("weather_unknown", "No temperatures and no signal of the fleet: only the household's own yearly wave is taken out, so a mild or harsh year is not.")
	}
	if change.IsBlind(&s.Columns, s.Days) {
		add("events_blunt", "The readings span %d days without temperatures: a change of consumption cannot be separated from seasonality, and only loads that stand out by the hour are reported.", s.Days.Span())
	}
	if r.FitCVRMSEPct > 60 {
		add("not_weather_explained", "The daily model misses by %.0f %% (CV(RMSE)): weather and weekday do not explain the consumption.", r.FitCVRMSEPct)
	}
	if gap := math.Abs(r.GrowthPctYr - r.MatchedPctYr); gap > 3 {
		add("growth_methods_disagree", "The daily model gives %.1f %% a year; the same months of two years compared give %.1f %%.", r.GrowthPctYr, r.MatchedPctYr)
	}
	if r.WindowPct < 90 {
		add("window_filled", "%.0f %% of the report year's hours were not measured and are filled from like hours.", 100-r.WindowPct)
	}
	if steps := s.Unexplained(); len(steps) > 0 && !h.onlyDaily() {
		add("steps_left", "The days still hold %d unexplained level shifts: growth and level are less sure than their intervals say.", len(steps))
	}
	if k := emptyAtEnd(s.Days); k > 0 {
		add("stands_empty", "The house has looked empty for the last %d days; the coming year is calculated as if people come back.", k)
	}
	if r.AbsenceDays > 0 {
		add("absence", "%d days of long absence are excluded from the level.", r.AbsenceDays)
	}
	if h.onlyDaily() {
		add("hours_assumed", "Only sums of days or bills are known: a usual day's shape is assumed for the hours.")
	}
	return out
}

// emptyAtEnd is how many days of absence the readings end with.
func emptyAtEnd(d *fit.Days) int {
	k := 0
	for i := d.N() - 1; i >= 0 && (d.Absent[i] || (!d.Counted[i] && math.IsNaN(d.KWh[i]))); i-- {
		if d.Absent[i] {
			k++
		}
	}
	return k
}

// measured is how many of the days that count have a temperature.
func measured(s *change.Story) (days, of int) {
	for k, on := range s.Days.Counted {
		if on {
			of++
			if s.Columns.Measured[k] {
				days++
			}
		}
	}
	return days, of
}
