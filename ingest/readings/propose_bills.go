package readings

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Bills is an export of utility bills, as rows of bills.csv.
type Bills struct {
	Rows []string // site_id,from,to,import_kwh
	Says string
}

// bills turns rows a month apart into bills: each ends where the next begins.
func (p *proposal) bills() {
	c := newClock(Time{Format: p.stamps.format, Zone: "site"})
	usage := slices.IndexFunc(p.s.header, func(h string) bool {
		_, ok := channelOf(h)
		return ok && unitOf(h) != "" || strings.Contains(strings.ToLower(h), "kwh")
	})
	type bill struct {
		on  int64
		kwh string
	}
	var bs []bill
	for _, r := range p.s.rows {
		t, _, reason := c.parse([]byte(cellAt(r, p.stamps.column)))
		if reason == "" && usage >= 0 {
			if _, ok := p.number.milli(cellAt(r, usage)); ok {
				bs = append(bs, bill{t, cellAt(r, usage)})
			}
		}
	}
	slices.SortFunc(bs, func(a, b bill) int { return cmp.Compare(a.on, b.on) })
	b := &Bills{Says: "the rows lie weeks apart: they are bills, not readings, and belong in bills.csv"}
	day := func(t int64) string { return time.Unix(t, 0).UTC().Format(time.DateOnly) }
	for i := 1; i < len(bs); i++ {
		v, _ := p.number.milli(bs[i].kwh)
		b.Rows = append(b.Rows, fmt.Sprintf("SITE,%s,%s,%g", day(bs[i-1].on), day(bs[i].on), float64(v)/1000))
	}
	p.Proposal.Bills = b
	p.ask("bills", fmt.Sprintf("column %q is one date per bill, and the file does not say what it is", p.s.header[p.stamps.column]),
		Answer{"end", "the day of the reading: each bill runs from the one before, as in the rows below"},
		Answer{"issue", "the day the bill was written: the readings lie days or weeks before; take the dates from the bills"})
	if usage < 0 {
		p.ask("bills", "no column names an energy", Answer{"import_kwh", "name the column of the energy"})
	}
}
