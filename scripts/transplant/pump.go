package main

import (
	"fmt"
	"io"
	"math"
)

// pumpTable sets a real heat pump's counter, by hour, into the hourly homes with
// at least a year, from half of their days on.
func pumpTable(w io.Writer, data string, homes []*home, seed uint64, judge judgeFunc, verbose bool) error {
	stamps, kwh, err := konstanzCounters(data, "heat_pump")
	if err != nil {
		return err
	}
	pump := put("pump", 60, stamps, kwh)
	var with []*home
	var on []int
	for _, h := range homes {
		if h.step != 60 || h.days() < 365 || h.net {
			continue
		}
		c := h.cut(0, h.days())
		arrive := h.days() / 2
		for i := arrive * 24; i < len(c.kwh); i++ {
			if v := pump.sameSeason(c, i); !math.IsNaN(v) {
				c.kwh[i] += v
			}
		}
		with, on = append(with, c), append(on, arrive)
	}
	found, named, elsewhere := 0, 0, 0
	for i, j := range parallel(with, judge) {
		hit := false
		for _, e := range j.events {
			if e.low-nearDays <= on[i] && on[i] <= e.top+nearDays && e.kwh > 0 {
				hit = true
				if e.kind == "heat_pump" {
					named++
				}
			} else {
				elsewhere++
			}
		}
		if hit {
			found++
		}
		if verbose && !hit {
			fmt.Fprintf(w, "  %s: heat pump on day %d of %d (%s): %v\n", with[i].name, on[i], with[i].days(), with[i].first.AddDate(0, 0, on[i]).Format("2006-01-02"), j.events)
		}
	}
	fmt.Fprintf(w, "a real heat pump set in halfway: found %d of %d, named %d; events at another date %d\n", found, len(with), named, elsewhere)
	return nil
}

// sameSeason is the load at the same hour and day of the year as interval i of h.
func (l *home) sameSeason(h *home, i int) float64 {
	at := h.first.AddDate(0, 0, i/24)
	for year := l.first.Year(); year <= l.first.Year()+2; year++ {
		d := int(at.AddDate(year-at.Year(), 0, 0).Sub(l.first).Hours() / 24)
		if d >= 0 && d < l.days() {
			if v := l.kwh[d*24+i%24]; !math.IsNaN(v) {
				return v
			}
		}
	}
	return math.NaN()
}
