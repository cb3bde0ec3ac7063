package readings

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rowen/ingest"
)

// An export may be folded in ways that one row per stamp and one column per
// channel do not show: the meaning of a row in a column (Register), several
// columns or rows that belong to one channel (day and night registers), a row
// per day with a column per interval, a factor beside the value, no header.
// unfolder turns such records into the rows that a plain export would have.
type unfolder struct {
	file   *File
	m      Mapping
	cols   *columns // of the plain export: stamp, site, the channels
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally

	header   []string
	at       folded
	pattern  *regexp.Regexp
	register []*regexp.Regexp // by channel of the mapping; nil: every row
	sheet    *regexp.Regexp

	other bool // the lines are of another table, below a header of its own

	held map[heldKey]*heldRow // rows that wait for others of their stamp; nil: none do
}

// folded says where the columns of a mapping stand in a record; -1: not there.
type folded struct {
	site, stamp, clock, end, register, scale int
	values                                   [][]int  // by channel of the mapping
	intervals                                [][2]int // layout days: column and minute of the day
	wide                                     []wideCell
}

// wideCell is one site's column of a wide table.
type wideCell struct {
	at, channel int // column, and channel of the mapping
	site        string
}

// readFolded reads the whole file.
func (f *File) readFolded(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	in, err := openCells(f.abs, f.mapping, f.limits)
	if err != nil {
		return Tally{}, err
	}
	defer in.Close()
	u := unfolder{file: f, m: f.mapping, cols: f.cols, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit, batch: newBatch(f.cols.has)}
	if err := u.begin(); err != nil {
		return Tally{}, err
	}
	for sheet := "\x00"; ; {
		r, err := in.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return u.tally, err
		}
		if r.sheet != sheet {
			sheet, u.header = r.sheet, nil
		}
		if err := u.record(r); err != nil {
			return u.tally, err
		}
		if u.tally.Rows%4096 == 0 && ctx.Err() != nil {
			return u.tally, ctx.Err()
		}
	}
	if u.header == nil && !u.m.NoHeader {
		return u.tally, errors.New("no line holds the header: state header_line in the mapping")
	}
	return u.tally, u.finish()
}

// record takes one record: the header, a row, or a line before or between them.
func (u *unfolder) record(r record) error {
	switch {
	case u.m.NoHeader && u.header == nil:
		u.header = make([]string, len(r.cells))
		if err := u.bind(); err != nil {
			return err
		}
	case u.header == nil:
		if u.m.HeaderLine > 0 && r.line < u.m.HeaderLine {
			return nil
		}
		u.header = r.cells
		return u.bind()
	}
	if r.line < u.m.DataLine {
		return nil
	}
	if !u.m.NoHeader && slices.Equal(r.cells, u.header) {
		u.other = false
		return nil
	}
	if u.other = u.other || !u.m.NoHeader && isOtherHeader(r.cells, u.header); u.other {
		u.tally.Rows++
		u.tally.reject(u.limits, fault{reason: "the line stands below another header: it is of another table"}.reject(u.file.Path, int64(r.line)))
		return nil
	}
	switch u.m.Layout {
	case "days":
		return u.day(r)
	case "wide":
		return u.wide(r)
	}
	return u.take(r, part{columns: u.at.values})
}

// part is what a record holds of one row: the time of day that its column names
// (layout days), the site that it names (layout wide), and its value columns by
// channel of the mapping; nil: none of that channel.
type part struct {
	clock, site string
	columns     [][]int
}

// take counts one row and keeps it, or says why it is set aside.
func (u *unfolder) take(r record, p part) error {
	u.tally.Rows++
	if f := u.row(r, p); f.bad() {
		u.tally.reject(u.limits, f.reject(u.file.Path, int64(r.line)))
		return nil
	}
	return u.overflow()
}

// day takes a row per day: every interval's cell is a row of its own.
func (u *unfolder) day(r record) error {
	for _, iv := range u.at.intervals {
		columns := make([][]int, len(u.m.Channels))
		for k := range columns {
			columns[k] = []int{iv[0]}
		}
		if err := u.take(r, part{clock: fmt.Sprintf(" %02d:%02d", iv[1]/60, iv[1]%60), columns: columns}); err != nil {
			return err
		}
	}
	return nil
}

// wide takes a row of a table with a column per site: every cell is a row.
func (u *unfolder) wide(r record) error {
	for _, w := range u.at.wide {
		columns := make([][]int, len(u.m.Channels))
		columns[w.channel] = []int{w.at}
		if err := u.take(r, part{site: w.site, columns: columns}); err != nil {
			return err
		}
	}
	return nil
}

// row understands one record and keeps or emits it.
func (u *unfolder) row(r record, p part) fault {
	var out row
	out.values = [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
	if f := u.site(r, p.site, &out); f.bad() {
		return f
	}
	end, f := u.stamps(r, p.clock, &out)
	if f.bad() {
		return f
	}
	factor, f := u.factor(r)
	if f.bad() {
		return f
	}
	taken := false
	for k, c := range u.m.Channels {
		if u.register[k] != nil && !u.register[k].MatchString(cellAt(r, u.at.register)) {
			continue
		}
		taken = true
		if p.columns[k] == nil {
			continue
		}
		v, f := u.sum(r, p.columns[k], c, factor)
		if f.bad() {
			return f
		}
		col := column{channel: c.Channel, neg: c.Sign < 0, net: c.Net}
		col.fill(v, &out.values)
		if c.Net && v != Missing {
			out.flags |= Netted
		}
	}
	if !taken {
		return fault{u.m.Register, clip([]byte(cellAt(r, u.at.register))), "no channel's rows match it: the row is left out"}
	}
	if u.held != nil {
		u.hold(&out, end, int32(r.line))
		return fault{}
	}
	u.batch.add(out.site, out.time, int32(r.line), out.flags, 0, &out.values)
	return fault{}
}

func cellAt(r record, i int) string {
	if i < 0 || i >= len(r.cells) {
		return ""
	}
	return strings.TrimSpace(r.cells[i])
}

func (u *unfolder) site(r record, named string, out *row) fault {
	id, name := u.cols.site, ""
	switch {
	case named != "":
		id = named
	case u.sheet != nil:
		m := u.sheet.FindStringSubmatch(r.sheet)
		if m == nil {
			return fault{"", clip([]byte(r.sheet)), "the sheet's name does not match site_id.sheet"}
		}
		id = m[u.sheet.SubexpIndex("site_id")]
	case u.at.site >= 0:
		id, name = cellAt(r, u.at.site), u.m.SiteID.Column
	}
	if reason := idReason([]byte(id)); reason != "" {
		return fault{name, clip([]byte(id)), reason}
	}
	out.site = u.sites.number([]byte(id))
	return fault{}
}

// stamps reads a record's beginning, and its end where a column gives it (0).
func (u *unfolder) stamps(r record, clock string, out *row) (end int64, f fault) {
	if !u.cols.stamped {
		out.time = u.cols.start + (u.tally.Rows-1)*u.cols.step
		if u.cols.civil {
			out.flags |= Civil
		}
		return 0, fault{}
	}
	text := cellAt(r, u.at.stamp)
	if u.pattern != nil {
		m := u.pattern.FindStringSubmatch(text)
		if m == nil {
			return 0, fault{u.m.Time.Column, clip([]byte(text)), "stamp does not match time.pattern: no row of readings"}
		}
		text = strings.Join(m[1:], "")
	}
	if u.at.clock >= 0 {
		clock = " " + cellAt(r, u.at.clock)
	}
	t, civil, reason := u.cols.clock.parse([]byte(text + clock))
	if reason != "" {
		return 0, fault{u.m.Time.Column, clip([]byte(text + clock)), reason}
	}
	out.time = t
	if civil {
		out.flags |= Civil
	}
	if u.at.end >= 0 {
		e, _, reason := u.cols.clock.parse([]byte(cellAt(r, u.at.end)))
		if reason != "" {
			return 0, fault{u.m.Time.EndColumn, clip([]byte(cellAt(r, u.at.end))), reason}
		}
		return e, fault{}
	}
	return 0, fault{}
}

func (u *unfolder) factor(r record) (float64, fault) {
	if u.at.scale < 0 {
		return 1, fault{}
	}
	text := cellAt(r, u.at.scale)
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fault{u.m.Scale, clip([]byte(text)), "factor must be a number other than 0"}
	}
	return v, fault{}
}

// sum adds the columns of one channel. A counter needs all of its registers; of
// energy or power those that are there count, since a day register is blank
// while the night's runs.
func (u *unfolder) sum(r record, columns []int, c Channel, factor float64) (int64, fault) {
	total, there := int64(0), 0
	for _, i := range columns {
		if i >= len(r.cells) {
			return 0, fault{reason: fmt.Sprintf("the row has %d cells and column %d is needed: a cut line, or a wrong delimiter", len(r.cells), i+1)}
		}
		text := cellAt(r, i)
		if u.m.Thousands != "" {
			text = strings.ReplaceAll(text, u.m.Thousands, "")
		}
		v, reason := parseMilli([]byte(text), u.cols.decimal, perUnit(c.Unit))
		if reason != "" {
			name := c.Column
			if i < len(u.header) && u.header[i] != "" {
				name = u.header[i]
			}
			return 0, fault{name, clip([]byte(text)), reason}
		}
		if v != Missing {
			total += v
			there++
		}
	}
	if there == 0 || c.Quantity == "counter" && there < len(columns) {
		return Missing, fault{}
	}
	if factor != 1 {
		total = int64(math.Round(float64(total) * factor))
	}
	return total, fault{}
}
