package readings

import (
	"errors"
	"fmt"
	"path"
	"regexp"
	"strings"
	"time"

	"rowen/ingest"
)

// role is what a column is read for.
type role uint8

const (
	skipped role = iota
	siteRole
	stampRole
	clockRole // the time of day beside a date
	valueRole
)

type column struct {
	name    string
	role    role
	channel ingest.Channel
	perUnit int64 // thousandths of the base unit in one unit of the column
	neg     bool
	net     bool
	site    string // wide layout: the column's site
}

// columns is what a header means under a mapping.
type columns struct {
	col     []column
	has     [ingest.NumChannels]bool
	site    string // of every row; "": a column names it
	wide    bool
	decimal byte
	clock   clock
	start   int64 // a file without stamps: of its first row
	civil   bool  // start is on the file's own clock
	step    int64 // a file without stamps
	stamped bool
	stampAt int
	clockAt int // -1: none
	notes   []string
}

// bind finds the mapping's columns in a header.
func bind(m Mapping, rel string, header []string) (*columns, error) {
	p := &columns{
		col: make([]column, len(header)), decimal: m.Decimal[0], wide: m.Layout == "wide",
		clock: newClock(m.Time), stamped: m.Time.Start == "", clockAt: -1,
	}
	at := map[string]int{}
	for i, h := range header {
		h = strings.TrimSpace(h)
		p.col[i].name = h
		if _, twice := at[h]; twice && h != "" {
			return nil, fmt.Errorf("column %q stands twice in the header: rename one", h)
		}
		at[h] = i
	}
	want := func(name string, r role) error {
		i, ok := at[name]
		if !ok {
			return fmt.Errorf("column %q is missing (the header has %s): map it in readings", name, nameList(header))
		}
		if p.col[i].role != skipped {
			return fmt.Errorf("column %q is mapped twice", name)
		}
		p.col[i].role = r
		switch r {
		case stampRole:
			p.stampAt = i
		case clockRole:
			p.clockAt = i
		}
		return nil
	}
	if err := p.bindTime(m, want); err != nil {
		return nil, err
	}
	if err := p.bindSite(m, rel, want); err != nil {
		return nil, err
	}
	if p.wide {
		return p, p.bindWide(m)
	}
	return p, p.bindLong(m, at, want)
}

func (p *columns) bindTime(m Mapping, want func(string, role) error) (err error) {
	if p.stamped {
		if err := want(m.Time.Column, stampRole); err != nil {
			return err
		}
		if m.Time.TimeColumn != "" {
			return want(m.Time.TimeColumn, clockRole)
		}
		return nil
	}
	var reason string
	if p.start, p.civil, reason = p.clock.parse([]byte(m.Time.Start)); reason != "" {
		return fmt.Errorf("time.start %q: %s", m.Time.Start, reason)
	}
	p.step, err = parseStep(m.Time.Step)
	return err
}

func (p *columns) bindSite(m Mapping, rel string, want func(string, role) error) (err error) {
	switch {
	case p.wide:
		return nil
	case m.SiteID.Value != "":
		p.site = m.SiteID.Value
	case m.SiteID.File != "":
		p.site, err = siteOfFile(m.SiteID.File, rel)
	default:
		return want(m.SiteID.Column, siteRole)
	}
	if err == nil {
		if reason := idReason([]byte(p.site)); reason != "" {
			err = fmt.Errorf("site id %q: %s", p.site, reason)
		}
	}
	return err
}

// siteOfFile takes the site from a file's path.
func siteOfFile(pattern, rel string) (string, error) {
	re, err := regexp.Compile(pattern)
	if err != nil {
		return "", err
	}
	at := re.FindStringSubmatch(path.Base(rel))
	if at == nil {
		at = re.FindStringSubmatch(rel)
	}
	if at == nil {
		return "", fmt.Errorf("the file's name does not match site_id.file %q", pattern)
	}
	return at[re.SubexpIndex("site_id")], nil
}

func (p *columns) bindLong(m Mapping, at map[string]int, want func(string, role) error) error {
	channels := m.Channels
	stated := len(channels) > 0
	if !stated {
		for c := range ingest.NumChannels {
			if _, ok := at[contractColumn[c]]; ok {
				channels = append(channels, Channel{Channel: c, Column: contractColumn[c], Unit: "Wh", Quantity: "energy", Sign: 1})
			}
		}
		if len(channels) == 0 {
			return fmt.Errorf("none of the columns %s is there: map the file's own in readings", strings.Join(contractColumn[:], ", "))
		}
	}
	for _, c := range channels {
		if err := want(c.Column, valueRole); err != nil {
			return err
		}
		col := &p.col[at[c.Column]]
		col.channel, col.perUnit, col.neg, col.net = c.Channel, perUnit(c.Unit), c.Sign < 0, c.Net
		p.has[c.Channel] = true
		if c.Net {
			p.has[ingest.Export] = true
		}
	}
	var out []string
	for _, c := range p.col {
		if c.role == skipped && c.name != "" {
			out = append(out, c.name)
		}
	}
	if len(out) > 0 {
		p.notes = append(p.notes, "columns kept out: "+nameList(out))
	}
	return nil
}

// bindWide gives every column of a wide table its site and channel: those of the
// first channel whose header it matches.
func (p *columns) bindWide(m Mapping) error {
	headers := make([]*regexp.Regexp, len(m.Channels))
	for k, c := range m.Channels {
		pattern := m.SiteID.Header
		if c.Header != "" {
			pattern = c.Header
		}
		if pattern != "" {
			var err error
			if headers[k], err = regexp.Compile(pattern); err != nil {
				return err
			}
		}
		p.has[c.Channel] = true
		if c.Net {
			p.has[ingest.Export] = true
		}
	}
	type cell struct {
		site    string
		channel ingest.Channel
	}
	names := map[cell]string{}
	var out []string
	for i := range p.col {
		col := &p.col[i]
		if col.role != skipped || col.name == "" {
			continue
		}
		k, id := siteOfHeader(headers, col.name)
		if k < 0 {
			out = append(out, col.name)
			continue
		}
		c := m.Channels[k]
		if reason := idReason([]byte(id)); reason != "" {
			return fmt.Errorf("column %q: %s: give site_id.header in the mapping", col.name, reason)
		}
		at := cell{id, c.Channel}
		if other, twice := names[at]; twice {
			return fmt.Errorf("columns %q and %q are both %s of site %s", other, col.name, c.Channel, id)
		}
		names[at] = col.name
		col.role, col.site, col.channel, col.perUnit, col.neg, col.net = valueRole, id, c.Channel, perUnit(c.Unit), c.Sign < 0, c.Net
	}
	if len(names) == 0 {
		return errors.New("no column names a site: give site_id.header in the mapping")
	}
	if len(out) > 0 {
		p.notes = append(p.notes, "columns kept out: "+nameList(out))
	}
	return nil
}

// siteOfHeader gives the first of the patterns that a column's name matches,
// and the site in it; no pattern: any name, which is the site. -1: none.
func siteOfHeader(patterns []*regexp.Regexp, name string) (int, string) {
	for k, re := range patterns {
		if re == nil {
			return k, name
		}
		if at := re.FindStringSubmatch(name); at != nil {
			return k, at[re.SubexpIndex("site_id")]
		}
	}
	return -1, ""
}

// perUnit is how many thousandths of a Wh (or W) a unit holds.
func perUnit(unit string) int64 {
	switch unit {
	case "kWh", "kW":
		return 1_000_000
	case "MWh":
		return 1_000_000_000
	}
	return 1000
}

func nameList(names []string) string {
	const most = 12
	var said []string
	for _, n := range names[:min(most, len(names))] {
		said = append(said, ingest.Short(n))
	}
	list := strings.Join(said, ", ")
	if len(names) > most {
		list += fmt.Sprintf(" and %d more", len(names)-most)
	}
	return list
}

// meaning gives what settling the rows needs of a mapping.
func (m Mapping) meaning() (Meaning, error) {
	var out Meaning
	out.StampIsEnd = m.Time.Stamp == "end"
	if z := m.Time.Zone; z != "" && z != "site" {
		loc, err := time.LoadLocation(z)
		if err != nil {
			return out, err
		}
		out.Zone = loc
	}
	if m.Time.Step != "" {
		var err error
		if out.StepSeconds, err = parseStep(m.Time.Step); err != nil {
			return out, err
		}
	}
	for _, c := range m.Channels {
		switch c.Quantity {
		case "power":
			out.Quantity[c.Channel] = Power
		case "counter":
			out.Quantity[c.Channel] = Counter
		}
		if c.Net {
			out.Quantity[ingest.Export] = out.Quantity[c.Channel]
		}
		out.RollOver[c.Channel] = int64(c.RollOver * float64(perUnit(c.Unit)))
		gap, err := time.ParseDuration(c.SpreadGap)
		if err != nil {
			return out, err
		}
		out.SpreadGap[c.Channel] = int64(gap / time.Second)
	}
	return out, nil
}

// fill puts a parsed value of a column into a row.
func (c *column) fill(v int64, row *[ingest.NumChannels]int64) {
	if v == Missing {
		return
	}
	if c.neg {
		v = -v
	}
	if !c.net {
		row[c.channel] = v
		return
	}
	row[ingest.Import], row[ingest.Export] = max(v, 0), max(-v, 0)
}
