package readings

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"rowen/ingest"
)

// phaseColumn is a channel's column that seems to be one of three phases; ""
// where none is.
func phaseColumn(channels []Channel) string {
	for _, c := range channels {
		if c.Also == "" && onePhase.MatchString(c.Column) {
			return c.Column
		}
	}
	return ""
}

var onePhase = regexp.MustCompile(`\((A|B|C|L[123])\)`)

// sameRegisters are the first column and those that differ from it by the word
// for a tariff, a phase or a number only: registers that add up.
func sameRegisters(s *sample, columns []int) []int {
	stem := withoutRegister(s.header[columns[0]])
	var out []int
	for _, i := range columns {
		if withoutRegister(s.header[i]) == stem && s.header[i] != stem {
			out = append(out, i)
		}
	}
	return out
}

// registers finds a column whose few words tell what each row measures, as
// "Offtake Night" and "Injection Night" or production and consumption.
func (p *proposal) registers(isValue func(int) bool) bool {
	s, m := p.s, &p.Mapping
	var value int = -1
	for i, h := range s.header {
		if isValue(i) && !isConstant(s.column(i)) && !foreign(h, s.units[i]) && !siteLike(h) {
			if value >= 0 {
				return p.factored(isValue)
			}
			value = i
		}
	}
	if value < 0 {
		return false
	}
	for i := range s.header {
		words := distinct(s.column(i), 12)
		if i == value || i == p.stamps.column || i == p.stamps.clock || len(words) < 2 {
			continue
		}
		by := map[ingest.Channel][]string{}
		var unknown []string
		for _, w := range words {
			if c, ok := channelOf(w); ok {
				by[c] = append(by[c], w)
			} else if !foreign(w, "") {
				unknown = append(unknown, w)
			}
		}
		if len(by) == 0 || isNumeric(words[0]) {
			continue
		}
		if len(unknown) > 0 && by[ingest.Export] != nil && by[ingest.Import] == nil {
			by[ingest.Import] = unknown
			p.note("the rows of %s are taken for import, since the others are export; confirm it", nameList(unknown))
			unknown = nil
		}
		m.Register = s.header[i]
		unit := p.unitOfRows(value)
		for c := range ingest.NumChannels {
			if len(by[c]) > 0 {
				m.Channels = append(m.Channels, Channel{Channel: c, Column: s.header[value], Rows: oneOfWords(by[c]), Unit: unit})
			}
		}
		if len(unknown) > 0 {
			p.note("rows of %s are left out: what they measure is not known", nameList(unknown))
		}
		return true
	}
	return false
}

// factored finds a value with a factor column beside it and a code whose meaning
// only a person knows.
func (p *proposal) factored(isValue func(int) bool) bool {
	s, m := p.s, &p.Mapping
	scale := slices.IndexFunc(s.header, func(h string) bool { return factorNamed.in(h) })
	code := slices.IndexFunc(s.header, func(h string) bool { return codeNamed.in(h) })
	value := slices.IndexFunc(s.header, func(h string) bool { return valueNamed.in(h) })
	if scale < 0 || value < 0 || !isValue(value) {
		return false
	}
	m.Scale = s.header[scale]
	words := distinct(s.column(max(code, 0)), 12)
	if code < 0 || len(words) < 2 {
		p.unnamedChannel(s.header[value], s.column(value))
		return true
	}
	m.Register = s.header[code]
	for _, w := range words {
		p.ask("channels", fmt.Sprintf("what do the rows of %s %q measure?", m.Register, w),
			Answer{"import: {rows: \"^" + w + "$\"}", "from the grid"}, Answer{"export: {rows: \"^" + w + "$\"}", "to the grid"}, Answer{"production: {rows: \"^" + w + "$\"}", "what the array made"})
	}
	m.Channels = []Channel{{Channel: ingest.Import, Column: s.header[value], Rows: oneOfWords(words), Unit: "kWh"}}
	return true
}

// distinct lists the different cells of a column; nil where there are more than
// most, or as many as rows.
func distinct(cells []string, most int) []string {
	var words []string
	for _, c := range cells {
		if !slices.Contains(words, c) {
			if words = append(words, c); len(words) > most {
				return nil
			}
		}
	}
	if len(words)*2 > len(cells) {
		return nil
	}
	slices.Sort(words)
	return words
}

func oneOfWords(words []string) string {
	var quoted []string
	for _, w := range words {
		quoted = append(quoted, regexp.QuoteMeta(w))
	}
	return "^(" + strings.Join(quoted, "|") + ")$"
}

// quantities looks at the values: a column that never falls is a counter, one
// that is below nothing is the net meter or counts the other way round.
func (p *proposal) quantities() {
	m := &p.Mapping
	if m.Layout == "wide" {
		return
	}
	for k := range m.Channels {
		c := &m.Channels[k]
		rose, fell, below, above := p.movement(m, c)
		enough := 20
		if saysCounter(c.Column) {
			enough = 0 // nothing may have been counted for a night
		}
		switch {
		case fell == 0 && rose >= enough && c.Unit != "W" && c.Unit != "kW":
			c.Quantity = "counter"
			p.note("%s never falls in the sample: it is taken for a running counter; confirm quantity", c.Channel)
		case below > 0 && above == 0 && !c.Net && c.Channel != ingest.Consumption:
			c.Sign = -1
			p.note("column %q is never above nothing: sign -1 is proposed for %s; confirm it", c.Column, c.Channel)
		case below > 0 && c.Channel == ingest.Consumption && len(m.Channels) == 1:
			c.Channel, c.Net = ingest.Import, true
			p.note("column %q is below nothing at times, as no consumption is: net (positive is import, negative is export) is proposed; confirm it", c.Column)
		case below > 0 && !c.Net:
			p.note("column %q is below nothing at times, as %s should not be: look at what it measures", c.Column, c.Channel)
		}
	}
}

// movement counts how a channel's values move from row to row of a site, in the
// order of time.
func (f *shown) movement(m *Mapping, c *Channel) (rose, fell, below, above int) {
	s := f.s
	at, site, register := slices.Index(s.header, c.Column), slices.Index(s.header, m.SiteID.Column), slices.Index(s.header, m.Register)
	var rows *regexp.Regexp
	if c.Rows != "" {
		rows = regexp.MustCompile(c.Rows)
	}
	last := map[string]int64{}
	for _, r := range s.rows {
		if rows != nil && !rows.MatchString(cellAt(r, register)) {
			continue
		}
		v, ok := f.number.milli(cellAt(r, at))
		if !ok {
			continue
		}
		key := cellAt(r, site) + "\x00" + cellAt(r, register)
		if before, seen := last[key]; seen && v > before {
			rose++
		} else if seen && v < before {
			fell++
		}
		if v < 0 {
			below++
		} else if v > 0 {
			above++
		}
		last[key] = v
	}
	if f.stamps.newestFirst() {
		rose, fell = fell, rose
	}
	return rose, fell, below, above
}

// newestFirst tells whether the rows run backwards in time.
func (st stamps) newestFirst() bool {
	c := newClock(Time{Format: st.format, Zone: "site"})
	n := len(st.texts)
	if n < 2 {
		return false
	}
	first, _, r1 := c.parse([]byte(st.texts[0]))
	last, _, r2 := c.parse([]byte(st.texts[n-1]))
	return r1 == "" && r2 == "" && first > last
}
