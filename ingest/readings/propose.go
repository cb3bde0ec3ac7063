package readings

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/parquet-go/parquet-go"
)

// Proposal is what an unknown export seems to be. Mapping holds what the file
// shows; where Questions is not empty, it must not be used before they are
// answered.
type Proposal struct {
	Mapping   Mapping
	Notes     []string   // what a person should confirm
	Questions []Question // what the file does not tell
	Bills     *Bills     // the rows are utility bills and no readings; nil: they are readings
	NotUsed   []string   // columns that the mapping leaves out
}

// Question is a key of the mapping whose value the file does not tell.
type Question struct {
	Key     string // as channels.import.unit
	Says    string
	Answers []Answer
}

// Answer is one way to answer, with what it would mean.
type Answer struct{ Value, Means string }

// Propose looks at an unknown file and proposes a mapping. It decides only what
// the file shows: of two readings that fit equally it asks.
func Propose(path string) (Proposal, error) {
	var o Limits // the usual ones: an unknown export comes before any settings
	ext := strings.ToLower(filepath.Ext(path))
	if isPacked(path) {
		ext = strings.ToLower(filepath.Ext(strings.TrimSuffix(path, filepath.Ext(path))))
	}
	m := Mapping{Glob: "readings/**/*" + ext, Format: "csv"}
	switch ext {
	case ".xml":
		m.Format, m.SiteID.File = "green_button", fileIsSite
		return Proposal{Mapping: m, Notes: []string{"Green Button states units, directions and times itself; confirm that the file's name is the site id"}}, nil
	case ".parquet":
		return proposeParquet(path, m)
	case ".json", ".xlsx":
		m.Format = ext[1:]
	default:
		if p, ok, err := proposeNEM(path, m, o); ok || err != nil {
			return p, err
		}
	}
	in, err := openCells(path, Mapping{}, o)
	if err != nil {
		return Proposal{}, err
	}
	defer in.Close()
	records, err := readSample(in)
	if err != nil {
		return Proposal{}, err
	}
	s, err := newSample(records)
	if err != nil {
		return Proposal{}, err
	}
	if m.Format == "json" {
		s.unit = unitBeside(path, o)
	}
	if l, ok := in.(*lineReader); ok && l.delim != ',' {
		m.Delimiter = string(l.delim)
	}
	return s.propose(m)
}

const fileIsSite = `(?P<site_id>[^/]+?)\.[^/]*$`

const nemHead = 64 << 10

func proposeNEM(path string, m Mapping, o Limits) (Proposal, bool, error) {
	in, err := openText(path, o)
	if err != nil {
		return Proposal{}, false, err
	}
	defer in.Close()
	head, err := bufio.NewReaderSize(in, nemHead).Peek(nemHead)
	if err != nil && !errors.Is(err, io.EOF) {
		return Proposal{}, false, err
	}
	if !isNEM(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))) {
		return Proposal{}, false, nil
	}
	p := Proposal{Mapping: m, Notes: []string{"NEM12 states units, directions and times itself; its NMI is taken for the site id unless site_id says otherwise"}}
	p.Mapping.Format = "nem12"
	if nmi := nemNMI.FindSubmatch(head); nmi != nil && idReason(nmi[1]) != "" {
		p.Mapping.SiteID.File = fileIsSite
		p.Notes = append(p.Notes, "the NMI of the file is no site id: the file's name is proposed; confirm site_id")
	}
	return p, true, nil
}

var nemNMI = regexp.MustCompile(`(?m)^200,([^,]*),`)

// columnKind is what a Parquet column may be used for.
func proposeParquet(path string, m Mapping) (Proposal, error) {
	f := &File{abs: path, Format: "parquet"}
	var err error
	if f.Size, err = fileSize(path); err != nil {
		return Proposal{}, err
	}
	in, err := f.openParquet()
	if err != nil {
		return Proposal{}, err
	}
	defer in.close()
	m.Format = "parquet"
	s := &sample{}
	p := proposal{Proposal: Proposal{Mapping: m}, shown: shown{s: s, number: numbers{decimal: "."}}}
	m2 := &p.Mapping
	numeric := map[int]bool{}
	for i, c := range in.Root().Columns() {
		s.header, s.units = append(s.header, c.Name()), append(s.units, "")
		if !c.Leaf() {
			continue
		}
		switch logical := c.Type().LogicalType(); {
		case logical != nil && strings.HasPrefix(logical.String(), "TIMESTAMP") && m2.Time.Column == "":
			m2.Time.Column = c.Name()
			if strings.Contains(logical.String(), "isAdjustedToUTC=false") {
				p.ask("time.zone", "the timestamps carry no zone", Answer{"site", "the site's own clock, with summer time"}, Answer{"UTC", "UTC"})
			}
		case c.Type().PhysicalType() == nil: // a damaged schema calls it a map or a list
		case slices.Contains([]parquet.Kind{parquet.Double, parquet.Float, parquet.Int32, parquet.Int64}, c.Type().Kind()):
			numeric[i] = true
		}
	}
	if m2.Time.Column == "" {
		i := slices.IndexFunc(s.header, func(h string) bool { return timeNameRank(h) < 7 })
		if i < 0 {
			return Proposal{}, errors.New("no column is a timestamp and none is named like one: state time.column and time.format")
		}
		m2.Time.Column, m2.Time.Format, m2.Time.Zone = s.header[i], "rfc3339", "site"
		p.note("column %q holds stamps as text: confirm time.format and time.zone", s.header[i])
	}
	p.siteAndChannels(func(i int) bool { return numeric[i] && s.header[i] != m2.Time.Column })
	return p.Proposal, nil
}

// shown is what the sample shows by itself.
type shown struct {
	s      *sample
	stamps stamps
	number numbers
}

// proposal is a Proposal in the making, from what the sample shows.
type proposal struct {
	Proposal
	shown
}

func (p *proposal) note(format string, a ...any) {
	p.Notes = append(p.Notes, fmt.Sprintf(format, a...))
}

func (p *proposal) ask(key, says string, answers ...Answer) {
	p.Questions = append(p.Questions, Question{key, says, answers})
}

func (s *sample) propose(m Mapping) (Proposal, error) {
	p := proposal{Proposal: Proposal{Mapping: m}, shown: shown{s: s}}
	if days := intervalColumns(s.header); len(days) >= 20 {
		return p.days(days)
	}
	var ok bool
	if p.stamps, ok = s.proposeTime(); !ok {
		return p.Proposal, errors.New("no column reads as a stamp: if the rows follow each other, state time.start and time.step; else state time.column and time.format (a Go layout)")
	}
	p.placeHeader()
	if s.again > 0 {
		p.ask("tables", fmt.Sprintf("the header stands %d times: the file holds several tables, perhaps of several meters", s.again+1),
			Answer{"split", "each table into a file of its own, then look again"}, Answer{"one", "the tables follow each other in time: nothing to do"})
	}
	p.numbers()
	if step := p.stamps.stepOf(); step >= 20*86400 {
		p.bills()
		return p.Proposal, nil
	}
	p.clock()
	p.siteAndChannels(p.isValue)
	p.quantities()
	p.units()
	if column := phaseColumn(p.Mapping.Channels); column != "" {
		p.ask("phases", fmt.Sprintf("column %q seems to be one phase of several", column),
			Answer{"one", "the home has this phase only, or the file holds all of them"}, Answer{"several", "there is a file per phase: add them up to one before they are read"})
	}
	p.leftOver()
	return p.Proposal, nil
}

// placeHeader says where the header and the first row stand.
func (p *proposal) placeHeader() {
	s, m := p.s, &p.Mapping
	switch {
	case m.Format == "json":
	case s.line == 0:
		m.NoHeader = true
	case s.line > 1:
		m.HeaderLine = s.line
	}
	if m.Format != "json" && s.line > 0 && s.dataLine > s.line+1 {
		m.DataLine = s.dataLine
	}
	if s.line == 0 && s.dataLine > 1 {
		m.DataLine = s.dataLine
	}
	if n := len(s.sheets); n > 1 {
		m.SiteID.Sheet = `^(?P<site_id>.+)$`
		p.note("the workbook has %d sheets (%s): each is taken for a site; confirm site_id.sheet", n, nameList(s.sheets))
	}
}

// isValue tells whether a column may hold values: numbers throughout, and no
// stamps.
func (f *shown) isValue(i int) bool {
	if i == f.stamps.column || i == f.stamps.clock {
		return false
	}
	c := f.s.column(i)
	return len(c) > 0 && all(c, isNumeric) && !all(c, looksStamped)
}

// numbers finds how the columns of values are written, all of them together.
func (p *proposal) numbers() {
	var cells []string
	for i := range p.s.header {
		if p.isValue(i) && !isConstant(p.s.column(i)) {
			cells = append(cells, p.s.column(i)...)
		}
	}
	p.number = numbersIn(cells)
	if p.number.unsure {
		plain := strings.NewReplacer(",", "", ".", "").Replace(p.number.example)
		comma := strings.Replace(p.number.example, ",", ".", 1)
		other := map[string]string{",": ".", ".": ","}[p.number.decimal]
		p.ask("decimal", fmt.Sprintf("%q may be %s or %s", p.number.example, comma, plain),
			Answer{p.number.decimal, comma + ", a decimal sign"}, Answer{other + " with thousands: " + p.number.decimal, plain + ", a sign between thousands"})
	}
	if p.number.decimal == "," {
		p.Mapping.Decimal = ","
	}
	p.Mapping.Thousands = p.number.thousands
}

var namesUTC = regexp.MustCompile(`(?i)\b(utc|gmt)\b|(^|_)utc(_|$)`)

func isConstant(cells []string) bool {
	return len(cells) > 5 && all(cells, func(c string) bool { return c == cells[0] })
}

// clock fills the mapping's time from the stamps.
func (p *proposal) clock() {
	t, st, s := &p.Mapping.Time, p.stamps, p.s
	t.Column, t.Format, t.Pattern = s.header[st.column], st.format, st.pattern
	if st.clock >= 0 {
		t.TimeColumn = s.header[st.clock]
	}
	if st.unsure {
		other := strings.NewReplacer("02/01", "01/02", "2/1", "1/2").Replace(st.format)
		p.ask("time.format", fmt.Sprintf("%q may be the month or the day first", st.texts[0]), Answer{st.format, "the day stands first"}, Answer{other, "the month stands first"})
	}
	if st.civil && namesUTC.MatchString(t.Column) {
		t.Zone = "UTC"
	} else if st.civil {
		t.Zone = "site"
		p.note("the stamps carry no offset: the site's own clock is proposed; confirm time.zone (site, UTC or an IANA zone)")
	}
	switch {
	case saysEnd(t.Column) || st.endsIntervals():
		t.Stamp = "end"
		p.note("the stamps look like the ends of the intervals: confirm time.stamp")
	default:
		p.note("the stamps are taken for the beginnings of the intervals: confirm time.stamp (start or end)")
	}
	for i, h := range s.header {
		if c := s.column(i); i != st.column && st.clock < 0 && st.pattern == "" && saysEnd(h) && len(c) == len(s.rows) {
			if end, ok := readAs(c); ok && end.format == st.format {
				t.EndColumn = h
			}
		}
	}
}

// days proposes a row per day with a column per interval.
func (p *proposal) days(columns [][2]int) (Proposal, error) {
	s, m := p.s, &p.Mapping
	isInterval := map[int]bool{}
	var cells []string
	for _, c := range columns {
		isInterval[c[0]] = true
		cells = append(cells, s.column(c[0])...)
	}
	for i := range s.header {
		if st, ok := s.stampColumn(i); ok && !isInterval[i] {
			p.stamps = st
			break
		}
	}
	if p.stamps.texts == nil {
		return p.Proposal, errors.New("the columns are the intervals of a day, and no column reads as the date: state time.column and time.format")
	}
	p.placeHeader()
	m.Layout = "days"
	p.number = numbersIn(cells)
	if p.number.decimal == "," {
		m.Decimal = ","
	}
	m.Thousands = p.number.thousands
	p.clock()
	if m.Time.Format != "rfc3339" {
		m.Time.Format += " 15:04"
	}
	if columns[0][1] > 0 && len(columns) > 1 && columns[0][1] == columns[1][1]-columns[0][1] {
		m.Time.Stamp = "end"
		p.note("the first column is one interval past midnight: the columns are taken for the ends of the intervals; confirm time.stamp")
	}
	for k, q := range p.Questions {
		if q.Key == "time.format" {
			for i := range q.Answers {
				p.Questions[k].Answers[i].Value += " 15:04"
			}
		}
	}
	p.unnamedChannel("", cells)
	p.units()
	p.fileOrColumnSite(func(i int) bool { return isInterval[i] || i == p.stamps.column })
	return p.Proposal, nil
}

// leftOver lists the columns that the mapping does not use.
func (p *proposal) leftOver() {
	if p.Mapping.Layout == "wide" {
		return
	}
	m := &p.Mapping
	used := []string{m.Time.Column, m.Time.TimeColumn, m.Time.EndColumn, m.SiteID.Column, m.Register, m.Scale}
	for _, c := range m.Channels {
		used = append(used, c.Column)
		for a := range strings.SplitSeq(c.Also, "|") {
			used = append(used, strings.TrimSpace(a))
		}
	}
	for i, h := range p.s.header {
		if !slices.Contains(used, h) && len(p.s.column(i)) > 0 {
			p.NotUsed = append(p.NotUsed, h)
		}
	}
}
