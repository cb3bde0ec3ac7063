package readings

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/format"

	"rowen/ingest"
)

// prepareParquet finds the mapping's columns in the schema.
func (f *File) prepareParquet() error {
	in, err := f.openParquet()
	if err != nil {
		return err
	}
	defer in.close()
	names := make([]string, 0, len(in.Root().Columns()))
	for _, c := range in.Root().Columns() {
		names = append(names, c.Name())
	}
	if f.cols, err = bind(f.mapping, f.Path, names); err != nil {
		return err
	}
	f.Notes = f.cols.notes
	for i, c := range in.Root().Columns() {
		if f.cols.col[i].role == skipped {
			continue
		}
		if !c.Leaf() || c.Repeated() {
			return fmt.Errorf("column %q is nested: only plain columns can be mapped", c.Name())
		}
		if f.cols.col[i].role == stampRole {
			if _, err := stampReader(c.Type(), &f.cols.clock); err != nil {
				return fmt.Errorf("column %q: %w", c.Name(), err)
			}
		}
		if f.cols.col[i].role == clockRole {
			return errors.New("time.time_column is for text files")
		}
	}
	return nil
}

type openParquet struct {
	*parquet.File
	file *os.File
}

func (o openParquet) close() { o.file.Close() }

func (f *File) openParquet() (openParquet, error) {
	in, err := os.Open(f.abs)
	if err != nil {
		return openParquet{}, err
	}
	p, err := parquet.OpenFile(in, f.Size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		in.Close()
		return openParquet{}, err
	}
	return openParquet{p, in}, nil
}

// parquetParts makes parts of some row groups each; from and to are the numbers
// of the first and of that after the last.
func (f *File) parquetParts() []Part {
	in, err := f.openParquet()
	if err != nil {
		return []Part{{f, 0, 1, true, f.Size}}
	}
	defer in.close()
	if !f.cols.stamped {
		return []Part{{f, 0, int64(len(in.RowGroups())), true, f.Size}}
	}
	var parts []Part
	from, bytes := 0, int64(0)
	groups := in.RowGroups()
	for i := range groups {
		for _, c := range in.Metadata().RowGroups[i].Columns {
			bytes += c.MetaData.TotalCompressedSize
		}
		if bytes >= parquetPart || i == len(groups)-1 {
			parts = append(parts, Part{f, int64(from), int64(i) + 1, from == 0, bytes})
			from, bytes = i+1, 0
		}
	}
	return parts
}

// parquetPart is the least that one part of a file has, packed, for each opens
// the file anew (our choice).
const parquetPart = 4 << 20

// readParquet reads row groups page by page: every column is a stream of
// whole numbers (sites' numbers, seconds, thousandths) from which rows are
// taken in step.
func (p Part) readParquet(ctx context.Context, names *Names, o Limits, emit func(*Batch) error) (Tally, error) {
	in, err := p.file.openParquet()
	if err != nil {
		return Tally{}, err
	}
	defer in.close()
	r := &parquetReader{file: p.file, cols: p.file.cols, sites: siteNumbers{names, map[string]int32{}}, limits: o, emit: emit, batch: newBatch(p.file.cols.has)}
	groups := in.RowGroups()
	for g := p.from; g < p.to && g < int64(len(groups)); g++ {
		if err := r.group(ctx, groups[g]); err != nil {
			return r.tally, err
		}
	}
	r.tally.Lines = int64(r.row)
	return r.tally, r.flush()
}

type parquetReader struct {
	file   *File
	cols   *columns
	sites  siteNumbers
	limits Limits
	emit   func(*Batch) error
	batch  *Batch
	tally  Tally
	row    int32 // read so far in this part
}

// parquetColumn is one column chunk being read.
type parquetColumn struct {
	*column
	pages  parquet.Pages
	name   string
	decode decoder
	page   parquet.Page
	levels []byte // of the page, 1 = present; nil: all are
	rows   int    // left in the page
	at     int    // next row of the page
	values []int64
	buffer *[]int64 // what values lies in
	next   int      // next of values
	clean  bool     // no row of the page is missing or bad
}

// valueBuffers are the columns' buffers, to be used by the next row group.
var valueBuffers = sync.Pool{New: func() any { return new([]int64) }}

// take gives the next row's value.
func (c *parquetColumn) take() int64 {
	c.at++
	c.rows--
	if c.levels != nil && c.levels[c.at-1] == 0 {
		return Missing
	}
	v := c.values[c.next]
	c.next++
	return v
}

// more makes sure that the page has rows left; false at the end.
func (c *parquetColumn) more() (bool, error) {
	for c.rows == 0 {
		if c.page != nil {
			parquet.Release(c.page)
			c.page = nil
		}
		p, err := c.pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("column %q: %w", c.name, err)
		}
		c.page, c.rows, c.at, c.next = p, int(p.NumValues()), 0, 0
		c.levels = p.DefinitionLevels()
		usable := false
		if c.values, usable, err = c.decode(p, (*c.buffer)[:0]); err != nil {
			return false, fmt.Errorf("column %q: %w", c.name, err)
		}
		*c.buffer = c.values
		c.clean = usable && len(c.values) == c.rows
	}
	return true, nil
}

// allUsable tells whether no value is missing or bad: of those the two highest
// bits differ, and of no other.
func allUsable(values []int64) bool {
	mixed := int64(0)
	for _, v := range values {
		mixed |= v ^ v<<1
	}
	return mixed >= 0
}

func (r *parquetReader) group(ctx context.Context, g parquet.RowGroup) error {
	chunks := g.ColumnChunks()
	var site, stamp *parquetColumn
	var values, all []*parquetColumn
	defer func() {
		for _, c := range all {
			if c.page != nil {
				parquet.Release(c.page)
			}
			c.pages.Close()
			valueBuffers.Put(c.buffer)
		}
	}()
	for i := range r.cols.col {
		c := &parquetColumn{column: &r.cols.col[i], name: r.cols.col[i].name}
		typ := chunks[i].Type()
		var err error
		switch c.role {
		case siteRole:
			site = c
			c.decode, err = r.siteDecoder(typ)
		case stampRole:
			stamp = c
			c.decode, err = stampReader(typ, &r.cols.clock)
		case valueRole:
			values = append(values, c)
			c.decode, err = valueDecoder(typ, r.cols.decimal, c.perUnit)
		default:
			continue
		}
		if err != nil {
			return fmt.Errorf("column %q: %w", c.name, err)
		}
		c.pages, c.buffer = chunks[i].Pages(), valueBuffers.Get().(*[]int64)
		all = append(all, c)
	}
	fixed := int32(0)
	if r.cols.site != "" {
		fixed = r.sites.number([]byte(r.cols.site))
	}
	wide := make([]int32, len(values))
	for i, c := range values {
		if c.site != "" {
			wide[i] = r.sites.number([]byte(c.site))
		}
	}
	var vals [ingest.NumChannels]int64
	for left := g.NumRows(); left > 0; left-- {
		if n, err := r.bulk(left, fixed, site, stamp, values); err != nil {
			return err
		} else if left -= n; left == 0 {
			break
		}
		for _, c := range all {
			if ok, err := c.more(); err != nil {
				return err
			} else if !ok {
				return fmt.Errorf("column %q ends before the others", c.name)
			}
		}
		r.row++
		if r.row&0xffff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		flags, t, bad := r.stamp(stamp)
		if r.cols.wide {
			if err := r.wideRow(values, wide, flags, t, bad); err != nil {
				return err
			}
			continue
		}
		r.tally.Rows++
		number := fixed
		if site != nil {
			n := site.take()
			if n == Missing || n == badCell {
				bad = fault{site.name, "", "site id is blank or holds other than A-Z a-z 0-9 . _ -, or more than 64 of them"}
			}
			number = int32(n)
		}
		vals = [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		for _, c := range values {
			v := c.take()
			if v == badCell {
				bad = fault{c.name, "", "must be a number below 100 GWh"}
				continue
			}
			c.fill(v, &vals)
			if c.net && v != Missing {
				flags |= Netted
			}
		}
		if bad.bad() {
			r.tally.reject(r.limits, bad.reject(r.file.Path, int64(r.row)))
			continue
		}
		r.batch.add(number, t, r.row, flags, 0, &vals)
		if r.batch.full() {
			if err := r.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// bulk passes on as many rows at once as the pages allow, where all of them are
// whole: no value missing or bad, none turned round or cut in two. Their values
// stay where the pages have them. It takes none elsewhere, and the rows go one
// by one.
func (r *parquetReader) bulk(left int64, fixed int32, site, stamp *parquetColumn, values []*parquetColumn) (int64, error) {
	if r.cols.wide || stamp == nil {
		return 0, nil
	}
	n := min(left, stamp.whole())
	if site != nil {
		n = min(n, site.whole())
	}
	for _, c := range values {
		if n = min(n, c.whole()); c.neg || c.net {
			n = 0
		}
	}
	if n <= 0 {
		return 0, nil
	}
	if err := r.flush(); err != nil {
		return 0, err
	}
	b := r.batch
	times := stamp.skip(int(n))
	var sites []int64
	if site != nil {
		sites = site.skip(int(n))
	}
	for i := 0; i < len(times); {
		if sites != nil {
			fixed = int32(sites[i])
		}
		b.place(fixed, times[i]>>1, r.row+int32(i)+1, Flag(times[i]&1)*Civil, 0)
		i++
		i += b.goOn(times[i:], sites[min(i, len(sites)):])
	}
	own := b.Value
	for _, c := range values {
		b.Value[c.channel] = c.skip(int(n))
	}
	err := r.flush()
	b.Value = own
	r.row += int32(n)
	r.tally.Rows += n
	return n, err
}

// goOn takes the rows that go on evenly with the last stretch, line by line, and
// counts them: their stamps as stampReader gives them, and their sites, unless
// all are of one.
func (b *Batch) goOn(times, sites []int64) int {
	s := b.last()
	if s.N < 2 || s.Stride != 1 {
		return 0
	}
	if len(sites) > 0 {
		site := int64(s.Site)
		for i, v := range sites {
			if v != site {
				times = times[:i]
				break
			}
		}
	}
	n, next := len(times), s.next()<<1
	if s.Flags&Civil != 0 {
		next |= 1
	}
	for i, t := range times {
		if t != next {
			n = i
			break
		}
		next += s.Step << 1
	}
	s.N += int32(n)
	b.rows += n
	return n
}

// whole is how many rows of the page are left, where none of them is missing or
// bad; else 0.
func (c *parquetColumn) whole() int64 {
	if !c.clean {
		return 0
	}
	return int64(c.rows)
}

// skip takes the next n rows, of which none is missing.
func (c *parquetColumn) skip(n int) []int64 {
	c.at += n
	c.next += n
	c.rows -= n
	return c.values[c.next-n : c.next]
}

// stamp takes the row's stamp, or makes it where the file has none.
func (r *parquetReader) stamp(c *parquetColumn) (Flag, int64, fault) {
	if c == nil {
		f := Flag(0)
		if r.cols.civil {
			f = Civil
		}
		return f, r.cols.start + int64(r.row-1)*r.cols.step, fault{}
	}
	v := c.take()
	if v == Missing || v == badCell {
		return 0, 0, fault{c.name, "", "stamp is blank, unreadable or outside the years 1970 to 2200"}
	}
	// The decoder keeps one bit for the clock.
	if v&1 != 0 {
		return Civil, v >> 1, fault{}
	}
	return 0, v >> 1, fault{}
}

func (r *parquetReader) wideRow(values []*parquetColumn, site []int32, flags Flag, t int64, bad fault) error {
	r.tally.Rows += int64(len(values))
	if bad.bad() {
		for _, c := range values {
			c.take()
		}
		r.tally.reject(r.limits, bad.reject(r.file.Path, int64(r.row)))
		r.tally.SetAside += int64(len(values)) - 1
		return nil
	}
	for i, c := range values {
		v := c.take()
		if v == badCell {
			rej := fault{c.name, "", "must be a number below 100 GWh"}.reject(r.file.Path, int64(r.row))
			rej.SiteID = c.site
			r.tally.reject(r.limits, rej)
			v = Missing
		}
		vals := [ingest.NumChannels]int64{Missing, Missing, Missing, Missing}
		c.fill(v, &vals)
		f := flags
		if c.net && v != Missing {
			f |= Netted
		}
		r.batch.add(site[i], t, r.row, f, 0, &vals)
		if r.batch.full() {
			if err := r.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *parquetReader) flush() error {
	if r.batch.Len() == 0 {
		return nil
	}
	err := r.emit(r.batch)
	r.batch.reset()
	return err
}

// decoder appends a page's values to dst; usable: none of them is missing or
// bad.
type decoder func(p parquet.Page, dst []int64) (values []int64, usable bool, err error)

// ofText makes a decoder of a conversion of strings.
func ofText(convert func([]byte) int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		bytes, offsets := data.ByteArray()
		for i := 1; i < len(offsets); i++ {
			dst = append(dst, convert(bytes[offsets[i-1]:offsets[i]]))
		}
		return dst, allUsable(dst), nil
	})
}

// throughDictionary makes a decoder of plain pages one of any pages: the last
// dictionary is converted once, as a page of its entries.
func throughDictionary(plain decoder) decoder {
	var last parquet.Dictionary
	var table []int64
	usable := false
	return func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		of := p.Dictionary()
		if of == nil {
			return plain(p, dst)
		}
		if of != last {
			var err error
			if table, usable, err = plain(of.Page(), table[:0]); err != nil {
				return nil, false, err
			}
			last = of
		}
		data := p.Data()
		return lookUp(dst, table, data.Int32()), usable, nil
	}
}

// lookUp appends what a dictionary's table has at the indexes.
func lookUp(dst, table []int64, index []int32) []int64 {
	dst, out := extend(dst, len(index))
	for i, at := range index {
		out[i] = table[at]
	}
	return dst
}

// extend makes room for n more values, and gives that room.
func extend(dst []int64, n int) (all, more []int64) {
	all = slices.Grow(dst, n)[:len(dst)+n]
	return all, all[len(dst):]
}

func (r *parquetReader) siteDecoder(typ parquet.Type) (decoder, error) {
	if k := typ.Kind(); k == parquet.Int32 || k == parquet.Int64 {
		last, number, text := int64(-1), int64(badCell), []byte(nil) // of one site's rows, most follow each other
		return ofWhole(func(v int64) int64 {
			if v != last {
				text = strconv.AppendInt(text[:0], v, 10)
				last, number = v, badCell
				if idReason(text) == "" {
					number = int64(r.sites.number(text))
				}
			}
			return number
		}), nil
	} else if k != parquet.ByteArray {
		return nil, errors.New("site ids must be strings or whole numbers")
	}
	return ofText(func(id []byte) int64 {
		if idReason(id) != "" {
			return badCell
		}
		return int64(r.sites.number(id))
	}), nil
}

// stampReader gives the decoder of a column of stamps: seconds times two, plus
// one where they are on the file's own clock.
func stampReader(typ parquet.Type, clock *clock) (decoder, error) {
	perSecond, civil, date := int64(0), int64(0), false
	if l := typ.LogicalType(); l != nil {
		switch v := l.Value.(type) {
		case *format.TimestampType:
			perSecond = int64(1e9 / v.Unit.Value.Duration().Nanoseconds())
			if !v.IsAdjustedToUTC {
				civil = 1
			}
		case *format.DateType:
			date, civil = true, 1
		}
	} else if c := typ.ConvertedType(); c != nil {
		switch *c {
		case deprecated.TimestampMillis:
			perSecond = 1e3
		case deprecated.TimestampMicros:
			perSecond = 1e6
		case deprecated.Date:
			date, civil = true, 1
		}
	}
	kind := typ.Kind()
	switch {
	case kind == parquet.ByteArray:
		return ofText(func(f []byte) int64 {
			t, civil, reason := clock.parse(f)
			if reason != "" {
				return badCell
			}
			if civil {
				return t<<1 | 1
			}
			return t << 1
		}), nil
	case kind == parquet.Int96:
		perSecond, civil = 1e9, 1
	case perSecond == 0 && !date:
		switch clock.format {
		case "unix":
			perSecond = 1
		case "unix_ms":
			perSecond = 1e3
		default:
			return nil, fmt.Errorf("must be a timestamp, a date or text, or time.format unix or unix_ms (it is %s)", strings.ToLower(kind.String()))
		}
	}
	if civil == 1 {
		if clock.offsetOnly {
			return nil, errors.New("is a timestamp without a zone: state time.zone in the mapping (UTC, an IANA zone or site)")
		}
		if !clock.civil {
			civil = 0
		}
	}
	if date {
		return ofWhole(func(v int64) int64 { return v*day<<1 | civil }), nil
	}
	if kind != parquet.Int64 {
		return ofWhole(func(v int64) int64 { return stampValue(floorDiv(v, perSecond), civil) }), nil
	}
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		in := data.Int64()
		dst, out := extend(dst, len(in))
		lowest := int64(math.MaxInt64) // a bad one is far below all others
		switch perSecond {             // a division by a constant is a multiplication
		case 1e3:
			for i, v := range in {
				out[i] = stampValue(v/1e3-int64(uint64(v)>>63), civil)
				lowest = min(lowest, out[i])
			}
		case 1e6:
			for i, v := range in {
				out[i] = stampValue(v/1e6-int64(uint64(v)>>63), civil)
				lowest = min(lowest, out[i])
			}
		default:
			for i, v := range in {
				out[i] = stampValue(floorDiv(v, perSecond), civil)
				lowest = min(lowest, out[i])
			}
		}
		return dst, lowest > badCell, nil
	}), nil
}

// stampValue keeps a stamp with its clock. All before 1970 are refused, so that
// it does not matter how their seconds are rounded.
func stampValue(t, civil int64) int64 {
	if t < minUnix || t >= maxUnix {
		return badCell
	}
	return t<<1 | civil
}

const day = 86400

// ofWhole makes a decoder of a conversion of whole numbers.
func ofWhole(convert func(int64) int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		switch p.Type().Kind() {
		case parquet.Int32:
			for _, v := range data.Int32() {
				dst = append(dst, convert(int64(v)))
			}
		case parquet.Int64:
			for _, v := range data.Int64() {
				dst = append(dst, convert(v))
			}
		case parquet.Int96:
			for _, v := range data.Int96() {
				dst = append(dst, convert(int96Nanos(v)))
			}
		default:
			return nil, false, errors.New("must hold whole numbers")
		}
		return dst, allUsable(dst), nil
	})
}

// int96Nanos reads the old timestamp: nanoseconds of the day, and the Julian day.
func int96Nanos(v deprecated.Int96) int64 {
	return (int64(v[2])-2440588)*day*1e9 + int64(v[0]) + int64(v[1])<<32
}

// valueDecoder gives the decoder of a column of energies or powers.
func valueDecoder(typ parquet.Type, decimal byte, perUnit int64) (decoder, error) {
	scale := 1.0
	if l := typ.LogicalType(); l != nil {
		if d, ok := l.Value.(*format.DecimalType); ok {
			scale = math.Pow10(-int(d.Scale))
		}
	}
	switch typ.Kind() {
	case parquet.Int32, parquet.Int64:
		return ofWhole(func(v int64) int64 { return milliOf(float64(v)*scale, perUnit) }), nil
	case parquet.Double, parquet.Float:
		return ofFloats(perUnit), nil
	case parquet.ByteArray:
		if scale != 1 {
			return nil, errors.New("is a decimal kept as bytes: write it as a double")
		}
		return ofText(func(f []byte) int64 {
			v, reason := parseMilli(f, decimal, perUnit)
			if reason != "" {
				return badCell
			}
			return v
		}), nil
	}
	return nil, fmt.Errorf("must hold numbers (it is %s)", strings.ToLower(typ.Kind().String()))
}

func ofFloats(perUnit int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		if p.Type().Kind() == parquet.Float {
			for _, v := range data.Float() {
				dst = append(dst, milliOf(float64(v), perUnit))
			}
			return dst, allUsable(dst), nil
		}
		in := data.Double()
		dst, out := extend(dst, len(in))
		times, odd := float64(perUnit), false
		for i, v := range in {
			if x := v * times; x >= 0 && x <= maxMilli {
				out[i] = int64(x + 0.5)
			} else {
				out[i], odd = milliOf(v, perUnit), true
			}
		}
		return dst, !odd || allUsable(out), nil
	})
}

// milliOf scales a number to whole thousandths, half away from zero; NaN is
// missing.
func milliOf(x float64, perUnit int64) int64 {
	if x != x {
		return Missing
	}
	x *= float64(perUnit)
	if x > maxMilli || x < -maxMilli {
		return badCell
	}
	if x < 0 {
		return -int64(0.5 - x)
	}
	return int64(x + 0.5)
}
