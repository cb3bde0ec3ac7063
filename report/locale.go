package report

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"rowen/analyze/rank"
	"rowen/ingest/samebits"
	"rowen/report/page"
)

// words is how the fleet's people write dates, clock times and money.
type words struct {
	locale   string // en-US, en-GB, ...
	currency string
}

// Locales lists those that the settings may name.
var Locales = []string{"en-US", "en-GB", "en-AU", "en-CA", "en-IE", "en-IN", "en-NZ", "en-ZA"}

// monthFirst and halfDays are where a date begins with the month, and where a
// clock has twelve hours.
var (
	monthFirst = map[string]bool{"en-US": true, "en-CA": true, "": true}
	halfDays   = map[string]bool{"en-US": true, "en-CA": true, "en-AU": true, "en-NZ": true, "en-IN": true, "": true}
)

var currencySigns = map[string]string{"USD": "$", "AUD": "$", "CAD": "$", "NZD": "$", "GBP": "£", "EUR": "€", "INR": "₹", "ZAR": "R"}

// date is a day: March 4, 2026 or 4 March 2026.
func (w words) date(t time.Time) string {
	if monthFirst[w.locale] {
		return t.Format("January 2, 2006")
	}
	return t.Format("2 January 2006")
}

// month is a month: March 2026.
func (w words) month(t time.Time) string { return t.Format("January 2006") }

// clock is a full hour: 6 pm or 18:00.
func (w words) clock(hour int) string {
	hour = ((hour % 24) + 24) % 24
	if !halfDays[w.locale] {
		return time.Date(2000, 1, 1, hour, 0, 0, 0, time.UTC).Format("15:04")
	}
	switch hour {
	case 0:
		return "midnight"
	case 12:
		return "noon"
	}
	return time.Date(2000, 1, 1, hour, 0, 0, 0, time.UTC).Format("3 pm")
}

var (
	isoDay    = regexp.MustCompile(`\b20\d\d-\d\d-\d\d\b`)
	hourSpans = regexp.MustCompile(`\b(\d{1,2}) and (\d{1,2}) o'clock`)
)

// plain writes the days and hours of a sentence as the fleet's people do.
func (w words) plain(s string) string {
	s = isoDay.ReplaceAllStringFunc(s, func(day string) string {
		if t, err := time.Parse(time.DateOnly, day); err == nil {
			return w.date(t)
		}
		return day
	})
	return hourSpans.ReplaceAllStringFunc(s, func(span string) string {
		hours := hourSpans.FindStringSubmatch(span)
		from, _ := strconv.Atoi(hours[1])
		to, _ := strconv.Atoi(hours[2])
		return w.clock(from) + " and " + w.clock(to)
	})
}

// reasons are a verdict's reasons in sentences, written for the fleet's people.
func (w words) reasons(rs []rank.Reason) []string {
	out := sentences(rs)
	for i := range out {
		out[i] = w.plain(out[i])
	}
	return out
}

// money is an amount without cents: $1,240, or SEK 1,240 for want of a sign.
func (w words) money(x float64) string {
	sign := ""
	if x < 0 {
		sign = "−"
	}
	mark, ok := currencySigns[w.currency]
	if !ok {
		mark = w.currency + " "
	}
	return sign + mark + page.Grouped(math.Abs(x))
}

// spoken rounds a number and its interval as a person says them: to two digits,
// or to a half of the second where the first is small; the ends outwards, so that
// the range that is said holds the one that was found.
func spoken(v, low, high float64) (float64, float64, float64) {
	size := samebits.Pow(10, math.Floor(math.Log10(math.Max(math.Abs(v), 1))))
	step := size / 10
	if math.Abs(v) < 3*size {
		step /= 2
	}
	step = math.Max(step, 1)
	return step * math.Round(v/step), step * math.Floor(low/step), step * math.Ceil(high/step)
}

// span is a number with its range as a person says it: about 3,100 kWh (2,600
// to 3,700).
func (w words) span(v, low, high float64, say func(float64) string) string {
	v, low, high = spoken(v, low, high)
	if math.IsNaN(low) || math.IsNaN(high) {
		return "about " + say(v)
	}
	return "about " + say(v) + " (" + strings.TrimSuffix(say(low), " kWh") + " to " + strings.TrimSuffix(say(high), " kWh") + ")"
}

func kWh(x float64) string { return page.Grouped(x) + " kWh" }
