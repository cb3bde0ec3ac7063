package rates

import (
	"fmt"
	"slices"
	"strings"
)

// schedule is a period for every month and hour, on weekdays and at weekends.
type schedule struct {
	weekday, weekend [12][24]int
}

// scheduleOf checks the shape of two grids and that they name periods that are
// there.
func scheduleOf(field string, weekday, weekend [][]int, periods int, p *problems) (s schedule) {
	for _, half := range []struct {
		name string
		grid [][]int
		into *[12][24]int
	}{{field + "weekdayschedule", weekday, &s.weekday}, {field + "weekendschedule", weekend, &s.weekend}} {
		if len(half.grid) != 12 {
			p.add(half.name, fmt.Sprintf("of %d months", len(half.grid)), "must have 12", "give a row of 24 period numbers for each month, January first")
			continue
		}
		for m, row := range half.grid {
			if len(row) != 24 {
				p.add(fmt.Sprintf("%s[%d]", half.name, m), fmt.Sprintf("of %d hours", len(row)), "must have 24", "give a period number for each hour from midnight on")
				continue
			}
			for h, v := range row {
				if v < 0 || v >= periods {
					p.add(fmt.Sprintf("%s[%d][%d]", half.name, m, h), fmt.Sprint(v), fmt.Sprintf("names a period without a rate (there are %d, counted from 0)", periods), "add the period's rate or mend the schedule")
					return s
				}
				half.into[m][h] = v
			}
		}
	}
	return s
}

// span is when a period holds, as an entry of tariffs.yaml says it.
type span struct {
	period int
	months []int  // nil: all
	days   string // "": all
	hours  string // "": all
}

// spans turns the grid into the fewest plain entries: a period's months with the
// same hours are one. With base, the period that covers most comes last and
// without conditions, since the first match wins.
func (s *schedule) spans(base bool) []span {
	cells, periods := map[int]int{}, []int{}
	for _, grid := range []*[12][24]int{&s.weekday, &s.weekend} {
		for m := range grid {
			for _, v := range grid[m] {
				if cells[v] == 0 {
					periods = append(periods, v)
				}
				cells[v]++
			}
		}
	}
	slices.Sort(periods)
	widest := periods[0]
	for _, v := range periods {
		if cells[v] > cells[widest] {
			widest = v
		}
	}
	var out []span
	for _, v := range periods {
		if !base || v != widest {
			out = append(out, s.of(v)...)
		}
	}
	if base {
		out = append(out, span{period: widest})
	}
	return out
}

// of gives one period's entries.
func (s *schedule) of(period int) (out []span) {
	add := func(month int, days, hours string) {
		if hours == "" {
			return
		}
		if at := slices.IndexFunc(out, func(o span) bool { return o.days == days && o.hours == hours }); at >= 0 {
			out[at].months = append(out[at].months, month)
			return
		}
		out = append(out, span{period: period, months: []int{month}, days: days, hours: hours})
	}
	for m := range 12 {
		week, end := hoursOf(s.weekday[m], period), hoursOf(s.weekend[m], period)
		if week == end {
			add(m+1, "", week)
			continue
		}
		add(m+1, "weekday", week)
		add(m+1, "weekend", end)
	}
	for i := range out {
		if len(out[i].months) == 12 {
			out[i].months = nil
		}
		if out[i].hours == "0-24" {
			out[i].hours = ""
		}
	}
	return out
}

// hoursOf writes the hours of a row that belong to a period: "0-6,21-24".
func hoursOf(row [24]int, period int) string {
	var parts []string
	for h := 0; h < 24; h++ {
		if row[h] != period {
			continue
		}
		from := h
		for h < 24 && row[h] == period {
			h++
		}
		parts = append(parts, fmt.Sprintf("%d-%d", from, h))
	}
	return strings.Join(parts, ",")
}
