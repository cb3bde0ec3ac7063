package readings

import (
	"bufio"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
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
	maxXMLBytes    = 1 << 30
	maxXMLDepth    = 32
	maxXMLText     = 4096 // of one element that is looked at
	maxXMLEntries  = 200_000
	maxXMLReadings = 4_000_000 // seven years of minutes
	maxXMLFields   = 256       // of one entry, and its links
	maxXMLKept     = 128 << 20 // bytes of text and links, of all entries
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
	in       *xmlBytes
	dec      *xml.Decoder
	depth    int
	entries  []*gbEntry
	readings int
	kept     int // bytes of text and links
}

// xmlBytes gives a decoder its bytes one by one, and no more for one token than
// a budget: the decoder itself would hold a text, a comment or an attribute of
// any length.
type xmlBytes struct {
	in         *bufio.Reader
	left, most int
}

func (x *xmlBytes) ReadByte() (byte, error) {
	if x.left--; x.left < 0 {
		return 0, tooLong(x.most)
	}
	return x.in.ReadByte()
}

func (x *xmlBytes) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	b, err := x.ReadByte()
	if err != nil {
		return 0, err
	}
	p[0] = b
	return 1, nil
}

func newGBReader(in io.Reader, o Limits) *gbReader {
	x := &xmlBytes{in: bufio.NewReaderSize(in, 64<<10), most: o.lineBytes()}
	return &gbReader{in: x, dec: xml.NewDecoder(x)}
}

func (f *File) readGreenButton(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	site, err := f.siteOfXML()
	if err != nil {
		return Tally{}, err
	}
	in, err := openText(f.abs, f.limits)
	if err != nil {
		return Tally{}, err
	}
	defer in.Close()
	r := newGBReader(&bounded{in: in, left: maxXMLBytes, ratio: f.limits.ratio()}, f.limits)
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
	r.in.left = r.in.most
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
			if len(r.entries) > maxXMLEntries {
				return fmt.Errorf("the file has more than %d entries: export it in several files", maxXMLEntries)
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
				if err := r.keep(len(e.self) + len(e.up)); err != nil {
					return nil, err
				}
			case t.Name.Space == espiSpace && e.kind == "":
				e.kind = t.Name.Local
				if err := r.resource(e); err != nil {
					return nil, err
				}
			}
		}
	}
}

// keep counts what is held in memory.
func (r *gbReader) keep(n int) error {
	if r.kept += n + 64; r.kept > maxXMLKept {
		return fmt.Errorf("the file's texts and links take more than %d MB: export it in several files", maxXMLKept>>20)
	}
	return nil
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
			href = strings.Clone(strings.TrimSuffix(a.Value[:min(len(a.Value), maxXMLText)], "/"))
		}
	}
	switch rel {
	case "self":
		e.self = href
	case "up":
		e.up = href
	case "related":
		if len(e.related) < maxXMLFields {
			e.related = append(e.related, href)
		}
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
				if r.readings++; r.readings > maxXMLReadings {
					return fmt.Errorf("the file has more than %d readings: export it in several files", maxXMLReadings)
				}
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
			if len(e.text) >= maxXMLFields {
				continue
			}
			if err := r.keep(len(name) + len(s)); err != nil {
				return err
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
