package page

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

var functions = template.FuncMap{
	"css":      func() template.CSS { return template.CSS(styles) },
	"list":     func() template.CSS { return template.CSS(list) },
	"sheet":    func() template.CSS { return template.CSS(sheet) },
	"visit":    func() template.CSS { return template.CSS(visit) },
	"who":      shortWho,
	"breaks":   breaks,
	"js":       func() template.JS { return template.JS(script) },
	"policy":   func() string { return policy },
	"cautions": func() []string { return Cautions },
	"whole":    whole,
	"span":     span,
	"years":    years,
	"two":      func(x float64) string { return decimals(x, 2) },
	"one":      func(x float64) string { return decimals(x, 1) },
	"percent":  func(x float64) float64 { return 100 * min(max(x, 0), 1) },
	"ranged":   func(i Interval) bool { return i.known() },
	"pct":      func(x float64) string { return strconv.Itoa(int(math.Round(100*x))) + " %" },
	"stays":    stays,
	"wide":     func(low, high float64) string { return strconv.FormatFloat(max(high-low, 1), 'f', 1, 64) },
	"known":    func(x float64) bool { return !math.IsNaN(x) },
	"lane":     laneName,
	"means":    laneMeans,
	"number":   func(n int) string { return whole(float64(n)) },
	"pad":      func(n int) string { return fmt.Sprintf("%02d", n) },
	"inner":    func(item string) bool { return strings.HasPrefix(item, "- ") }, // a part of the sentence above
	"outer":    func(item string) string { return strings.TrimPrefix(item, "- ") },
	"plural":   plural,
	"share":    share,
	"short":    func(s string) string { return s[:min(len(s), 12)] },
	"join":     join,
}

var laneWords = map[string][2]string{
	"call":           {"Call", "More modules pay, and nothing stands in the way."},
	"prepare":        {"Prepare", "Worth it, but something is found out or done first: a measurement, software, panelboard work, a new permission."},
	"repair":         {"Repair", "The array makes clearly less than it should: repair it before anything is sold."},
	"watch":          {"Watch", "Consumption is growing but not there yet, or the answer is still too uncertain."},
	"no_gain":        {"No gain", "More modules would not pay."},
	"blocked":        {"Blocked", "No roof is left, the equipment may not be mixed, or a call found the site not suitable."},
	"no_data":        {"No data", "Too little is known to judge."},
	"do_not_contact": {"Do not contact", "Asked not to be called, or called too recently: sold, declined or no answer."},
}

func laneName(code string) string {
	if w, ok := laneWords[code]; ok {
		return w[0]
	}
	return code
}

func laneMeans(code string) string { return laneWords[code][1] }

// whole prints a number without decimals, thousands apart: 12,340.
func whole(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "not known"
	}
	return Grouped(x)
}

// Grouped is a whole number with its thousands apart: 12,340.
func Grouped(x float64) string {
	s := strconv.FormatFloat(math.Abs(math.Round(x)), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if math.Round(x) < 0 {
		s = "−" + s
	}
	return s
}

// span prints an interval: 5,200 to 9,100.
func span(i Interval) string {
	if math.IsNaN(i.Low) || math.IsNaN(i.High) {
		return "range not known"
	}
	return whole(i.Low) + " to " + whole(i.High)
}

func years(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "never"
	}
	return strconv.FormatFloat(x, 'f', 1, 64) + " years"
}

func decimals(x float64, n int) string {
	if math.IsNaN(x) {
		return "not known"
	}
	return strconv.FormatFloat(x, 'f', n, 64)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return whole(float64(n)) + " " + many
}

// share is a part in per cent, as a person says it.
func share(part, all int) string {
	if all == 0 {
		return ""
	}
	pct := 100 * float64(part) / float64(all)
	if part > 0 && pct < 1 {
		return "under 1 %"
	}
	return strconv.FormatFloat(pct, 'f', 0, 64) + " %"
}

// scale is the common width of the bars of a list.
type scale struct{ low, high float64 }

func (s *scale) take(i Interval) {
	for _, x := range []float64{i.Value, i.Low, i.High, 0} {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			s.low, s.high = min(s.low, x), max(s.high, x)
		}
	}
}

// barWidth is the drawing's width in its own units.
const barWidth = 120

// At is the place of a value on the bar.
func (s scale) At(x float64) string {
	if s.high <= s.low || math.IsNaN(x) || math.IsInf(x, 0) {
		return "0"
	}
	return strconv.FormatFloat(2+(barWidth-4)*(x-s.low)/(s.high-s.low), 'f', 1, 64)
}

// Wide is the length between two values on the bar.
func (s scale) Wide(from, to float64) string {
	if s.high <= s.low || math.IsNaN(to-from) || math.IsInf(to-from, 0) {
		return "0"
	}
	return strconv.FormatFloat(max((barWidth-4)*(to-from)/(s.high-s.low), 0), 'f', 1, 64)
}

// join puts words into a sentence's list: a, b and c.
func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
