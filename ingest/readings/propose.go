package readings

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
)

// Propose looks at an unknown file and proposes a mapping, with what a person
// must confirm before it is used. It never says more than the file shows: what
// cannot be told is named in the notes.
func Propose(path string) (Mapping, []string, error) {
	ext := strings.ToLower(filepath.Ext(path))
	m := Mapping{Glob: "readings/**/*" + ext, Format: "csv"}
	if isPacked(path) {
		m.Glob = "readings/**/*" + strings.ToLower(filepath.Ext(strings.TrimSuffix(path, filepath.Ext(path))))
	}
	switch ext {
	case ".xml":
		m.Format, m.SiteID.File = "green_button", `(?P<site_id>[^/]+?)\.[^/]*$`
		return m, []string{"Green Button says units, directions and times itself; confirm that the file's name is the site id"}, nil
	case ".parquet":
		return proposeParquet(path, m)
	}
	in, err := openText(path)
	if err != nil {
		return m, nil, err
	}
	defer in.Close()
	head, err := bufio.NewReaderSize(in, sampleBytes).Peek(sampleBytes)
	if err != nil && !errors.Is(err, io.EOF) {
		return m, nil, err
	}
	head = bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))
	if isNEM(head) {
		m.Format = "nem12"
		return m, []string{"NEM12 says units, directions and times itself; its NMI is taken for the site id unless site_id says otherwise"}, nil
	}
	if i := bytes.LastIndexByte(head, '\n'); i >= 0 && len(head) == sampleBytes {
		head = head[:i+1]
	}
	s, err := newSample(head)
	if err != nil {
		return m, nil, err
	}
	return s.propose(m)
}

const sampleBytes = 256 << 10

func proposeParquet(path string, m Mapping) (Mapping, []string, error) {
	f := &File{abs: path, Format: "parquet"}
	var err error
	if f.Size, err = fileSize(path); err != nil {
		return m, nil, err
	}
	in, err := f.openParquet()
	if err != nil {
		return m, nil, err
	}
	defer in.close()
	m.Format = "parquet"
	s := &sample{}
	for _, c := range in.Root().Columns() {
		s.header = append(s.header, c.Name())
		if c.Leaf() && c.Type().LogicalType() != nil && strings.HasPrefix(c.Type().LogicalType().String(), "TIMESTAMP") && m.Time.Column == "" {
			m.Time.Column = c.Name()
			if strings.Contains(c.Type().LogicalType().String(), "isAdjustedToUTC=false") {
				m.Time.Zone = "UTC"
				s.note("the timestamps carry no zone: UTC is a guess, confirm time.zone")
			}
		}
	}
	if m.Time.Column == "" {
		s.note("no column is a timestamp: state time.column and time.format")
	}
	numeric := func(i int) bool {
		c := in.Root().Columns()[i]
		return c.Leaf() && (c.Type().Kind() == parquet.Double || c.Type().Kind() == parquet.Float || c.Type().Kind() == parquet.Int32 || c.Type().Kind() == parquet.Int64)
	}
	s.proposeSiteAndChannels(&m, numeric)
	return m, s.notes, nil
}

// sample is the beginning of a text file.
type sample struct {
	delimiter byte
	line      int // of the header
	header    []string
	rows      [][]string
	notes     []string
}

func (s *sample) note(format string, a ...any) { s.notes = append(s.notes, fmt.Sprintf(format, a...)) }

// newSample finds the delimiter and the header: the first line with at least
// as many fields as most lines have, none of them a number.
func newSample(head []byte) (*sample, error) {
	lines := bytes.Split(bytes.TrimRight(head, "\r\n"), []byte("\n"))
	if len(lines) < 2 {
		return nil, errors.New("the file has fewer than two lines: there is nothing to propose from")
	}
	s := &sample{}
	most := 0
	for _, d := range []byte{',', ';', '\t', '|'} {
		count := map[int]int{}
		for _, l := range lines[len(lines)/2:] {
			count[bytes.Count(l, []byte{d})]++
		}
		for n, c := range count {
			// Fields per line times lines that agree.
			if score := n * c * 2; n > 0 && (score > most || score == most && d == ';') {
				most, s.delimiter = score, d
			}
		}
	}
	if s.delimiter == 0 {
		return nil, errors.New("no delimiter among , ; tab | divides the lines: state delimiter in the mapping")
	}
	// A comma that only stands between digits beside semicolons is a decimal.
	if s.delimiter == ',' && bytes.Count(lines[len(lines)-1], []byte(";")) > 0 {
		s.delimiter = ';'
	}
	r := csv.NewReader(bytes.NewReader(head))
	r.Comma, r.FieldsPerRecord, r.LazyQuotes = rune(s.delimiter), -1, true
	var all [][]string
	var lineOf []int
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		all, lineOf = append(all, rec), append(lineOf, line)
	}
	if len(all) == 0 {
		return nil, errors.New("the file holds no lines")
	}
	width := len(all[len(all)-1])
	for i, rec := range all {
		if len(rec) >= width && !slices.ContainsFunc(rec, func(f string) bool { return looksNumeric(f, '.') || looksNumeric(f, ',') }) {
			s.header, s.rows, s.line = rec, all[i+1:], lineOf[i]
			break
		}
	}
	if s.header == nil {
		return nil, errors.New("no line reads as a header: the file must name its columns")
	}
	for i := range s.header {
		s.header[i] = strings.TrimSpace(s.header[i])
	}
	s.rows = slices.DeleteFunc(s.rows, func(rec []string) bool { return len(rec) != len(s.header) })
	if len(s.rows) == 0 {
		return nil, errors.New("no row has as many fields as the header")
	}
	return s, nil
}

func looksNumeric(f string, decimal byte) bool {
	v, reason := parseMilli([]byte(f), decimal, 1000)
	return reason == "" && v != Missing
}

func (s *sample) column(i int) []string {
	var out []string
	for _, r := range s.rows {
		if f := strings.TrimSpace(r[i]); f != "" {
			out = append(out, f)
		}
	}
	return out
}

func (s *sample) propose(m Mapping) (Mapping, []string, error) {
	if s.delimiter != ',' {
		m.Delimiter = string(s.delimiter)
	}
	if s.line > 1 {
		m.HeaderLine = s.line
	}
	m.Decimal = "."
	for i := range s.header {
		c := s.column(i)
		if len(c) > 0 && !all(c, func(f string) bool { return looksNumeric(f, '.') }) && all(c, func(f string) bool { return looksNumeric(f, ',') }) {
			m.Decimal = ","
		}
	}
	if m.Decimal == "." {
		m.Decimal = ""
	}
	if err := s.proposeTime(&m); err != nil {
		return m, s.notes, err
	}
	decimal := byte('.')
	if m.Decimal != "" {
		decimal = m.Decimal[0]
	}
	s.proposeSiteAndChannels(&m, func(i int) bool {
		c := s.column(i)
		return len(c) > 0 && all(c, func(f string) bool { return looksNumeric(f, decimal) })
	})
	s.proposeQuantities(&m, decimal)
	return m, s.notes, nil
}

func all(c []string, ok func(string) bool) bool {
	for _, f := range c {
		if !ok(f) {
			return false
		}
	}
	return true
}

// stampFormats are tried in this order.
var stampFormats = []string{
	"rfc3339",
	"2006-01-02 15:04:05", "2006-01-02 15:04", "2006/01/02 15:04:05", "2006/01/02 15:04",
	"02.01.2006 15:04:05", "02.01.2006 15:04", "2.1.2006 15:04",
	"02/01/2006 15:04:05", "02/01/2006 15:04", "2/1/2006 15:04",
	"01/02/2006 15:04:05", "01/02/2006 15:04", "1/2/2006 15:04", "1/2/2006 3:04 PM", "1/2/2006 3:04:05 PM",
	"02-01-2006 15:04", "02-Jan-2006 15:04", "2 Jan 2006 15:04",
}

// proposeTime finds the column of stamps: one that a format reads throughout,
// a telling name first.
func (s *sample) proposeTime(m *Mapping) error {
	order := make([]int, len(s.header))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return timeNameRank(s.header[a]) - timeNameRank(s.header[b]) })
	if i, j, format, ok := s.dateAndTime(order); ok {
		m.Time.Column, m.Time.TimeColumn, m.Time.Format = s.header[i], s.header[j], format
		var joined []string
		for _, r := range s.rows {
			joined = append(joined, strings.TrimSpace(r[i])+" "+strings.TrimSpace(r[j]))
		}
		s.proposeClock(m, joined)
		return nil
	}
	for _, i := range order {
		c := s.column(i)
		if len(c) == 0 {
			continue
		}
		if format, ok := s.stampFormat(c, s.header[i]); ok {
			m.Time.Column, m.Time.Format = s.header[i], format
			s.proposeClock(m, c)
			return nil
		}
	}
	s.note("no column reads as a stamp: if the rows follow each other, state time.start and time.step; else state time.column and time.format (a Go layout)")
	return nil
}

func timeNameRank(name string) int {
	n := strings.ToLower(name)
	for i, w := range []string{"utc", "start", "timestamp", "time", "date", "end"} {
		if strings.Contains(n, w) {
			return i
		}
	}
	return 9
}

func (s *sample) stampFormat(c []string, name string) (string, bool) {
	if all(c, func(f string) bool { return looksNumeric(f, '.') }) {
		// Numbers are stamps only where they are of our times.
		for _, f := range []string{"unix", "unix_ms"} {
			clock := newClock(Time{Format: f})
			if all(c, func(v string) bool {
				t, _, reason := clock.parse([]byte(v))
				return reason == "" && t > 946684800 && t < 4102444800
			}) {
				return f, true
			}
		}
		return "", false
	}
	var fit []string
	for _, f := range stampFormats {
		clock := newClock(Time{Format: f, Zone: "site"})
		if all(c, func(v string) bool { _, _, reason := clock.parse([]byte(v)); return reason == "" }) {
			fit = append(fit, f)
		}
	}
	if len(fit) == 0 {
		return "", false
	}
	dayFirst := slices.ContainsFunc(fit, func(f string) bool { return strings.HasPrefix(f, "02/01") || strings.HasPrefix(f, "2/1") })
	monthFirst := slices.ContainsFunc(fit, func(f string) bool { return strings.HasPrefix(f, "01/02") || strings.HasPrefix(f, "1/2") })
	if dayFirst && monthFirst {
		s.note("in column %q no day is above 12: it cannot be told whether the day or the month stands first; %s is proposed, confirm it", name, fit[0])
	}
	return fit[0], true
}

// dateAndTime finds a column of dates and one of times of day.
func (s *sample) dateAndTime(order []int) (date, clock int, format string, ok bool) {
	for _, i := range order {
		for _, j := range order {
			if i == j {
				continue
			}
			var joined []string
			for _, r := range s.rows {
				joined = append(joined, strings.TrimSpace(r[i])+" "+strings.TrimSpace(r[j]))
			}
			if looksNumeric(s.rows[0][i], '.') || strings.Contains(s.rows[0][i], ":") || !timeOfDay(s.rows[0][j]) {
				continue
			}
			if f, ok := s.stampFormat(joined, s.header[i]); ok {
				return i, j, f, true
			}
		}
	}
	return 0, 0, "", false
}

// timeOfDay tells whether a text is a time of day and no more.
func timeOfDay(f string) bool {
	s := isoText{[]byte(strings.TrimSpace(f))}
	_, ok := s.timeOfDay()
	return ok && strings.Contains(f, ":") && len(s.rest) == 0
}

// proposeClock tells the zone and whether stamps begin or end their intervals,
// as far as the stamps show it.
func (s *sample) proposeClock(m *Mapping, stamps []string) {
	clock := newClock(Time{Format: m.Time.Format, Zone: "site"})
	_, civil, _ := clock.parse([]byte(stamps[0]))
	if civil {
		m.Time.Zone = "site"
		s.note("the stamps carry no offset: the site's own clock is proposed; confirm time.zone (site, UTC or an IANA zone), for a file that keeps standard time all year states it")
	}
	if strings.Contains(strings.ToLower(m.Time.Column), "end") || slices.ContainsFunc(stamps, func(f string) bool { return strings.Contains(f, "24:00") }) {
		m.Time.Stamp = "end"
		s.note("the stamps look like the ends of the intervals: confirm time.stamp")
	} else {
		s.note("the stamps are taken for the beginnings of the intervals: confirm time.stamp (start or end)")
	}
}

func (s *sample) proposeSiteAndChannels(m *Mapping, numeric func(int) bool) {
	of := map[ingest.Channel][]string{} // the columns whose names tell a channel
	var channels []ingest.Channel
	var nets, values []string
	for i, h := range s.header {
		if h == m.Time.Column || h == m.Time.TimeColumn || !numeric(i) {
			continue
		}
		if saysNet(h) {
			nets = append(nets, h)
		} else if c, ok := channelOf(h); !ok {
			values = append(values, h)
		} else {
			if of[c] == nil {
				channels = append(channels, c)
			}
			of[c] = append(of[c], h)
		}
	}
	site := s.siteColumn(m, values)
	values = slices.DeleteFunc(values, func(h string) bool { return h == site })
	m.SiteID.Column = site
	switch {
	case site == "" && s.proposeWide(m, channels, of):
	case len(channels) > 0:
		for _, c := range channels {
			m.Channels = append(m.Channels, Channel{Channel: c, Column: of[c][0], Unit: unitOf(of[c][0])})
			for _, h := range of[c][1:] {
				s.note("column %q also looks like %s: only the first is proposed", h, c)
			}
		}
		for _, h := range nets {
			s.note("column %q looks like what crosses the meter at the grid: it is left out beside the others", h)
		}
	case len(nets) > 0:
		m.Channels = []Channel{{Channel: ingest.Import, Net: true, Column: nets[0], Unit: unitOf(nets[0])}}
		s.note("column %q is taken for net: positive is import, negative is export; confirm it and its sign", nets[0])
	case len(values) == 1 || len(values) > 0 && site != "":
		m.Channels = []Channel{{Channel: ingest.Consumption, Column: values[0], Unit: unitOf(values[0])}}
		s.note("column %q does not say what it measures: consumption is a guess; confirm it and site_id", values[0])
		for _, h := range values[1:] {
			s.note("column %q does not say what it measures either: it is left out", h)
		}
	case len(values) > 0:
		m.Layout = "wide"
		m.Channels = []Channel{{Channel: ingest.Consumption}}
		s.note("no column's name tells a channel, so every column of numbers is taken for a site (%d of them, the first %q): state which channel they are; consumption is a guess", len(values), values[0])
	default:
		s.note("no column of numbers was found: state channels")
	}
	if m.Layout != "wide" && len(m.Channels) > 0 && site == "" {
		m.SiteID.File = `(?P<site_id>[^/]+?)\.[^/]*$`
		s.note("no column names the site: the file's name is proposed; confirm site_id")
	}
	for i := range m.Channels {
		c := &m.Channels[i]
		switch c.Unit {
		case "W", "kW":
			c.Quantity = "power"
		case "":
			c.Unit = "kWh"
			s.note("the unit of %s is not in its column's name: kWh is a guess", c.Channel)
		}
	}
}

// siteColumn finds the column that names the site: one that is called so and
// holds nothing but ids. Of the columns of numbers it may be one of values only.
func (s *sample) siteColumn(m *Mapping, values []string) string {
	for _, called := range siteNamed {
		for i, h := range s.header {
			if h == m.Time.Column || h == m.Time.TimeColumn || !called.in(h) || unitOf(h) != "" || saysNet(h) {
				continue
			}
			if _, channel := channelOf(h); channel {
				continue
			}
			c := s.column(i)
			if len(s.rows) > 0 && (len(c) == 0 || !all(c, func(f string) bool { return idReason([]byte(f)) == "" })) {
				continue
			}
			if len(c) > 0 && looksNumeric(c[0], '.') && !slices.Contains(values, h) {
				continue
			}
			if len(c) == 0 || looksNumeric(c[0], '.') {
				return h
			}
			said := len(s.notes)
			_, isStamp := s.stampFormat(c, h)
			if s.notes = s.notes[:said]; !isStamp {
				return h
			}
		}
	}
	return ""
}

// proposeWide tells whether every channel has a column for each of the same
// sites, and if so maps them by what their names have in common.
func (s *sample) proposeWide(m *Mapping, channels []ingest.Channel, of map[ingest.Channel][]string) bool {
	var found []Channel
	for _, c := range channels {
		names := of[c]
		if len(names) < 2 || len(names) != len(of[channels[0]]) {
			return false
		}
		header, ok := wideHeader(names)
		if !ok {
			return false
		}
		found = append(found, Channel{Channel: c, Header: header, Unit: unitOf(names[0])})
	}
	if len(found) == 0 {
		return false
	}
	m.Layout, m.Channels = "wide", found
	s.note("the names of the columns seem to hold the sites (%d of them, the first column is %q): confirm the patterns, and that the sites are called so in sites.csv", len(of[channels[0]]), of[channels[0]][0])
	return true
}

// proposeQuantities looks at the values: a column that never falls is a counter,
// one that is below nothing is the net meter or counts the other way round.
func (s *sample) proposeQuantities(m *Mapping, decimal byte) {
	if m.Layout == "wide" {
		return
	}
	site := slices.Index(s.header, m.SiteID.Column)
	for i := range m.Channels {
		c := &m.Channels[i]
		at := slices.Index(s.header, c.Column)
		last := map[string]int64{}
		rose, fell, below, above := 0, 0, 0, 0
		for _, r := range s.rows {
			v, reason := parseMilli([]byte(r[at]), decimal, 1000)
			if reason != "" || v == Missing {
				continue
			}
			key := ""
			if site >= 0 {
				key = r[site]
			}
			if before, ok := last[key]; ok && v > before {
				rose++
			} else if ok && v < before {
				fell++
			}
			if v < 0 {
				below++
			} else if v > 0 {
				above++
			}
			last[key] = v
		}
		enough := 20
		if saysCounter(c.Column) {
			enough = 0 // nothing may have been counted for a night
		}
		switch {
		case fell == 0 && rose >= enough && c.Quantity != "power":
			c.Quantity = "counter"
			s.note("%s never falls in the sample: it is taken for a running counter; confirm quantity", c.Channel)
		case below > 0 && above == 0 && !c.Net:
			c.Sign = -1
			s.note("column %q is never above nothing: sign -1 is proposed for %s; confirm it", c.Column, c.Channel)
		case below > 0 && c.Channel == ingest.Consumption && len(m.Channels) == 1:
			c.Channel, c.Net = ingest.Import, true
			s.note("column %q is below nothing at times, as no consumption is: net (positive is import, negative is export) is proposed; confirm it", c.Column)
		case below > 0 && !c.Net:
			s.note("column %q is below nothing at times, as %s should not be: look at what it measures", c.Column, c.Channel)
		}
	}
}
