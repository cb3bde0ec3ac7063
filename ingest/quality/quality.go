// Package quality looks for what is wrong or doubtful with one site's hours:
// every finding has a code, a sentence with the figures that show it, and a
// consequence. Check changes no value; LeaveOut takes out what a finding says no
// meter can have seen.
//
// All rules stand in the table below; each has a function of its own.
package quality

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rowen/ingest"
)

// Site is what the checks may know of the site; all of it may be missing.
type Site struct {
	LatitudeDeg, LongitudeDeg float64 // NaN: checks by the sun are left out
	Location                  *time.Location
	RatedACWatts              float64 // 0: not known
	RatedDCWatts              float64 // 0: not known
}

// rules in the order in which their findings appear.
var rules = []struct {
	code string
	what string
	find func(*checker)
}{
	{"gap", "hours missing between a channel's first and last reading", (*checker).gaps},
	{"wrong_sign", "negative energies where there can be none", (*checker).signs},
	{"unit", "a level that only a wrong unit explains: kW for kWh, kWh for Wh", (*checker).units},
	{"impossible", "more production than the array's rating allows", (*checker).impossible},
	{"stuck", "the same value hour after hour", (*checker).stuck},
	{"dead", "exactly nothing for days", (*checker).dead},
	{"spike", "single hours far above all others", (*checker).spikes},
	{"clock_shifted", "production that is early or late against the sun", (*checker).clockShift},
	{"clock_changes", "production that jumps with summer time", (*checker).clockChanges},
	{"night_production", "production while the sun is down", (*checker).night},
	{"consumption_is_production", "a consumption channel that is the production meter", (*checker).isProduction},
	{"consumption_is_net", "a consumption channel that is the net meter", (*checker).isNet},
	{"import_export_swapped", "import by day and export by night", (*checker).swapped},
	{"balance", "production + import is not consumption + export", (*checker).balance},
	{"derived_negative", "production + import - export below nothing", (*checker).derivedNegative},
	{"daily_only", "only daily sums are known", (*checker).dailyOnly},
}

// Check gives the findings on a series.
//
// In:     a series as a Source loads it; not modified.
// Out:    findings in the order of the rules, channels in their order.
// Edges:  a channel that is missing, or all NaN, has none; where the place or
// the rating is not known the checks that need it are left out.
// Source: methods.md section 13 for the limits; what is our choice says so.
// Cost:   a few passes over the hours.
func Check(s *ingest.Series, site Site) []ingest.Quality {
	c := &checker{s: s, site: site}
	c.survey()
	for _, r := range rules {
		c.code = r.code
		r.find(c)
		if r.code == lastOfLevels {
			c.leaveOutFound()
		}
	}
	return c.found
}

// lastOfLevels is the last rule that says which hours no meter can have seen:
// the rules after it judge what is left.
const lastOfLevels = "spike"

// leaveOutFound goes on with a copy that lacks the hours found impossible.
func (c *checker) leaveOutFound() {
	if !slices.ContainsFunc(c.found, func(q ingest.Quality) bool { return q.Consequence == ingest.LeaveHoursOut }) {
		return
	}
	clean := *c.s
	clean.Fine = nil
	for _, q := range c.found {
		if q.Consequence == ingest.LeaveHoursOut {
			clean.Wh[q.Channel] = slices.Clone(clean.Wh[q.Channel])
		}
	}
	LeaveOut(&clean, c.found)
	c.s, c.level = &clean, [ingest.NumChannels]level{}
	c.survey()
}

// checker is one check of one series.
type checker struct {
	s     *ingest.Series
	site  Site
	code  string
	found []ingest.Quality
	level [ingest.NumChannels]level
	sun   *sunDays // nil: the place is not known
}

// level is what a channel's values are like.
type level struct {
	present     int
	first, last int // hours with a value
	max, sum    float64
	negative    int
	negativeSum float64
	distinct    int // of values, counted up to manyDistinct
}

// manyDistinct: a channel of so many different values is finely resolved.
const manyDistinct = 200

func (c *checker) survey() {
	for k, v := range c.s.Wh {
		l := &c.level[k]
		l.first = -1
		seen := map[float64]bool{}
		for h, x := range v {
			if x != x {
				continue
			}
			if l.first < 0 {
				l.first = h
			}
			l.last = h
			l.present++
			l.sum += x
			if x > l.max { // x is no NaN, which is all that math.Max would look for
				l.max = x
			}
			if x < 0 {
				l.negative++
				l.negativeSum += x
			}
			if len(seen) < manyDistinct {
				seen[x] = true
			}
		}
		l.distinct = len(seen)
	}
	if n := c.s.Len(); c.sun == nil && n > 0 && !math.IsNaN(c.site.LatitudeDeg) && !math.IsNaN(c.site.LongitudeDeg) && (c.site.LatitudeDeg != 0 || c.site.LongitudeDeg != 0) {
		c.sun = newSunDays(c.site.LatitudeDeg, c.site.LongitudeDeg, c.s.Start, n)
	}
}

// hourly tells whether hours mean hours: not where only daily sums are known.
func (c *checker) hourly() bool { return c.s.StepMinutes != 1440 }

// has tells whether a channel has at least n hours.
func (c *checker) has(k ingest.Channel, n int) bool { return c.level[k].present >= n }

// days14 is how many hours a pattern must be judged on: our choice.
const days14 = 14 * 24

// say records a finding; from and to are hours of the series.
func (c *checker) say(k ingest.Channel, consequence ingest.Consequence, from, to, hours int, format string, a ...any) {
	c.found = append(c.found, ingest.Quality{
		Code: c.code, Channel: k, Says: fmt.Sprintf(format, a...),
		From: c.s.Start + ingest.Hour(from), To: c.s.Start + ingest.Hour(to), Hours: hours, Consequence: consequence,
	})
}

// leaveOut says that hours above a limit are taken as missing.
func (c *checker) leaveOut(k ingest.Channel, aboveWh float64, from, to, hours int, format string, a ...any) {
	c.say(k, ingest.LeaveHoursOut, from, to, hours, format, a...)
	c.found[len(c.found)-1].AboveWh = aboveWh
}

// LeaveOut takes the hours that findings say no meter can have seen out of a
// series: they are missing from then on, with the finding to say so.
func LeaveOut(s *ingest.Series, found []ingest.Quality) {
	for _, q := range found {
		if q.Consequence != ingest.LeaveHoursOut {
			continue
		}
		for h, x := range s.Wh[q.Channel] {
			if x > q.AboveWh {
				s.Wh[q.Channel][h] = math.NaN()
				leaveOutFine(s, q.Channel, s.Start+ingest.Hour(h))
			}
		}
	}
}

// leaveOutFine takes the same hour out of the finer readings.
func leaveOutFine(s *ingest.Series, k ingest.Channel, hour ingest.Hour) {
	if s.Fine == nil || s.Fine.Wh[k] == nil {
		return
	}
	perHour := 60 / s.Fine.StepMinutes
	for i := range perHour {
		if at := int(hour-s.Fine.Start)*perHour + i; at >= 0 && at < len(s.Fine.Wh[k]) {
			s.Fine.Wh[k][at] = float32(math.NaN())
		}
	}
}

// date gives the UTC date of an hour of the series, for sentences.
func (c *checker) date(h int) string {
	return (c.s.Start + ingest.Hour(h)).Time().Format(time.DateOnly)
}

// Rule is one rule for people to read.
type Rule struct{ Code, What string }

// Rules lists the rules in their order.
func Rules() []Rule {
	list := make([]Rule, len(rules))
	for i, r := range rules {
		list[i] = Rule{r.code, r.what}
	}
	return list
}
