package readings

import (
	"cmp"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"rowen/ingest"
)

// Green Button: usage data as an Atom feed of ESPI resources. Entries are
// joined by their links, not by their order, and elements are told by their
// namespace, not by their prefix.
//
// Source: NAESB REQ.21 (ESPI), usage schema v4.0; methods.md section 14.

const (
	atomSpace = "http://www.w3.org/2005/Atom"
	espiSpace = "http://naesb.org/espi"

	// Bounds of what is taken in, all our choice: a year of minutes has half a
	// million readings of about 250 bytes.
	maxXMLBytes = 1 << 30
	maxXMLDepth = 32
	maxXMLText  = 4096 // of one element that is looked at
)

// gbEntry is one Atom entry that matters.
type gbEntry struct {
	self, up string
	related  []string
	kind     string // UsagePoint, MeterReading, ReadingType, IntervalBlock, ...
	fields   map[string]int64
	text     map[string]string
	block    []gbReading
	start    int64 // of the block's interval
	hasStart bool
}

// gbReading is one IntervalReading.
type gbReading struct {
	start, value      int64
	seconds           int32
	quality           int16 // -1: not said
	hasTime, hasValue bool
	line              int32
}

// gbReader walks the XML.
type gbReader struct {
	dec     *xml.Decoder
	depth   int
	entries []*gbEntry
}

func (f *File) readGreenButton(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	site, err := f.siteOfXML()
	if err != nil {
		return Tally{}, err
	}
	in, err := openText(f.abs)
	if err != nil {
		return Tally{}, err
	}
	defer in.Close()
	r := &gbReader{dec: xml.NewDecoder(&bounded{in: in, left: maxXMLBytes})}
	if err := r.feed(ctx); err != nil {
		return Tally{}, fmt.Errorf("line %d: %w", lineOf(r.dec), err)
	}
	g := &gbFile{file: f, limits: o, emit: emit, site: names.Number(site), siteID: site}
	err = g.join(r.entries)
	return g.tally, err
}

func lineOf(d *xml.Decoder) int {
	line, _ := d.InputPos()
	return line
}

// siteOfXML: the file says nothing of the installer's site ids; the mapping
// does.
func (f *File) siteOfXML() (string, error) {
	m := f.mapping.SiteID
	id, err := m.Value, error(nil)
	if m.File != "" && id == "" {
		id, err = siteOfFile(m.File, f.Path)
	} else if id == "" {
		id, err = siteOfFile(`(?P<site_id>[^/]+?)\.[^/]*$`, f.Path)
	}
	if err != nil {
		return "", err
	}
	if reason := idReason([]byte(id)); reason != "" {
		return "", fmt.Errorf("site id %q from the file's name: %s: give site_id in the mapping", clip([]byte(id)), reason)
	}
	return id, nil
}

// token gives the next token, and keeps the depth in bounds. A document type
// is refused: it is where entities are made up that expand without end.
func (r *gbReader) token() (xml.Token, error) {
	t, err := r.dec.Token()
	if err != nil {
		return nil, err
	}
	switch t.(type) {
	case xml.StartElement:
		if r.depth++; r.depth > maxXMLDepth {
			return nil, fmt.Errorf("elements are nested deeper than %d", maxXMLDepth)
		}
	case xml.EndElement:
		r.depth--
	case xml.Directive:
		return nil, errors.New("a document type declaration is not allowed")
	}
	return t, nil
}

// feed reads all entries.
func (r *gbReader) feed(ctx context.Context) error {
	seen := false
	for n := 0; ; n++ {
		t, err := r.token()
		if errors.Is(err, io.EOF) {
			if !seen {
				return errors.New("the file is no Green Button feed: it holds no ESPI resource")
			}
			return nil
		}
		if err != nil {
			return err
		}
		start, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		if n%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if start.Name.Local == "entry" && start.Name.Space == atomSpace {
			e, err := r.entry()
			if err != nil {
				return err
			}
			if e.kind != "" {
				seen = true
				r.entries = append(r.entries, e)
			}
		}
	}
}

// entry reads one entry after its start.
func (r *gbReader) entry() (*gbEntry, error) {
	e := &gbEntry{fields: map[string]int64{}, text: map[string]string{}}
	for outer := r.depth; ; {
		t, err := r.token()
		if err != nil {
			return nil, unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			if r.depth < outer {
				return e, nil
			}
		case xml.StartElement:
			switch {
			case t.Name.Space == atomSpace && t.Name.Local == "link":
				e.link(t)
			case t.Name.Space == espiSpace && e.kind == "":
				e.kind = t.Name.Local
				if err := r.resource(e); err != nil {
					return nil, err
				}
			}
		}
	}
}

func unexpectedEnd(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

func (e *gbEntry) link(t xml.StartElement) {
	rel, href := "", ""
	for _, a := range t.Attr {
		switch a.Name.Local {
		case "rel":
			rel = a.Value
		case "href":
			href = strings.TrimSuffix(a.Value, "/")
		}
	}
	switch rel {
	case "self":
		e.self = href
	case "up":
		e.up = href
	case "related":
		e.related = append(e.related, href)
	}
}

// resource reads the content of an entry: its plain fields by name, and an
// IntervalBlock's readings.
func (r *gbReader) resource(e *gbEntry) error {
	var path []string
	for outer := r.depth; ; {
		t, err := r.token()
		if err != nil {
			return unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			if r.depth < outer {
				return nil
			}
			if len(path) > 0 {
				path = path[:len(path)-1]
			}
		case xml.StartElement:
			if e.kind == "IntervalBlock" && t.Name.Space == espiSpace && t.Name.Local == "IntervalReading" {
				if err := r.intervalReading(e); err != nil {
					return err
				}
				continue
			}
			path = append(path, t.Name.Local)
		case xml.CharData:
			s := strings.TrimSpace(string(t[:min(len(t), maxXMLText)]))
			if s == "" || len(path) == 0 {
				continue
			}
			name := path[len(path)-1]
			if e.kind == "IntervalBlock" && name == "start" {
				if e.start, err = strconv.ParseInt(s, 10, 64); err != nil {
					return fmt.Errorf("start %q of a block must be whole seconds", clip([]byte(s)))
				}
				e.hasStart = true
			}
			e.text[name] = s
			if v, err := strconv.ParseInt(s, 10, 64); err == nil {
				e.fields[name] = v
			}
		}
	}
}

// intervalReading reads one after its start.
func (r *gbReader) intervalReading(e *gbEntry) error {
	g := gbReading{quality: -1, line: int32(lineOf(r.dec))}
	var path []string
	for outer := r.depth; ; {
		t, err := r.token()
		if err != nil {
			return unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			if r.depth < outer {
				e.block = append(e.block, g)
				return nil
			}
			if len(path) > 0 {
				path = path[:len(path)-1]
			}
		case xml.StartElement:
			path = append(path, t.Name.Local)
		case xml.CharData:
			if len(path) == 0 {
				continue
			}
			name := path[len(path)-1]
			if name != "value" && name != "start" && name != "duration" && name != "quality" {
				continue
			}
			s := strings.TrimSpace(string(t[:min(len(t), maxXMLText)]))
			if s == "" {
				continue
			}
			v, err := strconv.ParseInt(s, 10, 64)
			if err != nil {
				continue // the reading stays without it, and is set aside
			}
			switch name {
			case "value":
				g.value, g.hasValue = v, v > -1<<47 && v < 1<<47 // 48 bits
			case "start":
				g.start, g.hasTime = v, true
			case "duration":
				if v > 0 && v < math.MaxInt32 {
					g.seconds = int32(v)
				}
			case "quality":
				g.quality = worseQuality(g.quality, v)
			}
		}
	}
}

// worseQuality keeps the one of several qualities that casts the most doubt.
func worseQuality(a int16, b int64) int16 {
	if b < 0 || b > 99 {
		return a
	}
	if rank := func(q int16) int {
		switch f := qualityFlag(int64(q)); {
		case q < 0:
			return -1
		case f&Suspect != 0:
			return 2
		case f&Estimated != 0:
			return 1
		}
		return 0
	}; rank(int16(b)) > rank(a) {
		return int16(b)
	}
	return a
}

// qualityFlag: estimated by reference day (8), interpolated (9), projected
// (12), normalised for weather (15) are estimates; questionable is 10.
func qualityFlag(q int64) Flag {
	switch q {
	case 8, 9, 12, 15:
		return Estimated
	case 10:
		return Suspect
	}
	return 0
}

// gbFile joins the entries and emits the readings.
type gbFile struct {
	file   *File
	limits Limits
	emit   func(*Batch) error
	site   int32
	siteID string
	batch  *Batch
	tally  Tally
}

// gbMeter is one MeterReading with its type and blocks.
type gbMeter struct {
	entry   *gbEntry
	typ     *gbEntry
	blocks  []*gbEntry
	n       int // readings
	channel ingest.Channel
	net     bool
	order   int
}

func (g *gbFile) join(entries []*gbEntry) error {
	g.batch = newBatch([ingest.NumChannels]bool{ingest.Import: true, ingest.Export: true})
	meters := g.meters(entries)
	meters = g.usable(entries, meters)
	var rows []gbRow
	for _, m := range meters {
		rows = append(rows, g.rows(m)...)
	}
	g.clock(entries)
	return g.emitRows(rows)
}

// meters joins blocks and types to their MeterReading.
func (g *gbFile) meters(entries []*gbEntry) []*gbMeter {
	var list []*gbMeter
	bySelf, byRelated := map[string]*gbMeter{}, map[string]*gbMeter{}
	types := map[string]*gbEntry{}
	for _, e := range entries {
		switch e.kind {
		case "MeterReading":
			m := &gbMeter{entry: e, order: len(list)}
			list = append(list, m)
			bySelf[e.self] = m
			for _, h := range e.related {
				byRelated[h] = m
			}
		case "ReadingType":
			types[e.self] = e
		}
	}
	for _, m := range list {
		for _, h := range m.entry.related {
			if t := types[h]; t != nil {
				m.typ = t
			}
		}
		if m.typ == nil && len(types) == 1 && len(list) == 1 {
			for _, t := range types {
				m.typ = t
			}
		}
	}
	lost := 0
	for _, e := range entries {
		if e.kind != "IntervalBlock" {
			continue
		}
		m := byRelated[e.up]
		if m == nil {
			m = byRelated[e.self]
		}
		if m == nil {
			m = bySelf[strings.TrimSuffix(e.up, "/IntervalBlock")]
		}
		if m == nil && len(list) == 1 {
			m = list[0]
		}
		if m == nil {
			lost += len(e.block)
			continue
		}
		m.blocks = append(m.blocks, e)
		m.n += len(e.block)
	}
	if lost > 0 {
		g.setAside(lost, "the block's links lead to no MeterReading of the file")
	}
	return list
}

// setAside counts readings that are not used, with one reject for all.
func (g *gbFile) setAside(n int, reason string) {
	if n == 0 {
		return
	}
	g.tally.Rows += int64(n)
	g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Reason: reason})
	g.tally.SetAside += int64(n) - 1
}

// usable keeps the meter readings that are this site's grid energy, one for
// each direction; what is left out is set aside with its reason.
func (g *gbFile) usable(entries []*gbEntry, meters []*gbMeter) []*gbMeter {
	point := g.usagePoint(entries, meters)
	var good []*gbMeter
	for _, m := range meters {
		if reason := m.refuse(); reason != "" {
			g.setAside(m.n, reason)
		} else if p := usagePointOf(m.entry, entries); p != nil && point != nil && p != point {
			g.setAside(m.n, "a second usage point stands in the file: export one file for each meter")
		} else {
			good = append(good, m)
		}
	}
	// The finest step of a direction stays; a daily total beside it is the
	// same energy again. Of two at the same step only the first is taken.
	slices.SortStableFunc(good, func(a, b *gbMeter) int {
		if c := cmp.Compare(a.flowKey(), b.flowKey()); c != 0 {
			return c
		}
		return cmp.Compare(a.typ.fields["intervalLength"], b.typ.fields["intervalLength"])
	})
	var kept []*gbMeter
	for _, m := range good {
		if len(kept) > 0 && kept[len(kept)-1].flowKey() == m.flowKey() {
			last := kept[len(kept)-1]
			reason := "a second meter reading of the same direction is not added up: it may be a part or the same energy again"
			if last.typ.fields["intervalLength"] < m.typ.fields["intervalLength"] {
				reason = "a coarser total beside the interval readings of the same direction: the same energy again"
			}
			g.setAside(m.n, reason)
			continue
		}
		kept = append(kept, m)
	}
	net := slices.ContainsFunc(kept, func(m *gbMeter) bool { return m.net })
	if net && len(kept) > 1 {
		// Delivered or received stand beside the net: the net says nothing more.
		kept = slices.DeleteFunc(kept, func(m *gbMeter) bool {
			if m.net {
				g.setAside(m.n, "a net reading beside the readings by direction: the same energy again")
			}
			return m.net
		})
	}
	return kept
}

func (m *gbMeter) flowKey() int {
	if m.net {
		return int(ingest.NumChannels)
	}
	return int(m.channel)
}

// usagePoint is the first electricity usage point.
func (g *gbFile) usagePoint(entries []*gbEntry, meters []*gbMeter) *gbEntry {
	for _, m := range meters {
		if p := usagePointOf(m.entry, entries); p != nil && m.refuse() == "" {
			if kind, ok := p.fields["kind"]; !ok || kind == 0 {
				return p
			}
		}
	}
	return nil
}

func usagePointOf(meter *gbEntry, entries []*gbEntry) *gbEntry {
	for _, e := range entries {
		if e.kind != "UsagePoint" {
			continue
		}
		if slices.Contains(e.related, meter.up) || slices.Contains(e.related, meter.self) || e.self != "" && e.self == strings.TrimSuffix(meter.up, "/MeterReading") {
			return e
		}
	}
	return nil
}

// refuse tells why a meter reading is not grid energy; it also settles the
// direction.
func (m *gbMeter) refuse() string {
	t := m.typ
	if t == nil {
		return "the meter reading's links lead to no ReadingType of the file: its unit is not known"
	}
	f := t.fields
	if c, ok := f["commodity"]; ok && c != 0 && c != 1 && c != 2 {
		return fmt.Sprintf("commodity %d is not electricity", c)
	}
	switch uom := f["uom"]; {
	case uom == 72:
	case uom == 38 && f["dataQualifier"] == 8:
		return "a maximum demand is no energy"
	case uom == 38:
	default:
		return fmt.Sprintf("unit of measure %d is not Wh (72) or W (38)", uom)
	}
	switch k, ok := f["kind"]; {
	case !ok, k == 12, k == 0, k == 37, k == 8 && f["uom"] == 38:
	default:
		return fmt.Sprintf("kind %d is not energy (12) or power (37)", k)
	}
	switch f["flowDirection"] {
	case 1:
		m.channel = ingest.Import
	case 19:
		m.channel = ingest.Export
	case 4:
		m.channel, m.net = ingest.Import, true
	case 0:
		m.channel, m.net = ingest.Import, m.negative()
	case 20:
		return "flow direction 20 is the sum of both directions: import and export cannot be told apart"
	default:
		return fmt.Sprintf("flow direction %d is not one of 0, 1, 4, 19", f["flowDirection"])
	}
	if m := f["powerOfTenMultiplier"]; m < -12 || m > 9 {
		return fmt.Sprintf("power of ten multiplier %d must be from -12 to 9", m)
	}
	return ""
}

func (m *gbMeter) negative() bool {
	for _, b := range m.blocks {
		for _, r := range b.block {
			if r.value < 0 {
				return true
			}
		}
	}
	return false
}

// gbRow is one reading with its meaning.
type gbRow struct {
	start   int64
	seconds int32
	milli   int64
	flags   Flag
	line    int32
	channel ingest.Channel
	net     bool
}

// rows turns a meter's readings into energies. Registers (accumulation 1, 3
// and 9) are differenced; a fall or a hole leaves the interval out.
func (g *gbFile) rows(m *gbMeter) []gbRow {
	f := m.typ.fields
	length := f["intervalLength"]
	var rows []gbRow
	for _, b := range m.blocks {
		at := b.start
		for _, r := range b.block {
			g.tally.Rows++
			if r.hasTime {
				at = r.start
			}
			sec := int64(r.seconds)
			if sec == 0 {
				sec = length
			}
			reason := ""
			switch {
			case !r.hasValue:
				reason = "the reading has no value, or one of more than 48 bits"
			case !r.hasTime && !b.hasStart:
				reason = "neither the reading nor its block says when it begins"
			case sec <= 0 || sec > 2*day:
				reason = "the reading's length is not known, or longer than two days"
			case at < minUnix || at >= maxUnix:
				reason = "the reading begins outside the years 1970 to 2200"
			}
			quality := int64(r.quality)
			if quality < 0 {
				quality = f["defaultQuality"]
			}
			milli := int64(0)
			if reason == "" {
				milli, reason = gbMilli(r.value, f["powerOfTenMultiplier"], f["uom"] == 38, sec)
			}
			if reason != "" {
				g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Line: int(r.line), Reason: reason})
				at += sec
				continue
			}
			rows = append(rows, gbRow{at, int32(sec), milli, qualityFlag(quality), r.line, m.channel, m.net})
			at += sec
		}
	}
	if a := f["accumulationBehaviour"]; a == 1 || a == 3 || a == 9 {
		rows = g.difference(rows)
	}
	return rows
}

// gbMilli gives value x 10^multiplier in milli-Wh; of a power, over its length.
func gbMilli(value, multiplier int64, power bool, seconds int64) (int64, string) {
	x := float64(value) * math.Pow10(int(multiplier)+3)
	if multiplier >= -3 && multiplier <= 9 && value > -maxMilli && value < maxMilli {
		// Exact where it can be.
		if m := pow10[multiplier+3]; m != 0 && (value == 0 || math.Abs(x) < 1<<53) {
			x = float64(value * m)
		}
	}
	if power {
		x = x * float64(seconds) / 3600
	}
	if math.Abs(x) > maxMilli {
		return 0, "the value is more than 100 GWh: check its multiplier"
	}
	return int64(math.Round(x)), ""
}

// difference turns a register's values into the energy up to the next one.
func (g *gbFile) difference(rows []gbRow) []gbRow {
	slices.SortStableFunc(rows, func(a, b gbRow) int { return cmp.Compare(a.start, b.start) })
	var out []gbRow
	for i, r := range rows {
		reason := ""
		switch {
		case i+1 == len(rows):
			reason = "the last value of a register only ends the interval before it"
		case rows[i+1].milli < r.milli:
			reason = "the register fell: it was reset, the interval is left out"
		case rows[i+1].start-r.start != int64(r.seconds):
			reason = "the register's next value does not follow at once: the interval is left out"
		}
		if reason != "" {
			g.tally.reject(g.limits, ingest.Reject{File: g.file.Path, Line: int(r.line), Reason: reason})
			continue
		}
		r.milli = rows[i+1].milli - r.milli
		r.flags |= rows[i+1].flags
		out = append(out, r)
	}
	return out
}

// emitRows emits the rows; import and export of one interval stay two rows,
// which the ledger makes one of.
func (g *gbFile) emitRows(rows []gbRow) error {
	for _, r := range rows {
		vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		flags := r.flags
		if r.net {
			vals[ingest.Import], vals[ingest.Export] = max(r.milli, 0), max(-r.milli, 0)
			flags |= Netted
		} else {
			vals[r.channel] = r.milli
		}
		g.batch.add(g.site, r.start, r.line, flags, r.seconds, &vals)
		if g.batch.full() {
			if err := g.flush(); err != nil {
				return err
			}
		}
	}
	return g.flush()
}

func (g *gbFile) flush() error {
	if g.batch.Len() == 0 {
		return nil
	}
	err := g.emit(g.batch)
	g.batch.reset()
	return err
}

// clock notes the file's own idea of local time. Readings are in UTC: it is
// only compared with the site's zone.
func (g *gbFile) clock(entries []*gbEntry) {
	for _, e := range entries {
		if e.kind != "LocalTimeParameters" && e.kind != "TimeConfiguration" {
			continue
		}
		if offset, ok := e.fields["tzOffset"]; ok {
			g.tally.Clock = &ClockClaim{SiteID: g.siteID, OffsetSeconds: offset, DST: dstText(e.text["dstStartRule"])}
			return
		}
	}
}

// ClockClaim is what a file says of the local clock at its site.
type ClockClaim struct {
	SiteID        string
	OffsetSeconds int64 // standard time from UTC
	DST           bool  // there is a rule for summer time
}

func dstText(hex string) bool {
	_, ok := parseDSTRule(hex)
	return ok
}

// dstRule is a clock change as ESPI encodes it.
type dstRule struct {
	month, operator, dayOfMonth, dayOfWeek, hour, seconds int
}

// parseDSTRule decodes eight hexadecimal digits: bits 0 to 11 seconds, 12 to
// 16 hour, 17 to 19 day of the week (Monday 1), 20 to 24 day of the month, 25
// to 27 operator, 28 to 31 month. FFFFFFFF is no rule.
func parseDSTRule(hex string) (dstRule, bool) {
	v, err := strconv.ParseUint(hex, 16, 32)
	if err != nil || v == 0xffffffff || v == 0 {
		return dstRule{}, false
	}
	bits := func(from, n uint) int { return int(v >> from & (1<<n - 1)) }
	return dstRule{bits(28, 4), bits(25, 3), bits(20, 5), bits(17, 3), bits(12, 5), bits(0, 12)}, true
}
