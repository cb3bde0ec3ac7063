// Package readings turns interval files of any export into rows of stamped
// energy: delimited text, Parquet, Green Button XML and NEM12 or NEM13, each
// by a mapping that says what the columns, units and clocks mean. It also reads
// weather files. It keeps nothing: package ledger does.
package readings

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/bmatcuk/doublestar/v4"

	"rowen/ingest"
)

// Mapping says how one kind of export is to be read. Its zero fields mean the
// contract's own columns.
type Mapping struct {
	Glob       string // of paths relative to the fleet's folder; ** spans folders; a trailing .gz or .zst need not be written
	Format     string // csv (default), parquet, json, xlsx, green_button, nem12; "": by the file's name
	Layout     string // long (default), wide (a column per site) or days (a row per day, a column per interval)
	Delimiter  string // one character; "": found in the header line
	Decimal    string // "." (default) or ","
	HeaderLine int    // the line that the header stands on; 0: the first that is not blank
	NoHeader   bool   // the file begins with its rows: columns are named by position, as #2
	DataLine   int    // the line of the first row, where other lines follow the header; 0: the next one
	Thousands  string // the sign between thousands, left out of numbers; "": none
	Register   string // the column that says what a row measures; a channel's Rows matches it
	Scale      string // the column of a factor that values are multiplied with
	Records    string // json: the keys that lead to the list of rows, as energy.values; "": the longest list
	Sheet      string // xlsx: a regular expression on the names of the sheets that are read; "": all
	SiteID     SiteID
	Time       Time
	Usual      bool      `json:"-"` // of Default: it may cover nothing
	Channels   []Channel // empty: the contract's four, those that the file has
}

// SiteID says where a row's site is named. All fields empty: the column
// site_id.
type SiteID struct {
	Column string // long layout
	File   string // a regular expression with a group site_id, matched against the file's name, or else its path under the fleet's folder
	Value  string // every row is of this site
	Header string // wide layout: a regular expression with a group site_id, matched against the column names; "": every column but the time's
	Sheet  string // xlsx: a regular expression with a group site_id, matched against the sheet's name
}

// Time says what a stamp means.
type Time struct {
	Column     string // default start
	TimeColumn string // optional second column: the time of day, joined to Column by a blank
	Format     string // rfc3339 (default; any ISO 8601 form), unix, unix_ms or a Go layout
	Zone       string // IANA, "UTC" or "site"; "": the stamp's own offset, or the site's clock for a layout without one
	Stamp      string // start (default) or end of the interval; a counter's value is that of the stamped instant
	Start      string // a file without stamps: the first row's stamp, in Format
	Step       string // a Go duration, or 1d; "": inferred for each site
	EndColumn  string // a column with the interval's end: a row that covers another time than most is a total and set aside
	Pattern    string // a regular expression whose groups, joined, are the stamp
}

// Channel says what a column of values means.
type Channel struct {
	Channel  ingest.Channel
	Net      bool   // Channel is Import: positive is import, negative is export
	Column   string // default production_wh, ...; unused in the wide layout
	Header   string // wide layout: SiteID.Header for this channel's columns; needed where there are several channels
	Unit     string // Wh (default), kWh, MWh, W, kW
	Quantity string // energy (default), power (the interval's mean), counter
	Sign     int    // +1 (default) or -1
	Also     string // further columns that are added, parted by |
	Rows     string // a regular expression on the cells of Mapping.Register: the rows of this channel; rows of one stamp add up

	// Counters only.
	RollOver  float64 // the value, in Unit, at which the register starts over; 0: a drop is a reset
	SpreadGap string  // gaps up to this long get the counter's lump evenly, marked as estimated; default 6h; "0": kept out
}

// Default is the contract's own export.
func Default() []Mapping {
	return []Mapping{
		{Glob: "readings/**/*.csv", Format: "csv", Usual: true},
		{Glob: "readings/**/*.parquet", Format: "parquet", Usual: true},
		{Glob: "readings/**/*.xml", Format: "green_button", Usual: true, SiteID: SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`}},
	}
}

var contractColumn = [ingest.NumChannels]string{"production_wh", "consumption_wh", "import_wh", "export_wh"}

// filled gives the mapping with every default written out.
func (m Mapping) filled() Mapping {
	def := func(s *string, v string) {
		if *s == "" {
			*s = v
		}
	}
	def(&m.Format, "csv")
	def(&m.Layout, "long")
	def(&m.Decimal, ".")
	if m.SiteID == (SiteID{}) && m.Layout != "wide" {
		m.SiteID.Column = "site_id"
	}
	if m.Time.Start == "" {
		def(&m.Time.Column, "start")
	}
	def(&m.Time.Format, "rfc3339")
	def(&m.Time.Stamp, "start")
	m.Channels = slices.Clone(m.Channels)
	for i := range m.Channels {
		c := &m.Channels[i]
		if m.Layout != "wide" && c.Channel >= 0 && c.Channel < ingest.NumChannels {
			def(&c.Column, contractColumn[c.Channel])
		}
		def(&c.Unit, "Wh")
		def(&c.Quantity, "energy")
		def(&c.SpreadGap, "6h")
		if c.Sign == 0 {
			c.Sign = 1
		}
	}
	return m
}

// Check tells everything that is wrong with a mapping, all at once.
func (m Mapping) Check() error {
	m = m.filled()
	var w mappingErrors
	w.file(m)
	w.patterns(m)
	w.time(m.Time)
	if m.Layout == "wide" && len(m.Channels) == 0 {
		w.bad("layout wide names no channel: say which its columns are")
	}
	if m.Layout == "wide" && len(m.Channels) > 1 && slices.ContainsFunc(m.Channels, func(c Channel) bool { return c.Header == "" }) {
		w.bad("layout wide has %d channels: each needs a header, a regular expression on its columns' names", len(m.Channels))
	}
	seen := map[ingest.Channel]bool{}
	for _, c := range m.Channels {
		if c.Channel < 0 || c.Channel >= ingest.NumChannels {
			w.bad("channel %d must be one of production, consumption, import, export", c.Channel)
			continue
		}
		if seen[c.Channel] {
			w.bad("channel %s is mapped twice", c.Channel)
		}
		seen[c.Channel] = true
		w.channel(c)
	}
	return errors.Join(w...)
}

// mappingErrors is all that is wrong with a mapping.
type mappingErrors []error

func (w *mappingErrors) bad(format string, a ...any) { *w = append(*w, fmt.Errorf(format, a...)) }

func (w *mappingErrors) oneOf(key, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		w.bad("%s %q must be one of %s", key, v, strings.Join(allowed, ", "))
	}
}

// file checks which files are meant and how they are written.
func (w *mappingErrors) file(m Mapping) {
	if m.Glob == "" {
		w.bad("glob is missing: name the files, for example readings/**/*.csv")
	}
	if !doublestar.ValidatePattern(m.Glob) {
		w.bad("glob %q must close every [ and {", m.Glob)
	}
	if strings.HasPrefix(m.Glob, "/") || slices.Contains(strings.FieldsFunc(m.Glob, func(r rune) bool { return strings.ContainsRune(`/\{},`, r) }), "..") {
		w.bad("glob %q must stay inside the fleet's folder: it is relative to it and has no ..", m.Glob)
	}
	w.oneOf("format", m.Format, "csv", "parquet", "json", "xlsx", "green_button", "nem12")
	w.oneOf("layout", m.Layout, "long", "wide", "days")
	w.oneOf("decimal", m.Decimal, ".", ",")
	if len(m.Delimiter) > 1 {
		w.bad("delimiter %q must be one character", m.Delimiter)
	}
	if m.Delimiter != "" && m.Delimiter == m.Decimal {
		w.bad("delimiter and decimal are both %q: they must differ", m.Decimal)
	}
}

// patterns checks the regular expressions; those that name sites need a group.
func (w *mappingErrors) patterns(m Mapping) {
	naming := [][2]string{{"site_id.file", m.SiteID.File}, {"site_id.header", m.SiteID.Header}, {"site_id.sheet", m.SiteID.Sheet}}
	for _, c := range m.Channels {
		if c.Header != "" && m.Layout != "wide" {
			w.bad("channels.%s.header is for layout wide only", c.Channel)
		}
		naming = append(naming, [2]string{"channels." + c.Channel.String() + ".header", c.Header})
	}
	plain := [][2]string{{"time.pattern", m.Time.Pattern}, {"sheet", m.Sheet}}
	for _, c := range m.Channels {
		key := "channels." + c.Channel.String() + ".rows"
		plain = append(plain, [2]string{key, c.Rows})
		if (c.Rows != "") != (m.Register != "") {
			w.bad("%s and register go together: register names the column, rows what it holds for this channel", key)
		}
	}
	for _, p := range plain {
		if _, err := regexp.Compile(p[1]); err != nil {
			w.bad("%s %q must be a regular expression: %v", p[0], p[1], err)
		}
	}
	for _, p := range naming {
		key, re := p[0], p[1]
		if re == "" {
			continue
		}
		if r, err := regexp.Compile(re); err != nil {
			w.bad("%s %q must be a regular expression: %v", key, re, err)
		} else if r.SubexpIndex("site_id") < 0 {
			w.bad("%s %q must have a group (?P<site_id>...)", key, re)
		}
	}
}

func (w *mappingErrors) time(t Time) {
	w.oneOf("time.stamp", t.Stamp, "start", "end")
	if strings.Contains(t.Format, "MST") {
		w.bad("time.format %q reads a zone's letters, which name no zone for certain: leave them out and state time.zone", t.Format)
	}
	if t.Zone != "" && t.Zone != "site" {
		if _, err := time.LoadLocation(t.Zone); err != nil {
			w.bad("time.zone %q must be an IANA zone, UTC or site", t.Zone)
		}
	}
	if t.Step != "" {
		if _, err := parseStep(t.Step); err != nil {
			w.bad("time.step %v", err)
		}
	}
	if t.Start != "" && t.Step == "" {
		w.bad("time.start is given without time.step: a file without stamps needs both")
	}
}

func (w *mappingErrors) channel(c Channel) {
	key := "channels." + c.Channel.String()
	w.oneOf(key+".unit", c.Unit, "Wh", "kWh", "MWh", "W", "kW")
	w.oneOf(key+".quantity", c.Quantity, "energy", "power", "counter")
	isPower := c.Unit == "W" || c.Unit == "kW"
	if isPower != (c.Quantity == "power") {
		w.bad("%s: quantity %s does not go with unit %s: power is in W or kW, energy and counters in Wh, kWh or MWh", key, c.Quantity, c.Unit)
	}
	if c.Sign != 1 && c.Sign != -1 {
		w.bad("%s.sign %d must be 1 or -1", key, c.Sign)
	}
	if c.RollOver < 0 {
		w.bad("%s.wraps_at %g must be >= 0", key, c.RollOver)
	}
	if _, err := time.ParseDuration(c.SpreadGap); err != nil {
		w.bad("%s.spread_gap %q must be a duration such as 6h, or 0", key, c.SpreadGap)
	}
}

// parseStep reads a step: a Go duration that divides the hour, one hour or 1d.
func parseStep(s string) (seconds int64, err error) {
	if s == "1d" || s == "24h" {
		return 86400, nil
	}
	d, err := time.ParseDuration(s)
	if err != nil {
		return 0, fmt.Errorf("%q must be a duration such as 15m, 1h or 1d", s)
	}
	sec := int64(d / time.Second)
	if d%time.Minute != 0 || sec <= 0 || 3600%sec != 0 {
		return 0, fmt.Errorf("%q must be whole minutes that divide an hour, 1h or 1d", s)
	}
	return sec, nil
}
