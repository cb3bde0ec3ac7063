package readings

import (
	"context"
	"errors"
	"fmt"
	"io"

	"rowen/ingest"
)

// ReadPlain reads a whole text file by encoding/csv: the way for quoted line
// breaks, wide tables and files without stamps, and the twin that the scanner
// is held to.
func (f *File) ReadPlain(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	in, err := openText(f.abs, f.limits)
	if err != nil {
		return Tally{}, err
	}
	defer in.Close()
	if _, err := io.CopyN(io.Discard, in, f.body); err != nil {
		return Tally{}, err
	}
	return f.readPlain(ctx, in, names, o, emit)
}

func (f *File) readPlain(ctx context.Context, in io.Reader, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	r := newTextRows(in, f.delimiter, o.lineBytes())
	p := plain{file: f, cols: f.cols, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit, batch: newBatch(f.cols.has), in: r}
	p.startWide()
	for {
		fields, bad, err := r.next()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return p.tally, fmt.Errorf("reading %s: %w", f.Path, err)
		}
		p.blankLines(r.line)
		if bad != "" {
			p.seen++
			p.tally.Rows++
			p.tally.reject(o, fault{reason: bad}.reject(f.Path, int64(r.line)))
			continue
		}
		p.fields = fields
		if err := p.line(int32(r.line)); err != nil {
			return p.tally, err
		}
		if p.tally.Rows%65536 == 0 && ctx.Err() != nil {
			return p.tally, ctx.Err()
		}
	}
	p.tally.Lines = int64(r.read)
	if err := p.flushWide(); err != nil {
		return p.tally, err
	}
	return p.tally, p.batch.flush(p.emit)
}

// plain is the state of one plain reading.
type plain struct {
	file   *File
	cols   *columns
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally
	seen   int64 // lines, for the rows of a file without stamps
	in     *textRows
	next   int // the line that the last record ended on
	fields [][]byte
	wide   []wideColumn
	rows   []row // of the lines that wait in wide: stamps and flags only
	lines  []int32
}

// wideColumn holds one site's values of the lines that wait.
type wideColumn struct {
	at     int
	site   int32
	values []int64
}

const wideCells = 1 << 20 // our choice: 8 MiB of values wait at most, or one line

func (p *plain) startWide() {
	if !p.cols.wide {
		return
	}
	for i := range p.cols.col {
		if c := &p.cols.col[i]; c.role == valueRole {
			p.wide = append(p.wide, wideColumn{at: i, site: p.sites.number([]byte(c.site))})
		}
	}
}

func (p *plain) line(line int32) error {
	p.seen++
	if p.cols.wide {
		return p.wideLine(line)
	}
	p.tally.Rows++
	var r row
	if f := p.cols.understand(p.fields, &p.sites, &r); f.bad() {
		if p.giveBack() {
			f.reason += ": its quoted field runs on to the next lines, which are read by themselves"
		}
		p.tally.reject(p.limits, f.reject(p.file.Path, int64(line)))
		return nil
	}
	p.stamp(&r)
	p.batch.add(r.site, r.time, line, r.flags, 0, &r.values)
	if p.batch.full() {
		return p.batch.flush(p.emit)
	}
	return nil
}

// giveBack lets the lines after a bad row's first be read by themselves.
func (p *plain) giveBack() bool {
	if !p.in.giveBack() {
		return false
	}
	p.next = p.in.read
	return true
}

// blankLines counts the blank lines before a row, which are no rows. In a file
// without stamps every line has its time: a blank one is a missing value where
// there is one column, and set aside elsewhere.
func (p *plain) blankLines(line int) {
	for p.next++; p.next < line; p.next++ {
		if p.cols.stamped {
			continue
		}
		p.seen++
		if len(p.cols.col) > 1 {
			n := int64(max(1, len(p.wide)))
			p.tally.Rows += n
			p.tally.reject(p.limits, fault{reason: "the line is blank: in a file without stamps it still takes its time"}.reject(p.file.Path, int64(p.next)))
			p.tally.SetAside += n - 1
		}
	}
	p.next = p.in.read
}

// stamp gives a row of a file without stamps its own.
func (p *plain) stamp(r *row) {
	if p.cols.stamped {
		return
	}
	r.time = p.cols.start + (p.seen-1)*p.cols.step
	if p.cols.civil {
		r.flags |= Civil
	}
}

// wideLine takes a line of a wide table, in which every cell counts as a row.
func (p *plain) wideLine(line int32) error {
	cols := p.cols
	p.tally.Rows += int64(len(p.wide))
	var r row
	var f fault
	if len(p.fields) != len(cols.col) {
		f = fault{reason: fmt.Sprintf("the row has %d fields and the header %d: a cut line, or a wrong delimiter or decimal sign", len(p.fields), len(cols.col))}
	} else if cols.stamped {
		f = cols.stampOf(p.fields, &r)
	}
	if f.bad() {
		p.giveBack()
		p.tally.reject(p.limits, f.reject(p.file.Path, int64(line)))
		p.tally.SetAside += int64(len(p.wide)) - 1
		return nil
	}
	p.stamp(&r)
	for i := range p.wide {
		w := &p.wide[i]
		c := &cols.col[w.at]
		v, reason := parseMilli(p.fields[w.at], cols.decimal, c.perUnit)
		if reason != "" {
			rej := fault{c.name, clip(p.fields[w.at]), reason}.reject(p.file.Path, int64(line))
			rej.SiteID = c.site
			p.tally.reject(p.limits, rej)
			v = badCell
		}
		w.values = append(w.values, v)
	}
	p.rows = append(p.rows, r)
	p.lines = append(p.lines, line)
	if len(p.rows)*len(p.wide) >= wideCells {
		return p.flushWide()
	}
	return nil
}

// flushWide emits what waits, site by site.
func (p *plain) flushWide() error {
	for i := range p.wide {
		w := &p.wide[i]
		c := &p.cols.col[w.at]
		for j := range w.values {
			if w.values[j] == badCell {
				w.values[j] = Missing // set aside; its stamp still tells the step
			}
			v := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
			c.fill(w.values[j], &v)
			flags := p.rows[j].flags
			if c.net && w.values[j] != Missing {
				flags |= Netted
			}
			p.batch.add(w.site, p.rows[j].time, p.lines[j], flags, 0, &v)
			if p.batch.full() {
				if err := p.batch.flush(p.emit); err != nil {
					return err
				}
			}
		}
		w.values = w.values[:0]
	}
	p.rows, p.lines = p.rows[:0], p.lines[:0]
	return nil
}
