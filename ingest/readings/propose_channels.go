package readings

import (
	"fmt"
	"slices"
	"strings"

	"rowen/ingest"
)

// siteAndChannels finds the site's column and what the columns of values measure.
func (p *proposal) siteAndChannels(isValue func(int) bool) {
	s, m := p.s, &p.Mapping
	if p.registers(isValue) {
		p.fileOrColumnSite(func(i int) bool { return s.header[i] == m.Register })
		return
	}
	of, order, nets, unnamed := columnsByName(s, isValue)
	site := p.siteColumn(m, unnamed)
	m.SiteID.Column = site
	unnamed = slices.DeleteFunc(unnamed, func(i int) bool { return s.header[i] == site })
	if left := withoutCounterparts(s, unnamed, of); len(left) < len(unnamed) {
		if !slices.Contains(order, ingest.Import) {
			order = append([]ingest.Channel{ingest.Import}, order...)
		}
		unnamed = left
		p.note("the columns beside those that are exported are taken for import; confirm it")
	}
	switch {
	case site == "" && m.SiteID.Sheet == "" && p.wide(order, of):
	case len(order) > 0:
		for _, c := range order {
			p.channel(c, of[c])
		}
		p.gridPair(of)
		for _, i := range nets {
			p.note("column %q seems to be what crosses the meter at the grid: it is left out beside the others", s.header[i])
		}
	case len(nets) > 0:
		m.Channels = []Channel{{Channel: ingest.Import, Net: true, Column: s.header[nets[0]], Unit: p.unitAt(nets[0])}}
		p.note("column %q is taken for net: positive is import, negative is export; confirm it and its sign", s.header[nets[0]])
	case len(unnamed) == 1 || len(unnamed) > 0 && (site != "" || m.SiteID.Sheet != ""):
		p.unnamedChannel(s.header[unnamed[0]], s.column(unnamed[0]))
	case len(unnamed) > 1 && len(sameRegisters(s, unnamed)) == len(unnamed) && unitOf(s.header[unnamed[0]]) != "":
		p.unnamedChannel(s.header[unnamed[0]], s.column(unnamed[0]))
		p.alsoOf(unnamed[1:])
	case len(unnamed) > 0 && sameUnits(s, unnamed):
		p.unnamedWide(unnamed)
	default:
		p.ask("channels", "no column of numbers was found", Answer{"channels", "name the columns of the values"})
	}
	p.fileOrColumnSite(func(int) bool { return false })
}

// columnsByName sorts the columns of values by what their names tell: a channel
// (order: as they come), what crosses the meter in both directions, or nothing.
func columnsByName(s *sample, isValue func(int) bool) (of map[ingest.Channel][]int, order []ingest.Channel, nets, unnamed []int) {
	of = map[ingest.Channel][]int{}
	for i, h := range s.header {
		if !isValue(i) || foreign(h, s.units[i]) || len(s.rows) > 0 && isConstantID(s.column(i), h) {
			continue
		}
		c, named := channelOf(h)
		switch {
		case saysNet(h):
			nets = append(nets, i)
		case !named:
			unnamed = append(unnamed, i)
		default:
			if of[c] == nil {
				order = append(order, c)
			}
			of[c] = append(of[c], i)
		}
	}
	return of, order, nets, unnamed
}

// isConstantID tells a column of one long number that names a meter or a
// contract.
func isConstantID(cells []string, name string) bool {
	if _, named := channelOf(name); named || unitOf(name) != "" {
		return false
	}
	return isConstant(cells) && len(cells[0]) >= 6 && !strings.ContainsAny(cells[0], ".,")
}

// foreign tells whether a column measures something else: gas, water, volts,
// money, or an event count.
func foreign(name, unit string) bool {
	return unitOf(name) == "" && foreignNamed.in(name) || unit == "-"
}

// withoutCounterparts moves unnamed columns to import where their names are
// those of exported ones without the word for the direction: "Electricity 1"
// beside "Electricity 1 Returned". It gives the columns that stay unnamed.
func withoutCounterparts(s *sample, unnamed []int, of map[ingest.Channel][]int) (left []int) {
	stripped := map[string]bool{}
	for _, i := range of[ingest.Export] {
		stripped[withoutDirection(s.header[i])] = true
	}
	for _, i := range unnamed {
		if stripped[withoutDirection(s.header[i])] {
			of[ingest.Import] = append(of[ingest.Import], i)
		} else {
			left = append(left, i)
		}
	}
	return left
}

// gridPair corrects what a meter at the grid calls consumption: beside export
// and without a production it is import.
func (p *proposal) gridPair(of map[ingest.Channel][]int) {
	if of[ingest.Export] == nil || of[ingest.Consumption] == nil || of[ingest.Production] != nil || of[ingest.Import] != nil {
		return
	}
	for k := range p.Mapping.Channels {
		if c := &p.Mapping.Channels[k]; c.Channel == ingest.Consumption {
			c.Channel = ingest.Import
			p.note("column %q stands beside the export of a meter at the grid: it is taken for import, not for what the home uses in all; confirm it", c.Column)
		}
	}
}

// alsoOf adds further registers to the last channel.
func (p *proposal) alsoOf(columns []int) {
	c := &p.Mapping.Channels[len(p.Mapping.Channels)-1]
	var also []string
	for _, i := range columns {
		also = append(also, p.s.header[i])
	}
	c.Also = strings.Join(also, " | ")
	p.note("the columns %s are taken for registers of one channel that add up; confirm it", nameList(append([]string{c.Column}, also...)))
}

// channel adds a channel of one column, or of several registers of it.
func (p *proposal) channel(c ingest.Channel, columns []int) {
	s := p.s
	if registers := sameRegisters(s, columns); len(registers) > 1 {
		p.Mapping.Channels = append(p.Mapping.Channels, Channel{Channel: c, Column: s.header[registers[0]], Unit: p.unitAt(registers[0])})
		p.alsoOf(registers[1:])
		return
	}
	p.Mapping.Channels = append(p.Mapping.Channels, Channel{Channel: c, Column: s.header[columns[0]], Unit: p.unitAt(columns[0])})
	for _, i := range columns[1:] {
		p.note("column %q also looks like %s: only the first is proposed", s.header[i], c)
	}
}

// unnamedChannel maps a column that does not say what it measures, and asks.
func (p *proposal) unnamedChannel(column string, cells []string) {
	unit := p.s.unit
	if i := slices.Index(p.s.header, column); i >= 0 {
		unit = p.unitAt(i)
	}
	p.Mapping.Channels = []Channel{{Channel: ingest.Consumption, Column: column, Unit: unit}}
	if below := slices.ContainsFunc(cells, func(c string) bool { v, ok := p.number.milli(c); return ok && v < 0 }); below {
		return // net, by its values
	}
	what := "the file does not say what it measures"
	if column != "" {
		what = fmt.Sprintf("column %q does not say what it measures", column)
	}
	p.ask("channels", what, Answer{"production", "what the array made"}, Answer{"consumption", "all that the home used"}, Answer{"import", "what came from the grid"}, Answer{"export", "what went to the grid"})
}

// unnamedWide asks what a table of several nameless columns is.
func (p *proposal) unnamedWide(columns []int) {
	m := &p.Mapping
	m.Layout = "wide"
	m.Channels = []Channel{{Channel: ingest.Consumption, Unit: p.unitAt(columns[0])}}
	p.ask("channels", fmt.Sprintf("no column's name tells what it measures, so each may be a site (%d of them, the first %q); which channel are they?", len(columns), p.s.header[columns[0]]),
		Answer{"production", "what the arrays made"}, Answer{"consumption", "all that the homes used"}, Answer{"import", "what came from the grid"})
}

func sameUnits(s *sample, columns []int) bool {
	for _, i := range columns {
		if s.units[i] != s.units[columns[0]] || idReason([]byte(s.header[i])) != "" {
			return false
		}
	}
	return true
}

// wide tells whether every channel has a column for each of the same sites, and
// if so maps them by what their names have in common.
func (p *proposal) wide(order []ingest.Channel, of map[ingest.Channel][]int) bool {
	var found []Channel
	for _, c := range order {
		if len(of[c]) < 2 || len(of[c]) != len(of[order[0]]) || len(sameRegisters(p.s, of[c])) > 1 {
			return false
		}
		var names []string
		for _, i := range of[c] {
			names = append(names, p.s.header[i])
		}
		header, ok := wideHeader(names)
		if !ok {
			return false
		}
		found = append(found, Channel{Channel: c, Header: header, Unit: p.unitAt(of[c][0])})
	}
	if len(found) == 0 {
		return false
	}
	p.Mapping.Layout, p.Mapping.Channels = "wide", found
	first := of[order[0]]
	p.note("the names of the columns seem to hold the sites (%d of them, the first column is %q): confirm the patterns, and that the sites are called so in sites.csv", len(first), p.s.header[first[0]])
	return true
}

// fileOrColumnSite says where the site is named, where no column of numbers did.
func (p *proposal) fileOrColumnSite(skip func(int) bool) {
	m := &p.Mapping
	if m.Layout == "wide" || m.SiteID.Column != "" || m.SiteID.Sheet != "" {
		return
	}
	if m.SiteID.Column = p.siteColumn(m, nil); m.SiteID.Column != "" {
		if i := slices.Index(p.s.header, m.SiteID.Column); i < 0 || !skip(i) {
			return
		}
		m.SiteID.Column = ""
	}
	m.SiteID.File = fileIsSite
	p.note("no column names the site: the file's name is proposed; confirm site_id")
}

func siteLike(name string) bool {
	return slices.ContainsFunc(siteNamed, func(v vocabulary) bool { return v.in(name) }) && unitOf(name) == ""
}

// siteColumn finds the column that names the site: one that is called so and
// holds nothing but ids. Of the columns of numbers it may be one of values only.
func (f *shown) siteColumn(m *Mapping, values []int) string {
	s := f.s
	for _, called := range siteNamed {
		for i, h := range s.header {
			if slices.Contains([]string{m.Time.Column, m.Time.TimeColumn, m.Time.EndColumn, m.Register}, h) || !called.in(h) || unitOf(h) != "" || saysNet(h) {
				continue
			}
			if _, channel := channelOf(h); channel {
				continue
			}
			c := s.column(i)
			if len(s.rows) > 0 && (len(c) == 0 || !all(c, func(f string) bool { return idReason([]byte(f)) == "" && !looksStamped(f) })) {
				continue
			}
			if len(c) > 0 && isNumeric(c[0]) && !isConstant(c) && !slices.Contains(values, i) && len(distinct(c, 200)) == 0 {
				continue
			}
			return h
		}
	}
	return ""
}
