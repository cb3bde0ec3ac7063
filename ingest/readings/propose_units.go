package readings

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// unitOfRows is the unit of a tidy table's values: in the header, or in a column
// of its own.
func (f *shown) unitOfRows(value int) string {
	if u := f.unitAt(value); u != "" {
		return u
	}
	for i := range f.s.header {
		if words := f.s.column(i); len(words) > 0 && unitNamed(words[0]) > "-" && all(words, func(w string) bool { return w == words[0] }) {
			return unitNamed(words[0])
		}
	}
	return ""
}

func (f *shown) unitAt(i int) string {
	if f.s.units[i] != "" {
		return f.s.units[i]
	}
	if u := unitOf(f.s.header[i]); u != "" {
		return u
	}
	return f.s.unit
}

// A home's energy a day, in kWh, that people live with: our choice. It tells kWh
// from Wh and MWh where a column does not name its unit.
const leastKWhDay, mostKWhDay = 0.3, 200

// units says which quantity goes with a unit. Where none is named, the one that
// a home can have is taken; where several can or none, it asks.
func (p *proposal) units() {
	for k := range p.Mapping.Channels {
		c := &p.Mapping.Channels[k]
		switch c.Unit {
		case "W", "kW":
			c.Quantity = "power"
			continue
		case "":
		default:
			continue
		}
		column := c.Column
		if column == "" {
			column = "of each interval"
		}
		perDay := p.perDay(&p.Mapping, c)
		unit, answers := unitBySize(perDay)
		if unit != "" {
			c.Unit = unit
			p.note("column %q does not say its unit: %s is proposed, which makes %.3g kWh a day; confirm it", column, unit, perDay*float64(perUnit(unit))/1e6)
			continue
		}
		c.Unit = "kWh"
		p.ask("channels."+c.Channel.String()+".unit", fmt.Sprintf("column %q does not say its unit", column), answers...)
	}
}

// unitBySize is the one unit by which a mean of so much a day is a home's; ""
// where several or none are. The answers say what each would mean.
func unitBySize(perDay float64) (unit string, answers []Answer) {
	var fit []string
	for _, u := range []string{"kWh", "Wh", "MWh"} {
		kwh := perDay * float64(perUnit(u)) / 1e6
		answers = append(answers, Answer{u, strconv.FormatFloat(kwh, 'g', 3, 64) + " kWh a day"})
		if kwh >= leastKWhDay && kwh <= mostKWhDay {
			fit = append(fit, u)
		}
	}
	if len(fit) == 1 {
		unit = fit[0]
	}
	return unit, answers
}

// perDay is a channel's mean a day in the sample, in its unit and without sign.
func (f *shown) perDay(m *Mapping, c *Channel) float64 {
	columns := []int{slices.Index(f.s.header, c.Column)}
	for name := range strings.SplitSeq(c.Also, "|") {
		if i := slices.Index(f.s.header, strings.TrimSpace(name)); i >= 0 {
			columns = append(columns, i)
		}
	}
	step := float64(f.stamps.stepOf())
	if m.Layout == "days" {
		columns = columns[:0]
		for _, iv := range intervalColumns(f.s.header) {
			columns = append(columns, iv[0])
		}
		step = 86400
	}
	sites := 1.0
	if m.Layout == "wide" {
		columns = columns[:0]
		for i := range f.s.header {
			if f.isValue(i) {
				columns = append(columns, i)
			}
		}
		sites = max(1, float64(len(columns)))
	}
	total, days := 0.0, 0.0
	for _, i := range columns {
		sum, n := int64(0), 0
		first, last := int64(0), int64(0)
		for _, r := range f.s.rows {
			if v, ok := f.number.milli(cellAt(r, i)); ok {
				if n == 0 {
					first = v
				}
				sum, last, n = sum+max(v, -v), v, n+1
			}
		}
		if c.Quantity == "counter" {
			sum = max(last-first, first-last)
		}
		total += float64(sum) / 1000
		days = max(days, float64(n)*step/86400)
	}
	if days == 0 {
		return 0
	}
	return total / days / sites
}
