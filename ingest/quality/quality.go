// Package quality looks for what is wrong or doubtful with one site's hours:
// every finding has a code, a sentence with the figures that show it, and a
// consequence. Check changes no value; Apply takes out what a finding says no
// meter can have seen, and writes the zeros that a sleeping inverter did not.
//
// All rules stand in the table below; each has a function of its own.
package quality

import (
	"fmt"
	"math"
	"slices"
	"sync"
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
	{"channels_swapped", "days on which the production and the consumption meter are exchanged", exchanged},
	{"night_rows_missing", "an export of production without rows while the sun is down", nightRows},
	{"gap", "hours missing between a channel's first and last reading", gaps},
	{"wrong_sign", "negative energies where there can be none", signs},
	{"unit", "a level that only a wrong unit explains: kW for kWh, kWh for Wh", units},
	{"impossible", "more production than the array's rating allows", impossible},
	{"stuck", "the same value over and over while the day goes on", stuck},
	{"interpolated", "values on a straight line, as filled in between two readings", interpolated},
	{"lump_beside_gap", "the energy of a gap in the hour after it, or before it", lumps},
	{"dead", "exactly nothing for days", dead},
	{"spike", "single hours far above all others", spikes},
	{"clock_shifted", "production that is early or late against the sun", clockShift},
	{"clock_changes", "production that jumps with summer time", clockChanges},
	{"night_production", "production while the sun is down", night},
	{"consumption_is_production", "a consumption channel that is the production meter", isProduction},
	{"consumption_is_net", "a consumption channel that is the net meter", isNet},
	{"consumption_is_import", "a consumption channel that stops at zero while the array exports", isImport},
	{"consumption_near_zero", "days on end of next to no consumption", nearZero},
	{"consumption_zero", "hours of exactly no consumption", zeroHours},
	{"import_export_swapped", "import by day and export by night", swapped},
	{"balance", "production + import is not consumption + export", balance},
	{"derived_negative", "production + import - export below nothing", derivedNegative},
	{"daily_only", "only daily sums are known", dailyOnly},
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
	c := &checker{s: s, site: site, slot: slotsPool.Get().(*[ingest.NumChannels][]float64)}
	defer slotsPool.Put(c.slot)
	c.survey()
	for _, r := range rules {
		c.code = r.code
		before := len(c.found)
		r.find(c)
		c.goOnWithout(c.found[before:])
	}
	return c.found
}

// goOnWithout applies findings to a copy: the rules after them judge what is
// left.
func (c *checker) goOnWithout(found []ingest.Quality) {
	changed := [ingest.NumChannels]bool{}
	for _, q := range found {
		if len(q.Spans) > 0 {
			changed[q.Channel] = true
			changed[ingest.Consumption] = changed[ingest.Consumption] || q.Consequence == ingest.ExchangeChannels
		}
	}
	if changed == [ingest.NumChannels]bool{} {
		return
	}
	left := *c.s
	if left.Fine != nil {
		fine := *left.Fine
		left.Fine = &fine
	}
	for k, is := range changed {
		if is {
			left.Wh[k] = slices.Clone(left.Wh[k])
			if left.Fine != nil {
				left.Fine.Wh[k] = slices.Clone(left.Fine.Wh[k])
			}
		}
	}
	Apply(&left, found)
	c.s = &left
	for k, is := range changed {
		if is {
			c.level[k] = level{}
			c.surveyChannel(k)
		}
	}
	c.middles = nil
}

// checker is one check of one series.
type checker struct {
	s     *ingest.Series
	site  Site
	code  string
	found []ingest.Quality
	level [ingest.NumChannels]level
	sun   *sunDays // nil: the place is not known

	slot    *[ingest.NumChannels][]float64 // see slots; level says which are filled
	middles *dayMiddles                    // see checker.dayMiddles; nil: not worked out yet
}

// slotsPool keeps the finer readings' memory from site to site.
var slotsPool = sync.Pool{New: func() any { return &[ingest.NumChannels][]float64{} }}

// level is what a channel's values are like.
type level struct {
	present     int
	first, last int // hours with a value
	max, sum    float64
	negative    int
	negativeSum float64
	sorted      []float64 // see checker.sorted
	quantum     float64   // see checker.roundedTo; 0: not asked yet
	largest     float64   // of the slots, whatever the sign; with quantum
	slots       bool      // see checker.slots: they are filled
}

func (c *checker) survey() {
	for k := range c.s.Wh {
		c.surveyChannel(k)
	}
	if n := c.s.Len(); n > 0 && !math.IsNaN(c.site.LatitudeDeg) && !math.IsNaN(c.site.LongitudeDeg) && (c.site.LatitudeDeg != 0 || c.site.LongitudeDeg != 0) {
		c.sun = newSunDays(c.site.LatitudeDeg, c.site.LongitudeDeg, c.s.Start, n)
	}
}

func (c *checker) surveyChannel(k int) {
	l := &c.level[k]
	l.first = -1
	for h, x := range c.s.Wh[k] {
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
	}
}

// hourly tells whether hours mean hours: not where only daily sums are known.
func (c *checker) hourly() bool { return c.s.StepMinutes != 1440 }

// has tells whether a channel has at least n hours.
func (c *checker) has(k ingest.Channel, n int) bool { return c.level[k].present >= n }

// days14 is how many hours a pattern must be judged on: our choice.
const days14 = 14 * 24

// part is what a finding concerns: from one hour of the series to another, and how
// many hours of these.
type part struct{ from, to, hours int }

// say records a finding.
func (c *checker) say(k ingest.Channel, consequence ingest.Consequence, at part, format string, a ...any) {
	c.found = append(c.found, ingest.Quality{
		Code: c.code, Channel: k, Says: fmt.Sprintf(format, a...),
		From: c.s.Start + ingest.Hour(at.from), To: c.s.Start + ingest.Hour(at.to), Hours: at.hours, Consequence: consequence,
	})
}

// leaveOut says that hours are taken as missing.
func (c *checker) leaveOut(k ingest.Channel, hours []int, format string, a ...any) {
	c.change(k, ingest.LeaveHoursOut, hours, format, a...)
}

// change says what is done to hours, which are in ascending order.
func (c *checker) change(k ingest.Channel, consequence ingest.Consequence, hours []int, format string, a ...any) {
	c.say(k, consequence, part{hours[0], hours[len(hours)-1] + 1, len(hours)}, format, a...)
	c.found[len(c.found)-1].Spans = c.spans(hours)
}

// spans joins hours in ascending order to runs.
func (c *checker) spans(hours []int) []ingest.Span {
	var spans []ingest.Span
	for _, h := range hours {
		at := c.s.Start + ingest.Hour(h)
		if n := len(spans); n > 0 && spans[n-1].To == at {
			spans[n-1].To++
		} else {
			spans = append(spans, ingest.Span{From: at, To: at + 1})
		}
	}
	return spans
}

// Apply does to a series what the findings say: hours that no meter can have
// seen are missing from then on, and what an export leaves out while the sun is
// down is nothing.
func Apply(s *ingest.Series, found []ingest.Quality) {
	for _, q := range found {
		for _, span := range q.Spans {
			for h := span.From; h < span.To; h++ {
				switch q.Consequence {
				case ingest.LeaveHoursOut:
					leaveOut(s, q.Channel, h)
				case ingest.CountAsZero:
					countAsZero(s, q.Channel, h)
				case ingest.ExchangeChannels:
					exchange(s, h)
				}
			}
		}
	}
}

func leaveOut(s *ingest.Series, k ingest.Channel, hour ingest.Hour) {
	s.Wh[k][hour-s.Start] = math.NaN()
	fine := fineHour(s, k, hour)
	for i := range fine {
		fine[i] = float32(math.NaN())
	}
}

// exchange reads production and consumption the other way round for an hour.
func exchange(s *ingest.Series, hour ingest.Hour) {
	made, use := s.Wh[ingest.Production], s.Wh[ingest.Consumption]
	at := hour - s.Start
	made[at], use[at] = use[at], made[at]
	fineMade, fineUse := fineHour(s, ingest.Production, hour), fineHour(s, ingest.Consumption, hour)
	for i := range min(len(fineMade), len(fineUse)) {
		fineMade[i], fineUse[i] = fineUse[i], fineMade[i]
	}
}

// countAsZero fills what is missing of an hour with nothing.
func countAsZero(s *ingest.Series, k ingest.Channel, hour ingest.Hour) {
	if x := s.Wh[k][hour-s.Start]; x == x {
		return
	}
	sum := 0.0
	fine := fineHour(s, k, hour)
	for i, x := range fine {
		if x != x {
			fine[i] = 0
		}
		sum += float64(fine[i])
	}
	s.Wh[k][hour-s.Start] = sum
}

// fineHour gives the finer readings of an hour; nil: none are known.
func fineHour(s *ingest.Series, k ingest.Channel, hour ingest.Hour) []float32 {
	if s.Fine == nil || s.Fine.Wh[k] == nil {
		return nil
	}
	perHour := 60 / s.Fine.StepMinutes
	at := int(hour-s.Fine.Start) * perHour
	if at < 0 || at+perHour > len(s.Fine.Wh[k]) {
		return nil
	}
	return s.Fine.Wh[k][at : at+perHour]
}

// date gives the UTC date of an hour of the series, for sentences.
func (c *checker) date(h int) string {
	return (c.s.Start + ingest.Hour(h)).Time().Format(time.DateOnly)
}

// Rule is a rule's code and what it looks for.
type Rule struct{ Code, What string }

// Rules lists the rules in the order in which their findings appear.
func Rules() []Rule {
	out := make([]Rule, len(rules))
	for i, r := range rules {
		out[i] = Rule{r.code, r.what}
	}
	return out
}
