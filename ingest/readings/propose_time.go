package readings

import (
	"regexp"
	"slices"
	"strings"
	"time"
)

// stampFormats are tried in this order.
var stampFormats = []string{
	"rfc3339",
	"2006-01-02 15:04:05", "2006-01-02 15:04", "2006/01/02 15:04:05", "2006/01/02 15:04", "2006/01/02", "2006.01.02 15:04",
	"02.01.2006 15:04:05", "02.01.2006 15:04", "2.1.2006 15:04", "02.01.2006", "2.1.2006",
	"02/01/2006 15:04:05", "02/01/2006 15:04", "2/1/2006 15:04", "02/01/2006", "2/1/2006",
	"01/02/2006 15:04:05", "01/02/2006 15:04", "1/2/2006 15:04", "1/2/2006 3:04 PM", "1/2/2006 3:04:05 PM", "01/02/2006", "1/2/2006",
	"02-01-2006 15:04:05", "02-01-2006 15:04", "02-01-2006", "02-Jan-2006 15:04", "02-Jan-2006", "2 Jan 2006 15:04", "2 Jan 2006",
}

var (
	stampLike   = regexp.MustCompile(`^("?\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{4}|\d{1,2}[- ][A-Za-z]{3}[- ]\d{4}|\d{4}-W?\d{2,3})`)
	epochLike   = regexp.MustCompile(`^1\d{9}(\d{3})?$`)
	fromTo      = regexp.MustCompile(`^(.+?)( (?:to|until|bis|tot|au|a|-|–) )(.+)$`)
	abbreviated = regexp.MustCompile(`^(\d{4}-\d\d-\d\d[ T]\d\d:\d\d(?::\d\d)?) ?[A-Z]{2,5}([+-]\d\d:?\d\d)$`)
)

// looksStamped tells whether a cell may be a stamp or a date.
func looksStamped(cell string) bool {
	cell = strings.TrimSpace(cell)
	return stampLike.MatchString(cell) || epochLike.MatchString(cell)
}

// stamps is what a column, or a date and a time of day, reads as.
type stamps struct {
	column, clock int // clock -1: the column holds both
	format        string
	pattern       string
	unsure        bool // the day or the month may stand first
	dates         bool // no time of day: daily rows
	civil         bool
	texts         []string // as they are parsed
}

// proposeTime finds the columns of the stamps: the ones that a format reads
// throughout, a telling name first.
func (s *sample) proposeTime() (stamps, bool) {
	order := make([]int, len(s.header))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return timeNameRank(s.header[a]) - timeNameRank(s.header[b]) })
	var dates, civil stamps
	for _, i := range order {
		st, ok := s.stampColumn(i)
		if !ok {
			continue
		}
		if !st.dates && st.civil { // stamps on UTC are better, where there are both
			if civil.texts == nil {
				civil = st
			}
			continue
		}
		if !st.dates && !saysEnd(s.header[i]) {
			return st, true
		}
		if !st.dates {
			continue
		}
		for j := range s.header {
			if c := s.column(j); j != i && len(c) == len(s.rows) && all(c, timeOfDay) && (dates.texts == nil || sameSide(s.header[i], s.header[j])) {
				if both, ok := s.joined(i, j); ok {
					return both, true
				}
			}
		}
		if dates.texts == nil {
			dates = st
		}
	}
	if civil.texts != nil {
		return civil, true
	}
	return dates, dates.texts != nil
}

// sameSide tells whether two names speak of the same end of an interval.
func sameSide(a, b string) bool { return saysEnd(a) == saysEnd(b) }

func (s *sample) joined(date, clock int) (stamps, bool) {
	var texts []string
	for _, r := range s.rows {
		texts = append(texts, cellAt(r, date)+" "+cellAt(r, clock))
	}
	st, ok := readAs(texts)
	st.column, st.clock = date, clock
	return st, ok
}

// stampColumn reads one column as stamps: as they stand, as the first of a pair
// ("… to …"), or without a zone's letters before the offset.
func (s *sample) stampColumn(i int) (stamps, bool) {
	cells := s.column(i)
	if len(cells) < max(1, len(s.rows)*9/10) {
		return stamps{}, false
	}
	if !all(cells, looksStamped) {
		return stamps{}, false
	}
	pattern := ""
	if m := fromTo.FindStringSubmatch(cells[0]); m != nil && looksStamped(m[3]) {
		pattern = "^(.+?)" + m[2]
	} else if abbreviated.MatchString(cells[0]) {
		pattern = abbreviated.String()
	}
	if pattern != "" {
		re := regexp.MustCompile(pattern)
		for k, c := range cells {
			m := re.FindStringSubmatch(c)
			if m == nil {
				return stamps{}, false
			}
			cells[k] = strings.Join(m[1:], "")
		}
	}
	st, ok := readAs(cells)
	st.column, st.clock, st.pattern = i, -1, pattern
	return st, ok
}

// readAs finds the format that reads every text.
func readAs(texts []string) (stamps, bool) {
	st := stamps{texts: texts, clock: -1}
	if all(texts, epochLike.MatchString) {
		st.format = "unix"
		if len(texts[0]) > 10 {
			st.format = "unix_ms"
		}
		return st, true
	}
	var fit []string
	for _, f := range stampFormats {
		c := newClock(Time{Format: f, Zone: "site"})
		if all(texts, func(v string) bool { _, _, reason := c.parse([]byte(v)); return reason == "" }) {
			fit = append(fit, f)
		}
	}
	if len(fit) == 0 {
		return st, false
	}
	first := func(prefixes ...string) bool {
		return slices.ContainsFunc(fit, func(f string) bool {
			return slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(f, p) })
		})
	}
	st.format = fit[0]
	st.unsure = first("02/01", "2/1") && first("01/02", "1/2")
	if st.unsure { // daily rows in order tell: the part that moves from row to row is the day
		if order := dayOrder(texts); order != "" {
			st.unsure = false
			i := slices.IndexFunc(fit, func(f string) bool { return strings.HasPrefix(f, order) || strings.HasPrefix(f, "0"+order[:1]) })
			if i >= 0 {
				st.format = fit[i]
			}
		}
	}
	c := newClock(Time{Format: st.format, Zone: "site"})
	_, st.civil, _ = c.parse([]byte(texts[0]))
	st.dates = !strings.Contains(strings.Join(texts[:min(len(texts), 50)], " "), ":")
	return st, true
}

// dayOrder tells which of a/b/yyyy is the day by the days between rows: read
// the right way, rows follow each other by a day or less; "" where both do.
func dayOrder(texts []string) string {
	longest := func(layout string) time.Duration {
		var worst time.Duration
		last := time.Time{}
		for _, t := range texts {
			date, _, _ := strings.Cut(t, " ")
			at, err := time.Parse(layout, date)
			if err != nil {
				return 1 << 62
			}
			if d := at.Sub(last).Abs(); !last.IsZero() && d > worst {
				worst = d
			}
			last = at
		}
		return worst
	}
	day, month := longest("2/1/2006"), longest("1/2/2006")
	const twoDays = 48 * time.Hour
	switch {
	case day > 0 && day <= twoDays && month > 20*24*time.Hour:
		return "2/1"
	case month > 0 && month <= twoDays && day > 20*24*time.Hour:
		return "1/2"
	}
	return ""
}

func timeNameRank(name string) int {
	n := strings.ToLower(name)
	if saysEnd(name) {
		return 8
	}
	for i, w := range []string{"utc", "start", "from", "van", "timestamp", "time", "date"} {
		if strings.Contains(n, w) {
			return i
		}
	}
	return 7
}

var endNamed = vocabulary{words: []string{"end", "to", "until", "tot", "bis", "ende", "fin", "fine", "al", "au"}}

// saysEnd tells whether a column's name speaks of an interval's end.
func saysEnd(name string) bool { return endNamed.in(name) }

// timeOfDay tells whether a text is a time of day and no more.
func timeOfDay(f string) bool {
	s := isoText{[]byte(strings.TrimSpace(f))}
	_, ok := s.timeOfDay()
	return ok && strings.Contains(f, ":") && len(s.rest) == 0
}

// stepOf is the commonest time between two stamps of different value, seconds;
// 0 where there are fewer than two.
func (st stamps) stepOf() int64 {
	c := newClock(Time{Format: st.format, Zone: "site"})
	count := map[int64]int{}
	last, best := int64(-1), int64(0)
	for _, text := range st.texts {
		t, _, reason := c.parse([]byte(text))
		if reason != "" {
			continue
		}
		if d := max(t-last, last-t); last >= 0 && d > 0 {
			count[d]++
			if count[d] > count[best] || count[d] == count[best] && d < best {
				best = d
			}
		}
		last = t
	}
	return best
}

// endsIntervals tells from the stamps that they mark ends: an hour 24, or a file
// whose first row of the day is one step past midnight.
func (st stamps) endsIntervals() bool {
	if slices.ContainsFunc(st.texts, func(f string) bool { return strings.Contains(f, "24:00") }) {
		return true
	}
	step := st.stepOf()
	if st.dates || step <= 0 || step > 3600 {
		return false
	}
	c := newClock(Time{Format: st.format, Zone: "site"})
	first, _, _ := c.parse([]byte(st.texts[0]))
	return st.civil && floorMod(first, 86400) == step
}
